//! Watches over standing water in one basin: ponds and floods.

use serde::{Deserialize, Serialize};

use super::allowance::OVERFLOW_HOLD;
use super::board::{Board, Conclusion, Spot};
use super::layout::BasinLayout;
use super::sensor_watch::{SensorWatch, conclude_sensor};
use super::signal::{FloatSignal, Wetting};
use super::soak_habit::SoakHabit;
use super::soil_below::SoilBelow;
use super::{Effect, Soak, words};
use crate::model::{BasinIx, EventTime, Evidence, FindingKind, SensorIx, Severity, Span, System};

/// Water must be gone this long before a pond or flood is over: the next shower refills it.
const CALM: Span = Span::from_mins(30);

/// Reports within this time of a change belong to it: waves make a float bounce as it rises and as it falls.
const BOUNCES: Span = Span::from_mins(10);
/// A report is missed when it has not come after so many of its usual intervals.
const TURN_MISSED: f64 = 2.2;
/// A basin in which a pond was told within this time is likely to have another.
const OF_LATE: Span = Span::from_days(30);

/// Rain counted this shortly before the float rose, or since, explains longer standing, by this factor.
const RAIN_EXPLAINS: Span = Span::from_hours(12);
const RAIN_FACTOR: f64 = 4.0;

/// How often a pond that was told was one, measured by the scoreboard.
const POND_PROBABILITY: f64 = 0.97;

/// What is known of standing water in one basin.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct BasinWatch {
    habit: SoakHabit,
    last_fall: Option<EventTime>,
    /// The rise of the float of which a flood or pond was told last.
    told_of: Option<EventTime>,
    /// What the soil says of the water above it.
    soil: SoilBelow,
}

/// What water in a basin is waiting for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum StandingDue {
    Flood,
    Overflow,
    Ponding,
    Dry,
}

/// One basin with the floats that watch it.
pub(crate) struct BasinView<'a> {
    pub(crate) system: &'a System,
    pub(crate) basin: BasinIx,
    pub(crate) layout: BasinLayout,
    pub(crate) sensors: &'a [SensorWatch],
    /// When the gauge last counted rain.
    pub(crate) last_rain: Option<EventTime>,
}

impl BasinView<'_> {
    fn signal(&self, sensor: Option<SensorIx>) -> Option<&FloatSignal> {
        self.sensors[sensor?.0 as usize].float()
    }

    fn float_since(&self) -> Option<EventTime> {
        self.signal(self.layout.float)?.wet_since()
    }

    fn overflow_since(&self) -> Option<EventTime> {
        self.signal(self.layout.overflow)?.wet_since()
    }

    /// When a pond due at `due` may be told: a float that repeats itself must have said since then that it is
    /// up, or have missed its turn to; before then is enough where a pond was told of late. The one message that it fell
    /// may have been lost; if the next one says that it is down, there is nothing to tell.
    fn confirmed(&self, due: EventTime, told_of: Option<EventTime>) -> Option<EventTime> {
        let watch = &self.sensors[self.layout.float?.0 as usize];
        let (last, is_up) = watch.float()?.last()?;
        if !watch.cadence.repeats_itself() {
            return Some(due);
        }
        let changed = watch.float()?.changed_at()?;
        let is_usual = told_of.is_some_and(|told| due - told <= OF_LATE);
        if last - changed <= BOUNCES || (is_up && last < due && !is_usual) {
            return Some(due.max(last + watch.cadence.usual_gap().scaled(TURN_MISSED)));
        }
        is_up.then(|| due.max(last))
    }

    /// The same where soil that dried since the float was heard says that a message was lost: whatever is due waits for
    /// the float's next turn.
    fn awaits_turn(&self, due: EventTime, soil: &SoilBelow) -> EventTime {
        let Some(watch) = self.layout.float.map(|float| &self.sensors[float.0 as usize]) else { return due };
        let Some((last, _)) = watch.float().and_then(FloatSignal::last) else { return due };
        let waits = watch.cadence.repeats_itself() && soil.dried_at().is_some();
        due.max(if waits { last + watch.cadence.usual_gap().scaled(TURN_MISSED) } else { last })
    }

    fn label(&self) -> String {
        words::basin(self.system, self.basin)
    }
}

impl BasinWatch {
    /// The basin soaks anew: its soak time has to be learnt again.
    pub(crate) fn relearn(&mut self) {
        self.habit = SoakHabit::default();
    }

