//! When people use their fixtures and how much: the uses of one day.
//!
//! Sources: REU 1999 and REU 2016 are the North American end-use studies of Mayer et al. (1999) and `DeOreo` et al.
//! (2016); the Dutch model is Blokker's (2006, 2010); WAC is Washington's code 246-274-410; the Naples flat is the
//! WEUSEDTO data set (2019-20).

use super::household::Household;
use super::uses::{Surge, Use};
use crate::calendar::LocalDay;
use crate::rng::Rng;
use crate::site::{Fixture, Site};
use crate::truth::DoseKind;

const HOUR_MS: f64 = 3.6e6;
const MINUTE_MS: f64 = 60_000.0;

/// Standard deviation of the logarithm of one shower's length, and of a house's flow.
const LENGTH_LOG_SD: f64 = 0.4;
const FLOW_LOG_SD: f64 = 0.12;

/// One in this many showers is taken in the evening; the Naples flat has 29 % of them at 16 to 18 h.
const EVENING_SHOWERS: f64 = 0.3;

/// People to a bathroom (common practice, no published source).
const PEOPLE_PER_BATHROOM: u32 = 3;

/// Draws of a hand basin a person a day (Dutch model), and litres of one (Naples flat: median 0.51, mean 1.06).
pub(super) const BASIN_DRAWS: f64 = 4.1;
pub(super) const BASIN_DRAW_MEAN_L: f64 = 1.06;
const BASIN_DRAW_LOG_SD: f64 = 1.21;

/// Baths a person a day (REU 1999 has 1.2 gal a person a day; from memory) and litres of one (24 gal, WAC).
pub(super) const BATHS: f64 = 0.05;
pub(super) const BATH_L: f64 = 90.8;

/// The habits of one house.
#[derive(Debug, Clone)]
pub struct Habits {
    household: Household,
    fixtures: Vec<Fixture>,
    shower_l_min: f64,
    pump_l_min: f64,
    seed: u64,
}

impl Habits {
    /// The habits that `seed` gives a house.
    pub fn new(site: &Site, household: &Household, seed: u64) -> Self {
        let mut rng = Rng::stream(seed, "house", 0);
        Self {
            shower_l_min: mean_lognormal(&mut rng, household.shower_l_min, FLOW_LOG_SD),
            // Pumps of washing machines give about 20 to 30 L/min (common practice, no published source).
            pump_l_min: rng.between(20.0, 30.0),
            household: household.clone(),
            fixtures: site.fixtures.clone(),
            seed,
        }
    }

    /// What `people` would use on a day, in order of time. Each person draws from streams of their own.
    pub(crate) fn day(&self, day: &LocalDay, people: u32) -> Vec<Use> {
        let mut uses = Vec::new();
        for fixture in &self.fixtures {
            match fixture {
                Fixture::Showers => self.showers(day, people, &mut uses),
                Fixture::Laundry => self.laundry(day, people, &mut uses),
                Fixture::Basins => self.basin_draws(day, people, &mut uses),
                Fixture::Baths => self.baths(day, people, &mut uses),
            }
        }
        uses.sort_by_key(|one| one.start_ms);
        uses
    }

    fn showers(&self, day: &LocalDay, people: u32, uses: &mut Vec<Use>) {
        // When each bathroom is taken: those who come first in the house go first.
        let mut taken: Vec<Vec<(i64, i64)>> = vec![Vec::new(); people.div_ceil(PEOPLE_PER_BATHROOM) as usize];
        for person in 0..people {
            let mut rng = self.stream("showers", day, person);
            let bathroom = &mut taken[(person / PEOPLE_PER_BATHROOM) as usize];
            for _ in 0..rng.poisson(self.household.showers_per_person_day) {
                let hour = shower_hour(&mut rng, day.weekend);
                let minutes =
                    mean_lognormal(&mut rng, self.household.shower_minutes, LENGTH_LOG_SD).clamp(1.5, 30.0);
                let l_min = rng.lognormal(self.shower_l_min, 0.08);
                let pause_ms = (rng.between(2.0, 8.0) * MINUTE_MS) as i64;
                let for_ms = (minutes * MINUTE_MS) as i64;
                let start_ms = free_from(bathroom, at_hour(day, hour), for_ms + pause_ms);
                bathroom.push((start_ms, start_ms + for_ms + pause_ms));
                uses.push(Use {
                    start_ms,
                    kind: DoseKind::Shower,
                    person,
                    luck: rng.unit(),
                    surges: vec![Surge { after_ms: 0, for_ms, l_min }],
                });
            }
        }
    }

