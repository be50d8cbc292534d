//! How the diverter stood, and what was not heard.

use super::account::{DiverterYear, Gap};
use super::read::{Rows, Span};
use crate::advice::sensor_words;
use crate::ledger::{Bin, StoredService};
use crate::model::{Place, Quantity, Span as Length, System, Work};

/// What is known of the diverter; none where nothing tells its position.
pub(super) fn diverter(system: &System, rows: &Rows) -> Option<DiverterYear> {
    system.find_sensor(Place::System, Quantity::Diverter)?;
    let mut last = None;
    let mut year = DiverterYear { turns: 0, last_turn: None, exercises: 0 };
    for &(at, position) in &rows.diverter {
        let is_sewer = position >= 0.5;
        if last.is_some_and(|was| was != is_sewer) {
            year.turns += 1;
            year.last_turn = Some(at);
        }
        last = Some(is_sewer);
    }
    let exercised = |service: &&StoredService| service.record.work.contains(&Work::DiverterExercised);
    year.exercises = rows.services.iter().filter(exercised).count();
    Some(year)
}

/// Days without readings: of each moisture probe, which tells of itself all the time, and of everything together.
/// Floats and meters may rightly be silent for days.
pub(super) fn gaps(system: &System, span: Span, rows: &Rows) -> Vec<Gap> {
    let day = Length::DAY.millis();
    // Days of UTC that lie wholly within the stretch.
    let from = rows.heard_since.unwrap_or(span.from).max(span.from).millis();
    let first = from.div_euclid(day) + i64::from(from.rem_euclid(day) > 0);
    let out_of = usize::try_from(span.to.millis().div_euclid(day) - first).unwrap_or(0);
    let heard = |bins: &[Bin]| -> Vec<i64> {
        let days = bins.iter().map(|bin| bin.at.millis().div_euclid(day));
        days.filter(|at| (first..first + out_of as i64).contains(at)).collect()
    };
    let mut any: Vec<i64> = rows.days.iter().flat_map(|(_, bins)| heard(bins)).collect();
    any.sort_unstable();
    any.dedup();
    let mut gaps = Vec::new();
    let mut note = |of: String, heard: usize| {
        if heard < out_of {
            gaps.push(Gap { of, days: out_of - heard, out_of });
        }
    };
    note("the whole system".to_owned(), any.len());
    for (ix, bins) in rows.days.iter().filter(|(ix, _)| system.sensor(*ix).quantity == Quantity::Moisture) {
        // What is silent with everything else is told once.
        if heard(bins).len() < any.len() {
            note(sensor_words(system, &system.sensor_name(*ix)), heard(bins).len());
        }
    }
    gaps
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;
    use crate::desk::year::samples::{at, empty, year_of};
    use crate::model::BasinIx;

    #[test]
    fn silence_is_counted_in_days_and_what_was_not_done_is_said() {
        let system = samples::terrace();
        let probe = system.find_sensor(Place::Basin(BasinIx(0)), Quantity::Moisture).unwrap();
        // Heard on every day of the year but 73.
        let day = |n: i64| Bin {
            at: at("2025-01-02T00:00:00Z") + Length::from_days(n),
            min: 0.2,
            mean: 0.2,
            max: 0.2,
            count: 9,
        };
        let bins = (0..364).filter(|n| n % 5 != 0).map(day).collect();
        let float = system.find_sensor(Place::Basin(BasinIx(0)), Quantity::Float).unwrap();
        let days = vec![(probe, bins), (float, (0..364).map(day).collect())];
        let year = year_of(&Rows { days, ..empty() });
        let gaps: Vec<_> = year.gaps.iter().map(|gap| (gap.days, gap.out_of)).collect();
        assert_eq!(gaps, [(73, 364)], "{:?}", year.gaps);
        let says = year.deviations.join(" ");
        for expected in [
            "Nothing was heard from the moisture probe in the “quince tree” basin on 73 of 364 days",
            "The diverter was neither seen",
            "No flow test proved splitters “s1”, “s2”, “s3”",
            "Nobody wrote down having been at basins “quince tree”, “fig”, “plum”, “pear”",
            "No dose was recognised",
        ] {
            assert!(says.contains(expected), "{expected}: {says}");
        }
    }

    #[test]
    fn turns_of_the_diverter_are_counted_where_it_changed() {
        let hours =
            ["2025-05-01T00:00:00Z", "2025-05-02T00:00:00Z", "2025-05-03T00:00:00Z", "2025-05-04T00:00:00Z"];
        let positions =
            hours.into_iter().zip([0.0, 1.0, 1.0, 0.0]).map(|(text, position)| (at(text), position));
        let year = year_of(&Rows { diverter: positions.collect(), ..empty() });
        let diverter = year.diverter.unwrap();
        assert_eq!((diverter.turns, diverter.last_turn), (2, Some(at("2025-05-04T00:00:00Z"))));
    }
}
