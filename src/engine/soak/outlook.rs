//! When a basin will first flood if nothing is done.
//!
//! Its floor's resistance was steady until some day and has risen since, by one of a few laws. Every such course is
//! weighed by how well it fits what was seen; each is carried on against the loads of late. A day floods when the
//! resistance exceeds what its load and those behind it would bear; the first such day, over all courses, is the
//! forecast. Nothing is assumed of where a rise leads beyond that it goes on.

use super::course::Seen;
use crate::model::Span;
use crate::stats::normal;

/// Days that one stretch of evidence covers.
pub(crate) const STRETCH_DAYS: f64 = 4.0;
/// Grid of courses: steady levels, days of onset, steps of the level now (logarithm).
const STEADY: i32 = 12;
const ONSETS: i32 = 18;
const LEVEL_STEP: f64 = 0.25;
/// Steady levels reach this far below the level now; levels now this far around what was seen last (logarithms), or
/// further below it where that may be wrong.
const LOWEST: f64 = 2.6;
const AROUND: f64 = 0.5;
/// Large rises are rare, and so are quick ones: floors silt up over months (logarithm, and logarithm a day, that
/// each make a course e times less likely; common practice, no published source).
const RISE: f64 = 3.0;
const RISE_A_DAY: f64 = 0.2;
/// Stretches with standing water before a rise is looked for.
const LEAST_SEEN: usize = 2;
/// Courses less likely than this part of the likeliest are dropped.
const DROPPED: f64 = 1e-3;
/// Loads of days to come are like those of late within this (logarithm of the resistance they bear).
const LOAD_SPREAD: f64 = 0.12;
/// Logarithm of a chance that is as good as none.
const LOST: f64 = -30.0;
/// What is believed of a basin's share and of the loads to come errs for all courses alike, so that bounds lie farther
/// from the date than courses alone would have it: by this factor of the logarithm of the time (by the tuning seeds, on
/// which they then hold 79 % of 180 floods instead of 73 %).
const ALIKE: f64 = 1.1;
/// How far ahead to look, days.
const HORIZON: f64 = 3650.0;

/// One possible course of the logarithm of the resistance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Path {
    weight: f64,
    steady: f64,
    onset: f64,
    level: f64,
    law: Law,
    /// The day at which `level` holds.
    now: f64,
}

/// How a resistance rises. Little that is seen by half a floor's life tells one law from another, so that all are carried
/// on: they make the interval as wide as it is.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Law {
    /// Evenly: each litre leaves as much behind. The resistances of `steady` and `level` themselves.
    Evenly(f64, f64),
    /// With the square of the time: slime grows faster the longer it is under water.
    Faster(f64, f64),
    /// By an even factor.
    ByFactor,
}

/// A date with 80 % bounds, in days from now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Outlook {
    pub(crate) due: f64,
    pub(crate) earliest: f64,
    pub(crate) latest: f64,
}

impl Path {
    /// Logarithm of the resistance on a day.
    fn at(&self, day: f64) -> f64 {
        let risen = ((day - self.onset) / (self.now - self.onset)).max(0.0);
        if risen <= 0.0 {
            return self.steady;
        }
        match self.law {
            Law::Evenly(steady, level) => (steady + (level - steady) * risen).ln(),
            Law::Faster(steady, level) => (steady + (level - steady) * risen * risen).ln(),
            Law::ByFactor => self.steady + (self.level - self.steady) * risen,
        }
    }

    fn log_prior(&self) -> f64 {
        let rise = self.level - self.steady;
        -rise / RISE - rise / (self.now - self.onset) / RISE_A_DAY
    }

    /// Log weight up to what all courses have in common; none as soon as it is below `least`, since every further
    /// stretch can only lower it.
    fn log_weight(&self, seen: &[(f64, Seen)], least: f64) -> Option<f64> {
        let mut sum = self.log_prior();
        for &(day, seen) in seen.iter().rev() {
            sum += seen.log_likelihood(self.at(day));
            if sum < least {
                return None;
            }
        }
        Some(sum)
    }
}

/// The courses that fit what was seen until `now` (days since 1970), with their weights; none while hardly anything was
/// seen. What was seen last may be wrong by `miss` (logarithm), so that a floor may be that much better.
pub(crate) fn paths(seen: &[Seen], miss: f64, now: f64) -> Vec<Path> {
    let Some(last) = last_level(seen) else { return Vec::new() };
    let middle = |seen: &Seen| (f64::from(seen.stretch) + 0.5) * STRETCH_DAYS;
    let seen: Vec<(f64, Seen)> = seen.iter().map(|one| (middle(one), *one)).collect();
    let first = seen.first().map_or(now, |(day, _)| *day).min(now - 2.0 * STRETCH_DAYS);
    let step = |i: i32, of: i32| f64::from(i) / f64::from(of - 1);
    let (mut paths, mut best) = (Vec::new(), f64::NEG_INFINITY);
    let levels = 1 + ((AROUND + miss.max(AROUND)) / LEVEL_STEP).round() as i32;
    for level in (0..levels).map(|i| last + AROUND - LEVEL_STEP * f64::from(i)) {
        for steady in (0..STEADY).map(|i| level - LOWEST * step(i, STEADY)) {
            for onset in (0..ONSETS).map(|i| first + (now - STRETCH_DAYS - first) * step(i, ONSETS)) {
                let (from, to) = (steady.exp(), level.exp());
                for law in [Law::Evenly(from, to), Law::Faster(from, to), Law::ByFactor] {
                    let path = Path { weight: 0.0, steady, onset, level, law, now };
                    if let Some(weight) = path.log_weight(&seen, best + DROPPED.ln()) {
                        best = best.max(weight);
                        paths.push(Path { weight, ..path });
                    }
                }
            }
        }
    }
    for path in &mut paths {
        path.weight = (path.weight - best).exp();
    }
    paths.retain(|path| path.weight > DROPPED);
    let total: f64 = paths.iter().map(|path| path.weight).sum();
    for path in &mut paths {
        path.weight /= total;
    }
    paths
}

/// Mean of the last resistances seen, the sure ones counting for more.
fn last_level(seen: &[Seen]) -> Option<f64> {
    let last = seen.iter().rev().filter(|seen| !seen.is_bound).take(4);
    let (sum, weight) = last.fold((0.0, 0.0), |(sum, weight), seen| {
        let own = seen.spread().powi(-2);
        (sum + own * seen.value(), weight + own)
    });
    let seen = seen.iter().filter(|seen| !seen.is_bound).count();
    (seen >= LEAST_SEEN).then(|| sum / weight)
}

/// The most likely day of onset of a rise, days since 1970.
pub(crate) fn onset(paths: &[Path]) -> Option<f64> {
    let best = paths.iter().max_by(|a, b| a.weight.total_cmp(&b.weight))?;
    Some(best.onset)
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
    let farther = |date: f64| due * (date / due).powf(ALIKE);
    Some(Outlook { due, earliest: farther(earliest?), latest: farther(latest.unwrap_or(HORIZON)) })
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

    const HOLD: Span = Span::from_hours(6);

    fn seen(stretch: i32, hours: f64) -> Seen {
        Seen::by_float(stretch, hours.ln(), 4.0)
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
