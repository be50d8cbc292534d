//! Watches what the household uses: water that runs though nobody uses any, and none where some is expected.

use serde::{Deserialize, Serialize};

use super::board::{Board, Conclusion, Spot};
use super::{Dose, Effect, words};
use crate::model::{Course, EventTime, Evidence, FindingKind, Severity, Span, System};

/// A meter that stands still for this long says that nothing runs.
const STILL: Span = Span::from_mins(45);
/// It takes as many of the meter's usual intervals to know that it stands still.
const STILL_READINGS: f64 = 3.0;
/// Nobody uses water for this long without a pause, unless the house is known to.
const LONGEST_USE: Span = Span::from_hours(16);
/// Before the house is known, only this much counts.
const UNKNOWN_USE: Span = Span::from_hours(23);
/// Runs without a pause must be this much longer than the longest known.
const LONGER: f64 = 1.6;
/// Days by which a house is known, and by which its longest run is, or how seldom its floats rise.
const KNOWN_DAYS: u32 = 14;
const RUNS_KNOWN_DAYS: u32 = 28;
/// What a day takes off the longest run, or gap, that is remembered: guests leave.
const FADES: f64 = 0.01;
/// Doses that no meter counted, this close together, are a leak into the line.
const UNCOUNTED_WITHIN: Span = Span::from_days(3);
/// Without more of them for this long the finding is over.
const UNCOUNTED_OVER: Span = Span::from_days(3);
/// Rain this long before a dose may be it.
const RAIN_EXPLAINS: Span = Span::DAY;
/// What the meter counted this long before a dose showed may still be on its way through the soil.
const ON_ITS_WAY: Span = Span::from_hours(10);
/// A dose seen by this part of the basins is no trick of one probe.
const SEEN_BY: f64 = 0.75;
/// Metered water of which nothing arrives: at least so much, so much more than ever before, over this time.
const LOST_L: f64 = 300.0;
const LOST_FACTOR: f64 = 2.5;
const LOST_FOR: Span = Span::from_hours(54);
/// Soil that is full of rain shows little of what else comes.
const WET_AFTER_RAIN: Span = Span::from_days(2);
/// Nothing arrives and no meter says why: told after this time, and urgent after the longer one. People are
/// away for two or three weeks, and use little on the days before and after.
const QUIET: Span = Span::from_hours(84);
const QUIET_FACTOR: f64 = 2.5;
const LONG_QUIET: Span = Span::from_days(25);
/// The same while a system of the same property runs as usual on so many days.
const QUIET_ALONE: Span = Span::from_hours(54);
const SIBLING_DAYS: u32 = 2;

/// What is known of the use of one system.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct UseWatch {
    /// Last count of the meter, and when it last grew.
    meter: Option<(EventTime, f64)>,
    ran: Option<EventTime>,
    /// Since when it has run without a pause.
    running_since: Option<EventTime>,
    /// Longest run and longest gap between doses of late.
    longest_run: Span,
    longest_gap: Span,
    /// Most litres that ever passed between two doses that showed.
    most_litres: f64,
    days: u32,
    /// Last water in the basins, and litres counted since.
    arrived: Option<EventTime>,
    litres_since: f64,
    uncounted: [Option<EventTime>; 2],
    at_sewer: bool,
    /// Days since the last arrival on which a sibling had water, and the last of them.
    sibling_days: u32,
    sibling_at: Option<EventTime>,
}

/// The parts of the engine that use is held against.
pub(crate) struct UseView<'a> {
    pub(crate) system: &'a System,
    /// The meter's usual interval, where there is one that is heard.
    pub(crate) meter_gap: Option<Span>,
    pub(crate) last_rain: Option<EventTime>,
    /// Water is meant to come to the basins.
    pub(crate) to_landscape: bool,
    /// Sensors that would show it are heard and believed.
    pub(crate) can_see: bool,
}