    /// What happens next in this basin if no reading comes, and when.
    pub(crate) fn due(&self, view: &BasinView<'_>, board: &Board) -> Option<(EventTime, StandingDue)> {
        let spot = Spot::Basin(view.basin);
        let flood = board.since(FindingKind::Flooding, spot);
        let pond = board.since(FindingKind::Ponding, spot);
        let (float, overflow) = (view.float_since(), view.overflow_since());
        let limits = &view.layout.allowance;
        let stood = |sensor, hold| view.signal(sensor)?.stood_for(hold);
        let mut dues = [None; 4];
        if flood.is_none() {
            let due =
                stood(view.layout.float, limits.flood_hold).map(|due| view.awaits_turn(due, &self.soil));
            dues[0] = due.map(|due| (due, StandingDue::Flood));
            dues[1] = stood(view.layout.overflow, OVERFLOW_HOLD).map(|due| (due, StandingDue::Overflow));
        }
        // A flood says more of the same water.
        if pond.is_none() && flood.is_none() {
            let limit = limits.ponding(self.habit.learnt());
            // Rain fills every basin and wets the soil: what stands after it is a pond only if it stands for long.
            let after_rain =
                view.last_rain.zip(float).is_some_and(|(rain, since)| rain >= since - RAIN_EXPLAINS);
            let limit =
                if after_rain { limit.scaled(RAIN_FACTOR).min(limits.flood_hold.max(limit)) } else { limit };
            let due = stood(view.layout.float, limit).and_then(|due| view.confirmed(due, self.told_of));
            let due = due.map(|due| view.awaits_turn(due, &self.soil));
            dues[2] = due.map(|due| (due, StandingDue::Ponding));
        }
        // A flood judged on arrival stands before its rise has passed the watermark; a fall that a gateway had stored
        // is heard after the flood, but may have come before its time.
        let raised = flood.max(pond).filter(|_| float.is_none() && overflow.is_none());
        let fall = self.last_fall.filter(|&fall| self.told_of.is_none_or(|rise| fall >= rise));
        dues[3] = raised.zip(fall).map(|(raised, fall)| (raised.max(fall + CALM), StandingDue::Dry));
        dues.into_iter().flatten().min()
    }

    /// Takes note that a flood or pond was told of water that stands since `rise`.
    pub(crate) fn told(&mut self, rise: EventTime) {
        self.told_of = self.told_of.max(Some(rise));
    }

    /// Does what is due.
    pub(crate) fn fire(
        &mut self,
        view: &BasinView<'_>,
        due: StandingDue,
        at: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        match due {
            StandingDue::Flood => {
                if let Some(since) = view.float_since() {
                    self.told(since);
                    flood_by_float(view, since, board, out);
                }
            }
            StandingDue::Overflow => {
                if let Some(since) = view.overflow_since() {
                    self.told(since);
                    flood_by_overflow(view, since, board, out);
                }
            }
            StandingDue::Ponding => self.conclude_ponding(view, at, board, out),
            StandingDue::Dry => {
                board.clear(at, FindingKind::Flooding, Spot::Basin(view.basin), out);
                board.clear(at, FindingKind::Ponding, Spot::Basin(view.basin), out);
            }
        }
    }

    /// Takes note that the float said that water stands. Says whether it must have fallen in between, unheard.
    pub(crate) fn is_up(&mut self, at: EventTime) -> bool {
        self.soil.float_is_up(at)
    }

    /// Whether the soil speaks against the float, so that one more report of it is no flood yet.
    pub(crate) fn is_in_doubt(&self) -> bool {
        self.soil.dried_at().is_some()
    }

    /// Takes note of what the soil shows, and says whether its wetting belies the float.
    pub(crate) fn soil_shows(
        &mut self,
        view: &BasinView<'_>,
        at: EventTime,
        wetting: Option<&Wetting>,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let Some(probe) = view.layout.moisture.and_then(|s| view.sensors[s.0 as usize].probe()) else {
            return;
        };
        if let Some(content) = probe.content() {
            self.soil.shows(at, content, probe.deviation());
        }
        let Some(wetting) = wetting else { return };
        self.soil.wetted(wetting);
        let Some(float) = view.layout.float else { return };
        if let Some((since, doses)) = self.soil.belies(at) {
            let says = words::float_belied(view.system, float, since, doses);
            conclude_sensor(view.system, FindingKind::SensorStuck, float, at, says, board, out);
        }
    }

