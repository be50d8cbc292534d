//! What can be wrong with a drain, and what each cause would do to the water of every basin.

use serde::{Deserialize, Serialize};

use crate::model::{BasinIx, Place, Quantity, SplitterIx, System};
use crate::stats::bayes::{logistic, logit};

/// One explanation of a change.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) enum Cause {
    /// A splitter sends side a these log odds more than designed.
    Tilted { splitter: SplitterIx, log_odds: f64 },
    /// An outlet passes no more than this part of what a usual dose brings it; the rest goes to its sibling.
    Blocked { basin: BasinIx, passes: f64 },
    /// A sensor shows this much (logarithm) more or less than it did; the water is as ever.
    Sensor { basin: BasinIx, change: f64 },
    /// The floor holds water up, so that the probe below shows this much (logarithm) less of each dose; the water is as
    /// ever. Told by how basins soak, not by doses: here it only speaks against the others.
    Lingers { basin: BasinIx, change: f64 },
}

/// How far splitters go off that are watched for (log odds): 0.85 is 70/30.
const TILTS: [f64; 6] = [-1.6, -0.85, -0.45, 0.45, 0.85, 1.6];
/// What blocked outlets pass that are watched for.
const PASSES: [f64; 3] = [0.02, 0.25, 0.55];
/// How sensors err that are watched for.
const ERRORS: [f64; 3] = [-3.0, -0.7, 0.7];
/// How the effect of a tilt goes with the size of a dose.
const TILT_FADES: f64 = -0.25;
/// How the part that a constriction passes goes with the size of a dose.
const BLOCKED_FADES: f64 = -0.2;
/// Log odds against an outlet that lets through a good part, for each 0.3 of it: what is caught catches more.
const PARTIAL: f64 = 6.0;
/// The same, finely, for saying how large a change is.
const FINE_TILT: (f64, i32) = (0.2, 12);
const FINE_PASSES: (f64, i32) = (0.7, 12);
const FINE_ERROR: (f64, i32) = (0.5, 6);
const FINE_LINGERING: (f64, i32) = (-0.5, 6);
/// Log odds of a floor that does, in soil that takes a millimetre an hour, less the logarithm of what it takes; and the
/// highest (by the scoreboard's tuning seeds).
const LINGERS: f64 = -1.5;
const LINGERS_AT_MOST: f64 = -1.0;

impl Cause {
    /// All causes that are watched for, in a fixed order.
    pub(super) fn coarse(system: &System) -> impl Iterator<Item = Self> {
        let splitters = (0..system.splitters.len() as u16).map(SplitterIx);
        let tilts = splitters.flat_map(|splitter| TILTS.map(|log_odds| Self::Tilted { splitter, log_odds }));
        let count = outlets(system);
        let outlets = (0..count).flat_map(|i| {
            let basin = BasinIx(i as u16);
            PASSES.map(|passes| Self::Blocked { basin, passes })
        });
        let sensors = (0..count).flat_map(|i| {
            let basin = BasinIx(i as u16);
            ERRORS.map(|change| Self::Sensor { basin, change })
        });
        tilts.chain(outlets).chain(sensors)
    }

    /// The kinds of causes that explain what is seen, in some size: all that are watched for, and floors that hold water up
    /// above a probe; a float beside one stays up for longer instead.
    pub(super) fn kinds(system: &System) -> Vec<Self> {
        let mut kinds: Vec<Self> = Vec::new();
        for cause in Self::coarse(system) {
            if !kinds.iter().any(|known| known.is_same(cause)) {
                kinds.push(cause);
            }
        }
        let has_probe =
            |basin: &BasinIx| system.find_sensor(Place::Basin(*basin), Quantity::Moisture).is_some();
        let floors = (0..outlets(system)).map(|i| BasinIx(i as u16)).filter(has_probe);
        kinds.extend(floors.map(|basin| Self::Lingers { basin, change: -1.0 }));
        kinds
    }

