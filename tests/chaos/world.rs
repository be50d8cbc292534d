//! One run: the daemon, and everything around it that goes wrong when the seed says so.

use std::ops::Range;
use std::sync::Arc;

use basinward::alerts::{Act, AlertNo, Routing};
use basinward::ledger::{AlertFilter, AlertOrder, AlertWork, LedgerFault, Order};
use basinward::model::{EventTime, Span, System};
use basinward::notify;

use crate::broker::{Broker, Way};
use crate::chance::Chance;
use crate::daemon::{Daemon, Handed};
use crate::disk::{self, Image};
use crate::outside::{self, Phone, Reader};
use crate::yards::{self, START};

/// Days that the sensors speak.
const DAYS: i64 = 3;
/// Hours without any fault at the end, so that everything can come to rest.
const REST: Span = Span::from_hours(14);

/// How often things go wrong; each from 0 to 1, a step.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Faults {
    way: Way,
    crashes: f64,
    torn_commits: f64,
    lost_connections: f64,
    full_disks: f64,
    clock_steps: f64,
    outages: f64,
}

impl Faults {
    fn drawn(chance: &mut Chance) -> Self {
        let mut some = |most: f64| if chance.happens(0.4) { 0.0 } else { most * chance.unit() };
        Self {
            way: Way { delays: some(1.0), repeats: some(1.0), reorders: some(1.0) },
            crashes: some(0.02),
            torn_commits: some(0.03),
            lost_connections: some(0.1),
            full_disks: some(0.05),
            clock_steps: some(0.02),
            outages: some(0.05),
        }
    }
}

/// What somebody waits for.
pub(crate) enum Waits {
    Told,
    Tried(u64),
    Passed,
    Acknowledged(AlertNo),
    Noted(String),
}

/// Something that the daemon took in.
#[derive(Clone)]
pub(crate) enum Taken {
    Message(Handed),
    Tick(EventTime),
}

pub(crate) struct World {
    chance: Chance,
    pub(crate) faults: Faults,
    pub(crate) systems: Vec<Arc<System>>,
    routing: Routing,
    /// True time, and how far the daemon's clock is off.
    now: EventTime,
    off: Span,
    pub(crate) broker: Broker,
    connection: u32,
    daemon: Option<Daemon<Waits>>,
    /// Taken in since the last commit, and before it.
    open: Vec<Taken>,
    storing_fails: bool,
    pub(crate) kept: Vec<Taken>,
    last_commit: u64,
    disk_is_full: bool,
    pub(crate) phone: Phone,
    pub(crate) reader: Reader,
    /// What a person did and was told that it is done.
    pub(crate) acknowledged: Vec<AlertNo>,
    pub(crate) noted: Vec<String>,
    notes: u32,
    /// Hours of the run for which nobody outside answers.
    outage: Range<i64>,
    pub(crate) crashes: u64,
    pub(crate) failed_commits: u64,
}

impl World {
    pub(crate) fn new(seed: u64) -> Self {
        let mut chance = Chance::new(seed);
        let faults = Faults::drawn(&mut chance);
        let systems = yards::systems();
        let story = yards::story(DAYS, &mut chance.apart());
        let broker = Broker::new(story, faults.way, chance.apart());
        let daemon = Daemon::start(disk::folder(), &systems);
        Self {
            faults,
            routing: outside::routing(),
            now: START,
            off: Span::default(),
            broker,
            connection: 0,
            daemon: Some(daemon),
            open: Vec::new(),
            storing_fails: false,
            kept: Vec::new(),
            last_commit: 0,
            disk_is_full: false,
            phone: Phone::default(),
            reader: Reader::default(),
            acknowledged: Vec::new(),
            noted: Vec::new(),
            notes: 0,
            crashes: 0,
            failed_commits: 0,
            systems,
            chance,
            outage: 0..0,
        }
    }

    /// As [`World::new`], but for these hours nobody outside answers.
    pub(crate) fn with_outage(seed: u64, hours: Range<i64>) -> Self {
        Self { outage: hours, ..Self::new(seed) }
    }

