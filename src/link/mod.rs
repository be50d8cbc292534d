//! The link to the sensors: MQTT in, acknowledgements and our own words out.
//!
//! ```text
//!  broker ==> connection (one task) --> Inbox --> writer (one thread): decode, apply, commit
//!     ^                                                    |
//!     +--------- PUBACK <------- Acker <--- after commit --+
//! ```
//!
//! A message is acknowledged only when the writer says that it is stored, so a crash anywhere makes
//! the broker send it again: at least once, never less. The writer must expect duplicates.
//!
//! [`Link`] connects to a broker of your own, [`EmbeddedBroker`] is one inside the daemon; both end
//! in the same [`Inbox`] and [`Acker`]. Nothing here waits for the writer: the connection goes on
//! answering pings while the writer is busy, the broker stops sending for want of acknowledgements,
//! and every queue has a bound. Where the bound is reached [`Counts`] shows it.
//!
//! To end in order: `stop_taking`, let the writer run until its batch says `closed`, then
//! [`Link::disconnect`] or [`EmbeddedBroker::stop`].

mod acker;
mod embedded;
mod health;
mod inbox;
#[expect(clippy::module_inception, reason = "the link proper, among what it is made of")]
mod link;
mod message;
mod passwords;
mod publisher;
mod receive;
mod record;
mod settings;
mod status;
mod tap;
mod tls;
mod wire;

pub use acker::Acker;
pub use embedded::{EmbeddedBroker, EmbeddedError, EmbeddedSettings};
pub use health::{Counts, Fault, Health, LinkState};
pub use inbox::{Batch, Inbox, Waker};
pub use link::Link;
pub use message::Message;
pub use passwords::{PasswordError, hash_password};
pub use publisher::{NotPublished, Publisher};
pub use record::{RecordError, record};
pub use settings::{LinkSettings, Login, Protocol, SetupError, TlsFiles};
