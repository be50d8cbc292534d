//! When a basin will first flood if nothing is done.
//!
//! Each course that its floor may take is carried on against the loads of late. A day floods when the resistance exceeds
//! what its load and those behind it would bear; the first such day, over all courses, is the forecast.

use super::silting::Path;
use crate::model::Span;
use crate::stats::normal;

/// Loads of days to come are like those of late within this (logarithm of the resistance they bear).
const LOAD_SPREAD: f64 = 0.12;
/// Logarithm of a chance that is as good as none.
const LOST: f64 = -30.0;
/// Courses by all laws lie farther apart than floors do, so that bounds lie nearer to the date than courses alone would
/// have it: by this power of their ratio to it (by the tuning seeds, on which they then hold 80 % of 180 floods instead
/// of 88 %).
const APART: f64 = 0.83;
/// How far ahead to look, days.
const HORIZON: f64 = 3650.0;

/// A date with 80 % bounds, in days from now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Outlook {
    pub(crate) due: f64,
    pub(crate) earliest: f64,
    pub(crate) latest: f64,
}

/// When the first flood is due: `bears` holds, for each day of late, the logarithm of the resistance that its load and
/// those of the `hold` behind it would just bear (infinite if any); `lasts` is the probability that the mulch itself lasts
/// so many days more.
pub(crate) fn first_flood(
    paths: &[Path],
    bears: &[f64],
    hold: Span,
    lasts: impl Fn(f64) -> f64,
) -> Option<Outlook> {
    let loads = Loads::of(bears);
    // Days whose holds overlap flood together: they are one trial and not several.
    let trials_a_day = 1.0 / (1.0 + hold.days_f64());
    let mut log_lived: Vec<f64> = vec![0.0; paths.len()];
    let mut outlook = [None; 3];
    let mut day = 0.0;
    while day < HORIZON && outlook.contains(&None) {
        let step = (day / 30.0_f64).max(0.5);
        day += step;
        let mut survival = f64::from(u8::from(paths.is_empty()));
        for (path, log_lived) in paths.iter().zip(&mut log_lived).filter(|(_, lived)| **lived > LOST) {
            *log_lived += trials_a_day * step * loads.log_part_borne(path.at(path.now + day));
            survival += path.weight * log_lived.exp();
        }
        let flooded = 1.0 - survival * lasts(day);
        for (date, probability) in outlook.iter_mut().zip([0.1, 0.5, 0.9]) {
            if flooded >= probability {
                date.get_or_insert(day);
            }
        }
    }
    let [earliest, due, latest] = outlook;
    let due = due?;
    let nearer = |date: f64| due * (date / due).powf(APART);
    Some(Outlook { due, earliest: nearer(earliest?), latest: nearer(latest.unwrap_or(HORIZON)) })
}

/// Which part of the days does not flood at a resistance (logarithm), tabulated since it is asked for often.
struct Loads {
    table: [f64; 200],
}

impl Loads {
    const FROM: f64 = -2.0;
    const STEP: f64 = 0.06;

    fn of(bears: &[f64]) -> Self {
        let part = |log: f64| {
            let borne = |bears: &f64| normal::tail((log - bears) / LOAD_SPREAD);
            let borne = if bears.is_empty() {
                1.0
            } else {
                bears.iter().map(borne).sum::<f64>() / bears.len() as f64
            };
            borne.ln().max(LOST)
        };
        Self { table: std::array::from_fn(|i| part(Self::FROM + Self::STEP * i as f64)) }
    }

    fn log_part_borne(&self, log: f64) -> f64 {
        let place = ((log - Self::FROM) / Self::STEP).clamp(0.0, 198.999);
        let (low, within) = (place.floor(), place.fract());
        let low = low as usize;
        self.table[low] + within * (self.table[low + 1] - self.table[low])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::soak::course::Seen;
    use crate::engine::soak::evidence::Told;
    use crate::engine::soak::silting::{onset, paths};

    const HOLD: Span = Span::from_hours(6);

    fn seen(stretch: i32, hours: f64) -> Seen {
        Seen::by_float(stretch, &Told { log_resistance: hours.ln(), stood_h: 4.0, per_load: 1.0 })
    }

    /// Loads of which the heaviest in ten bears 20 hours, the rest more.
    fn bears() -> Vec<f64> {
        (0..30).map(|i| if i % 10 == 0 { 20.0_f64.ln() } else { 60.0_f64.ln() }).collect()
    }

    #[test]
    fn an_even_rise_is_carried_on_to_its_flood() {
        // 4 h until stretch 10, then half an hour a day: 20 h come 32 days after the onset on day 40.
        let course: Vec<Seen> =
            (0..15).map(|i| seen(i, 4.0 + 0.5 * (f64::from(i) * 4.0 + 2.0 - 40.0).max(0.0))).collect();
        let paths = paths(&course, 0.0, 60.0);
        let found = first_flood(&paths, &bears(), HOLD, |_| 1.0).expect("it rises");
        assert!((6.0..24.0).contains(&found.due), "{found:?}");
        assert!(found.earliest < found.due && found.due < found.latest, "{found:?}");
        let onset = onset(&paths).expect("there are paths");
        assert!((28.0..48.0).contains(&onset), "{onset}");
    }

    #[test]
    fn a_steady_floor_waits_for_its_mulch() {
        let course: Vec<Seen> = (0..40).map(|i| seen(i, 4.0)).collect();
        let lasts = |days: f64| (-days / 700.0).exp();
        let found = first_flood(&paths(&course, 0.0, 160.0), &bears(), HOLD, lasts).expect("mulch ends");
        assert!((250.0..520.0).contains(&found.due), "{found:?}");
        let unseen = first_flood(&paths(&[], 0.0, 160.0), &bears(), HOLD, lasts).expect("mulch ends");
        assert!((unseen.due - 700.0 * std::f64::consts::LN_2).abs() < 30.0, "{unseen:?}");
    }

    #[test]
    fn nothing_that_rises_and_mulch_that_lasts_have_no_date() {
        assert_eq!(first_flood(&[], &bears(), HOLD, |_| 1.0), None);
    }
}