    /// Lives through everything, and gives back the daemon at rest.
    pub(crate) fn run(&mut self) {
        let end = START + Span::from_days(DAYS);
        while self.now < end {
            self.now = self.now + Span::from_secs(self.chance.between(1, 1200));
            self.go_wrong();
            self.step();
        }
        self.come_to_rest();
        let rested = self.now + REST;
        while self.now < rested || !self.is_at_rest() {
            assert!(self.now < rested + REST, "it never comes to rest");
            self.now = self.now + Span::from_mins(5);
            self.step();
        }
    }

    pub(crate) fn daemon(&mut self) -> &mut Daemon<Waits> {
        self.daemon.as_mut().expect("there is one except while it is restarted")
    }

    /// The daemon's clock.
    fn clock(&self) -> EventTime {
        self.now + self.off
    }

    fn go_wrong(&mut self) {
        let faults = self.faults;
        if self.chance.happens(faults.crashes) {
            self.crash(None);
        }
        if self.chance.happens(faults.lost_connections) {
            self.lose_connection();
        }
        if self.chance.happens(faults.clock_steps) {
            let most = if self.chance.happens(0.7) { 300 } else { 3 * 3600 };
            self.off = Span::from_secs(self.chance.between(-most, most));
        }
        if self.chance.happens(if self.disk_is_full { 0.3 } else { faults.full_disks }) {
            self.disk_is_full = !self.disk_is_full;
            let room = self.disk_is_full.then(|| self.chance.between(0, 60_000).unsigned_abs());
            self.daemon().let_room(room);
        }
        if self.outage.contains(&((self.now - START).hours_f64() as i64)) {
            (self.phone.is_out_of_reach, self.reader.is_down) = (true, true);
            return;
        }
        if self.chance.happens(if self.phone.is_out_of_reach { 0.1 } else { faults.outages }) {
            self.phone.is_out_of_reach = !self.phone.is_out_of_reach;
        }
        if self.chance.happens(if self.reader.is_down { 0.1 } else { faults.outages }) {
            self.reader.is_down = !self.reader.is_down;
        }
    }

    fn come_to_rest(&mut self) {
        let none = Way { delays: 0.0, repeats: 0.0, reorders: 0.0 };
        self.faults = Faults {
            way: none,
            crashes: 0.0,
            torn_commits: 0.0,
            lost_connections: 0.0,
            full_disks: 0.0,
            clock_steps: 0.0,
            outages: 0.0,
        };
        self.off = Span::default();
        self.disk_is_full = false;
        self.daemon().let_room(None);
        self.phone.is_out_of_reach = false;
        self.reader.is_down = false;
        self.lose_connection();
    }

    fn is_at_rest(&mut self) -> bool {
        self.broker.is_empty() && !self.daemon().is_waiting()
    }

    /// One round of the writer, then what the others do between two rounds.
    fn step(&mut self) {
        self.broker.take_until(self.now);
        // While storing fails the writer takes in nothing more.
        if !self.storing_fails {
            self.take();
        }
        if self.commit() {
            self.others();
        }
    }

    fn take(&mut self) {
        let (received, connection) = (self.clock(), self.connection);
        let most = if self.chance.happens(0.2) { 5 } else { 500 };
        let sent = self.broker.send(most);
        let handed: Vec<_> =
            sent.into_iter().map(|message| Handed { connection, received, message }).collect();
        self.open.extend(handed.iter().cloned().map(Taken::Message));
        if self.daemon().take(received, handed) {
            self.open.push(Taken::Tick(received));
        }
    }

    /// Stores what was taken in; false if that failed, or the daemon was killed over it.
    fn commit(&mut self) -> bool {
        let is_torn = self.chance.happens(self.faults.torn_commits);
        let before = is_torn.then(|| Image::of(self.daemon().folder()));
        let stored = self.daemon().store();
        if let Some(before) = before {
            let torn = before.torn(&Image::of(self.daemon().folder()), &mut self.chance);
            self.crash(Some(torn));
            return false;
        }
        let kept = match stored {
            Ok(kept) => kept,
            Err(fault) => {
                assert!(fault.may_pass(), "a full disk is no reason to give up: {fault:?}");
                self.failed_commits += 1;
                self.storing_fails = true;
                return false;
            }
        };
        self.storing_fails = false;
        if let Some(seq) = kept.seq {
            self.keep(seq);
        }
        if self.chance.happens(self.faults.crashes) {
            self.crash(None);
            return false;
        }
        for handed in kept.handed {
            if self.chance.happens(self.faults.lost_connections / 20.0) {
                self.lose_connection();
            }
            if handed.connection == self.connection {
                self.broker.acknowledge(handed.message.no);
            }
        }
        true
    }

