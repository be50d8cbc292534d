//! A whole system, checked once and immutable afterwards.

use jiff::{civil::Date, tz::TimeZone};

use super::{
    Basin, BasinIx, Id, Location, Place, Quantity, Sensor, SensorIx, Soil, Source, Splitter, SplitterIx,
    Tree, default_topic,
};

/// Everything a system file says, after each part was checked by itself.
#[derive(Clone, Debug, PartialEq)]
pub struct SystemParts {
    /// Id, equal to the file's name.
    pub id: Id,
    /// Name for people.
    pub name: String,
    /// Property that visits are made to.
    pub property: Id,
    /// Time zone of the yard.
    pub zone: TimeZone,
    /// Where it is, if stated.
    pub location: Option<Location>,
    /// Soil of the basins.
    pub soil: Soil,
    /// First day of service, if stated.
    pub commissioned: Option<Date>,
    /// The fixtures that feed it.
    pub source: Source,
    /// Whether there is a diverter whose position is reported.
    pub diverter: bool,
    /// Millimetres of rain for one count of the gauge, where there is one.
    pub rain_mm_per_count: Option<f64>,
    /// Splitters in the file's order.
    pub splitters: Vec<Splitter>,
    /// Basins in the file's order.
    pub basins: Vec<Basin>,
    /// Sensors, at most one per place and quantity.
    pub sensors: Vec<Sensor>,
}

/// One branched drain: a source, an optional diverter, splitters, basins.
#[derive(Clone, Debug, PartialEq)]
pub struct System {
    parts: SystemParts,
    tree: Tree,
}

impl System {
    /// Joins checked parts with the tree built from them.
    pub fn new(parts: SystemParts, tree: Tree) -> Self {
        debug_assert_eq!((tree.basins(), tree.splitters()), (parts.basins.len(), parts.splitters.len()));
        Self { parts, tree }
    }

    /// Whether floats are all there is: no probe tells how much water came.
    pub fn has_floats_alone(&self) -> bool {
        self.sensors.iter().all(|sensor| sensor.quantity != Quantity::Moisture)
    }

    /// The splitter tree.
    pub fn tree(&self) -> &Tree {
        &self.tree
    }

    /// Indices of all basins.
    pub fn basin_ixs(&self) -> impl Iterator<Item = BasinIx> + use<> {
        (0..self.parts.basins.len() as u16).map(BasinIx)
    }

    /// Indices of all sensors.
    pub fn sensor_ixs(&self) -> impl Iterator<Item = SensorIx> + use<> {
        (0..self.parts.sensors.len() as u16).map(SensorIx)
    }

    /// A basin.
    pub fn basin(&self, ix: BasinIx) -> &Basin {
        &self.parts.basins[ix.0 as usize]
    }

    /// A splitter.
    pub fn splitter(&self, ix: SplitterIx) -> &Splitter {
        &self.parts.splitters[ix.0 as usize]
    }

    /// A sensor.
    pub fn sensor(&self, ix: SensorIx) -> &Sensor {
        &self.parts.sensors[ix.0 as usize]
    }

    /// The sensor of `quantity` at `place`, if there is one.
    pub fn find_sensor(&self, place: Place, quantity: Quantity) -> Option<SensorIx> {
        let found = self.parts.sensors.iter().position(|s| s.place == place && s.quantity == quantity);
        found.map(|at| SensorIx(at as u16))
    }

    /// Name of a sensor inside its system: `quince/moisture`, `meter`.
    pub fn sensor_name(&self, ix: SensorIx) -> String {
        let sensor = self.sensor(ix);
        match sensor.place {
            Place::System => sensor.quantity.name().to_owned(),
            Place::Basin(basin) => format!("{}/{}", self.basin(basin).id, sensor.quantity),
        }
    }

    /// Topic on which a sensor is heard, where topics of this program begin with `prefix`.
    pub fn topic(&self, ix: SensorIx, prefix: &str) -> String {
        let sensor = self.sensor(ix);
        sensor.wiring.topic.clone().unwrap_or_else(|| {
            let basin = match sensor.place {
                Place::System => None,
                Place::Basin(basin) => Some(&self.basin(basin).id),
            };
            default_topic(prefix, &self.parts.id, basin, sensor.quantity)
        })
    }

    /// The splitter called `id`.
    pub fn find_splitter(&self, id: &str) -> Option<SplitterIx> {
        self.parts.splitters.iter().position(|s| s.id.as_str() == id).map(|at| SplitterIx(at as u16))
    }

    /// The basin called `id`.
    pub fn find_basin(&self, id: &str) -> Option<BasinIx> {
        self.parts.basins.iter().position(|b| b.id.as_str() == id).map(|at| BasinIx(at as u16))
    }
}

impl std::ops::Deref for System {
    type Target = SystemParts;
    fn deref(&self) -> &SystemParts {
        &self.parts
    }
}
