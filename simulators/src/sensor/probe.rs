//! A capacitive moisture probe: wrong by a gain and a zero of its own, noisy, coarse, and moved a little by temperature.

use super::trouble::{Ailment, Window};
use crate::rng::Rng;

/// Temperature at which a probe was calibrated, °C.
const CALIBRATED_AT_C: f64 = 20.0;

/// One probe.
#[derive(Debug, Clone)]
pub(super) struct Probe {
    /// Reported change per true change.
    pub(super) gain: f64,
    /// Reported value in dry soil (m³/m³).
    pub(super) offset: f64,
    /// Standard deviation of a reading (m³/m³).
    pub(super) noise: f64,
    /// Resolution (m³/m³).
    pub(super) step: f64,
    /// Apparent change per °C (m³/m³).
    pub(super) ripple_per_c: f64,
    /// Last value said, which a frozen probe repeats, and when (Unix ms).
    pub(super) last: Option<(i64, f64)>,
}

impl Probe {
    /// What the probe says about this true water content (m³/m³) and soil temperature (°C), in m³/m³.
    pub(super) fn read(
        &mut self,
        water_content: f64,
        soil_c: f64,
        at_ms: i64,
        troubles: &[Window],
        rng: &mut Rng,
    ) -> f64 {
        let mut value = self.gain * water_content
            + self.offset
            + self.ripple_per_c * (soil_c - CALIBRATED_AT_C)
            + self.noise * rng.normal();
        for window in troubles.iter().filter(|window| window.covers(at_ms)) {
            match window.what {
                Ailment::Frozen => value = self.last.map_or(value, |(_, said)| said),
                Ailment::Shifted { by } => value += by,
                Ailment::Spiking { share, size } if rng.chance(share) => {
                    value += size * (1.0 + 0.3 * rng.normal());
                }
                Ailment::Spiking { .. }
                | Ailment::Dead
                | Ailment::StuckWet
                | Ailment::StuckDry
                | Ailment::BatteryDying { .. }
                | Ailment::GatewayOut { .. } => {}
            }
        }
        let said = quantise(value.clamp(0.0, 1.0), self.step);
        self.last = Some((at_ms, said));
        said
    }
}

/// Rounds to a resolution in a way that prints shortly: 0.236, not 0.23600000000000002.
pub(super) fn quantise(value: f64, step: f64) -> f64 {
    if step <= 0.0 {
        return value;
    }
    let steps = (value / step).round();
    let per_unit = (1.0 / step).round();
    if ((1.0 / step) - per_unit).abs() < 1e-9 { steps / per_unit } else { steps * step }
}