    /// What was taken in is stored with commit `seq`. The time that engines were told without concluding anything is so
    /// only if something else went into the journal with it; a crash before that makes it untold.
    fn keep(&mut self, seq: u64) {
        self.last_commit = seq;
        let is_told = self.daemon().has_journal_of(seq);
        let is_kept = |taken: &mut Taken| is_told || matches!(taken, Taken::Message(_));
        self.kept.extend(self.open.extract_if(.., is_kept));
    }

    /// Planner, courier, reader and a person, each with what the ledger shows now.
    fn others(&mut self) {
        self.hear_answers();
        let now = self.clock();
        if self.chance.happens(0.3) {
            // A full disk makes this wait, as it does anything else.
            let done = self.daemon().keep_house(now);
            assert!(done.as_ref().err().is_none_or(LedgerFault::may_pass), "{done:?}");
        }
        let view = self.daemon().view.clone();
        let planned =
            notify::orders(&view, &self.routing, &self.systems, now).expect("the ledger can be read");
        // The planner waits for its answers before it looks again.
        for order in planned {
            self.daemon().order(Waits::Told, order);
        }
        let tried = self.phone.try_due(&view, now, &mut self.chance).expect("the ledger can be read");
        for (delivery, order) in tried {
            self.daemon().order(Waits::Tried(delivery), order);
        }
        if let Some(order) = self.reader.pass_on(&view).expect("the ledger can be read") {
            self.daemon().order(Waits::Passed, order);
        }
        if self.chance.happens(0.03) {
            self.attend(now);
        }
    }

    /// A person acknowledges some alert, or notes something about it.
    fn attend(&mut self, now: EventTime) {
        let standing = AlertFilter { standing: Some(true), ..AlertFilter::default() };
        let alerts = self.daemon().view.alerts(&standing, 50).expect("the ledger can be read");
        if alerts.is_empty() {
            return;
        }
        let alert = alerts[self.chance.below(alerts.len())].no;
        let (waits, act) = if self.chance.happens(0.3) {
            (Waits::Acknowledged(alert), Act::Acknowledge)
        } else {
            self.notes += 1;
            let text = format!("note {}", self.notes);
            (Waits::Noted(text.clone()), Act::Note { text })
        };
        let work = AlertWork::Step { alert, act };
        let order = Order::Alert(AlertOrder { at: now, by: Some("ana".to_owned()), work });
        self.daemon().order(waits, order);
    }

    fn hear_answers(&mut self) {
        for (waits, answer) in self.daemon().answers() {
            match waits {
                Waits::Told => {}
                Waits::Tried(delivery) => self.phone.noted(delivery),
                Waits::Passed => self.reader.is_placing = false,
                Waits::Noted(text) => self.noted.extend(answer.is_ok().then_some(text)),
                Waits::Acknowledged(alert) => self.acknowledged.extend(answer.is_ok().then_some(alert)),
            }
        }
    }

    fn lose_connection(&mut self) {
        self.connection += 1;
        self.broker.lose_connection();
    }

    /// Kills the daemon and starts it on what the disk holds.
    fn crash(&mut self, image: Option<Image>) {
        self.crashes += 1;
        let daemon = self.daemon.take().expect("it ran");
        let folder = daemon.crash(image);
        let systems = self.systems.clone();
        let daemon = self.daemon.insert(Daemon::start(folder, &systems));
        let seq = daemon.last_commit();
        if seq > self.last_commit {
            self.keep(seq);
        }
        self.last_commit = seq;
        self.open.clear();
        self.storing_fails = false;
        if self.disk_is_full {
            self.daemon().let_room(Some(0));
        }
        self.lose_connection();
        self.phone.forget();
        self.reader.is_placing = false;
    }
}