    fn laundry(&self, day: &LocalDay, people: u32, uses: &mut Vec<Use>) {
        let mut taken = Vec::new();
        // Weekends see about twice the loads of a weekday (common practice, no published source); the mean over the
        // week is kept.
        let lean = if day.weekend { 1.6 } else { 0.76 };
        for person in 0..people {
            let mut rng = self.stream("laundry", day, person);
            for _ in 0..rng.poisson(self.household.loads_per_person_day * lean) {
                // The Naples flat starts most loads between 8 and 9 h; other houses spread over the day.
                let hour = if rng.chance(0.6) { 9.5 + 1.5 * rng.normal() } else { rng.between(11.0, 21.0) };
                let surges = self.washer_surges(&mut rng);
                let last = surges.last().map_or(0, |surge| surge.after_ms + surge.for_ms);
                let filling_ms = (rng.between(20.0, 30.0) * MINUTE_MS) as i64;
                let start_ms = free_from(&taken, at_hour(day, hour.clamp(6.0, 22.0)), last + filling_ms);
                taken.push((start_ms, start_ms + last + filling_ms));
                uses.push(Use { start_ms, kind: DoseKind::Laundry, person, luck: rng.unit(), surges });
            }
        }
    }

    /// The drains of one load: the wash, then the rinses.
    fn washer_surges(&self, rng: &mut Rng) -> Vec<Surge> {
        let (parts, apart_minutes) = self.household.washer.drains();
        let litres = mean_lognormal(rng, self.household.washer.litres(), 0.12);
        let mut after_ms = 0;
        let mut surges = Vec::with_capacity(parts.len());
        for part in parts {
            surges.push(Surge::of(after_ms, litres * part, self.pump_l_min));
            after_ms += (rng.between(0.85, 1.15) * apart_minutes * MINUTE_MS) as i64;
        }
        surges
    }

    fn basin_draws(&self, day: &LocalDay, people: u32, uses: &mut Vec<Use>) {
        for person in 0..people {
            let mut rng = self.stream("basins", day, person);
            for _ in 0..rng.poisson(BASIN_DRAWS) {
                let hour = waking_hour(&mut rng, day.weekend);
                let litres = mean_lognormal(&mut rng, BASIN_DRAW_MEAN_L, BASIN_DRAW_LOG_SD).max(0.1);
                let start_ms = at_hour(day, hour);
                let luck = rng.unit();
                uses.push(Use {
                    person,
                    luck,
                    ..Use::single(start_ms, DoseKind::BasinDraw, litres, rng.between(2.0, 5.0))
                });
            }
        }
    }

    fn baths(&self, day: &LocalDay, people: u32, uses: &mut Vec<Use>) {
        for person in 0..people {
            let mut rng = self.stream("baths", day, person);
            for _ in 0..rng.poisson(BATHS) {
                let litres = mean_lognormal(&mut rng, BATH_L, 0.2);
                let start_ms = at_hour(day, (20.0 + 1.2 * rng.normal()).clamp(6.0, 23.5));
                let luck = rng.unit();
                // A bath empties by gravity at about this rate (common practice, no published source).
                uses.push(Use { person, luck, ..Use::single(start_ms, DoseKind::Bath, litres, 25.0) });
            }
        }
    }

    fn stream(&self, purpose: &str, day: &LocalDay, person: u32) -> Rng {
        Rng::stream(self.seed, purpose, day.number as u64 * 1000 + u64::from(person))
    }
}

/// Most showers follow getting up, which the Dutch model puts at 7 h on weekdays and 8 h at weekends, with a standard
/// deviation of one hour; the others come in the evening.
fn shower_hour(rng: &mut Rng, weekend: bool) -> f64 {
    if rng.chance(EVENING_SHOWERS) {
        return (20.0 + 1.5 * rng.normal()).clamp(15.0, 23.5);
    }
    let up = if weekend { 8.0 } else { 7.0 };
    (up + rng.normal() + rng.between(0.1, 0.8)).clamp(4.0, 14.0)
}

/// An hour at which somebody is awake: after getting up, before bed, and in between.
fn waking_hour(rng: &mut Rng, weekend: bool) -> f64 {
    let up = if weekend { 8.0 } else { 7.0 };
    match rng.unit() {
        u if u < 0.4 => (up + 0.5 + 0.8 * rng.normal()).clamp(4.0, 23.5),
        u if u < 0.7 => (22.0 + 0.8 * rng.normal()).clamp(4.0, 23.8),
        _ => rng.between(up, 22.0),
    }
}

fn at_hour(day: &LocalDay, hour: f64) -> i64 {
    day.start_ms + (hour * HOUR_MS) as i64
}

/// The first moment from `wanted_ms` at which something is free for `for_ms`.
fn free_from(taken: &[(i64, i64)], wanted_ms: i64, for_ms: i64) -> i64 {
    let mut start_ms = wanted_ms;
    while let Some((_, until)) =
        taken.iter().find(|(from, until)| start_ms < *until && start_ms + for_ms > *from)
    {
        start_ms = *until;
    }
    start_ms
}

/// Lognormal with a given mean.
fn mean_lognormal(rng: &mut Rng, mean: f64, log_sd: f64) -> f64 {
    rng.lognormal(mean * (-0.5 * log_sd * log_sd).exp(), log_sd)
}