impl UseWatch {
    /// The meter was read. Gives what passed since it was read before.
    pub(crate) fn metered(
        &mut self,
        view: &UseView<'_>,
        at: EventTime,
        count: f64,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) -> Option<(EventTime, f64)> {
        let (before_at, before) = self.meter.replace((at, count))?;
        let still = STILL.max(view.meter_gap.unwrap_or_default().scaled(STILL_READINGS));
        // A count below the one before is a meter that began anew.
        let passed = Some((count - before) * view.system.source.litres_per_count.unwrap_or(1.0));
        let passed = passed.filter(|&litres| litres > 0.0);
        // It stood still as far as it was read; what it counted in a gap between readings may have run on.
        let seen = if passed.is_some() { before_at } else { at };
        if self.ran.is_some_and(|ran| seen - ran > still) {
            self.pause(at, board, out);
        }
        let litres = passed?;
        self.ran = Some(at);
        self.litres_since += litres;
        let since = *self.running_since.get_or_insert(at);
        if at - since >= self.longest_use(still) {
            self.conclude_running(view.system, since, at, board, out);
        }
        Some((before_at, litres))
    }

    /// The meter stood still.
    fn pause(&mut self, at: EventTime, board: &mut Board, out: &mut Vec<Effect>) {
        if let (Some(since), Some(ran)) = (self.running_since.take(), self.ran)
            && !board.stands(FindingKind::UnexpectedWater, Spot::Source)
        {
            self.longest_run = self.longest_run.max(ran - since);
        }
        if self.uncounted[1].is_none() {
            board.clear(at, FindingKind::UnexpectedWater, Spot::Source, out);
        }
    }

    /// A run of this length is no use. A meter that is seldom read sees few of the pauses.
    fn longest_use(&self, still: Span) -> Span {
        if self.days < RUNS_KNOWN_DAYS || still > STILL.scaled(2.0) {
            return UNKNOWN_USE.max(self.longest_run.scaled(LONGER));
        }
        LONGEST_USE.max(self.longest_run.scaled(LONGER))
    }

    /// A dose was concluded.
    pub(crate) fn dosed(
        &mut self,
        view: &UseView<'_>,
        dose: &Dose,
        now: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        // Rain is no use.
        if dose.quality <= 0.0 {
            return;
        }
        let rained = view.last_rain.is_some_and(|rain| rain > dose.at - RAIN_EXPLAINS);
        let ran = self.ran.is_some_and(|ran| ran > dose.at - ON_ITS_WAY);
        let counted = dose.litres.is_some() || view.meter_gap.is_none() || ran;
        if counted {
            self.arrived_at(dose.at, now, board, out);
        } else if !rained && dose.quality >= SEEN_BY && view.to_landscape {
            self.uncounted =
                [self.uncounted[1].filter(|&last| dose.at - last <= UNCOUNTED_WITHIN), Some(dose.at)];
            if let [Some(first), Some(last)] = self.uncounted {
                let says = words::uncounted(view.system, first, last);
                let evidence = vec![Evidence { at: Some(last), says }];
                conclude(
                    view.system,
                    FindingKind::UnexpectedWater,
                    Severity::Warning,
                    0.85,
                    ("since", first),
                    evidence,
                    now,
                    board,
                    out,
                );
            }
        }
    }

    /// Water came to a basin.
    pub(crate) fn arrived_at(
        &mut self,
        at: EventTime,
        now: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        if let Some(before) = self.arrived.filter(|&before| at > before)
            && !board.stands(FindingKind::NoWater, Spot::Source)
        {
            self.longest_gap = self.longest_gap.max(at - before);
            self.most_litres = self.most_litres.max(self.litres_since);
        }
        board.clear(now, FindingKind::NoWater, Spot::Source, out);
        self.arrived = self.arrived.max(Some(at));
        self.litres_since = 0.0;
        self.sibling_days = 0;
    }

    /// The diverter reported its position. At the landscape, nothing was expected until now.
    pub(crate) fn turned(&mut self, at: EventTime, course: Course) {
        if std::mem::replace(&mut self.at_sewer, course == Course::Sewer) != (course == Course::Sewer) {
            self.opened(at);
        }
    }

    fn opened(&mut self, at: EventTime) {
        self.arrived = self.arrived.map(|before| before.max(at));
        self.litres_since = 0.0;
    }

    /// Another system of the same property had water.
    pub(crate) fn sibling_used(&mut self, at: EventTime) {
        if self.sibling_at.is_none_or(|before| at - before >= Span::DAY) {
            self.sibling_at = Some(at);
            self.sibling_days += 1;
        }
    }

