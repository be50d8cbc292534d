//! Watches how fast the basins of a system soak their water away, day by day.

use serde::{Deserialize, Serialize};

use super::course::{Course, Seen, Slowing, levels, slowing};
use super::evidence::{Day, bears, loads_from, resistance};
use super::inflow::Inflow;
use super::outlook::{Outlook, Path, STRETCH_DAYS, first_flood, onset, paths};
use super::report::{Report, conclusion};
use crate::engine::board::{Board, Spot};
use crate::engine::layout::BasinLayout;
use crate::engine::mulch::Chips;
use crate::engine::{Dose, Effect};
use crate::model::{BasinIx, Depths, EventTime, FindingKind, Service, Span, System, Work};

/// Days that count together.
const STRETCH: i64 = STRETCH_DAYS as i64;
/// A day with so much rain, its own and that of the day before, says nothing: rain fills basins too.
const RAIN_SPOILS_MM: f64 = 1.0;
/// Days of loads that a forecast looks at.
const LOAD_DAYS: i64 = 28;
/// A slow floor is its old self again below this factor.
const RECOVERED: f64 = 1.2;
/// What is concluded of a slow floor is looked at anew after so many stretches.
const REVIEW: i32 = 2;
/// A basin in which water stands receives this part of its designed share at the least.
const LEAST_WHERE_STOOD: f64 = 0.5;
/// Stretches for which a slow floor may not be told.
const MOST_HELD: u8 = 2;
/// Litres of a dose that nobody measured: a shower (REU 2016: 15.8 US gal).
const UNMEASURED_L: f64 = 60.0;
/// Probes do not tell a dose more different than this from the usual one.
const SIZES: (f64, f64) = (0.2, 3.0);

/// Everything known of soaking and mulch in one system.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct SoakWatch {
    inflow: Inflow,
    /// Last count of the gauge, and the rain of yesterday and today, mm.
    gauge: Option<f64>,
    rain_mm: [f64; 2],
    pub(crate) basins: Vec<BasinSoak>,
}

/// What is known of one basin.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct BasinSoak {
    /// The part of each dose that it receives.
    share: f64,
    chips: Chips,
    celsius: Option<f64>,
    /// How long water stood at the float today.
    stood: Span,
    /// Days of this stretch that can be told from.
    days: Vec<Day>,
    course: Course,
    /// Since when a slow floor stands, and the logarithm of the resistance it had before.
    slow: Option<Slow>,
    /// Stretches for which a slow floor was not told, since more water may stand on it.
    held: u8,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Slow {
    raised: i32,
    before: f64,
    /// Whether it needed a visit when it was last looked at.
    needed_visit: bool,
    /// Whether it asks for one.
    warns: bool,
}

impl Slow {
    /// Whether it asks for a visit, after a look. One week's loads may be odd, so it takes two looks to change that,
    /// unless a flood is imminent.
    fn look(&mut self, needs_visit: bool, is_imminent: bool) -> bool {
        if needs_visit == self.needed_visit || is_imminent {
            self.warns = needs_visit;
        }
        self.needed_visit = needs_visit;
        self.warns
    }
}

/// What the watch sees of the engine when a day closes.
pub(crate) struct DayView<'a> {
    pub(crate) system: &'a System,
    pub(crate) layouts: &'a [BasinLayout],
    /// By basin: whether its float is believed, and since when it has been up.
    pub(crate) floats: &'a [FloatNow],
    /// By basin: whether more water than usual may be what reaches it.
    pub(crate) may_get_more: &'a [bool],
    /// The day that closes: its number by the local calendar, its beginning and end.
    pub(crate) number: i64,
    pub(crate) from: EventTime,
    pub(crate) to: EventTime,
}

/// One basin's float now.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FloatNow {
    pub(crate) believed: bool,
    pub(crate) wet_since: Option<EventTime>,
}

impl SoakWatch {
    pub(crate) fn new(system: &System) -> Self {
        let basin = |ix: BasinIx| BasinSoak {
            share: system.tree().design_share(ix),
            chips: Chips::new(&system.basin(ix).mulch),
            celsius: None,
            stood: Span::ZERO,
            days: Vec::new(),
            course: Course::default(),
            slow: None,
            held: 0,
        };
        let basins = system.basin_ixs().map(basin).collect();
        Self { inflow: Inflow::default(), gauge: None, rain_mm: [0.0; 2], basins }
    }

    /// What was known of a basin's mulch before anything that will be heard of it.
    pub(crate) fn recall_mulch(&mut self, system: &System, ix: BasinIx, litres: f64, left: f64) {
        self.basins[ix.0 as usize].chips.recall(system.basin(ix).mulch.chip, litres, left);
    }

