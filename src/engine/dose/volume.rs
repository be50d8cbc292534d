//! Litres of doses where no meter counts.
//!
//! What probes show of a dose tells its size against others of the same yard, not its litres: what stands for a litre is
//! the probe's, the soil's and its depth's. The household gives the scale: so many people send so much down their
//! drains in a day, which is what all doses of a usual day come to together.

use serde::{Deserialize, Serialize};

use crate::engine::day::Day;
use crate::model::{EventTime, Source, System};

/// A US gallon, litres.
const GALLON: f64 = 3.785_411_784;
/// Litres that a person sends down the drain in a day: showers by `DeOreo` and others (2016, Residential End Uses of
/// Water, version 2: 11.1 gal), laundry and hand basins by Washington's code (WAC 246-274-410: 8 and 5.4 gal), baths by
/// Mayer and others (1999: 1.2 gal; from memory).
const SHOWERS: f64 = 11.1 * GALLON;
const LAUNDRY: f64 = 8.0 * GALLON;
const BASINS: f64 = 5.4 * GALLON;
const BATHS: f64 = 1.2 * GALLON;
/// Change of the likeliest water (logarithm) with the logarithm of what probes show, which scatters (by the scoreboard's
/// tuning seeds).
const RESPONSE: f64 = 0.55;
/// The part of the water that comes in doses large enough to be seen (by the same).
const SHOWS: f64 = 0.92;
/// Days with water after which the scale is known, and how many are remembered.
const KNOWN_DAYS: f64 = 10.0;
const REMEMBERED_DAYS: f64 = 60.0;

/// What a litre shows as.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Volumes {
    /// The day under way and what came on it, in sizes against others; of no use if rain came too or part of it was not
    /// heard.
    today: Option<Day>,
    sum_today: f64,
    spoilt_today: bool,
    /// Days with water and what came on them, the older ones counting for less.
    days: f64,
    sum: f64,
}

impl Volumes {
    /// A dose that began at `at` showed as `log_size`, or rain did.
    pub(super) fn note(&mut self, system: &System, at: EventTime, log_size: f64, rain: bool) {
        if self.today.is_none_or(|day| at >= day.to) {
            self.close_day();
            self.today = Some(Day::beginning(at, &system.zone));
        }
        self.spoilt_today |= rain;
        self.sum_today += (RESPONSE * log_size).exp();
    }

    /// Nobody listened until `at`: neither the day before nor what is left of that day is a whole one.
    pub(super) fn unheard_until(&mut self, system: &System, at: EventTime) {
        (self.today, self.sum_today) = (Some(Day::beginning(at, &system.zone)), 0.0);
        self.spoilt_today = true;
    }

    fn close_day(&mut self) {
        if self.sum_today > 0.0 && !self.spoilt_today {
            let kept = 1.0 - 1.0 / REMEMBERED_DAYS;
            (self.days, self.sum) = (kept * self.days + 1.0, kept * self.sum + self.sum_today);
        }
        (self.sum_today, self.spoilt_today) = (0.0, false);
    }

    /// Litres of a dose that shows as `log_size`, once the scale is known.
    pub(super) fn litres(&self, source: &Source, log_size: f64) -> Option<f64> {
        let a_day = SHOWS * litres_a_day(source);
        (self.days >= KNOWN_DAYS).then(|| a_day * self.days / self.sum * (RESPONSE * log_size).exp())
    }
}

/// What a household sends down the drain in a day, litres; showers and laundry where the file names no fixture.
fn litres_a_day(source: &Source) -> f64 {
    let each: f64 = source.fixtures.iter().map(|name| litres_of(name)).sum();
    f64::from(source.people) * if each > 0.0 { each } else { SHOWERS + LAUNDRY }
}

