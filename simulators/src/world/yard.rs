//! One step of the world: water from the fixtures through the drain into the ground, under the sky.

use super::condition::{Condition, Schedule};
use super::doses::{DoseBook, Flows};
use super::source::Source;
use super::state::{BasinState, SystemState};
use crate::calendar::{LocalDay, days_since_epoch};
use crate::drain::{Delivery, Drain};
use crate::fault::{Action, DAY_MS, Diverter, Fault, Service};
use crate::ground::{Basin, Ground};
use crate::people::{Household, Use};
use crate::rng::Rng;
use crate::site::Site;
use crate::sky::{Climate, DayWeather, Weather};
use crate::truth::{DoseKind, FaultSpan, TrueDose, WaterBalance};

/// The world runs this long before its start, so that it does not begin from a dry garden.
const SPIN_UP_DAYS: i64 = 14;

/// Steps (ms): while water runs, while some stands or trickles, while it rains, and otherwise.
const RUNNING_MS: i64 = 10_000;
const STANDING_MS: i64 = 60_000;
const RAINING_MS: i64 = 120_000;
const QUIET_MS: i64 = 900_000;

/// Below this the drain only trickles (L/min).
const TRICKLE_L_MIN: f64 = 0.3;

/// Thermal diffusivity of moist soil (m²/s; from memory).
const DIFFUSIVITY: f64 = 5e-7;

/// Depth at which soil is seen where there is no probe (mm).
const DEFAULT_DEPTH_MM: f64 = 250.0;

/// The parts of the world and their time.
#[derive(Debug)]
pub(super) struct Yard {
    site: Site,
    weather: Weather,
    schedule: Schedule,
    condition: Condition,
    source: Source,
    drain: Drain,
    basins: Vec<Plot>,
    doses: DoseBook,
    delivery: Delivery,
    now_ms: i64,
    today: LocalDay,
    sky: DayWeather,
    /// Rain under way or to come today, in order: start and end (Unix ms), mm an hour.
    showers: Vec<(i64, i64, f64)>,
    rain_mm: f64,
    landscape: f64,
    balance: WaterBalance,
    stored_at_start: f64,
}

/// A basin with the ground around it.
#[derive(Debug)]
struct Plot {
    basin: Basin,
    /// Depth of the probe (mm).
    depth_mm: f64,
    soil_c: f64,
    /// Time in which the temperature at the probe's depth follows the air (h).
    follows_h: f64,
    /// Rain and run-on for each mm of rain.
    catches: f64,
}

impl Yard {
    pub(super) fn new(
        site: &Site,
        household: &Household,
        climate: &Climate,
        faults: &[Fault],
        services: &[Service],
        start_ms: i64,
        seed: u64,
    ) -> Self {
        // Systems of one property share their sky; each has its own people, pipes and soil.
        let own = |name: &str| Rng::stream(seed, name, 0).bits();
        let (sky_seed, site_seed) = (own(&format!("sky over {}", site.property)), own(&site.id));
        let begin_ms = start_ms - SPIN_UP_DAYS * DAY_MS;
        let schedule = Schedule::new(site, household.shower_l_min, faults, services, start_ms);
        let weather = Weather::new(climate.clone(), site.latitude, sky_seed);
        let today = LocalDay::holding(&site.timezone, begin_ms);
        let mut yard = Self {
            source: Source::new(site, household, schedule.most_times(), start_ms, site_seed),
            condition: Condition::sound(site),
            drain: Drain::new(site, site_seed),
            basins: plots(site, household, climate, &weather, &today, site_seed),
            doses: DoseBook::default(),
            delivery: Delivery::default(),
            now_ms: begin_ms,
            sky: weather.day(today.number, today.day_of_year),
            showers: Vec::new(),
            rain_mm: 0.0,
            landscape: 0.0,
            balance: WaterBalance::default(),
            stored_at_start: 0.0,
            site: site.clone(),
            weather,
            schedule,
            today,
        };
        yard.begin_day(today);
        while yard.now_ms < start_ms {
            yard.step(start_ms);
        }
        yard.forget_the_past();
        yard
    }

    pub(super) fn now_ms(&self) -> i64 {
        self.now_ms
    }

    /// Takes one step, at most up to `limit_ms`.
    pub(super) fn step(&mut self, limit_ms: i64) {
        if self.now_ms >= self.today.end_ms {
            self.doses.end_leak(self.now_ms);
            self.begin_day(self.today.next(&self.site.timezone));
        }
        self.schedule.update(self.now_ms, &mut self.condition);
        if let Some(started) = self.source.start_due(self.now_ms, &self.condition) {
            if !self.doses.is_open() {
                self.drain.begin_dose(started.at_ms as u64);
            }
            self.doses.begin(started.at_ms, started.uses, self.basins.len());
        }
        let until_ms = self.step_end().min(limit_ms);
        self.flow(until_ms);
        self.serve(until_ms);
        self.now_ms = until_ms;
    }

