//! What happened, kept in one SQLite file: readings, findings, doses, and the way back into the engines.
//!
//! There is one writer, [`Ledger`], and any number of readers, clones of [`View`]. This module is
//! the whole interface; nothing outside it knows SQL.
//!
//! - A [`Batch`] gathers what one round of messages brought and is committed in one transaction.
//!   When [`Ledger::commit`] returns, it is on the disk and the messages may be acknowledged.
//! - Everything may be repeated: a reading is unique by (series, time) and the first one wins, an
//!   effect is logged once, and a cursor never goes back.
//! - A [`SystemNo`] is a small number that stands for a system; it never changes.
//! - Engines come back from their last snapshot and the journal of inputs that followed it.
//!
//! Times are stored as milliseconds since 1970, findings and doses as JSON that people can read.

mod alerts;
mod apart;
mod arrivals;
mod backup;
mod batch;
mod commit;
mod effects;
mod enrol;
mod fault;
mod file;
mod held;
mod journal;
mod legible;
mod lock;
mod migrate;
mod orders;
mod pack;
mod record;
mod recover;
mod retention;
mod rollup;
mod seal;
mod view;

pub use apart::order_people;
pub use backup::backup;
pub use batch::{Batch, JournalEntry, Position};
pub use commit::Commit;
pub use enrol::SystemNo;
pub use fault::LedgerFault;
pub use file::Ledger;
pub use orders::{
    AlertOrder, AlertWork, Answer, Asked, ExportStep, Muting, NewNotice, NewPhoto, NoticeOrder, Order,
    OrderQueue, Orders, Outcome, PHOTO_BYTES, PHOTOS, PeopleOrder, PersonNo, PhotoKind, Refused,
    RejectedLine, Reply, ServiceDeed, ServiceOrder, TestDeed, TestOrder,
};
pub use record::{DoseRecord, ForecastRecord, Record, SoakRecord};
pub use recover::{Lived, Recovery, Snapshot};
pub use retention::{Retained, RetentionPolicy};
pub use view::{
    AlertFilter, AlertStory, Arrivals, Bin, DeliveryState, ExportPlace, ExportedReadings, Key, LastService,
    Latest, LoggedEffect, LoggedStep, Muted, Past, PastReadings, Person, PlanningFacts, RefusalSample,
    Refusals, Resolution, ServiceFilter, ServiceStory, StoredAlert, StoredDelivery, StoredFinding,
    StoredPhoto, StoredService, StoredStep, StoredTest, Totals, Unassigned, UpkeepStamp, View,
    WaitingDelivery,
};
