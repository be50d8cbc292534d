//! The chips of one basin: first-order decay by chip size, warmth and wetness, at a rate that is learnt from
//! what technicians find.

use serde::{Deserialize, Serialize};

use crate::model::{Chip, Depths, EventTime, Mulch};
use crate::stats::decay::{fraction_left, q10_factor, rate_from, time_until};
use crate::stats::normal;

/// Days in a mean year.
const YEAR: f64 = 365.25;
/// Ten degrees more rot wood this many times as fast (Mackensen, Bauhus & Webber 2003, woody debris).
const Q10: f64 = 2.53;
/// Temperature to which the yearly rates belong, °C, and the one assumed where nobody measures.
const REFERENCE_C: f64 = 15.0;
/// Dry chips rot at this part of the rate of wet ones (common practice, no published source: below a quarter
/// of water by weight decay nearly stops, and mulch between doses is seldom drier).
const DRY: f64 = 0.4;
/// Chips stay wet this many days after water (common practice, no published source).
const WET_DAYS: f64 = 2.0;
/// Chips are spent when this part is left: they are dug out every two to four years (common practice, no
/// published source), when coarse ones have lost about half.
const SPENT: f64 = 0.5;
/// Spread of the logarithm of one basin's rate around its class, before anything was found.
const UNKNOWN: f64 = 0.45;
/// Spread of a depth found with a rule in a hole, mm.
const RULE_MM: f64 = 15.0;
/// Spread of the logarithm of when spent mulch makes itself felt.
const FELT: f64 = 0.3;
/// A finding below this part says nothing of the rate: somebody took mulch out.
const LEAST_PART: f64 = 0.05;

/// The mulch of one basin.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Chips {
    /// When it was last renewed; none until something was heard of this basin.
    placed: Option<EventTime>,
    placed_mm: f64,
    /// Years' worth of decay so far: days, weighted by warmth and wetness.
    aged: f64,
    /// Logarithm of this basin's rate over that of its class, and the variance.
    log_rate: f64,
    log_rate_variance: f64,
    /// Litres that came since.
    litres: f64,
    last_water: Option<EventTime>,
    /// How it was when somebody last measured or renewed it.
    visit: Option<Visit>,
}

/// The chips as they were before what a technician told of them, so that it can be told anew.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Visit {
    at: EventTime,
    placed_mm: f64,
    aged: f64,
    log_rate: f64,
    log_rate_variance: f64,
    /// Whether it was renewed then.
    renewed: bool,
}

impl Chips {
    /// As the system file tells of it.
    pub(crate) fn new(mulch: &Mulch) -> Self {
        Self {
            placed: None,
            placed_mm: mulch.depth_mm,
            aged: 0.0,
            log_rate: 0.0,
            log_rate_variance: UNKNOWN * UNKNOWN,
            litres: 0.0,
            last_water: None,
            visit: None,
        }
    }

    /// The first thing was heard of the basin: what lay there until then, and of which nobody knows better, has aged
    /// at the usual rate.
    pub(crate) fn begin(&mut self, placed: Option<EventTime>, now: EventTime) {
        let placed = self.placed.or(placed).filter(|placed| *placed < now).unwrap_or(now);
        if self.aged > 0.0 {
            self.placed.get_or_insert(placed);
            return;
        }
        self.placed = Some(placed);
        self.aged = (now - placed).days_f64() / YEAR;
    }

    /// So many litres had come, and this part was left, before anything that will be heard of the basin.
    pub(crate) fn recall(&mut self, chip: Chip, litres: f64, left: f64) {
        self.litres = litres;
        self.aged = time_until(yearly(chip) * self.log_rate.exp(), left.clamp(f64::MIN_POSITIVE, 1.0));
    }

    /// Litres came to the basin.
    pub(crate) fn water(&mut self, at: EventTime, litres: f64) {
        self.litres += litres;
        self.last_water = self.last_water.max(Some(at));
    }

    /// A day went by at a soil temperature, where that is measured.
    pub(crate) fn day(&mut self, now: EventTime, celsius: Option<f64>) {
        let dry_days = self.last_water.map_or(f64::INFINITY, |at| (now - at).days_f64());
        let wetness = if dry_days <= WET_DAYS { 1.0 } else { DRY };
        self.aged += q10_factor(Q10, celsius.unwrap_or(REFERENCE_C), REFERENCE_C) * wetness / YEAR;
    }

    /// Nobody listened between two times: it has aged as it did before, and water that came is not known.
    pub(crate) fn unheard(&mut self, from: EventTime, to: EventTime) {
        self.aged += self.pace(from) * (to - from).days_f64() / YEAR;
        self.last_water = self.last_water.map(|last| last.max(to));
    }

    /// How fast it has aged until `now`, against chips that are wet at the reference temperature.
    fn pace(&self, now: EventTime) -> f64 {
        let since = self.placed.map_or(0.0, |placed| (now - placed).days_f64() / YEAR);
        if since > 0.25 { self.aged / since } else { 1.0 }
    }