    /// A float that was stuck fell: it tells nothing of how long water stood.
    pub(crate) fn freed(&mut self, at: EventTime) {
        self.last_fall = self.last_fall.max(Some(at));
        self.soil.freed();
    }

    /// A float is heard to be down that was not known to be.
    pub(crate) fn is_dry(&mut self, at: EventTime) {
        self.last_fall = self.last_fall.max(Some(at));
    }

    /// Nobody listened until `at`: how the soil went on under a float that was up is not known, and a pond or flood that
    /// was about to be over has to be calm from then on.
    pub(crate) fn unheard_until(&mut self, at: EventTime) {
        self.soil.freed();
        let is_after = |fall: EventTime| self.told_of.is_none_or(|rise| fall >= rise);
        self.last_fall = self.last_fall.map(|fall| if is_after(fall) { fall.max(at) } else { fall });
    }

    /// Takes note that the float (or the overflow float) fell.
    pub(crate) fn fell(
        &mut self,
        basin: BasinIx,
        is_overflow: bool,
        began: EventTime,
        at: EventTime,
        out: &mut Vec<Effect>,
    ) {
        self.last_fall = self.last_fall.max(Some(at));
        if !is_overflow {
            self.soil.float_fell(at - began);
            out.push(Effect::Soak(Soak { basin, began, lasted: at - began }));
        }
    }

    /// Learns how long water usually stands.
    pub(crate) fn learn(&mut self, stood: Span) {
        self.habit.note(stood);
    }

    fn conclude_ponding(
        &mut self,
        view: &BasinView<'_>,
        at: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let Some(since) = view.float_since() else { return };
        self.told(since);
        let system = view.system;
        let says = match self.habit.learnt() {
            Some(learnt) => words::ponding_learnt(system, &view.label(), since, learnt),
            None => words::ponding_by_soil(system, &view.label(), since, view.layout.allowance.soil),
        };
        let conclusion = Conclusion {
            kind: FindingKind::Ponding,
            spot: Spot::Basin(view.basin),
            severity: Severity::Warning,
            probability: POND_PROBABILITY,
            estimate: vec![
                ("standing_since", since.to_string().into()),
                ("usual_soak_h", self.habit.learnt().map(|s| round(s.hours_f64())).into()),
            ],
            evidence: vec![Evidence { at: Some(since), says }],
        };
        board.conclude(system, at, conclusion, out);
    }
}

/// Concludes that a basin floods because its float has been wet since `since`.
pub(crate) fn flood_by_float(
    view: &BasinView<'_>,
    since: EventTime,
    board: &mut Board,
    out: &mut Vec<Effect>,
) {
    let hold = view.layout.allowance.flood_hold;
    let says = words::float_wet(view.system, &view.label(), since, hold);
    let mut evidence = vec![Evidence { at: Some(since), says }];
    if let Some((heard, _)) = view.signal(view.layout.float).and_then(FloatSignal::last) {
        let says = words::float_last_heard(view.system, &view.label(), heard);
        evidence.push(Evidence { at: Some(heard), says });
    }
    conclude_flood(view, since + hold, since, 0.97, evidence, board, out);
}

/// Concludes that a basin floods because its overflow float has been wet since `since`.
pub(crate) fn flood_by_overflow(
    view: &BasinView<'_>,
    since: EventTime,
    board: &mut Board,
    out: &mut Vec<Effect>,
) {
    let says = words::overflow_wet(view.system, &view.label(), since);
    let evidence = vec![Evidence { at: Some(since), says }];
    conclude_flood(view, since + OVERFLOW_HOLD, since, 0.98, evidence, board, out);
}

fn conclude_flood(
    view: &BasinView<'_>,
    at: EventTime,
    since: EventTime,
    probability: f64,
    evidence: Vec<Evidence>,
    board: &mut Board,
    out: &mut Vec<Effect>,
) {
    let conclusion = Conclusion {
        kind: FindingKind::Flooding,
        spot: Spot::Basin(view.basin),
        severity: Severity::Critical,
        probability,
        estimate: vec![("standing_since", since.to_string().into())],
        evidence,
    };
    board.conclude(view.system, at, conclusion, out);
}

fn round(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}
