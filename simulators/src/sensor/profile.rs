//! How well each kind of sensor measures, how often, and how it writes. These are the `[sensors.…]` tables of a scenario.

use serde::Deserialize;

use crate::payload::{Style, TimeForm, Wording};
use crate::span::Span;

/// All kinds of sensor of one system.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Profiles {
    /// What shares a message.
    pub pack: Pack,
    /// Wakes between two uplinks; samples in between travel together. SenML only. (default 1)
    pub batch: Option<u32>,
    /// Moisture probes.
    pub moisture: ProbeProfile,
    /// Floats, both the lower and the overflow one.
    pub float: FloatProfile,
    /// Soil thermometers.
    pub temperature: ThermometerProfile,
    /// Batteries of the basin devices.
    pub battery: BatteryProfile,
    /// The water meter.
    pub meter: CounterProfile,
    /// The rain gauge.
    pub rain: CounterProfile,
    /// The diverter's position switch.
    pub diverter: SwitchProfile,
}

/// Which samples share one SenML message.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pack {
    /// Each sensor publishes at its own topic.
    #[default]
    Sensor,
    /// A basin's device publishes one pack at the basin's topic.
    Basin,
    /// Packs go to the system's topic; record names hold basin and quantity.
    System,
}

/// How a value is written.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Writing {
    /// Payload style; sensors with pointers in the system file write foreign JSON whatever this says. (default json)
    pub style: Style,
    /// Form of the time in JSON. (default rfc3339)
    pub time: TimeForm,
    /// Words for a float's state outside SenML. (default flags)
    pub words: Wording,
    /// Moisture in hundredths instead of a ratio. (default false)
    pub percent: bool,
}

impl Default for Writing {
    fn default() -> Self {
        Self { style: Style::Json, time: TimeForm::Rfc3339, words: Wording::Flags, percent: false }
    }
}

/// A moisture probe.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct ProbeProfile {
    /// Sampling interval. (default 15min)
    pub every: Span,
    /// How it writes.
    pub write: Writing,
    /// Standard deviation of one reading (m³/m³). (default 0.002)
    pub noise: f64,
    /// Standard deviation of the gain between probes. (default 0.06)
    pub gain_spread: f64,
    /// Standard deviation of the zero between probes (m³/m³). (default 0.01)
    pub offset_spread: f64,
    /// Resolution (m³/m³). (default 0.001)
    pub step: f64,
    /// Apparent change per degree of soil temperature (m³/m³/°C). (default 0.0004)
    pub ripple_per_c: f64,
}

impl Default for ProbeProfile {
    fn default() -> Self {
        Self {
            every: Span::minutes(15),
            write: Writing::default(),
            noise: 0.002,
            gain_spread: 0.06,
            offset_spread: 0.01,
            step: 0.001,
            ripple_per_c: 0.0004,
        }
    }
}

/// A float switch. It publishes on change, and its state again at every heartbeat.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct FloatProfile {
    /// Longest silence. (default 6h)
    pub heartbeat: Span,
    /// How it writes.
    pub write: Writing,
    /// Water level between switching on and off (mm). (default 6)
    pub hysteresis_mm: f64,
    /// Ripples on the water that the float follows (mm, standard deviation). (default 1)
    pub ripple_mm: f64,
    /// Chance that a change bounces once or more before it settles. (default 0.05)
    pub chatter: f64,
}

impl Default for FloatProfile {
    fn default() -> Self {
        Self {
            heartbeat: Span::hours(6),
            write: Writing::default(),
            hysteresis_mm: 6.0,
            ripple_mm: 1.0,
            chatter: 0.05,
        }
    }
}

/// A soil thermometer.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct ThermometerProfile {
    /// Whether the devices have one. (default true)
    pub fitted: bool,
    /// Sampling interval. (default 60min)
    pub every: Span,
    /// How it writes.
    pub write: Writing,
    /// Standard deviation of one reading (°C). (default 0.1)
    pub noise: f64,
    /// Resolution (°C). (default 0.1)
    pub step: f64,
}

impl Default for ThermometerProfile {
    fn default() -> Self {
        Self { fitted: true, every: Span::hours(1), write: Writing::default(), noise: 0.1, step: 0.1 }
    }
}

/// A battery gauge.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct BatteryProfile {
    /// Whether the devices report it. (default true)
    pub fitted: bool,
    /// Reporting interval. (default 1d)
    pub every: Span,
    /// How it writes.
    pub write: Writing,
    /// Lowest charge of a battery at the start (%). (default 70)
    pub least_charge: f64,
    /// Charge used in a year (%). (default 25)
    pub per_year: f64,
}

impl Default for BatteryProfile {
    fn default() -> Self {
        Self {
            fitted: true,
            every: Span::days(1),
            write: Writing::default(),
            least_charge: 70.0,
            per_year: 25.0,
        }
    }
}

/// A cumulative counter: meter or rain gauge.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct CounterProfile {
    /// Sampling interval. (default 15min)
    pub every: Span,
    /// How it writes.
    pub write: Writing,
    /// The count starts again at zero when it reaches this. (default: never)
    pub wraps_at: Option<u64>,
    /// The count starts again at zero when the device restarts. (default false)
    pub resets: bool,
}

impl Default for CounterProfile {
    fn default() -> Self {
        Self { every: Span::minutes(15), write: Writing::default(), wraps_at: None, resets: false }
    }
}

/// A position switch: publishes on change and at every heartbeat.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct SwitchProfile {
    /// Longest silence. (default 6h)
    pub heartbeat: Span,
    /// How it writes.
    pub write: Writing,
}

impl Default for SwitchProfile {
    fn default() -> Self {
        Self { heartbeat: Span::hours(6), write: Writing::default() }
    }
}

/// Settings of one sensor that differ from its kind: the `[[sensor]]` tables of a scenario.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Exception {
    /// Its name: `quince/moisture` or `meter`.
    pub name: String,
    /// Sampling interval or heartbeat.
    pub every: Option<Span>,
    /// How it writes.
    pub write: Option<Writing>,
    /// Standard deviation of one reading of a probe (m³/m³).
    pub noise: Option<f64>,
    /// Gain of a probe, instead of one drawn.
    pub gain: Option<f64>,
    /// Zero of a probe (m³/m³), instead of one drawn.
    pub offset: Option<f64>,
    /// The system file names it, but it never reports.
    #[serde(default)]
    pub absent: bool,
}
