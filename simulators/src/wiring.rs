//! The sensors a system file names: where each reports, and how a foreign device writes.
//!
//! This reads only the sensor keys of the system file; the plumbing is [`crate::site`]'s.

use serde::Deserialize;

use crate::payload::Pointer;
use crate::world::World;

/// What a sensor measures; its word is the last part of the default topic.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Quantity {
    /// Float switch in a basin.
    Float,
    /// Second float near the rim.
    Overflow,
    /// Moisture probe.
    Moisture,
    /// Soil temperature at the probe.
    Temperature,
    /// Battery of the basin's device.
    Battery,
    /// Cumulative water meter at the source.
    Meter,
    /// Position of the diverter.
    Diverter,
    /// Cumulative rain gauge.
    Rain,
}

impl Quantity {
    /// The word in topics and sensor names.
    pub fn word(self) -> &'static str {
        match self {
            Quantity::Float => "float",
            Quantity::Overflow => "overflow",
            Quantity::Moisture => "moisture",
            Quantity::Temperature => "temperature",
            Quantity::Battery => "battery",
            Quantity::Meter => "meter",
            Quantity::Diverter => "diverter",
            Quantity::Rain => "rain",
        }
    }
}

/// One sensor as the system file describes it.
#[derive(Debug, Clone, PartialEq)]
pub struct Sensor {
    /// `quince/moisture` or `meter`.
    pub name: String,
    /// What it measures.
    pub quantity: Quantity,
    /// The basin's place in the file, or none for sensors of the system itself.
    pub basin: Option<usize>,
    /// Where it publishes.
    pub topic: String,
    /// The file gives its topic: it is a device of its own and joins no pack.
    pub own_topic: bool,
    /// How a foreign device writes, if it is one.
    pub value: Option<Pointer>,
    /// Where a foreign device writes its time.
    pub time: Option<Pointer>,
    /// What the receiver makes of the reported number first.
    pub conversion: Conversion,
    /// Unit the receiver expects after scale and offset, if the file states one.
    pub unit: Option<String>,
    /// The contact opens when the float is wet.
    pub wet_is_open: bool,
    /// Float height above the basin floor (mm), for floats.
    pub height_mm: f64,
    /// Litres or millimetres per count, for counters.
    pub per_count: f64,
    /// The meter sits below the diverter.
    pub after_diverter: bool,
}

impl Sensor {
    /// What a meter here has seen pass since the start (L).
    pub fn metered_litres(&self, world: &World) -> f64 {
        let system = world.system();
        if self.after_diverter { system.landscape_litres } else { system.fixture_litres }
    }
}

/// What a receiver makes of a reported number before anything else.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Conversion {
    /// Nothing.
    None,
    /// Reported × scale + offset.
    Linear {
        /// Factor.
        scale: f64,
        /// Added after the factor.
        offset: f64,
    },
    /// The number is a relative permittivity; Topp's equation makes water content of it.
    Topp,
}

/// All sensors of one system.
#[derive(Debug, Clone, PartialEq)]
pub struct Wiring {
    /// The system's id.
    pub system: String,
    /// First part of all default topics.
    pub prefix: String,
    /// Basin ids in the order of the file.
    pub basins: Vec<String>,
    /// Basin depth to the rim (mm), in the same order.
    pub rim_mm: Vec<f64>,
    /// The sensors, basins first.
    pub sensors: Vec<Sensor>,
}

#[derive(Deserialize)]
struct File {
    id: String,
    #[serde(default)]
    source: Source,
    diverter: Option<Tap>,
    rain: Option<Tap>,
    #[serde(default)]
    basin: Vec<Basin>,
}

#[derive(Deserialize, Default)]
struct Source {
    meter: Option<Tap>,
}

#[derive(Deserialize)]
struct Basin {
    id: String,
    #[serde(default = "default_basin_depth_mm")]
    depth_mm: f64,
    float: Option<Tap>,
    overflow: Option<Tap>,
    moisture: Option<Tap>,
    temperature: Option<Tap>,
    battery: Option<Tap>,
}

