//! A float switch: lifts and falls at slightly different levels, follows ripples, and sometimes bounces.

use super::trouble::{Ailment, Window};
use crate::rng::Rng;

/// Time between two bounces of a contact, ms. Devices report no faster.
const BOUNCE_MS: i64 = 2000;

/// One float switch.
#[derive(Debug, Clone)]
pub(super) struct Float {
    /// Middle of the switching range above the basin floor (mm).
    pub(super) height_mm: f64,
    /// Level difference between lifting and falling (mm).
    pub(super) hysteresis_mm: f64,
    /// Standard deviation of ripples (mm).
    pub(super) ripple_mm: f64,
    /// Chance of bounces at a change.
    pub(super) chatter: f64,
    /// Position that the water gives it.
    pub(super) lifted: bool,
    /// State last reported.
    pub(super) reported: bool,
}

impl Float {
    /// Follows the water level and returns the changes to report, oldest first; mostly none.
    pub(super) fn follow(
        &mut self,
        level_mm: f64,
        at_ms: i64,
        troubles: &[Window],
        rng: &mut Rng,
    ) -> Vec<(i64, bool)> {
        let lifted = self.position(level_mm, rng);
        let bounced = lifted != self.lifted && rng.chance(self.chatter);
        self.lifted = lifted;
        let state = stuck(troubles, at_ms).unwrap_or(lifted);
        if state == self.reported {
            return Vec::new();
        }
        self.reported = state;
        let mut changes = vec![(at_ms, state)];
        if bounced && state == lifted {
            let bounces = 1 + (2.0 * rng.unit()) as i64;
            for bounce in 0..bounces {
                changes.push((at_ms + (2 * bounce + 1) * BOUNCE_MS, !state));
                changes.push((at_ms + (2 * bounce + 2) * BOUNCE_MS, state));
            }
        }
        changes
    }

    fn position(&self, level_mm: f64, rng: &mut Rng) -> bool {
        let threshold = if self.lifted {
            self.height_mm - self.hysteresis_mm / 2.0
        } else {
            self.height_mm + self.hysteresis_mm / 2.0
        };
        let near = (level_mm - threshold).abs() < 4.0 * self.ripple_mm;
        let ripple = if near { self.ripple_mm * rng.normal() } else { 0.0 };
        level_mm + ripple > threshold
    }
}

/// The state a stuck float shows, if it is stuck now.
fn stuck(troubles: &[Window], at_ms: i64) -> Option<bool> {
    troubles.iter().filter(|window| window.covers(at_ms)).find_map(|window| match window.what {
        Ailment::StuckWet => Some(true),
        Ailment::StuckDry => Some(false),
        Ailment::Dead
        | Ailment::Frozen
        | Ailment::Shifted { .. }
        | Ailment::Spiking { .. }
        | Ailment::BatteryDying { .. }
        | Ailment::GatewayOut { .. } => None,
    })
}
