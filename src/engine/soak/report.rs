//! What is told of a floor that has become slow.

use super::basin::Witness;
use super::course::Slowing;
use super::floor::Floor;
use super::outlook::Outlook;
use crate::engine::allowance::soak_time;
use crate::engine::board::{Conclusion, Spot};
use crate::engine::words;
use crate::model::{BasinIx, EventTime, Evidence, FindingKind, Place, Quantity, Severity, Span, System};

/// A flood due within this time, or possible within the shorter one, needs a visit; else the next visit will
/// do.
const SOON_DAYS: f64 = 60.0;
const PERHAPS_SOON_DAYS: f64 = 14.0;
/// A flood due within this is told at the first look.
const IMMINENT_DAYS: f64 = 21.0;
/// A floor that takes less than this for a large dose harms nobody yet, hours.
const MATTERS_H: f64 = 0.75;
/// Cold, wet ground and a miscounted load slow a basin that has none beside it to compare with by up to this factor.
const ALONE_FROM: f64 = 2.0;
/// How often a floor found slow is slow, where a meter counts the loads and a probe tells this basin's part of them, and
/// where one of them is guessed; measured by the scoreboard.
const MEASURED: f64 = 0.9;
const GUESSED: f64 = 0.5;

/// Everything that goes into the finding.
pub(super) struct Report<'a> {
    pub(super) system: &'a System,
    pub(super) basin: BasinIx,
    pub(super) floor: Floor,
    pub(super) by: Witness,
    pub(super) levels: Slowing,
    /// A large but usual dose, as depth over this basin.
    pub(super) dose_mm: f64,
    pub(super) since: Option<EventTime>,
    pub(super) litres: f64,
    pub(super) outlook: Option<Outlook>,
}

impl Report<'_> {
    /// Hours for a large but usual dose at a resistance (logarithm).
    fn soak_h(&self, log: f64) -> f64 {
        self.floor.soak_h(self.dose_mm, log.exp())
    }

    /// Whether it will flood so soon that there is no time for a second look.
    pub(super) fn is_imminent(&self) -> bool {
        self.needs_visit() && self.outlook.is_some_and(|outlook| outlook.due <= IMMINENT_DAYS)
    }

    fn probability(&self) -> f64 {
        let probe = self.system.find_sensor(Place::Basin(self.basin), Quantity::Moisture);
        let is_metered = self.system.source.is_metered();
        if is_metered && probe.is_some() { MEASURED } else { GUESSED }
    }

    /// Whether the basin will flood soon, as far as can be told.
    pub(super) fn needs_visit(&self) -> bool {
        let is_soon = |outlook: Outlook| outlook.due <= SOON_DAYS || outlook.earliest <= PERHAPS_SOON_DAYS;
        // Without a meter the loads are a guess, and with them how slow the floor is: no reason to send anybody.
        let is_metered = self.system.source.is_metered();
        let is_own = self.system.basins.len() > 1 || self.levels.now - self.levels.before >= ALONE_FROM.ln();
        is_metered && is_own && self.soak_h(self.levels.now) >= MATTERS_H && self.outlook.is_some_and(is_soon)
    }
}

/// The finding `slow-soak` at `now`, which asks for a visit if it `warns`.
pub(super) fn conclusion(report: &Report<'_>, warns: bool, now: EventTime) -> Conclusion {
    let Report { system, basin, levels, dose_mm, .. } = report;
    let (soak_time_h, baseline_h) = (report.soak_h(levels.now), report.soak_h(levels.before));
    let by_soil = soak_time(system.soil, *dose_mm);
    let date = |days: f64| now + Span::from_hours_f64(24.0 * days);
    let dates = report.outlook.map(|outlook| [outlook.due, outlook.earliest, outlook.latest].map(date));
    let told = |i: usize| dates.map(|dates| dates[i].to_string()).into();
    let label = words::basin(system, *basin);
    let mut evidence = vec![Evidence {
        at: report.since,
        says: words::soaks_slower(
            system,
            &label,
            report.since,
            [baseline_h, soak_time_h].map(Span::from_hours_f64),
        ),
    }];
    evidence.push(Evidence { at: None, says: words::soil_alone(system, *dose_mm, by_soil, report.litres) });
    if report.by == Witness::Probe {
        evidence.push(Evidence { at: None, says: words::told_by_probe(&label) });
    }
    if !system.source.is_metered() {
        evidence.push(Evidence { at: None, says: words::loads_are_guessed() });
    }
    Conclusion {
        kind: FindingKind::SlowSoak,
        spot: Spot::Basin(*basin),
        severity: if warns { Severity::Warning } else { Severity::Info },
        probability: report.probability(),
        estimate: vec![
            ("soak_time_h", round(soak_time_h).into()),
            ("baseline_h", round(baseline_h).into()),
            ("trend", round(soak_time_h / baseline_h).into()),
            ("since", report.since.map(|since| since.to_string()).into()),
            ("infiltration_mm_h", round(dose_mm / soak_time_h).into()),
            ("soil_mm_h", round(dose_mm / by_soil.hours_f64()).into()),
            ("due", told(0)),
            ("earliest", told(1)),
            ("latest", told(2)),
            ("litres_since_service", report.litres.round().into()),
        ],
        evidence,
    }
}

fn round(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}