/// Litres of a fixture for a person and day, by the words it is called; what is not known brings none.
fn litres_of(fixture: &str) -> f64 {
    let name = fixture.to_lowercase();
    let has = |words: &[&str]| words.iter().any(|word| name.contains(word));
    if has(&["shower"]) {
        SHOWERS
    } else if has(&["laundry", "wash"]) {
        LAUNDRY
    } else if has(&["basin", "sink", "lavator"]) {
        BASINS
    } else if has(&["bath", "tub"]) {
        BATHS
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::stories::yard;
    use crate::model::Span;

    fn source(people: u16, fixtures: &[&str]) -> Source {
        let fixtures = fixtures.iter().map(|&name| name.to_owned()).collect();
        Source { people, fixtures, litres_per_count: None, meter_after_diverter: false }
    }

    /// Two doses a day, of which the second shows twice as much.
    fn after(days: i64) -> Volumes {
        let system = yard();
        let mut volumes = Volumes::default();
        for day in 0..days {
            let noon = EventTime::from_secs(1_700_000_000) + Span::from_days(day);
            volumes.note(&system, noon, 0.0, false);
            volumes.note(&system, noon + Span::HOUR, 2.0_f64.ln(), false);
        }
        volumes
    }

    #[test]
    fn a_usual_day_comes_to_what_the_household_sends() {
        let (volumes, source) = (after(30), source(4, &["showers", "laundry"]));
        let litres = |log_size| volumes.litres(&source, log_size).expect("thirty days are enough");
        let day = litres(0.0) + litres(2.0_f64.ln());
        // Four people at 11.1 and 8 gallons a day (DeOreo 2016; WAC 246-274-410).
        let sent = 4.0 * (11.1 + 8.0) * 3.785_411_784;
        assert!((day - SHOWS * sent).abs() < 0.1, "{day} {sent}");
        assert!(litres(2.0_f64.ln()) > 1.4 * litres(0.0));
    }

    #[test]
    fn nothing_is_told_in_the_first_days_and_rain_counts_for_no_dose() {
        let home = source(2, &[]);
        assert_eq!(after(10).litres(&home, 0.0), None);
        let mut rainy = after(30);
        let before = rainy.litres(&home, 0.0);
        let after_rain = EventTime::from_secs(1_700_000_000) + Span::from_days(30);
        rainy.note(&yard(), after_rain, 3.0, true);
        rainy.note(&yard(), after_rain + Span::from_days(1), 0.0, false);
        // The thirtieth day, a usual one, was closed meanwhile.
        let now = rainy.litres(&home, 0.0);
        assert!((now.unwrap() - before.unwrap()).abs() < 1e-9, "{before:?} {now:?}");
    }

    #[test]
    fn a_day_of_which_part_was_not_heard_counts_for_no_whole_one() {
        let (system, home) = (yard(), source(2, &[]));
        let back = EventTime::from_secs(1_700_000_000) + Span::from_days(70);
        let (mut away, litres) = (after(30), after(30).litres(&home, 0.0));
        away.unheard_until(&system, back);
        away.note(&system, back + Span::MINUTE, 0.0, false);
        for day in 1..3 {
            away.note(&system, back + Span::from_days(day), 0.0, false);
            away.note(&system, back + Span::from_days(day) + Span::MINUTE, 2.0_f64.ln(), false);
        }
        let now = away.litres(&home, 0.0);
        assert!((now.unwrap() - litres.unwrap()).abs() < 1e-9, "{litres:?} {now:?}");
    }

    #[test]
    fn fixtures_are_known_by_common_words() {
        let day = |fixtures: &[&str]| litres_a_day(&source(1, fixtures)) / GALLON;
        assert!((day(&["washing machine"]) - 8.0).abs() < 1e-9);
        assert!((day(&["two showers", "bathroom basin"]) - 16.5).abs() < 1e-9);
        assert!((day(&["bath tub"]) - 1.2).abs() < 1e-9);
        assert!((day(&["fountain"]) - 19.1).abs() < 1e-9, "as if none were named");
    }
}