    pub(super) fn see_basin(&self, index: usize) -> BasinState {
        let plot = &self.basins[index];
        BasinState {
            standing_mm: plot.basin.standing_mm(),
            water_content: plot.basin.profile().content_at(plot.depth_mm),
            soil_temperature_c: plot.soil_c,
            mulch_depth_mm: plot.basin.mulch().depth_mm(),
            floor_resistance_h: plot.basin.floor_resistance_h(),
        }
    }

    pub(super) fn see_system(&self) -> SystemState {
        SystemState {
            fixture_litres: self.balance.fixtures,
            landscape_litres: self.landscape,
            rain_mm: self.rain_mm,
            diverter: self.condition.diverter,
            air_temperature_c: self.air_c(),
        }
    }

    pub(super) fn take_doses(&mut self, t_ms: i64) -> Vec<TrueDose> {
        self.doses.take(t_ms)
    }

    pub(super) fn balance(&self) -> WaterBalance {
        WaterBalance { storage_change: self.stored_l() - self.stored_at_start, ..self.balance }
    }

    pub(super) fn faults(&self) -> Vec<FaultSpan> {
        self.schedule.spans().cloned().collect()
    }

    pub(super) fn basin_count(&self) -> usize {
        self.basins.len()
    }

    fn begin_day(&mut self, day: LocalDay) {
        self.today = day;
        self.sky = self.weather.day(day.number, day.day_of_year);
        self.source.plan(&day);
        self.showers.retain(|(_, end_ms, _)| *end_ms > self.now_ms);
        self.showers.extend(self.sky.showers.iter().map(|shower| {
            let start_ms = day.start_ms + (shower.start_h * 3.6e6) as i64;
            (start_ms, start_ms + (shower.hours * 3.6e6) as i64, shower.mm / shower.hours)
        }));
        for plot in &mut self.basins {
            plot.basin.rot(1.0, plot.soil_c);
        }
    }

    /// When the next step should end, going by what is moving now.
    fn step_end(&self) -> i64 {
        let raining = self.showers.iter().any(|(from, until, _)| (*from..*until).contains(&self.now_ms));
        let standing = self.basins.iter().any(|plot| plot.basin.standing_mm() > 0.0);
        let step_ms = if self.source.flows(self.now_ms) || self.delivery.l_min > TRICKLE_L_MIN {
            RUNNING_MS
        } else if standing || self.delivery.l_min > 0.0 {
            STANDING_MS
        } else if raining {
            RAINING_MS
        } else {
            QUIET_MS
        };
        let changes = [self.source.next_after(self.now_ms), self.schedule.next_after(self.now_ms)];
        let rain = self.showers.iter().flat_map(|(from, until, _)| [*from, *until]);
        changes
            .into_iter()
            .flatten()
            .chain(rain)
            .filter(|at_ms| *at_ms > self.now_ms)
            .chain([self.now_ms + step_ms, self.today.end_ms])
            .min()
            .unwrap_or(self.now_ms + step_ms)
    }

    /// Lets water flow until `until_ms`.
    fn flow(&mut self, until_ms: i64) {
        let minutes = (until_ms - self.now_ms) as f64 / 60_000.0;
        let in_use = self.source.is_running();
        let mut discharge = self.source.discharge(self.now_ms, until_ms);
        let leaked = self.condition.leak_l_min * minutes;
        let seeped = self.condition.seepage_l_min * minutes;
        let from_fixtures = discharge.iter().sum::<f64>() + leaked;
        discharge[DoseKind::Leak as usize] += leaked + seeped;
        let (to_landscape, sewer) = match self.condition.diverter {
            Diverter::Landscape => (from_fixtures, 0.0),
            Diverter::Sewer => (0.0, from_fixtures),
        };
        self.drain.step(minutes, to_landscape + seeped, &self.condition.plumbing, &mut self.delivery);
        let rain_mm = self.rain_until(until_ms);
        self.soak(minutes / 60.0, rain_mm);
        self.doses.add(&Flows {
            until_ms,
            minutes,
            source: &discharge,
            sewer,
            basins: &self.delivery.basins,
            rains: rain_mm > 0.0,
            in_use,
        });
        self.landscape += to_landscape;
        self.rain_mm += rain_mm;
        self.balance.fixtures += from_fixtures;
        self.balance.seepage += seeped;
        self.balance.sewer += sewer;
        self.balance.backed_up += self.delivery.backed_up;
    }

    /// Lets the ground take in what was delivered and what rained.
    fn soak(&mut self, hours: f64, rain_mm: f64) {
        let hour = self.today.hour(self.now_ms);
        let air_c = self.air_c();
        let crop_et_mm_h = self.sky.reference_et_mm_h(hour) * crop_coefficient(&self.site, &self.today);
        for (index, plot) in self.basins.iter_mut().enumerate() {
            plot.soil_c += (air_c - plot.soil_c) * -(-hours / plot.follows_h).exp_m1();
            plot.basin.set_extra_resistance_h(self.condition.resistances_h[index]);
            let area = plot.basin.area_m2();
            let ground = Ground { celsius: plot.soil_c, open: self.condition.open, crop_et_mm_h };
            let caught_mm = rain_mm * plot.catches;
            let exchange = plot.basin.step(hours, self.delivery.basins[index] / area, caught_mm, &ground);
            self.balance.rain += caught_mm * area;
            self.balance.overflow += exchange.overflow_mm * area;
            self.balance.evapotranspiration += exchange.et_mm * area;
            self.balance.drainage += exchange.drainage_mm * area;
        }
    }