    /// Nobody listened until `at`: neither what the meter counted meanwhile nor that nothing came says anything.
    pub(crate) fn unheard_until(&mut self, at: EventTime, board: &Board) {
        (self.meter, self.running_since) = (None, None);
        self.ran = self.ran.map(|ran| ran.max(at));
        let stands = board.stands(FindingKind::UnexpectedWater, Spot::Source);
        self.uncounted = [None, self.uncounted[1].filter(|_| stands).map(|last| last.max(at))];
        self.arrived = self.arrived.map(|last| last.max(at));
        (self.litres_since, self.sibling_days) = (0.0, 0);
    }

    /// A day is over.
    pub(crate) fn close_day(
        &mut self,
        view: &UseView<'_>,
        now: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        self.days += 1;
        self.longest_run = self.longest_run.scaled(1.0 - FADES);
        self.longest_gap = self.longest_gap.scaled(1.0 - FADES);
        if self.uncounted[1].is_some_and(|last| now - last > UNCOUNTED_OVER) {
            self.uncounted = [None; 2];
            if self.running_since.is_none() {
                board.clear(now, FindingKind::UnexpectedWater, Spot::Source, out);
            }
        }
        if !view.can_see || !view.to_landscape {
            // What cannot be seen, or is not meant to come, is not missed.
            self.arrived = self.arrived.map(|_| now);
            self.litres_since = 0.0;
            return;
        }
        self.judge_quiet(view, now, board, out);
    }

    fn judge_quiet(&self, view: &UseView<'_>, now: EventTime, board: &mut Board, out: &mut Vec<Effect>) {
        // Floats alone show large doses only, so that it takes longer to know how seldom these come.
        let known_days = if view.system.has_floats_alone() { RUNS_KNOWN_DAYS } else { KNOWN_DAYS };
        let Some(last) = self.arrived.filter(|_| self.days >= known_days) else { return };
        let (quiet, gap) = (now - last, self.longest_gap.scaled(QUIET_FACTOR));
        let rained = view.last_rain.is_some_and(|rain| now - rain < WET_AFTER_RAIN);
        let is_lost = view.meter_gap.is_some()
            && !rained
            && quiet >= LOST_FOR
            && self.litres_since >= LOST_L.max(LOST_FACTOR * self.most_litres);
        let is_alone = self.sibling_days >= SIBLING_DAYS && quiet >= QUIET_ALONE.max(gap);
        let (severity, probability, says) = if is_lost {
            let says = words::water_lost(view.system, last, self.litres_since);
            (Severity::Warning, 0.95, says)
        } else if is_alone {
            (Severity::Warning, 0.85, words::quiet_alone(view.system, last, self.sibling_days))
        } else if view.meter_gap.is_none() && quiet >= QUIET.max(gap) || quiet >= LONG_QUIET.max(gap) {
            let is_long = quiet >= LONG_QUIET.max(gap);
            let severity = if is_long { Severity::Warning } else { Severity::Info };
            (severity, if is_long { 0.7 } else { 0.6 }, words::quiet(view.system, last, self.longest_gap))
        } else {
            return;
        };
        let evidence = vec![Evidence { at: Some(last), says }];
        conclude(
            view.system,
            FindingKind::NoWater,
            severity,
            probability,
            ("last_water", last),
            evidence,
            now,
            board,
            out,
        );
    }

    fn conclude_running(
        &self,
        system: &System,
        since: EventTime,
        at: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let says = words::runs_on(system, since, self.longest_run.max(STILL));
        let evidence = vec![Evidence { at: Some(since), says }];
        conclude(
            system,
            FindingKind::UnexpectedWater,
            Severity::Warning,
            0.95,
            ("since", since),
            evidence,
            at,
            board,
            out,
        );
    }
}

#[expect(clippy::too_many_arguments, reason = "one finding about the source, with where its effects go")]
fn conclude(
    system: &System,
    kind: FindingKind,
    severity: Severity,
    probability: f64,
    (name, since): (&'static str, EventTime),
    evidence: Vec<Evidence>,
    at: EventTime,
    board: &mut Board,
    out: &mut Vec<Effect>,
) {
    let estimate = vec![(name, since.to_string().into())];
    let conclusion = Conclusion { kind, spot: Spot::Source, severity, probability, estimate, evidence };
    board.conclude(system, at, conclusion, out);
}