    /// The system was heard for the first time.
    pub(crate) fn begin(&mut self, placed: impl Fn(BasinIx) -> Option<EventTime>, now: EventTime) {
        for (i, basin) in self.basins.iter_mut().enumerate() {
            basin.chips.begin(placed(BasinIx(i as u16)), now);
        }
    }

    /// Litres came to the basins.
    pub(crate) fn came(&mut self, at: EventTime, litres: f64) {
        self.inflow.note(at, litres);
        for basin in &mut self.basins {
            basin.chips.water(at, litres * basin.share);
        }
    }

    /// What part of all water each basin receives, by what is known now.
    pub(crate) fn shared(&mut self, shares: &[f64]) {
        self.basins.iter_mut().zip(shares).for_each(|(basin, share)| basin.share = *share);
    }

    /// A dose of `size` times the usual came that no meter counts.
    pub(crate) fn dosed(&mut self, dose: &Dose, size: f64) {
        if dose.quality > 0.0 {
            let unmeasured = UNMEASURED_L * size.clamp(SIZES.0, SIZES.1);
            self.came(dose.at, dose.litres.unwrap_or(unmeasured));
        }
    }

    /// The gauge was read.
    pub(crate) fn read_gauge(&mut self, count: f64, mm_per_count: f64) {
        let before = self.gauge.replace(count).unwrap_or(count);
        // A count below the one before is a gauge that began anew.
        self.rain_mm[1] += mm_per_count * (count - before).max(0.0);
    }

    /// Whether it has rained to speak of, yesterday or today.
    pub(crate) fn rained_of_late(&self) -> bool {
        self.rain_mm.iter().sum::<f64>() >= RAIN_SPOILS_MM
    }

    /// A soil thermometer was read.
    pub(crate) fn warmed(&mut self, basin: BasinIx, celsius: f64) {
        self.basins[basin.0 as usize].celsius = Some(celsius);
    }

    /// Water stood at a float and is gone; `today` is when the day began.
    pub(crate) fn fell(&mut self, basin: BasinIx, began: EventTime, at: EventTime, today: EventTime) {
        self.basins[basin.0 as usize].stood += (at - began.max(today)).max(Span::ZERO);
    }

    /// Somebody worked on a basin.
    pub(crate) fn serviced(
        &mut self,
        system: &System,
        ix: BasinIx,
        (service, at): (&Service, EventTime),
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let (basin, mulch) = (&mut self.basins[ix.0 as usize], system.basin(ix).mulch);
        let renewed = service.work.contains(&Work::MulchRenewed);
        if service.mulch_found_mm.is_some() || renewed {
            basin.chips.visited(service.at);
        }
        if let Some(found_mm) = service.mulch_found_mm {
            basin.chips.found(mulch.chip, found_mm);
        }
        if renewed {
            basin.chips.renewed(at, service.mulch_left_mm.unwrap_or(mulch.depth_mm));
        }
        if service.work.iter().any(|work| matches!(work, Work::MulchRenewed | Work::BasinLoosened)) {
            basin.course = Course::default();
            basin.days.clear();
            basin.slow = None;
            board.clear(at, FindingKind::SlowSoak, Spot::Basin(ix), out);
        }
    }

    /// What somebody measured in a basin was something else.
    pub(crate) fn corrected(&mut self, system: &System, ix: BasinIx, depths: &Depths) {
        self.basins[ix.0 as usize].chips.corrected(&system.basin(ix).mulch, depths);
    }

    /// A day closes; with the last of a stretch, each floor is judged.
    pub(crate) fn close_day(&mut self, view: &DayView<'_>, board: &mut Board, out: &mut Vec<Effect>) {
        let rained = self.rained_of_late();
        self.rain_mm = [self.rain_mm[1], 0.0];
        let loads_known = self.inflow.since().is_some_and(|since| since <= loads_from(view.from));
        for (ix, layout) in (0..).map(BasinIx).zip(view.layouts) {
            let (basin, float) = (&mut self.basins[ix.0 as usize], view.floats[ix.0 as usize]);
            basin.chips.day(view.to, basin.celsius);
            if let Some(since) = float.wet_since.filter(|_| !float.believed)
                && basin.belied(since, view)
            {
                board.clear(view.to, FindingKind::SlowSoak, Spot::Basin(ix), out);
            }
            let standing = float.wet_since.map_or(Span::ZERO, |since| view.to - since.max(view.from));
            let stood = std::mem::take(&mut basin.stood) + standing;
            if layout.floor.is_some() && float.believed && loads_known && !rained {
                basin.days.push(Day { from: view.from, to: view.to, stood });
            }
        }
        if (view.number + 1).rem_euclid(STRETCH) == 0 {
            let stretch = view.number.div_euclid(STRETCH) as i32;
            self.close_stretch(view, stretch, board, out);
        }
    }

