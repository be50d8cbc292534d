//! What goes wrong with sensors and their links: the `[[trouble]]` tables of a scenario.

use serde::Deserialize;

use crate::fault::Moment;
use crate::span::Span;

/// One thing wrong with a sensor, a basin's device or the gateway.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Trouble {
    /// Sensor (`quince/moisture`), basin (`quince`, for its battery) or nothing for the gateway.
    pub on: Option<String>,
    /// What it is.
    pub kind: Ailment,
    /// When it begins.
    pub onset: Moment,
    /// When it ends; it lasts to the end of the scenario without this.
    pub until: Option<Moment>,
}

/// Kinds of sensor trouble.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum Ailment {
    /// The sensor says nothing.
    Dead,
    /// The probe repeats its last value.
    Frozen,
    /// The probe reads wrong by this much (m³/m³) from now on.
    Shifted {
        /// Added to every reading.
        by: f64,
    },
    /// Single readings are far off.
    Spiking {
        /// Fraction of readings, 0 to 1.
        share: f64,
        /// Typical size (m³/m³).
        size: f64,
    },
    /// The float stays lifted.
    StuckWet,
    /// The float stays down.
    StuckDry,
    /// The battery of a basin's device runs empty in this time; then the device is silent.
    BatteryDying {
        /// From its charge to nothing.
        within: Span,
    },
    /// Nothing of the system is heard.
    GatewayOut {
        /// Messages that carry their own time are kept and sent afterwards.
        stored: bool,
    },
}

impl Trouble {
    /// First moment of the trouble, given the scenario's start.
    pub fn from_ms(&self, start_ms: i64) -> i64 {
        self.onset.at_ms(start_ms)
    }

    /// First moment after the trouble.
    pub fn until_ms(&self, start_ms: i64) -> i64 {
        self.until.map_or(i64::MAX, |until| until.at_ms(start_ms))
    }
}

impl Ailment {
    /// The word for it in the truth file.
    pub fn word(&self) -> &'static str {
        match self {
            Ailment::Dead => "sensor-dead",
            Ailment::Frozen => "probe-frozen",
            Ailment::Shifted { .. } => "probe-shifted",
            Ailment::Spiking { .. } => "probe-spiking",
            Ailment::StuckWet => "float-stuck-wet",
            Ailment::StuckDry => "float-stuck-dry",
            Ailment::BatteryDying { .. } => "battery-dying",
            Ailment::GatewayOut { .. } => "gateway-out",
        }
    }
}

/// One ailment of one sensor, in absolute time.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Window {
    /// First moment (Unix ms).
    pub(crate) from_ms: i64,
    /// First moment after it (Unix ms).
    pub(crate) until_ms: i64,
    /// What is wrong.
    pub(crate) what: Ailment,
}

impl Window {
    /// Whether it is wrong at this time.
    pub(crate) fn covers(&self, at_ms: i64) -> bool {
        (self.from_ms..self.until_ms).contains(&at_ms)
    }
}
