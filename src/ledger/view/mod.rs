//! Reading the ledger, from any thread, while the writer goes on.

mod alerts;
mod arrivals;
mod changes;
mod export;
mod findings;
mod flowtests;
mod forecasts;
mod history;
mod names;
mod notices;
mod people;
mod places;
mod pool;
mod readings;
mod services;
mod totals;
mod upkeep;

pub use alerts::{AlertFilter, AlertStory, LoggedStep, Muted, StoredAlert, StoredStep};
pub use arrivals::Arrivals;
pub use changes::LoggedEffect;
pub use export::{ExportPlace, Past, PastReadings};
pub use findings::StoredFinding;
pub use flowtests::StoredTest;
pub use history::{Bin, Resolution};
pub use notices::{DeliveryState, PlanningFacts, StoredDelivery, WaitingDelivery};
pub use people::{Key, Person};
pub use pool::View;
pub(super) use pool::connect;
pub use readings::{ExportedReadings, Latest};
pub use services::{LastService, ServiceFilter, ServiceStory, StoredPhoto, StoredService};
pub use totals::{RefusalSample, Refusals, Totals, Unassigned};
pub use upkeep::UpkeepStamp;
