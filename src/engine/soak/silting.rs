//! The courses that a floor's resistance may have taken.
//!
//! It was steady until some day and has risen since, by one of a few laws. Every such course is weighed by how well it
//! fits what was seen. Nothing is assumed of where a rise leads beyond that it goes on.

use super::course::Seen;

/// Days that one stretch of evidence covers.
pub(crate) const STRETCH_DAYS: f64 = 4.0;
/// Steady levels reach this far below the level now; levels now this far around what was seen last (logarithms), or
/// further below it where that may be wrong.
const LOWEST: f64 = 2.6;
const AROUND: f64 = 0.5;
/// Courses that are looked at: steps of the level now, of the rise until now, and of the day of onset; first roughly,
/// then again where courses fit.
const ROUGHLY: [i32; 3] = [6, 12, 18];
const CLOSELY: [i32; 3] = [8, 10, 14];
/// Large rises are rare, and so are quick ones: floors silt up over months (logarithm, and logarithm a day, that
/// each make a course e times less likely; common practice, no published source).
const RISE: f64 = 3.0;
const RISE_A_DAY: f64 = 0.2;
/// Logarithm of the weight of the laws that lie farthest apart, against the one between.
const EXTREME: f64 = -0.5;
/// Stretches with standing water before a rise is looked for.
const LEAST_SEEN: usize = 2;
/// Courses less likely than this part of the likeliest are dropped; of those looked at roughly, fewer.
const DROPPED: f64 = 1e-3;
const OUT_OF_SIGHT: f64 = 1e-4;

/// One possible course of the logarithm of the resistance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Path {
    /// How likely it is, against the others.
    pub(super) weight: f64,
    steady: f64,
    onset: f64,
    level: f64,
    law: Law,
    /// The day at which `level` holds.
    pub(super) now: f64,
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

impl Path {
    /// Logarithm of the resistance on a day.
    pub(super) fn at(&self, day: f64) -> f64 {
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
        self.law.log_prior() - rise / RISE - rise / (self.now - self.onset) / RISE_A_DAY
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

impl Law {
    /// The one between the two extremes counts for more than either.
    fn log_prior(self) -> f64 {
        match self {
            Self::Evenly(..) | Self::ByFactor => EXTREME,
            Self::Faster(..) => 0.0,
        }
    }
}

/// Numbers in even steps.
#[derive(Clone, Copy, Debug)]
struct Steps {
    from: f64,
    to: f64,
    count: i32,
}

impl Steps {
    fn each(self) -> impl Iterator<Item = f64> {
        (0..self.count).map(move |i| self.from + f64::from(i) * self.step())
    }

    fn step(self) -> f64 {
        (self.to - self.from) / f64::from(self.count - 1)
    }

    /// So many steps over those of these that hold all `values`, and one beyond on either side.
    fn around(self, values: impl Iterator<Item = f64>, count: i32) -> Self {
        let (least, most) =
            values.fold((self.to, self.from), |(least, most), value| (least.min(value), most.max(value)));
        let step = self.step();
        Self { from: (least - step).max(self.from), to: (most + step).min(self.to), count }
    }
}

/// Courses to look at: levels now, rises until now (logarithms), days of onset.
#[derive(Clone, Copy, Debug)]
struct Grid {
    level: Steps,
    rise: Steps,
    onset: Steps,
    now: f64,
}

impl Grid {
    /// The courses of which what was `seen` leaves more than the part `dropped` of the likeliest, with their weights.
    fn fit(&self, seen: &[(f64, Seen)], dropped: f64) -> Vec<Path> {
        let (mut paths, mut best) = (Vec::new(), f64::NEG_INFINITY);
        for level in self.level.each() {
            for steady in self.rise.each().map(|rise| level - rise) {
                for onset in self.onset.each() {
                    let (from, to) = (steady.exp(), level.exp());
                    for law in [Law::Evenly(from, to), Law::Faster(from, to), Law::ByFactor] {
                        let path = Path { weight: 0.0, steady, onset, level, law, now: self.now };
                        if let Some(weight) = path.log_weight(seen, best + dropped.ln()) {
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
        paths.retain(|path| path.weight > dropped);
        let total: f64 = paths.iter().map(|path| path.weight).sum();
        for path in &mut paths {
            path.weight /= total;
        }
        paths
    }

    /// A closer look at these courses and what lies between them.
    fn closer(&self, paths: &[Path], [levels, rises, onsets]: [i32; 3]) -> Self {
        Self {
            level: self.level.around(paths.iter().map(|path| path.level), levels),
            rise: self.rise.around(paths.iter().map(|path| path.level - path.steady), rises),
            onset: self.onset.around(paths.iter().map(|path| path.onset), onsets),
            now: self.now,
        }
    }
}

/// The courses that fit what was seen until `now` (days since 1970), with their weights; none while hardly anything was
/// seen. What was seen last may be wrong by `miss` (logarithm), so that a floor may be that much better.
pub(crate) fn paths(seen: &[Seen], miss: f64, now: f64) -> Vec<Path> {
    let Some(last) = last_level(seen) else { return Vec::new() };
    let middle = |seen: &Seen| (f64::from(seen.stretch) + 0.5) * STRETCH_DAYS;
    let seen: Vec<(f64, Seen)> = seen.iter().map(|one| (middle(one), *one)).collect();
    let first = seen.first().map_or(now, |(day, _)| *day).min(now - 2.0 * STRETCH_DAYS);
    let [levels, rises, onsets] = ROUGHLY;
    let grid = Grid {
        level: Steps { from: last - miss.max(AROUND), to: last + AROUND, count: levels },
        rise: Steps { from: 0.0, to: LOWEST, count: rises },
        onset: Steps { from: first, to: now - STRETCH_DAYS, count: onsets },
        now,
    };
    grid.closer(&grid.fit(&seen, OUT_OF_SIGHT), CLOSELY).fit(&seen, DROPPED)
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::soak::evidence::Told;

    fn seen(stretch: i32, hours: f64) -> Seen {
        Seen::by_float(stretch, &Told { log_resistance: hours.ln(), stood_h: 4.0, per_load: 1.0 })
    }

    /// 5 h until day 60, then three quarters of an hour a day, seen until day 120.
    fn rising() -> Vec<Seen> {
        (0..30).map(|i| seen(i, 5.0 + 0.75 * (f64::from(i) * 4.0 + 2.0 - 60.0).max(0.0))).collect()
    }

    #[test]
    fn the_course_that_was_taken_is_found_closely() {
        let paths = paths(&rising(), 0.0, 120.0);
        let best = paths.iter().max_by(|a, b| a.weight.total_cmp(&b.weight)).expect("there are courses");
        assert!(matches!(best.law, Law::Evenly(..)), "{best:?}");
        assert!(
            (best.level - 50.0_f64.ln()).abs() < 0.1 && (best.steady - 5.0_f64.ln()).abs() < 0.15,
            "{best:?}"
        );
        assert!((best.onset - 60.0).abs() < 5.0, "{best:?}");
        let total: f64 = paths.iter().map(|path| path.weight).sum();
        assert!((total - 1.0).abs() < 1e-9);
    }

    #[test]
    fn a_floor_hardly_seen_has_no_course() {
        assert_eq!(paths(&rising()[..1], 0.0, 120.0), []);
        let bound = Seen { is_bound: true, ..seen(7, 9.0) };
        assert_eq!(paths(&[bound; 5], 0.0, 120.0), []);
    }
}
