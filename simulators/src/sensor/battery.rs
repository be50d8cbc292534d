//! The battery of a basin's device.

use super::trouble::{Ailment, Window};

/// Below this charge a device no longer transmits (%).
pub(crate) const EMPTY: f64 = 2.0;

const YEAR_MS: f64 = 365.25 * 86_400_000.0;

/// One battery.
#[derive(Debug, Clone)]
pub(super) struct Battery {
    /// Charge at the start (%).
    pub(super) first_charge: f64,
    /// Start (Unix ms).
    pub(super) start_ms: i64,
    /// Charge used in a year (%).
    pub(super) per_year: f64,
}

impl Battery {
    /// Charge left (%), 0 to 100. A battery that was changed is full again.
    pub(super) fn charge(&self, at_ms: i64, troubles: &[Window]) -> f64 {
        let mut charge = self.normal(self.first_charge, self.start_ms, at_ms);
        for window in troubles {
            let Ailment::BatteryDying { within } = window.what else {
                continue;
            };
            if at_ms >= window.until_ms {
                charge = self.normal(100.0, window.until_ms, at_ms);
            } else if at_ms >= window.from_ms {
                let at_onset = self.normal(self.first_charge, self.start_ms, window.from_ms);
                let gone = (at_ms - window.from_ms) as f64 / within.ms().max(1) as f64;
                charge = at_onset * (1.0 - gone);
            }
        }
        charge.clamp(0.0, 100.0)
    }

    fn normal(&self, from: f64, since_ms: i64, at_ms: i64) -> f64 {
        from - self.per_year * (at_ms - since_ms) as f64 / YEAR_MS
    }
}