fn default_basin_depth_mm() -> f64 {
    300.0
}

#[derive(Deserialize, Default)]
struct Tap {
    topic: Option<String>,
    value: Option<Pointer>,
    time: Option<Pointer>,
    scale: Option<f64>,
    offset: Option<f64>,
    unit: Option<String>,
    #[serde(default)]
    permittivity: bool,
    wet: Option<String>,
    height_mm: Option<f64>,
    litres_per_count: Option<f64>,
    mm_per_count: Option<f64>,
    #[serde(default)]
    after_diverter: bool,
}

impl Wiring {
    /// Reads the sensor keys of a system file.
    pub fn parse(text: &str, prefix: &str) -> Result<Self, toml::de::Error> {
        let file: File = toml::from_str(text)?;
        let mut wiring = Self {
            prefix: prefix.to_owned(),
            basins: Vec::new(),
            rim_mm: Vec::new(),
            sensors: Vec::new(),
            system: file.id,
        };
        for basin in file.basin {
            wiring.add_basin(basin);
        }
        let system_taps = [
            (Quantity::Meter, file.source.meter),
            (Quantity::Diverter, file.diverter),
            (Quantity::Rain, file.rain),
        ];
        for (quantity, tap) in system_taps {
            if let Some(tap) = tap {
                wiring.add(None, quantity, tap);
            }
        }
        Ok(wiring)
    }

    /// The sensor of this name.
    pub fn find(&self, name: &str) -> Option<usize> {
        self.sensors.iter().position(|sensor| sensor.name == name)
    }

    fn add_basin(&mut self, basin: Basin) {
        let index = self.basins.len();
        self.basins.push(basin.id);
        self.rim_mm.push(basin.depth_mm);
        // A thermometer and a battery come with any basin device, whether or not the file mentions them.
        let has_device = basin.float.is_some() || basin.overflow.is_some() || basin.moisture.is_some();
        let has_probe = basin.moisture.is_some();
        let taps = [
            (Quantity::Moisture, basin.moisture),
            (Quantity::Float, basin.float),
            (Quantity::Overflow, basin.overflow),
            (Quantity::Temperature, basin.temperature.or(has_probe.then(Tap::default))),
            (Quantity::Battery, basin.battery.or(has_device.then(Tap::default))),
        ];
        for (quantity, tap) in taps {
            if let Some(tap) = tap {
                self.add(Some(index), quantity, tap);
            }
        }
    }

    fn add(&mut self, basin: Option<usize>, quantity: Quantity, tap: Tap) {
        let name = match basin {
            Some(index) => format!("{}/{}", self.basins[index], quantity.word()),
            None => quantity.word().to_owned(),
        };
        let default_height_mm = match (quantity, basin) {
            (Quantity::Overflow, Some(index)) => self.rim_mm[index] - 40.0,
            _ => 120.0,
        };
        self.sensors.push(Sensor {
            own_topic: tap.topic.is_some(),
            topic: tap.topic.unwrap_or_else(|| format!("{}/{}/{name}", self.prefix, self.system)),
            name,
            quantity,
            basin,
            value: tap.value,
            time: tap.time,
            conversion: match (tap.permittivity, tap.scale, tap.offset) {
                (true, _, _) => Conversion::Topp,
                (false, None, None) => Conversion::None,
                (false, scale, offset) => {
                    Conversion::Linear { scale: scale.unwrap_or(1.0), offset: offset.unwrap_or(0.0) }
                }
            },
            unit: tap.unit,
            wet_is_open: tap.wet.as_deref() == Some("open"),
            height_mm: tap.height_mm.unwrap_or(default_height_mm),
            per_count: tap.litres_per_count.or(tap.mm_per_count).unwrap_or(1.0),
            after_diverter: tap.after_diverter,
        });
    }
}
