//! A day's weather, drawn so that each day follows from the seed and its date alone.

use std::f64::consts::{PI, TAU};

use super::climate::Climate;
use super::hargreaves;
use crate::rng::Rng;

/// The highest temperature comes three hours after noon, the lowest twelve hours before that (common practice).
const WARMEST_H: f64 = 15.0;

/// How many days a spell of weather reaches back.
const SPELL_DAYS: i64 = 10;

/// What is left of a day's weather the day after.
const PERSISTENCE: f64 = 0.7;

/// The weather of a place, by local day.
#[derive(Debug, Clone)]
pub struct Weather {
    climate: Climate,
    latitude: f64,
    seed: u64,
}

/// Rain at an even rate for a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shower {
    /// Start (hours after local midnight; may run into the next day).
    pub start_h: f64,
    /// Length (h).
    pub hours: f64,
    /// Depth (mm).
    pub mm: f64,
}

/// One local day's weather.
#[derive(Debug, Clone, PartialEq)]
pub struct DayWeather {
    /// Reference evapotranspiration (mm), by Hargreaves.
    pub reference_et_mm: f64,
    /// Showers that begin on the day, in the order of their starts.
    pub showers: Vec<Shower>,
    /// Temperatures of the day before, the day itself and the day after.
    temperatures: [Temperatures; 3],
    daylight_h: f64,
}

/// The temperatures of one day.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Temperatures {
    mean_c: f64,
    range_c: f64,
}

impl DayWeather {
    /// Mean temperature of the day (°C).
    pub fn mean_c(&self) -> f64 {
        self.temperatures[1].mean_c
    }

    /// Temperature of the air (°C), `hour` hours after midnight. The day's mean moves evenly from noon to noon.
    pub fn air_c(&self, hour: f64) -> f64 {
        let [before, today, after] = self.temperatures;
        let neighbour = if hour < 12.0 { before } else { after };
        let away = (hour - 12.0).abs() / 24.0;
        let between = |a: f64, b: f64| a * (1.0 - away) + b * away;
        let swing = 0.5 * between(today.range_c, neighbour.range_c);
        between(today.mean_c, neighbour.mean_c) + swing * (TAU * (hour - WARMEST_H) / 24.0).cos()
    }

    /// Reference evapotranspiration (mm/h) at an hour: the day's sum as a half sine from sunrise to sunset.
    pub fn reference_et_mm_h(&self, hour: f64) -> f64 {
        let since_sunrise = hour - (12.0 - 0.5 * self.daylight_h);
        if since_sunrise <= 0.0 || since_sunrise >= self.daylight_h {
            return 0.0;
        }
        let phase = PI / self.daylight_h;
        0.5 * self.reference_et_mm * phase * (phase * since_sunrise).sin()
    }
}

impl Weather {
    /// The weather that `seed` gives a place with this climate; degrees north.
    pub fn new(climate: Climate, latitude: f64, seed: u64) -> Self {
        Self { climate, latitude, seed }
    }

    /// The weather of a local day (days since 1970-01-01).
    pub fn day(&self, day: i64, day_of_year: f64) -> DayWeather {
        let temperatures =
            [-1_i64, 0, 1].map(|away| self.temperatures(day + away, day_of_year + away as f64));
        let Temperatures { mean_c, range_c } = temperatures[1];
        let radiation = hargreaves::extraterrestrial_radiation(self.latitude, day_of_year);
        DayWeather {
            reference_et_mm: hargreaves::reference_et_mm(
                radiation,
                mean_c - 0.5 * range_c,
                mean_c + 0.5 * range_c,
            ),
            showers: self.showers(day, day_of_year),
            temperatures,
            daylight_h: hargreaves::daylight_h(self.latitude, day_of_year),
        }
    }

    fn showers(&self, day: i64, day_of_year: f64) -> Vec<Shower> {
        if !self.rains(day, day_of_year) {
            return Vec::new();
        }
        let mut rng = Rng::stream(self.seed, "rain", day as u64);
        // A day's depth is close to exponential (Todorovic and Woolhiser 1975); it falls in a few bursts.
        let depth = rng.exponential(self.climate.rain.wet_day_mm);
        let bursts = 1 + rng.poisson(1.5);
        let weights: Vec<f64> = (0..bursts).map(|_| rng.exponential(1.0)).collect();
        let all: f64 = weights.iter().sum();
        let mut showers: Vec<Shower> = weights
            .iter()
            .map(|weight| Shower {
                start_h: rng.between(0.0, 22.0),
                hours: rng.lognormal(0.8, 0.6).clamp(0.1, 6.0),
                mm: depth * weight / all,
            })
            .collect();
        showers.sort_by(|a, b| a.start_h.total_cmp(&b.start_h));
        showers
    }

    /// Mean temperature of the season (°C).
    pub fn season_c(&self, day_of_year: f64) -> f64 {
        let warmest = if self.latitude >= 0.0 { 200.0 } else { 18.0 };
        self.climate.mean_c + self.climate.seasonal_c * (TAU * (day_of_year - warmest) / 365.25).cos()
    }

    /// Mean and range of a day's temperature: rain cools it and narrows the range.
    fn temperatures(&self, day: i64, day_of_year: f64) -> Temperatures {
        let anomaly = self.climate.weather_c * self.spell("temperature", day);
        let clear = (1.0 + 0.2 * self.spell("clouds", day)).clamp(0.5, 1.6);
        let (cooler, narrower) = if self.rains(day, day_of_year) { (1.5, 0.6) } else { (0.0, 1.0) };
        Temperatures {
            mean_c: self.season_c(day_of_year) + anomaly - cooler,
            range_c: self.climate.diurnal_c * clear * narrower,
        }
    }

    /// Whether it rains on a day: the chance follows the season, and wet days come in spells.
    fn rains(&self, day: i64, day_of_year: f64) -> bool {
        let rain = &self.climate.rain;
        if rain.annual_mm <= 0.0 || rain.wet_day_mm <= 0.0 {
            return false;
        }
        let lean = 1.0 + rain.seasonality * (TAU * (day_of_year - rain.peak_day) / 365.25).cos();
        let chance = (rain.annual_mm / rain.wet_day_mm / 365.25 * lean).clamp(0.0, 0.95);
        chance > 0.0 && rank(self.spell("wet spells", day)) < chance
    }

    /// A normal quantity (mean 0, deviation 1) that changes slowly from day to day: a weighted mean of daily draws.
    fn spell(&self, purpose: &str, day: i64) -> f64 {
        let (mut sum, mut squares, mut weight) = (0.0, 0.0, 1.0_f64);
        for back in 0..SPELL_DAYS {
            sum += weight * Rng::stream(self.seed, purpose, (day - back) as u64).normal();
            squares += weight * weight;
            weight *= PERSISTENCE;
        }
        sum / squares.sqrt()
    }
}

/// The probability that a standard normal quantity lies below `x`, after Abramowitz and Stegun (1964), 26.2.17
/// (error below 7.5e-8).
fn rank(x: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.231_641_9 * x.abs());
    let poly = t
        * (0.319_381_530
            + t * (-0.356_563_782 + t * (1.781_477_937 + t * (-1.821_255_978 + t * 1.330_274_429))));
    let tail = (-0.5 * x * x).exp() / TAU.sqrt() * poly;
    if x >= 0.0 { 1.0 - tail } else { tail }
}
