//! A soil column for tests: layers that drain by gravity into each other, plants that draw by day, and a
//! probe that errs. Independent of the simulators and of the way signals are read.

use std::f64::consts::TAU;

use crate::model::{EventTime, Soil, Span};
use crate::stats::normal;

/// Layers of the column and their thickness, mm.
const LAYERS: usize = 14;
const LAYER_MM: f64 = 50.0;

/// Soil below the floor of a basin, in steps of a minute.
pub(super) struct Ground {
    conductivity_mm_min: f64,
    residual: f64,
    porosity: f64,
    exponent: f64,
    contents: [f64; LAYERS],
    /// Water standing on the floor, mm.
    pub(super) standing_mm: f64,
}

impl Ground {
    /// A column a few days after rain.
    pub(super) fn of(soil: Soil) -> Self {
        let p = soil.properties();
        Self {
            conductivity_mm_min: p.conductivity_mm_h / 60.0,
            residual: p.porosity - p.effective_porosity,
            porosity: p.porosity,
            // Brooks and Corey (1964) with a pore-size index near that of loams: K falls with the tenth
            // power.
            exponent: 10.0,
            contents: [p.field_capacity + 0.01; LAYERS],
            standing_mm: 0.0,
        }
    }

    fn conductivity(&self, content: f64) -> f64 {
        let wetness = ((content - self.residual) / (self.porosity - self.residual)).clamp(0.0, 1.0);
        self.conductivity_mm_min * wetness.powf(self.exponent)
    }

    /// A minute with `inflow_mm` arriving on the floor.
    pub(super) fn minute(&mut self, at: EventTime, inflow_mm: f64) {
        self.standing_mm += inflow_mm;
        let room = (self.porosity - self.contents[0]) * LAYER_MM;
        let taken = self.standing_mm.min(3.0 * self.conductivity_mm_min).min(room);
        self.standing_mm -= taken;
        self.contents[0] += taken / LAYER_MM;
        for i in 0..LAYERS {
            let below = self.contents.get(i + 1).map_or(f64::INFINITY, |c| (self.porosity - c) * LAYER_MM);
            let flow = self.conductivity(self.contents[i]).min(below);
            self.contents[i] -= flow / LAYER_MM;
            if let Some(next) = self.contents.get_mut(i + 1) {
                *next += flow / LAYER_MM;
            }
        }
        let sun = (TAU * (hour_of_day(at) - 6.0) / 24.0).sin().max(0.0);
        let drawn = 4.0 / 1440.0 * std::f64::consts::PI * sun / LAYERS as f64 / LAYER_MM;
        for content in &mut self.contents {
            *content = (*content - drawn).max(self.residual + 0.03);
        }
    }

    /// Water content around a probe at 250 mm.
    pub(super) fn at_probe(&self) -> f64 {
        f64::midpoint(self.contents[4], self.contents[5])
    }
}

/// A probe's error: noise, response to temperature, resolution.
#[derive(Clone, Copy)]
pub(super) struct Probe {
    pub(super) noise: f64,
    pub(super) ripple: f64,
    pub(super) resolution: f64,
    pub(super) every: Span,
}

/// A run: a dose schedule in, readings out.
pub(super) struct Record {
    pub(super) readings: Vec<(EventTime, f64)>,
}

/// Runs a column for some days; `inflow` gives mm in each minute.
pub(super) fn run(
    soil: Soil,
    probe: Probe,
    days: i64,
    seed: u64,
    mut inflow: impl FnMut(EventTime) -> f64,
) -> Record {
    let mut ground = Ground::of(soil);
    let mut draws = Draws(seed);
    let mut readings = Vec::new();
    for minute in 0..days * 1440 {
        let at = EventTime::from_secs(minute * 60);
        ground.minute(at, inflow(at));
        if minute % (probe.every.millis() / 60_000) == 0 {
            let ripple = probe.ripple * (TAU * (hour_of_day(at) - 15.0) / 24.0).cos();
            let shown = ground.at_probe() + ripple + probe.noise * draws.normal();
            readings.push((at, (shown / probe.resolution).round() * probe.resolution));
        }
    }
    Record { readings }
}

pub(super) fn hour_of_day(at: EventTime) -> f64 {
    at.millis().rem_euclid(86_400_000) as f64 / 3_600_000.0
}

/// Seeded draws (`SplitMix64`).
pub(super) struct Draws(pub(super) u64);

impl Draws {
    pub(super) fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64 + f64::EPSILON / 4.0
    }

    pub(super) fn normal(&mut self) -> f64 {
        normal::quantile(self.uniform())
    }
}
