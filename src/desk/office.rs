//! What the desk is given, and what its handlers share.

use std::collections::BTreeSet;
use std::sync::Arc;

use jiff::tz::TimeZone;
use tokio::sync::{Semaphore, watch};

use super::faulty;
use super::learning::LearningNote;
use super::people::{Door, Visitor};
use super::setup::{SystemFolder, Turn};
use super::sheet::{Chrome, Moment, Who};
use super::shelf::Shelf;
use super::words;
use crate::clock::Clock;
use crate::export::ExportHealth;
use crate::ledger::{Orders, Unassigned, View};
use crate::model::{Action, EventTime, System};
use crate::schedule::Upkeep;
use crate::secrets::{NoChance, Seal};
use crate::systemfile::FaultyFile;

/// Open pages that are kept up to date at once; further ones are told to refresh by hand.
const VIEWERS: usize = 512;

/// The state of the connection to the broker, for people.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LinkNote {
    /// What it is, as the end of a sentence: `connected`.
    pub words: String,
    /// Since when, if that is known.
    pub since: Option<EventTime>,
    /// Whether readings can come in.
    pub up: bool,
}

/// How people come in while nobody has been named.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Entry {
    /// Freely: a demonstration on this machine.
    LetIn,
    /// With the code that the daemon printed, to become the first owner.
    SetUp {
        /// The code.
        code: String,
    },
    /// By signing in: somebody has been named.
    SignIn,
}

/// What the desk is given.
#[derive(Clone, Debug)]
pub struct Desk {
    /// The systems in force.
    pub systems: watch::Receiver<Arc<Vec<Arc<System>>>>,
    /// System files that cannot be taken.
    pub faulty: watch::Receiver<Arc<Vec<FaultyFile>>>,
    /// The ledger.
    pub view: View,
    /// Changes after every commit.
    pub commits: watch::Receiver<u64>,
    /// Where changes are asked for.
    pub orders: Orders,
    /// The time.
    pub clock: Clock,
    /// A note on every page, such as that the clock runs fast.
    pub banner: Option<String>,
    /// The system files, and how the daemon is told that they changed.
    pub files: SystemFolder,
    /// How people come in while nobody has been named.
    pub entry: Entry,
    /// Signs the links in messages; none where no messages are sent.
    pub seal: Option<Seal>,
    /// The connection to the broker.
    pub link: watch::Receiver<LinkNote>,
    /// Systems that learn anew.
    pub learning: watch::Receiver<Arc<LearningNote>>,
    /// Where sensors publish, as an address: `mqtt://127.0.0.1:1883`.
    pub broker: String,
    /// Address of these pages from outside, without a slash at its end.
    pub pages: String,
    /// How passing on to a time-series server goes, where one is set.
    pub export: Option<ExportHealth>,
    /// Tasks and visits, as they change.
    pub upkeep: watch::Receiver<Arc<Upkeep>>,
}

/// What the handlers share.
#[derive(Debug)]
pub(super) struct Office {
    pub(super) desk: Desk,
    pub(super) shelf: Shelf,
    pub(super) viewers: Arc<Semaphore>,
    pub(super) door: Door,
    /// Changes of system files go one after the other.
    pub(super) turn: Turn,
    /// Turns true when the daemon ends.
    pub(super) ending: watch::Receiver<bool>,
}

impl Office {
    /// # Errors
    /// Only when the system has no random numbers.
    pub(super) fn new(desk: Desk, ending: watch::Receiver<bool>) -> Result<Arc<Self>, NoChance> {
        let (shelf, viewers) = (Shelf::new(desk.clone()), Arc::new(Semaphore::new(VIEWERS)));
        Ok(Arc::new(Self { desk, shelf, viewers, door: Door::new()?, turn: Turn::default(), ending }))
    }

    pub(super) fn now(&self) -> EventTime {
        self.desk.clock.now()
    }

    /// The systems in force that `visitor` may see.
    pub(super) fn systems(&self, visitor: &Visitor) -> Arc<Vec<Arc<System>>> {
        let all = Arc::clone(&self.desk.systems.borrow());
        if visitor.sees_everything() {
            return all;
        }
        Arc::new(all.iter().filter(|system| visitor.may_see(&system.property)).cloned().collect())
    }

