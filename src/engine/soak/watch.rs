//! Watches how fast the basins of a system soak their water away, day by day.

use serde::{Deserialize, Serialize};

use super::basin::{BasinSoak, STRETCH, Slow, Witness};
use super::course::{Seen, Slowing, levels, slowing};
use super::evidence::{Day, bears, loads_from};
use super::inflow::Inflow;
use super::outlook::{Outlook, first_flood};
use super::report::{Report, conclusion};
use super::silting::{Path, onset, paths};
use crate::engine::board::{Board, Spot};
use crate::engine::layout::BasinLayout;
use crate::engine::mulch::Chips;
use crate::engine::signal::Wetting;
use crate::engine::{Dose, Effect};
use crate::model::{BasinIx, Depths, EventTime, FindingKind, Service, Span, System, UNMEASURED_DOSE_L, Work};

/// A day with so much rain, its own and that of the day before, says nothing: rain fills basins too.
const RAIN_SPOILS_MM: f64 = 1.0;
/// Days of loads that a forecast looks at.
const LOAD_DAYS: i64 = 28;
/// A slow floor is its old self again below this factor.
const RECOVERED: f64 = 1.1;
/// What is concluded of a slow floor is looked at anew after so many stretches.
const REVIEW: i32 = 2;
/// Probes do not tell a dose more different than this from the usual one.
const SIZES: (f64, f64) = (0.2, 3.0);

/// Loads that were not heard for as long as this would be missed among those of the last weeks.
const MISSED: Span = Span::DAY;

/// Everything known of soaking and mulch in one system.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct SoakWatch {
    inflow: Inflow,
    /// Last count of the gauge, and the rain of yesterday and today, mm.
    gauge: Option<f64>,
    rain_mm: [f64; 2],
    pub(crate) basins: Vec<BasinSoak>,
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
    /// Since when the system has been listened to.
    pub(crate) heard_since: EventTime,
}

/// One basin's float now.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FloatNow {
    pub(crate) believed: bool,
    pub(crate) wet_since: Option<EventTime>,
}

