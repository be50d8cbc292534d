//! What is known of one basin's floor, and who tells it.

use serde::{Deserialize, Serialize};

use super::course::{Course, Seen};
use super::evidence::{Day, loads_from, resistance};
use super::floor::Floor;
use super::inflow::Inflow;
use super::seepage::{Seepage, clean_h};
use super::silting::STRETCH_DAYS;
use super::watch::DayView;
use crate::engine::mulch::Chips;
use crate::model::{BasinIx, EventTime, Span, System};

/// Days that count together.
pub(super) const STRETCH: i64 = STRETCH_DAYS as i64;
/// A basin in which water stands receives this part of its designed share at the least.
const LEAST_WHERE_STOOD: f64 = 0.5;
/// How far a probe may be wrong of a floor for weeks (logarithm of its resistance).
const PROBE_MISSES: f64 = 2.5;
/// Stretches for which a slow floor may not be told.
const MOST_HELD: u8 = 2;

/// What is known of one basin.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct BasinSoak {
    /// The part of each dose that it receives.
    pub(super) share: f64,
    pub(super) chips: Chips,
    pub(super) celsius: Option<f64>,
    /// How long water stood at the float today.
    pub(super) stood: Span,
    /// Days of this stretch that can be told from.
    pub(super) days: Vec<Day>,
    /// What the probe below the floor told in this stretch.
    pub(super) seepage: Seepage,
    /// The courses of the floor by its witnesses, which are never mixed: each is wrong in its own way.
    pub(super) courses: [Course; 2],
    /// Since when a slow floor stands, and the logarithm of the resistance it had before.
    pub(super) slow: Option<Slow>,
    /// Stretches for which a slow floor was not told, since more water may stand on it.
    held: u8,
}

/// Who tells how a floor is.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) enum Witness {
    Float,
    Probe,
}

