//! What the desk is given, and what its handlers share.

use std::sync::Arc;

use jiff::tz::TimeZone;
use tokio::sync::{Semaphore, watch};

use super::sheet::{Chrome, Moment};
use super::shelf::Shelf;
use super::words;
use crate::clock::Clock;
use crate::ledger::View;
use crate::model::{EventTime, System};

/// Open pages that are kept up to date at once; further ones are told to refresh by hand.
const VIEWERS: usize = 512;

/// The state of the connection to the broker, for people.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LinkNote {
    /// What it is, as the end of a sentence: `connected`.
    pub words: String,
    /// Since when, if that is known.
    pub since: Option<EventTime>,
}

/// What the desk is given.
#[derive(Clone, Debug)]
pub struct Desk {
    /// The systems in force.
    pub systems: watch::Receiver<Arc<Vec<Arc<System>>>>,
    /// The ledger.
    pub view: View,
    /// Changes after every commit.
    pub commits: watch::Receiver<u64>,
    /// The time.
    pub clock: Clock,
    /// A note on every page, such as that the clock runs fast.
    pub banner: Option<String>,
    /// The connection to the broker.
    pub link: watch::Receiver<LinkNote>,
}

/// What the handlers share.
#[derive(Debug)]
pub(super) struct Office {
    pub(super) desk: Desk,
    pub(super) shelf: Shelf,
    pub(super) viewers: Arc<Semaphore>,
    /// Turns true when the daemon ends.
    pub(super) ending: watch::Receiver<bool>,
}

impl Office {
    pub(super) fn new(desk: Desk, ending: watch::Receiver<bool>) -> Arc<Self> {
        let shelf = Shelf::new(desk.clone());
        Arc::new(Self { desk, shelf, viewers: Arc::new(Semaphore::new(VIEWERS)), ending })
    }

    pub(super) fn now(&self) -> EventTime {
        self.desk.clock.now()
    }

    /// The systems in force.
    pub(super) fn systems(&self) -> Arc<Vec<Arc<System>>> {
        Arc::clone(&self.desk.systems.borrow())
    }

    /// The system called `id`.
    pub(super) fn system(&self, id: &str) -> Option<Arc<System>> {
        self.systems().iter().find(|system| system.id.as_str() == id).cloned()
    }

    /// The zone for what belongs to no system: the one that all systems share, else UTC.
    pub(super) fn zone(&self) -> TimeZone {
        let systems = self.systems();
        let first = systems.first().map_or(TimeZone::UTC, |system| system.zone.clone());
        if systems.iter().all(|system| system.zone == first) { first } else { TimeZone::UTC }
    }

    /// Head and foot of a page drawn from the board's state `stamp`.
    pub(super) fn chrome(&self, stamp: u64) -> Chrome {
        let note = self.desk.link.borrow().clone();
        Chrome {
            banner: self.desk.banner.clone(),
            link: note.words,
            link_since: note.since.map(|at| self.moment(at)),
            as_of: Some(self.moment(self.now())),
            stamp,
        }
    }

    fn moment(&self, at: EventTime) -> Moment {
        let zone = self.zone();
        let mut moment = words::moment(at, self.now(), &zone);
        if zone == TimeZone::UTC {
            moment.words.push_str(" UTC");
        }
        moment
    }
}