    /// Somebody will tell what they found or did at `at`.
    pub(crate) fn visited(&mut self, at: EventTime) {
        let Self { placed_mm, aged, log_rate, log_rate_variance, .. } = *self;
        self.visit = Some(Visit { at, placed_mm, aged, log_rate, log_rate_variance, renewed: false });
    }

    /// Somebody measured the depth: this basin's own rate is learnt from it.
    pub(crate) fn found(&mut self, chip: Chip, depth_mm: f64) {
        (self.log_rate, self.log_rate_variance) = self.learnt(chip, depth_mm, (self.placed_mm, self.aged));
    }

    /// What was told of the last visit was wrong, and this is right. A visit before the last is past mending: what
    /// was found since has been learnt on top of it.
    pub(crate) fn corrected(&mut self, mulch: &Mulch, depths: &Depths) {
        let Some(visit) = self.visit.filter(|visit| visit.at == depths.at) else { return };
        (self.log_rate, self.log_rate_variance) = (visit.log_rate, visit.log_rate_variance);
        if let Some(found_mm) = depths.found_mm {
            let then = (visit.placed_mm, visit.aged);
            (self.log_rate, self.log_rate_variance) = self.learnt(mulch.chip, found_mm, then);
        }
        if visit.renewed {
            self.placed_mm = depths.left_mm.unwrap_or(mulch.depth_mm);
        }
    }

    /// The rate's logarithm and variance after a depth was found in chips that had been `placed_mm` deep and have
    /// `aged` so much since: a Kalman step.
    fn learnt(&self, chip: Chip, depth_mm: f64, (placed_mm, aged): (f64, f64)) -> (f64, f64) {
        let part = depth_mm / placed_mm;
        if aged <= 0.05 || !(LEAST_PART..1.0).contains(&part) {
            return (self.log_rate, self.log_rate_variance);
        }
        let log_seen = (rate_from(part, aged) / yearly(chip)).ln();
        // The rule's error, carried over to the logarithm of the rate.
        let spread = RULE_MM / (depth_mm * -part.ln());
        let gain = self.log_rate_variance / (self.log_rate_variance + spread * spread);
        (self.log_rate + gain * (log_seen - self.log_rate), self.log_rate_variance * (1.0 - gain))
    }

    /// New chips, of a measured depth if somebody measured it. The rate stays known.
    pub(crate) fn renewed(&mut self, at: EventTime, depth_mm: f64) {
        self.placed = Some(at);
        self.placed_mm = depth_mm;
        self.aged = 0.0;
        self.litres = 0.0;
        if let Some(visit) = &mut self.visit {
            visit.renewed = true;
        }
    }

    /// The part that is left, by weight.
    pub(crate) fn left(&self, chip: Chip) -> f64 {
        fraction_left(yearly(chip) * self.log_rate.exp(), self.aged)
    }

    /// Litres since the mulch was placed, or since the basin was first heard of.
    pub(crate) fn litres(&self) -> f64 {
        self.litres
    }

    /// Probability that it lasts so many more days, given that it has lasted until `now`.
    pub(crate) fn lasts(&self, chip: Chip, now: EventTime, days: f64) -> f64 {
        // Days to come age it as the days so far did.
        let pace = self.pace(now);
        let life = time_until(yearly(chip) * self.log_rate.exp(), SPENT);
        let spread = (self.log_rate_variance + FELT * FELT).sqrt();
        let lives = |aged: f64| normal::tail((aged.max(1e-6) / life).ln() / spread);
        let ahead = self.aged + pace * days / YEAR;
        // Far past its life nothing is left to condition on; then every day may be the last.
        lives(ahead) / lives(self.aged).max(1e-9)
    }
}

