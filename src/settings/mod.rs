//! The daemon's own settings: where they come from, what they may be, and what each one means.
//!
//! Three layers, the later one wins: the defaults of the setting table, the settings file
//! (`basinward.toml`), the environment (`BASINWARD__SECTION__KEY`). One table in each section's file is the
//! single source of truth; defaults, the check for unknown keys, `check --explain` and the commented
//! `deploy/basinward.toml` are all made from it.
//!
//! Invariant: nothing here opens a socket or a database. The files read are the settings file and the secret
//! files that it names.

mod alerts;
mod channels;
mod conflict;
mod contacts;
mod desk;
mod embedded_broker;
mod environment;
mod fault;
mod file;
mod folders;
mod influxdb;
mod kind;
mod layer;
mod ledger;
mod load;
mod log;
mod mqtt;
mod named;
mod nearest;
mod notices;
mod routes;
mod secret;
mod table;
mod template;
mod upkeep;

pub use alerts::Alerts;
pub use channels::{Channel, CommandChannel, MailChannel, MailTls, WebhookChannel};
pub use desk::Desk;
pub use embedded_broker::EmbeddedBroker;
pub use fault::{OldName, Origin, SettingFault, What};
pub use folders::Folders;
pub use influxdb::{Influxdb, ServerAddress};
pub use kind::Kind;
pub use ledger::Ledger;
pub use load::{Entry, Loaded, Settings, find_file};
pub use log::{Format, Level, Log};
pub use mqtt::{BrokerAddress, Mqtt, Protocol};
pub use notices::Notices;
pub use secret::Secret;
pub use table::{RENAMED, Renamed, SECTIONS, Section, Setting};
pub use template::{notices_example, template};
pub use upkeep::Upkeep;