    /// Does the service that falls due up to `until_ms`.
    fn serve(&mut self, until_ms: i64) {
        for (at_ms, action) in self.schedule.due(self.now_ms, until_ms) {
            match action {
                Action::RenewMulch(name) => {
                    let index = self.site.basin_index(name).expect("names were checked against the site");
                    let plot = &mut self.basins[index];
                    self.balance.removed += plot.basin.renew_mulch() * plot.basin.area_m2();
                }
                Action::LevelSplitter(name) => {
                    let index = self.site.splitter_index(name).expect("names were checked against the site");
                    self.drain.level(index, *at_ms as u64);
                }
                Action::FlowTest { litres, l_min } => {
                    self.source.run(Use::single(*at_ms, DoseKind::FlowTest, *litres, *l_min));
                }
                // What these mend ends in the schedule.
                Action::ClearOutlet(_)
                | Action::TurnDiverter(_)
                | Action::StopLeak
                | Action::RestoreSource => {}
            }
        }
    }

    /// Rain from now until `until_ms` (mm).
    fn rain_until(&self, until_ms: i64) -> f64 {
        let overlap_h =
            |from: i64, until: i64| (until.min(until_ms) - from.max(self.now_ms)).max(0) as f64 / 3.6e6;
        self.showers.iter().map(|(from, until, mm_h)| overlap_h(*from, *until) * mm_h).sum()
    }

    fn air_c(&self) -> f64 {
        self.sky.air_c(self.today.hour(self.now_ms))
    }

    fn stored_l(&self) -> f64 {
        let ground: f64 = self.basins.iter().map(|plot| plot.basin.water_mm() * plot.basin.area_m2()).sum();
        ground + self.drain.water_l()
    }

    /// Ends the time before the start: all sums begin again.
    fn forget_the_past(&mut self) {
        self.balance = WaterBalance::default();
        self.rain_mm = 0.0;
        self.landscape = 0.0;
        self.stored_at_start = self.stored_l();
        self.doses.take(self.now_ms);
    }
}

/// The basins as they are on `today`, with mulch as old as the file says.
fn plots(
    site: &Site,
    household: &Household,
    climate: &Climate,
    weather: &Weather,
    today: &LocalDay,
    seed: u64,
) -> Vec<Plot> {
    let people = f64::from(household.people.unwrap_or(site.people));
    let litres_per_day = people * household.litres_per_person_day(&site.fixtures);
    let shares = site.design_shares();
    let season_c = weather.season_c(today.day_of_year);
    let run_on = Rng::stream(seed, "run-on", 0).lognormal(1.2, 0.1);
    let plot = |(index, built): (usize, &crate::site::Basin)| {
        let mut basin = Basin::new(built, site.soil, &mut Rng::stream(seed, "soil", index as u64));
        if let Some(placed) = built.mulch_placed {
            let days = (today.number - days_since_epoch(placed)).max(0) as f64;
            basin.age_mulch(days, climate.mean_c, litres_per_day * shares[index] / built.area_m2);
        }
        let depth_mm = built.moisture_depth_mm.unwrap_or(DEFAULT_DEPTH_MM);
        // A change of temperature takes about z²/2κ to reach a depth z, mulch and all.
        let depth_m = (built.mulch_depth_mm + depth_mm) / 1000.0;
        Plot {
            basin,
            depth_mm,
            soil_c: season_c,
            follows_h: depth_m * depth_m / (2.0 * DIFFUSIVITY) / 3600.0,
            catches: run_on * Rng::stream(seed, "catch", index as u64).lognormal(1.0, 0.1),
        }
    };
    site.basins.iter().enumerate().map(plot).collect()
}

/// The plants' water use beside the reference crop's: fruit trees without ground cover (FAO-56 table 12, stone fruit:
/// 0.55, 0.90, 0.65), by season.
fn crop_coefficient(site: &Site, today: &LocalDay) -> f64 {
    let half_year = if site.latitude >= 0.0 { 0.0 } else { 182.6 };
    let day = (today.day_of_year + half_year) % 365.25;
    // Day of the year and coefficient at the turns of the season (common practice, no published source).
    let turns = [(0.0, 0.55), (75.0, 0.55), (135.0, 0.90), (255.0, 0.90), (310.0, 0.65), (366.0, 0.55)];
    let after = turns.iter().position(|(turn, _)| *turn > day).unwrap_or(turns.len() - 1);
    let ((d0, k0), (d1, k1)) = (turns[after.max(1) - 1], turns[after.max(1)]);
    k0 + (k1 - k0) * (day - d0) / (d1 - d0)
}