impl SoakWatch {
    pub(crate) fn new(system: &System) -> Self {
        let basins = system.basin_ixs().map(|ix| BasinSoak::new(system, ix)).collect();
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
            let unmeasured = UNMEASURED_DOSE_L * size.clamp(SIZES.0, SIZES.1);
            self.came(dose.at, dose.litres.unwrap_or(unmeasured));
        }
    }

    /// Nobody listened between two times.
    pub(crate) fn unheard(&mut self, from: EventTime, to: EventTime) {
        if to - from >= MISSED {
            self.inflow.unheard_until(to);
        }
        self.basins.iter_mut().for_each(|basin| basin.unheard(from, to));
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

    /// The soil below a basin was wetted.
    pub(crate) fn wetted(&mut self, basin: BasinIx, wetting: &Wetting) {
        if !self.rained_of_late() {
            self.basins[basin.0 as usize].seepage.note(wetting);
        }
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
            basin.dug();
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
        let loads_known =
            self.inflow.since().is_some_and(|since| since.max(view.heard_since) <= loads_from(view.from));
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
            let Some(floor) = layout.floor else { continue };
            let by_float = basin.by_float(&self.inflow, (&floor, &days), (view.system, ix), stretch);
            let by_probe = basin.by_probe(
                &self.inflow,
                &floor,
                by_float.filter(|seen| seen.is_bound),
                (view.system, stretch),
            );
            for (course, seen) in basin.courses.iter_mut().zip([by_float, by_probe]) {
                if let Some(seen) = seen {
                    course.note(seen);
                }
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
        let found = match self.basins[index].slow {
            None => {
                self.slowing(index).filter(|_| self.basins[index].is_not_by_load(view.may_get_more[index]))
            }
            Some(slow) => {
                let Some(now) = levels(&self.own_course(index, slow.by)) else { return };
                if now.now < slow.before + RECOVERED.ln() {
                    self.basins[index].slow = None;
                    board.clear(view.to, FindingKind::SlowSoak, Spot::Basin(ix), out);
                    return;
                }
                let is_due = (stretch - slow.raised) % REVIEW == 0;
                is_due.then_some((slow.by, Slowing { before: slow.before, now: now.now }))
            }
        };
        let Some((by, levels)) = found else { return };
        let paths = self.paths(index, view.number as f64 + 1.0);
        let outlook = self.outlook(view.system, ix, view.layouts[index], &paths, view.to);
        let report = Report {
            system: view.system,
            basin: ix,
            floor,
            by,
            levels,
            dose_mm: floor
                .depth_mm(self.basins[index].share_where_stood(view.system, ix) * self.usual_dose(view.to)),
            since: onset(&paths).map(|day| view.to - Span::from_hours_f64(24.0 * (paths_end(view) - day))),
            litres: self.basins[index].chips.litres(),
            outlook,
        };
        let first = Slow { by, raised: stretch, before: levels.before, needed_visit: false, warns: false };
        let warns =
            self.basins[index].slow.get_or_insert(first).look(report.needs_visit(), report.is_imminent());
        board.conclude(view.system, view.to, conclusion(&report, warns, view.to), out);
    }

    fn own_course(&self, index: usize, by: Witness) -> Vec<Seen> {
        let siblings = self.basins.iter().enumerate().filter(|(other, _)| *other != index);
        let courses = siblings.map(|(_, sibling)| &sibling.courses[by as usize]);
        self.basins[index].courses[by as usize].of_its_own(courses)
    }

    /// Whether a floor has become slower, by its float, else by its probe.
    fn slowing(&self, index: usize) -> Option<(Witness, Slowing)> {
        let by = |by| Some((by, slowing(&self.own_course(index, by))?));
        by(Witness::Float).or_else(|| by(Witness::Probe))
    }

    /// The courses that a floor may take: by its float once water has stood there, else by its probe.
    fn paths(&self, index: usize, now: f64) -> Vec<Path> {
        let by = |by: Witness| paths(&self.own_course(index, by), by.miss(), now);
        let by_float = by(Witness::Float);
        if by_float.is_empty() { by(Witness::Probe) } else { by_float }
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
        let (chip, hold) = (system.basin(ix).mulch.chip, layout.allowance.flood_hold);
        let share = basin.share_where_stood(system, ix);
        let bears: Vec<f64> = layout.floor.map_or_else(Vec::new, |floor| {
            // What comes while a day's water still stands keeps the float up.
            let days = (1..=LOAD_DAYS).map(|n| now - hold - Span::from_days(n));
            let known = self.inflow.since().unwrap_or(EventTime::MAX);
            days.filter(|from| *from >= known)
                .map(|from| {
                    let loads = self.inflow.between(from, from + Span::DAY + hold);
                    let loads = loads.map(|(at, litres)| (at, floor.depth_mm(litres * share)));
                    bears(&floor, from, hold, &loads)
                })
                .collect()
        });
        if layout.floor.is_some() && !paths.is_empty() && bears.is_empty() {
            // How the floor is was learnt before nobody listened; what will come on it has to be seen anew.
            return None;
        }
        first_flood(paths, &bears, hold, |days| basin.chips.lasts(chip, now, days))
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
        let paths = self.paths(ix.0 as usize, now.1);
        let outlook = self.outlook(system, ix, layout, &paths, now.0);
        Standing { outlook, chips: &basin.chips, is_seen: !paths.is_empty(), is_slow: basin.slow.is_some() }
    }

    /// Litres of a dose that is large but not rare: the upper quartile of those of late.
    fn usual_dose(&self, now: EventTime) -> f64 {
        let late = self.inflow.between(now - Span::from_days(LOAD_DAYS), now);
        let mut litres: Vec<f64> = late.map(|(_, litres)| litres).collect();
        litres.sort_unstable_by(f64::total_cmp);
        litres.get(litres.len() * 3 / 4).copied().unwrap_or(UNMEASURED_DOSE_L)
    }

    /// Takes over the loads of a system whose plan has changed.
    pub(crate) fn adopt(&mut self, old: &Self) {
        self.inflow = old.inflow.clone();
        (self.gauge, self.rain_mm) = (old.gauge, old.rain_mm);
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