impl Witness {
    /// How far it may be wrong for weeks (logarithm): dry soil takes water later too.
    pub(super) fn miss(self) -> f64 {
        match self {
            Self::Float => 0.0,
            Self::Probe => PROBE_MISSES,
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Slow {
    pub(super) by: Witness,
    pub(super) raised: i32,
    pub(super) before: f64,
    /// Whether it needed a visit when it was last looked at.
    pub(super) needed_visit: bool,
    /// Whether it asks for one.
    pub(super) warns: bool,
}

impl Slow {
    /// Whether it asks for a visit, after a look. One week's loads may be odd, so it takes two looks to change that,
    /// unless a flood is imminent.
    pub(super) fn look(&mut self, needs_visit: bool, is_imminent: bool) -> bool {
        if needs_visit == self.needed_visit || is_imminent {
            self.warns = needs_visit;
        }
        self.needed_visit = needs_visit;
        self.warns
    }
}

impl BasinSoak {
    pub(super) fn new(system: &System, ix: BasinIx) -> Self {
        Self {
            share: system.tree().design_share(ix),
            chips: Chips::new(&system.basin(ix).mulch),
            celsius: None,
            stood: Span::ZERO,
            days: Vec::new(),
            seepage: Seepage::default(),
            courses: Default::default(),
            slow: None,
            held: 0,
        }
    }

    /// It begins anew: its floor was dug.
    pub(super) fn dug(&mut self) {
        (self.courses, self.seepage, self.slow) = Default::default();
        self.days.clear();
    }

    /// Nobody listened between two times: the stretch under way says nothing so far, and the mulch went on rotting.
    pub(super) fn unheard(&mut self, from: EventTime, to: EventTime) {
        self.stood = Span::ZERO;
        self.days.clear();
        self.seepage.break_off();
        self.chips.unheard(from, to);
    }

    pub(super) fn course(&mut self, by: Witness) -> &mut Course {
        &mut self.courses[by as usize]
    }

    /// What the float told in a stretch that is over.
    pub(super) fn by_float(
        &self,
        inflow: &Inflow,
        (floor, days): (&Floor, &[Day]),
        (system, ix): (&System, BasinIx),
        stretch: i32,
    ) -> Option<Seen> {
        let (first, last) = (days.first()?, days.last()?);
        let has_stood = days.iter().any(|day| day.stood > Span::ZERO);
        let share = if has_stood { self.share_where_stood(system, ix) } else { self.share };
        let loads = inflow.between(loads_from(first.from), last.to);
        let told = resistance(floor, days, &loads.map(|(at, litres)| (at, floor.depth_mm(litres * share))))?;
        Some(Seen::by_float(stretch, &told))
    }

    /// What the probe told in a stretch that is over, in which the float saw no more than a bound, if anything.
    pub(super) fn by_probe(
        &mut self,
        inflow: &Inflow,
        floor: &Floor,
        bound: Option<Seen>,
        (system, stretch): (&System, i32),
    ) -> Option<Seen> {
        let share = self.share;
        let depth = move |(at, litres)| (at, floor.depth_mm(litres * share));
        let clean_h = clean_h(system.soil.properties().conductivity_mm_h);
        self.seepage.close(floor, (clean_h, bound), stretch, |from, to| inflow.between(from, to).map(depth))
    }

    /// The part of each dose that it receives, if water stands there: then some came, whatever is believed of its outlet.
    pub(super) fn share_where_stood(&self, system: &System, ix: BasinIx) -> f64 {
        self.share.max(LEAST_WHERE_STOOD * system.tree().design_share(ix))
    }

    /// Whether a floor that seems slow is, though its basin may get more water, which stands for longer on any floor:
    /// then it is told once that has had its time to be found.
    pub(super) fn is_not_by_load(&mut self, may_get_more: bool) -> bool {
        self.held = if may_get_more { self.held.saturating_add(1) } else { 0 };
        self.held == 0 || self.held > MOST_HELD
    }

    /// What the float has said since `since` was no water. Says whether a slow floor was concluded from it.
    pub(super) fn belied(&mut self, since: EventTime, view: &DayView<'_>) -> bool {
        let days = ((view.to - since).days_f64().ceil() as i64 - 1).max(0);
        let stretch = (view.number - days).div_euclid(STRETCH) as i32;
        self.days.retain(|day| day.to <= since);
        self.course(Witness::Float).forget_from(stretch);
        self.slow.take_if(|slow| slow.by == Witness::Float && slow.raised >= stretch).is_some()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::soak::evidence::Told;
    use crate::engine::soak::watch::SoakWatch;
    use crate::engine::stories::yard;

    #[test]
    fn it_takes_two_looks_to_ask_for_a_visit_and_two_to_ask_no_more() {
        let mut slow = Slow { by: Witness::Float, raised: 0, before: 0.0, needed_visit: false, warns: false };
        let looks = [true, false, true, true, false, true, false, false];
        let warns = looks.map(|needs_visit| slow.look(needs_visit, false));
        assert_eq!(warns, [false, false, false, true, true, true, true, false]);
        assert!(slow.look(true, true), "a flood is imminent");
    }

    #[test]
    fn what_a_float_said_that_is_not_believed_is_forgotten_and_so_is_what_was_concluded_from_it() {
        let system = yard();
        let at = |day: i64| EventTime::from_secs(86_400 * day);
        let told = Told { log_resistance: 1.0, stood_h: 3.0, per_load: 1.0 };
        let seen = |stretch| Seen::by_float(stretch, &told);
        let day = |n| Day { from: at(n), to: at(n + 1), stood: Span::from_hours(20) };
        let mut basin = SoakWatch::new(&system).basins.swap_remove(0);
        (0..=5).for_each(|stretch| basin.course(Witness::Float).note(seen(stretch)));
        basin.days = (24..30).map(day).collect();
        basin.slow =
            Some(Slow { by: Witness::Float, raised: 5, before: 0.0, needed_visit: false, warns: false });
        let view = DayView {
            system: &system,
            layouts: &[],
            floats: &[],
            may_get_more: &[],
            number: 30,
            from: at(30),
            to: at(31),
            heard_since: at(0),
        };
        // Since the morning of day 22, in the stretch that began with day 20.
        assert!(basin.clone().belied(at(22), &view));
        assert!(!basin.belied(at(26) + Span::HOUR, &view), "the slow floor was known before");
        let days: Vec<EventTime> = basin.days.iter().map(|day| day.from).collect();
        assert_eq!(days, [at(24), at(25)]);
        assert!(basin.slow.is_some());
    }
}