    /// Those of `unassigned` that no system claims by now: what was heard before somebody claimed it is remembered.
    pub(super) fn unclaimed(&self, mut unassigned: Vec<Unassigned>) -> Vec<Unassigned> {
        let heard: BTreeSet<&str> = unassigned.iter().map(|stray| stray.topic.as_str()).collect();
        let claimed: BTreeSet<String> = if heard.is_empty() {
            BTreeSet::new()
        } else {
            let systems = self.desk.systems.borrow();
            let topics = systems
                .iter()
                .flat_map(|system| system.sensor_ixs().map(|ix| system.topic(ix, &self.desk.files.prefix)));
            topics.filter(|topic| heard.contains(topic.as_str())).collect()
        };
        unassigned.retain(|stray| !claimed.contains(&stray.topic));
        unassigned
    }

    /// The system files that cannot be taken and that `visitor` may know of: those of which nobody can tell whose they
    /// are only where they see everything.
    pub(super) fn faulty(&self, visitor: &Visitor) -> Vec<FaultyFile> {
        let all = Arc::clone(&self.desk.faulty.borrow());
        let seen = |file: &&FaultyFile| match &file.property {
            Some(property) => visitor.may_see(property),
            None => visitor.sees_everything(),
        };
        all.iter().filter(seen).cloned().collect()
    }

    /// The system called `id`, if there is one that `visitor` may see.
    pub(super) fn system(&self, visitor: &Visitor, id: &str) -> Option<Arc<System>> {
        let systems = self.desk.systems.borrow();
        let found = systems.iter().find(|system| system.id.as_str() == id)?;
        visitor.may_see(&found.property).then(|| Arc::clone(found))
    }

    /// The zone for what belongs to no system: the one that all systems in sight share, else UTC.
    pub(super) fn zone(&self, visitor: &Visitor) -> TimeZone {
        let systems = self.systems(visitor);
        let first = systems.first().map_or(TimeZone::UTC, |system| system.zone.clone());
        if systems.iter().all(|system| system.zone == first) { first } else { TimeZone::UTC }
    }

    /// Head and foot of a page drawn from the board's state `stamp`.
    pub(super) fn chrome(&self, visitor: &Visitor, stamp: u64) -> Chrome {
        let note = self.desk.link.borrow().clone();
        let zone = self.zone(visitor);
        Chrome {
            banner: self.desk.banner.clone(),
            learning: self.learning(visitor),
            faulty: faulty::notice(&self.faulty(visitor)),
            link: note.words,
            link_since: note.since.map(|at| self.moment(at, &zone)),
            as_of: Some(self.moment(self.now(), &zone)),
            who: visitor.csrf().map(|csrf| Who {
                name: visitor.name().to_owned(),
                is_person: visitor.person().is_some(),
                csrf,
                sees_everything: visitor.sees_everything(),
                attends: visitor.may(Action::Attend),
                plans: visitor.may(Action::Plan),
                governs: visitor.may(Action::Govern),
            }),
            stamp,
        }
    }

    /// Head and foot of a page for people who are not in yet.
    pub(super) fn chrome_outside(&self) -> Chrome {
        Chrome { banner: self.desk.banner.clone(), ..Chrome::default() }
    }

    /// What there is to say of systems in sight that learn anew.
    fn learning(&self, visitor: &Visitor) -> Option<String> {
        let note = Arc::clone(&self.desk.learning.borrow());
        if note.is_over() {
            return None;
        }
        let systems = self.systems(visitor);
        let seen: BTreeSet<_> = systems.iter().map(|system| &system.id).collect();
        note.within(|id| seen.contains(id)).notice()
    }

    fn moment(&self, at: EventTime, zone: &TimeZone) -> Moment {
        let mut moment = words::moment(at, self.now(), zone);
        if *zone == TimeZone::UTC {
            moment.words.push_str(" UTC");
        }
        moment
    }
}
