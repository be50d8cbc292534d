//! Naming a part of a system as somebody in its yard would.

use crate::model::{BasinIx, Quantity, Subject, System};

/// A basin by its plant where that is enough to find it: `the quince tree basin`, else `basin b2`.
pub fn basin_words(system: &System, basin: BasinIx) -> String {
    let this = system.basin(basin);
    let Some(plant) = &this.plant else { return format!("basin {}", this.id) };
    let namesakes = system.basins.iter().filter(|other| other.plant.as_ref() == Some(plant)).count();
    if namesakes > 1 { format!("the {plant} basin {}", this.id) } else { format!("the {plant} basin") }
}

/// A sensor by its name inside the system: `quince/moisture` is `the moisture probe in the quince
/// tree basin`. A sensor that the system no longer has keeps its bare name.
pub fn sensor_words(system: &System, sensor: &str) -> String {
    let (basin, quantity) = match sensor.split_once('/') {
        Some((basin, quantity)) => (system.find_basin(basin), quantity),
        None => (None, sensor),
    };
    let device = match Quantity::named(quantity) {
        Some(Quantity::Float) => "the float",
        Some(Quantity::Overflow) => "the overflow float",
        Some(Quantity::Moisture) => "the moisture probe",
        Some(Quantity::Temperature) => "the temperature probe",
        Some(Quantity::Battery) => "the battery",
        Some(Quantity::Meter) => "the water meter",
        Some(Quantity::Diverter) => "the diverter's position sensor",
        Some(Quantity::Rain) => "the rain gauge",
        None => return format!("sensor {sensor}"),
    };
    match basin {
        Some(basin) => format!("{device} in {}", basin_words(system, basin)),
        None if sensor.contains('/') => format!("sensor {sensor}"),
        None => device.to_owned(),
    }
}

/// Where a finding is: `the quince tree basin`, `splitter s1`, `the diverter`.
pub fn place_words(system: &System, subject: &Subject) -> String {
    match subject {
        Subject::Splitter(id) => format!("splitter {id}"),
        Subject::Basin(id) => match system.find_basin(id.as_str()) {
            Some(basin) => basin_words(system, basin),
            None => format!("basin {id}"),
        },
        Subject::Sensor(name) => sensor_words(system, name),
        Subject::Source => "the source".to_owned(),
        Subject::Diverter => "the diverter".to_owned(),
    }
}
