//! What people and readers outside ask the writer to change.
//!
//! Everything that is not a sensor's message comes to the ledger as an [`Order`], is carried out in
//! the transaction of the next commit, and is answered after it. One order that cannot be carried
//! out leaves the rest of the commit whole.

mod alerts;
mod export;
pub(super) mod flowtest;
mod notices;
pub(super) mod people;
mod plan;
mod queue;
pub(super) mod service;

use rusqlite::{Connection, Error, Transaction};

use super::alerts::Touched;
use super::{Position, commit};
use crate::model::EventTime;
use crate::upkeep::Plan;

pub use alerts::{AlertOrder, AlertWork, Muting};
pub use export::{ExportStep, RejectedLine};
pub use flowtest::{TestDeed, TestOrder};
pub use notices::{NewNotice, NoticeOrder, Outcome};
pub use people::{PeopleOrder, PersonNo};
pub use queue::{Asked, OrderQueue, Orders};
pub use service::{NewPhoto, PHOTO_BYTES, PHOTOS, PhotoKind, ServiceDeed, ServiceOrder};

/// A change that somebody asks for.
#[derive(Clone, Debug, PartialEq)]
pub enum Order {
    /// A reader outside has come so far, and never needs what was before.
    Reached {
        /// The reader's name.
        cursor: String,
        /// How far it has come.
        position: Position,
    },
    /// Take a step with an alert, or mute a system.
    Alert(AlertOrder),
    /// Tell people of alerts, or what came of that.
    Notice(NoticeOrder),
    /// Change who may come in.
    People(PeopleOrder),
    /// Write down what was found and done; its engine hears of it, and alerts that the work ends are closed.
    Service(ServiceOrder),
    /// A flow test goes on; its engine hears when the water of a run is off.
    Test(TestOrder),
    /// Keep the plan of visits in place of the one before.
    Plan {
        /// When it was made.
        made: EventTime,
        /// The plan.
        plan: Plan,
    },
    /// A reader that passes everything on took a step.
    Export {
        /// The reader's name; its first word is its kind.
        cursor: String,
        /// What it did.
        step: ExportStep,
    },
}

/// What came of an order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reply {
    /// It is done.
    Done,
    /// It is done, and what it made has this number.
    Number(u64),
}

/// An order was not carried out; the text says why and how to mend it.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct Refused(pub String);

/// The answer to one order.
pub type Answer = Result<Reply, Refused>;

/// Carries out `orders` in turn; each that fails is undone alone.
pub(super) fn carry_out(
    tx: &mut Transaction<'_>,
    orders: &[Order],
    touched: &mut Touched,
) -> rusqlite::Result<Vec<Answer>> {
    orders
        .iter()
        .map(|order| {
            let point = tx.savepoint()?;
            let answer = match write(&point, order, touched) {
                // Whoever asks may name any number. Such an order is wrong, and no reason to stop the writer.
                Err(Error::ToSqlConversionFailure(_) | Error::IntegralValueOutOfRange(..)) => {
                    Err(Refused("a number in it is larger than any that is in use".to_owned()))
                }
                answer => answer?,
            };
            match answer {
                Ok(_) => point.commit()?,
                Err(_) => drop(point),
            }
            Ok(answer)
        })
        .collect()
}

fn write(db: &Connection, order: &Order, touched: &mut Touched) -> rusqlite::Result<Answer> {
    match order {
        Order::Export { cursor, step } => export::write(db, cursor, step),
        Order::Reached { cursor, position } => {
            commit::reach(db, cursor, *position)?;
            Ok(Ok(Reply::Done))
        }
        Order::Alert(order) => alerts::write(db, order, touched),
        Order::Notice(order) => notices::write(db, order),
        Order::Test(order) => flowtest::write(db, order),
        Order::Service(order) => service::write(db, order, touched),
        Order::Plan { made, plan } => plan::write(db, *made, plan),
        Order::People(order) => people::write(db, order),
    }
}
