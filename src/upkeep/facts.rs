//! What tasks are derived from.

use std::collections::BTreeMap;

use super::Day;
use crate::model::{EventTime, Finding, FindingKind, Id, Span, Subject, System, Work};

/// A finding that stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    /// The finding.
    pub finding: Finding,
    /// Since when.
    pub since: EventTime,
}

/// A flood that is over.
#[derive(Clone, Debug, PartialEq)]
pub struct PastFlood {
    /// The basin.
    pub basin: Subject,
    /// When it was found.
    pub since: EventTime,
    /// When it was over.
    pub until: EventTime,
}

impl PastFlood {
    /// For how long it asks for a look.
    pub const COUNTS: Span = Span::from_days(60);
}

/// When a basin would first flood if its mulch were not renewed.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlook {
    /// Which basin.
    pub basin: Id,
    /// When it was thought.
    pub made: EventTime,
    /// The best estimate.
    pub due: EventTime,
    /// With 80 % probability not before this.
    pub earliest: EventTime,
    /// And not after this.
    pub latest: EventTime,
    /// The soonest best estimate of late, since the basin was found to soak slowly; this one's where it does not.
    pub soonest: EventTime,
    /// Litres since the mulch was placed.
    pub litres: f64,
    /// The part of the mulch that is left, 0 to 1.
    pub mulch_left: f64,
    /// What was expected a week before, where a forecast was made then.
    pub week_ago: Option<Earlier>,
}

/// An earlier estimate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Earlier {
    /// When it was thought.
    pub made: EventTime,
    /// The best estimate.
    pub due: EventTime,
}

impl Outlook {
    /// For how long a forecast counts beside newer ones.
    pub const RECENT: Span = Span::from_days(28);
    /// The forecast before one that it is set beside was made within this: at the least, and at the most.
    pub const WEEK_AGO: (Span, Span) = (Span::from_days(7), Span::from_days(14));

    /// Forgets what was expected a week before where the mulch was renewed since: that was of other mulch.
    pub fn forget_old_mulch(&mut self, last: &[LastDone]) {
        let renewed = last.iter().filter(|it| {
            it.work == Some(Work::MulchRenewed) && it.subject == Subject::Basin(self.basin.clone())
        });
        let renewed = renewed.map(|it| it.at).max();
        self.week_ago = self.week_ago.filter(|before| renewed.is_none_or(|at| at < before.made));
    }

    /// Remembers the best estimates of `others`: when each was made, and for which basin. Only what was told since the
    /// basin was found to soak slowly counts, and of that only the last weeks: more was seen since.
    pub fn remember<'o>(
        &mut self,
        standing: &[Standing],
        others: impl Iterator<Item = (EventTime, &'o Self)>,
    ) {
        let here = |it: &&Standing| {
            it.finding.kind == FindingKind::SlowSoak
                && it.finding.subject == Subject::Basin(self.basin.clone())
        };
        let Some(since) = standing.iter().find(here).map(|it| it.since) else { return };
        let from = since.max(self.made - Self::RECENT);
        let of_basin = others.filter(|(made, other)| *made >= from && other.basin == self.basin);
        self.soonest = of_basin.map(|(_, other)| other.due).fold(self.soonest, EventTime::min);
    }
}

/// When a part was worked on last.
#[derive(Clone, Debug, PartialEq)]
pub struct LastDone {
    /// The part.
    pub subject: Subject,
    /// What was done; none for the last look at it, whatever was done.
    pub work: Option<Work>,
    /// When.
    pub at: EventTime,
}

/// What a flow test said of a splitter.
#[derive(Clone, Debug, PartialEq)]
pub struct Tested {
    /// The splitter.
    pub splitter: Id,
    /// When.
    pub at: EventTime,
    /// It was found even; otherwise the test did not prove it.
    pub even: bool,
}

/// A dose of late.
#[derive(Clone, Debug, PartialEq)]
pub struct Dose {
    /// When it began.
    pub at: EventTime,
    /// Fraction that each basin with a usable sensor received.
    pub shares: BTreeMap<Id, f64>,
}

/// Whether whoever does `work` at a basin has its outlet before their eyes.
pub const fn shows_outlet(work: Work) -> bool {
    matches!(work, Work::OutletCleared | Work::BasinLoosened)
}

/// Everything known of one system.
#[derive(Clone, Debug)]
pub struct Facts<'a> {
    /// The system.
    pub system: &'a System,
    /// Findings that stand.
    pub standing: &'a [Standing],
    /// Floods of the last [`PastFlood::COUNTS`] that are over.
    pub past_floods: &'a [PastFlood],
    /// The newest forecast of each basin that has one.
    pub outlooks: &'a [Outlook],
    /// Past work.
    pub last: &'a [LastDone],
    /// Flow tests of late.
    pub tests: &'a [Tested],
    /// Doses of the last weeks, in order.
    pub doses: &'a [Dose],
    /// When the diverter was turned last, as far as its sensor tells.
    pub diverter_turned: Option<EventTime>,
    /// Since when the system is watched; what was done before is unknown.
    pub since: EventTime,
    /// Now.
    pub now: EventTime,
}

impl Facts<'_> {
    /// When `subject` was worked on so last.
    pub(super) fn done(&self, subject: &Subject, work: Work) -> Option<EventTime> {
        self.last.iter().filter(|it| it.subject == *subject && it.work == Some(work)).map(|it| it.at).max()
    }

    /// When `subject` was looked at last, whatever was done.
    pub(super) fn seen(&self, subject: &Subject) -> Option<EventTime> {
        self.last.iter().filter(|it| it.subject == *subject).map(|it| it.at).max()
    }

    /// When the outlet of the basin `subject` was looked at last: whoever only changes something else there may not
    /// have seen it.
    pub(super) fn outlet_seen(&self, subject: &Subject) -> Option<EventTime> {
        let here = || self.last.iter().filter(|it| it.subject == *subject);
        let other_work = |at| {
            let works: Vec<_> = here().filter(|it| it.at == at).filter_map(|it| it.work).collect();
            !works.is_empty() && !works.into_iter().any(shows_outlet)
        };
        here().filter(|it| it.work.is_none_or(shows_outlet) && !other_work(it.at)).map(|it| it.at).max()
    }

    /// When the system came into service, or was first watched.
    pub(super) fn begun(&self) -> EventTime {
        let commissioned = self.system.commissioned.map(|date| Day::start_of(date, &self.system.zone));
        commissioned.unwrap_or(self.since).min(self.now)
    }
}