    fn close_stretch(&mut self, view: &DayView<'_>, stretch: i32, board: &mut Board, out: &mut Vec<Effect>) {
        for (ix, layout) in (0..).map(BasinIx).zip(view.layouts) {
            let basin = &mut self.basins[ix.0 as usize];
            let days = std::mem::take(&mut basin.days);
            let (Some(floor), Some(first), Some(last)) = (layout.floor, days.first(), days.last()) else {
                continue;
            };
            let has_stood = days.iter().any(|day| day.stood > Span::ZERO);
            let share = if has_stood { basin.share_where_stood(view.system, ix) } else { basin.share };
            let loads = self.inflow.between(loads_from(first.from), last.to);
            let loads = loads.map(|(at, litres)| (at, floor.depth_mm(litres * share)));
            if let Some(told) = resistance(&floor, &days, &loads) {
                let (log_resistance, stood_h) = (told.log_resistance as f32, told.stood_h as f32);
                basin.course.note(Seen { stretch, log_resistance, stood_h });
            }
        }
        for ix in view.system.basin_ixs() {
            self.judge(view, ix, stretch, board, out);
        }
    }

    fn judge(
        &mut self,
        view: &DayView<'_>,
        ix: BasinIx,
        stretch: i32,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let index = ix.0 as usize;
        let Some(floor) = view.layouts[index].floor else { return };
        let own = self.own_course(index);
        let found = match self.basins[index].slow {
            None => slowing(&own).filter(|_| self.basins[index].is_not_by_load(view.may_get_more[index])),
            Some(slow) => {
                let Some(now) = levels(&own) else { return };
                if now.now < slow.before + RECOVERED.ln() {
                    self.basins[index].slow = None;
                    board.clear(view.to, FindingKind::SlowSoak, Spot::Basin(ix), out);
                    return;
                }
                let is_due = (stretch - slow.raised) % REVIEW == 0;
                is_due.then_some(Slowing { before: slow.before, now: now.now })
            }
        };
        let Some(levels) = found else { return };
        let paths = paths(&own, view.number as f64 + 1.0);
        let outlook = self.outlook(view.system, ix, view.layouts[index], &paths, view.to);
        let report = Report {
            system: view.system,
            basin: ix,
            floor,
            levels,
            dose_mm: floor
                .depth_mm(self.basins[index].share_where_stood(view.system, ix) * self.usual_dose(view.to)),
            since: onset(&paths).map(|day| view.to - Span::from_hours_f64(24.0 * (paths_end(view) - day))),
            litres: self.basins[index].chips.litres(),
            outlook,
        };
        let first = Slow { raised: stretch, before: levels.before, needed_visit: false, warns: false };
        let warns =
            self.basins[index].slow.get_or_insert(first).look(report.needs_visit(), report.is_imminent());
        board.conclude(view.system, view.to, conclusion(&report, warns, view.to), out);
    }

    fn own_course(&self, index: usize) -> Vec<Seen> {
        let siblings = self.basins.iter().enumerate().filter(|(other, _)| *other != index);
        self.basins[index].course.of_its_own(siblings.map(|(_, sibling)| &sibling.course))
    }

    /// When a basin will first flood, by the courses its floor may take and the life of its mulch.
    fn outlook(
        &self,
        system: &System,
        ix: BasinIx,
        layout: BasinLayout,
        paths: &[Path],
        now: EventTime,
    ) -> Option<Outlook> {
        let basin = &self.basins[ix.0 as usize];
        let chip = system.basin(ix).mulch.chip;
        let share = basin.share_where_stood(system, ix);
        let bears: Vec<f64> = layout.floor.map_or_else(Vec::new, |floor| {
            let days = (1..=LOAD_DAYS).map(|n| now - Span::from_days(n));
            let known = self.inflow.since().unwrap_or(EventTime::MAX);
            days.filter(|from| *from >= known)
                .map(|from| {
                    let loads = self.inflow.between(from, from + Span::DAY);
                    let loads = loads.map(|(at, litres)| (at, floor.depth_mm(litres * share)));
                    bears(&floor, from, layout.allowance.flood_hold, &loads)
                })
                .collect()
        });
        first_flood(paths, &bears, |days| basin.chips.lasts(chip, now, days))
    }