    /// The same cause in all sizes.
    pub(super) fn sizes(self) -> Vec<Self> {
        match self {
            Self::Tilted { splitter, .. } => (-FINE_TILT.1..=FINE_TILT.1)
                .map(|step| Self::Tilted { splitter, log_odds: FINE_TILT.0 * f64::from(step) })
                .collect(),
            Self::Blocked { basin, .. } => (1..=FINE_PASSES.1)
                .map(|step| Self::Blocked { basin, passes: FINE_PASSES.0.powi(step) })
                .collect(),
            Self::Sensor { basin, .. } => (-FINE_ERROR.1..=FINE_ERROR.1)
                .map(|step| Self::Sensor { basin, change: FINE_ERROR.0 * f64::from(step) })
                .collect(),
            Self::Lingers { basin, .. } => (1..=FINE_LINGERING.1)
                .map(|step| Self::Lingers { basin, change: FINE_LINGERING.0 * f64::from(step) })
                .collect(),
        }
    }

    /// Whether both say that the same part of the system is at fault in the same way.
    pub(super) fn is_same(self, other: Self) -> bool {
        match (self, other) {
            (Self::Tilted { splitter: a, .. }, Self::Tilted { splitter: b, .. }) => a == b,
            (Self::Blocked { basin: a, .. }, Self::Blocked { basin: b, .. })
            | (Self::Sensor { basin: a, .. }, Self::Sensor { basin: b, .. })
            | (Self::Lingers { basin: a, .. }, Self::Lingers { basin: b, .. }) => a == b,
            _ => false,
        }
    }

    /// Change of what basin `i` shows (logarithm of its water), in an episode of `size` times the usual litres.
    pub(super) fn change(self, system: &System, i: usize, size: f64) -> f64 {
        let at = BasinIx(i as u16);
        match self {
            Self::Tilted { splitter, log_odds } => {
                let design = system.splitter(splitter).split;
                // A full fitting splits more evenly.
                let fades = size.max(0.1).powf(TILT_FADES).clamp(0.5, 1.6);
                let share_a = logistic(logit(design[0]) + fades * log_odds);
                match system.tree().side_of(splitter, at) {
                    Some(0) => (share_a / design[0]).ln(),
                    Some(_) => ((1.0 - share_a) / design[1]).ln(),
                    None => 0.0,
                }
            }
            Self::Blocked { basin, passes } => {
                // A constriction passes small flows whole and no more than so much of large ones.
                let kept = (passes * size.max(0.1).powf(BLOCKED_FADES)).clamp(0.01, 1.0);
                if at == basin {
                    return kept.ln();
                }
                let Some(parent) = system.tree().parent(basin) else { return 0.0 };
                if system.tree().side_of(parent.splitter, at) != Some(1 - parent.side) {
                    return 0.0;
                }
                let split = system.splitter(parent.splitter).split;
                (1.0 + (1.0 - kept) * split[parent.side] / split[1 - parent.side]).ln()
            }
            Self::Sensor { basin, change } | Self::Lingers { basin, change } => {
                if at == basin {
                    change
                } else {
                    0.0
                }
            }
        }
    }

    /// Prior log odds: outlets clog and splitters settle far more often than sensors lose their gain without other
    /// signs; small sizes are likelier than large ones (common practice, no published source).
    pub(super) fn prior(self, system: &System) -> f64 {
        match self {
            Self::Tilted { log_odds, .. } => -0.7 - 0.5 * (log_odds / 1.2).powi(2),
            Self::Blocked { passes, .. } => -1.9 - PARTIAL * ((passes - 0.1).max(0.0) / 0.3).min(2.0),
            Self::Sensor { change, .. } => -5.3 - 0.5 * (change / 1.5).powi(2),
            Self::Lingers { .. } => {
                let takes_mm_h = system.soil.properties().conductivity_mm_h;
                (LINGERS - takes_mm_h.ln()).min(LINGERS_AT_MOST)
            }
        }
    }
}

/// Basins below a splitter: without one there is nothing to compare with.
fn outlets(system: &System) -> usize {
    if system.splitters.is_empty() { 0 } else { system.basins.len() }
}
