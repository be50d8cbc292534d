//! Sensors: what they measure, where, and how their messages are wired in.

use std::fmt;
use std::ops::Deref;

use serde::{Deserialize, Serialize};

use super::{BasinIx, Id};

/// What a sensor measures, and in which unit its [`Value`](super::Value) is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Quantity {
    /// Float switch in the basin: wet or dry.
    Float,
    /// Second float near the rim: wet or dry.
    Overflow,
    /// Volumetric water content of the soil, m³/m³.
    Moisture,
    /// Soil temperature, °C.
    Temperature,
    /// Battery charge, percent.
    Battery,
    /// Water meter at the source: cumulative count.
    Meter,
    /// Diverter position: landscape or sewer.
    Diverter,
    /// Rain gauge: cumulative count.
    Rain,
}

/// Where in the system a sensor sits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Place {
    /// At the source or beside the system as a whole.
    System,
    /// In one basin.
    Basin(BasinIx),
}

/// Index of a sensor in its system.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct SensorIx(pub u16);

/// A unit that a system file may state for foreign payloads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Unit {
    /// `/` or `m3/m3`: 0 to 1.
    Ratio,
    /// `%` or `%EL`: 0 to 100.
    Percent,
    /// `Cel`: degrees Celsius.
    Celsius,
    /// `degF`: degrees Fahrenheit.
    Fahrenheit,
    /// `count`: cumulative counts.
    Count,
}

/// How to understand the messages of one sensor.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Wiring {
    /// Topic to hear, if not the default one.
    pub topic: Option<String>,
    /// JSON pointer (RFC 6901) to the value.
    pub value: Option<String>,
    /// JSON pointer to the time.
    pub time: Option<String>,
    /// Unit of the value after `scale` and `offset`.
    pub unit: Option<Unit>,
    /// Factor applied to the raw number.
    pub scale: Option<f64>,
    /// Number added after the factor.
    pub offset: Option<f64>,
    /// The number is a relative permittivity, to be turned into water content by Topp's equation.
    pub permittivity: bool,
    /// An open contact means wet.
    pub wet_is_open: bool,
}

impl Wiring {
    /// That of a sensor of which a system file says nothing.
    const USUAL: Self = Self {
        topic: None,
        value: None,
        time: None,
        unit: None,
        scale: None,
        offset: None,
        permittivity: false,
        wet_is_open: false,
    };
}

/// The wiring of one sensor. The usual one, which most have, takes no room.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Wired(Option<Box<Wiring>>);

impl From<Wiring> for Wired {
    fn from(wiring: Wiring) -> Self {
        Self((wiring != Wiring::USUAL).then(|| Box::new(wiring)))
    }
}

impl Deref for Wired {
    type Target = Wiring;

    fn deref(&self) -> &Wiring {
        self.0.as_deref().unwrap_or(&Wiring::USUAL)
    }
}

/// One sensor of a system.
#[derive(Clone, Debug, PartialEq)]
pub struct Sensor {
    /// Where it sits.
    pub place: Place,
    /// What it measures.
    pub quantity: Quantity,
    /// How its messages are understood.
    pub wiring: Wired,
    /// The system file names it, rather than it being heard by default.
    pub declared: bool,
}

impl Quantity {
    /// Every quantity.
    pub const ALL: [Self; 8] = [
        Self::Float,
        Self::Overflow,
        Self::Moisture,
        Self::Temperature,
        Self::Battery,
        Self::Meter,
        Self::Diverter,
        Self::Rain,
    ];

    /// The word for it in topics and pages.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Float => "float",
            Self::Overflow => "overflow",
            Self::Moisture => "moisture",
            Self::Temperature => "temperature",
            Self::Battery => "battery",
            Self::Meter => "meter",
            Self::Diverter => "diverter",
            Self::Rain => "rain",
        }
    }

    /// The quantity called `name`.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|quantity| quantity.name() == name)
    }

    /// Whether it belongs to a basin rather than to the system.
    pub const fn is_of_basin(self) -> bool {
        match self {
            Self::Float | Self::Overflow | Self::Moisture | Self::Temperature | Self::Battery => true,
            Self::Meter | Self::Diverter | Self::Rain => false,
        }
    }

    /// Units that its numbers may carry, by the names of files and payloads; the first is its own.
    pub const fn units(self) -> &'static [(&'static str, Unit)] {
        match self {
            Self::Moisture => &[("/", Unit::Ratio), ("m3/m3", Unit::Ratio), ("%", Unit::Percent)],
            Self::Temperature => &[("Cel", Unit::Celsius), ("degF", Unit::Fahrenheit)],
            Self::Battery => &[("%EL", Unit::Percent), ("%", Unit::Percent), ("/", Unit::Ratio)],
            Self::Meter | Self::Rain => &[("count", Unit::Count)],
            Self::Float | Self::Overflow | Self::Diverter => &[],
        }
    }

    /// The unit called `name`, if numbers of this quantity may carry it.
    pub fn unit_named(self, name: &str) -> Option<Unit> {
        self.units().iter().find(|(known, _)| *known == name).map(|(_, unit)| *unit)
    }

    /// Physically possible range of a number of this quantity, in its unit.
    pub const fn range(self) -> (f64, f64) {
        match self {
            Self::Float | Self::Overflow | Self::Diverter | Self::Moisture => (0.0, 1.0),
            Self::Temperature => (-60.0, 85.0),
            Self::Battery => (0.0, 100.0),
            Self::Meter | Self::Rain => (0.0, 1e15),
        }
    }
}

/// Topic on which a sensor is heard if its system file states none.
pub fn default_topic(prefix: &str, system: &Id, basin: Option<&Id>, quantity: Quantity) -> String {
    match basin {
        Some(basin) => format!("{prefix}/{system}/{basin}/{quantity}"),
        None => format!("{prefix}/{system}/{quantity}"),
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