    /// The forecast of a basin at `now`, a day's close being `day` days after 1970 by the local calendar.
    pub(crate) fn forecast(
        &self,
        system: &System,
        ix: BasinIx,
        layout: BasinLayout,
        now: (EventTime, f64),
    ) -> Standing<'_> {
        let basin = &self.basins[ix.0 as usize];
        let paths = paths(&self.own_course(ix.0 as usize), now.1);
        let outlook = self.outlook(system, ix, layout, &paths, now.0);
        Standing { outlook, chips: &basin.chips, is_seen: !paths.is_empty(), is_slow: basin.slow.is_some() }
    }

    /// Litres of a dose that is large but not rare: the upper quartile of those of late.
    fn usual_dose(&self, now: EventTime) -> f64 {
        let late = self.inflow.between(now - Span::from_days(LOAD_DAYS), now);
        let mut litres: Vec<f64> = late.map(|(_, litres)| litres).collect();
        litres.sort_unstable_by(f64::total_cmp);
        litres.get(litres.len() * 3 / 4).copied().unwrap_or(UNMEASURED_L)
    }

    /// Takes over the loads of a system whose plan has changed.
    pub(crate) fn adopt(&mut self, old: &Self) {
        self.inflow = old.inflow.clone();
        (self.gauge, self.rain_mm) = (old.gauge, old.rain_mm);
    }
}

impl BasinSoak {
    /// The part of each dose that it receives, if water stands there: then some came, whatever is believed of its outlet.
    fn share_where_stood(&self, system: &System, ix: BasinIx) -> f64 {
        self.share.max(LEAST_WHERE_STOOD * system.tree().design_share(ix))
    }

    /// Whether a floor that seems slow is, though its basin may get more water, which stands for longer on any floor:
    /// then it is told once that has had its time to be found.
    fn is_not_by_load(&mut self, may_get_more: bool) -> bool {
        self.held = if may_get_more { self.held.saturating_add(1) } else { 0 };
        self.held == 0 || self.held > MOST_HELD
    }

    /// What the float has said since `since` was no water. Says whether a slow floor was concluded from it.
    fn belied(&mut self, since: EventTime, view: &DayView<'_>) -> bool {
        let days = ((view.to - since).days_f64().ceil() as i64 - 1).max(0);
        let stretch = (view.number - days).div_euclid(STRETCH) as i32;
        self.days.retain(|day| day.to <= since);
        self.course.forget_from(stretch);
        self.slow.take_if(|slow| slow.raised >= stretch).is_some()
    }
}

/// The day that the view's end belongs to.
fn paths_end(view: &DayView<'_>) -> f64 {
    view.number as f64 + 1.0
}

/// What is known of a basin's mulch and floor at a moment.
pub(crate) struct Standing<'a> {
    pub(crate) outlook: Option<Outlook>,
    pub(crate) chips: &'a Chips,
    /// Water has stood at its float, so that its floor is known.
    pub(crate) is_seen: bool,
    pub(crate) is_slow: bool,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::stories::yard;

    #[test]
    fn it_takes_two_looks_to_ask_for_a_visit_and_two_to_ask_no_more() {
        let mut slow = Slow { raised: 0, before: 0.0, needed_visit: false, warns: false };
        let looks = [true, false, true, true, false, true, false, false];
        let warns = looks.map(|needs_visit| slow.look(needs_visit, false));
        assert_eq!(warns, [false, false, false, true, true, true, true, false]);
        assert!(slow.look(true, true), "a flood is imminent");
    }

    #[test]
    fn what_a_float_said_that_is_not_believed_is_forgotten_and_so_is_what_was_concluded_from_it() {
        let system = yard();
        let at = |day: i64| EventTime::from_secs(86_400 * day);
        let seen = |stretch| Seen { stretch, log_resistance: 1.0, stood_h: 3.0 };
        let day = |n| Day { from: at(n), to: at(n + 1), stood: Span::from_hours(20) };
        let mut basin = SoakWatch::new(&system).basins.swap_remove(0);
        (0..=5).for_each(|stretch| basin.course.note(seen(stretch)));
        basin.days = (24..30).map(day).collect();
        basin.slow = Some(Slow { raised: 5, before: 0.0, needed_visit: false, warns: false });
        let view = DayView {
            system: &system,
            layouts: &[],
            floats: &[],
            may_get_more: &[],
            number: 30,
            from: at(30),
            to: at(31),
        };
        // Since the morning of day 22, in the stretch that began with day 20.
        assert!(basin.clone().belied(at(22), &view));
        assert!(!basin.belied(at(26) + Span::HOUR, &view), "the slow floor was known before");
        let days: Vec<EventTime> = basin.days.iter().map(|day| day.from).collect();
        assert_eq!(days, [at(24), at(25)]);
        assert!(basin.slow.is_some());
    }
}