/// Rate of decay of wet chips at 15 °C, part a year (working range 0.2 to 0.5, from memory: half gone in 1.4
/// to 3.5 years).
fn yearly(chip: Chip) -> f64 {
    match chip {
        Chip::Fine => 0.45,
        Chip::Medium => 0.32,
        Chip::Coarse => 0.22,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Span;

    fn chips() -> Chips {
        Chips::new(&Mulch { depth_mm: 200.0, chip: Chip::Coarse, placed: None })
    }

    fn day(n: i64) -> EventTime {
        EventTime::from_secs(1_700_000_000) + Span::from_days(n)
    }

    fn aged(days: i64, celsius: f64, wet: bool) -> Chips {
        let mut chips = chips();
        chips.begin(None, day(0));
        for n in 0..days {
            if wet {
                chips.water(day(n), 20.0);
            }
            chips.day(day(n), Some(celsius));
        }
        chips
    }

    #[test]
    fn warmth_and_water_rot_chips() {
        let left = |days, celsius, wet| aged(days, celsius, wet).left(Chip::Coarse);
        assert!((left(365, 15.0, true) - (-0.22_f64 * 365.0 / YEAR).exp()).abs() < 1e-9);
        // Ten degrees are a factor of 2.53 (Mackensen, Bauhus & Webber 2003).
        let ratio = left(365, 25.0, true).ln() / left(365, 15.0, true).ln();
        assert!((ratio - 2.53).abs() < 1e-9);
        assert!(left(365, 15.0, false) > left(365, 15.0, true));
    }

    #[test]
    fn chips_go_on_rotting_while_nobody_listens() {
        let (mut away, stayed) = (aged(400, 25.0, true), aged(440, 25.0, true));
        away.unheard(day(400), day(440));
        let (left, whole) = (away.left(Chip::Coarse), stayed.left(Chip::Coarse));
        assert!(
            (left - whole).abs() < 1e-3 && left < aged(400, 25.0, true).left(Chip::Coarse),
            "{left} {whole}"
        );
    }

    #[test]
    fn the_rate_is_learnt_from_depths_found() {
        let mut chips = aged(730, 15.0, true);
        let before = chips.left(Chip::Coarse);
        chips.found(Chip::Coarse, 200.0 * 0.4);
        let after = chips.left(Chip::Coarse);
        assert!(before > 0.6 && after < 0.47 && after > 0.38, "{before} {after}");
        let soon = chips.lasts(Chip::Coarse, day(730), 200.0);
        assert!(soon < aged(730, 15.0, true).lasts(Chip::Coarse, day(730), 200.0));
        chips.renewed(day(731), 180.0);
        assert!((chips.left(Chip::Coarse) - 1.0).abs() < 1e-12 && chips.litres().abs() < 1e-12);
        // Mulch that somebody took out, or added to, says nothing of the rate.
        let known = chips.clone();
        chips.found(Chip::Coarse, 190.0);
        assert_eq!(chips, known);
    }

    #[test]
    fn what_was_known_before_the_first_reading_is_kept() {
        let mut lived = aged(730, 15.0, true);
        lived.visited(day(730));
        lived.found(Chip::Coarse, 200.0 * 0.4);
        let known = |chips: &Chips| (chips.litres(), chips.left(Chip::Coarse), chips.log_rate);
        let mut recalled = chips();
        let before = aged(730, 15.0, true);
        recalled.recall(Chip::Coarse, before.litres(), before.left(Chip::Coarse));
        recalled.visited(day(730));
        recalled.found(Chip::Coarse, 200.0 * 0.4);
        recalled.begin(Some(day(0)), day(731));
        assert_eq!(recalled.placed, Some(day(0)));
        let (is, was) = (known(&recalled), known(&lived));
        for (is, was) in [(is.0, was.0), (is.1, was.1), (is.2, was.2)] {
            assert!((is - was).abs() < 1e-9, "{is} {was}");
        }
        // Chips of a record from before the first reading have aged since then, not since the file's date.
        let mut renewed = chips();
        renewed.renewed(day(700), 150.0);
        renewed.begin(Some(day(0)), day(730));
        assert_eq!(renewed.placed, Some(day(700)));
        assert!((renewed.aged - 30.0 / YEAR).abs() < 1e-12);
    }

    #[test]
    fn a_corrected_depth_teaches_what_it_would_have_taught_at_first() {
        let mulch = Mulch { depth_mm: 200.0, chip: Chip::Coarse, placed: None };
        let told = |found_mm: Option<f64>, left_mm| {
            let mut chips = aged(730, 15.0, true);
            chips.visited(day(730));
            if let Some(found_mm) = found_mm {
                chips.found(Chip::Coarse, found_mm);
            }
            chips.renewed(day(731), left_mm);
            chips.day(day(732), None);
            chips
        };
        let depths = |at, found_mm, left_mm| Depths {
            at,
            basin: crate::model::Id::new("quince").unwrap(),
            found_mm,
            left_mm,
        };
        let mut chips = told(Some(160.0), 150.0);
        let wrong = chips.clone();
        chips.corrected(&mulch, &depths(day(700), Some(80.0), Some(180.0)));
        assert_eq!(chips, wrong, "another visit");
        chips.corrected(&mulch, &depths(day(730), Some(80.0), Some(180.0)));
        assert_eq!(chips, told(Some(80.0), 180.0));
        chips.corrected(&mulch, &depths(day(730), None, None));
        assert_eq!(chips, told(None, 200.0), "nobody measured after all");
    }

    #[test]
    fn it_lasts_with_certainty_now_and_less_with_every_day() {
        let chips = aged(400, 15.0, true);
        let lasts = |days| chips.lasts(Chip::Coarse, day(400), days);
        assert!((lasts(0.0) - 1.0).abs() < 1e-9);
        assert!(lasts(300.0) > lasts(900.0) && lasts(6000.0) < 0.05);
    }
}
