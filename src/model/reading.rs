//! One sensor value at one time.

use serde::{Deserialize, Serialize};

use super::{EventTime, Quantity, SensorIx};

/// A value that a sensor reported, in the unit of its [`Quantity`].
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Value {
    /// A float switch is up (wet) or down (dry).
    Wet(bool),
    /// Water content, temperature, battery charge or a cumulative count.
    Number(f64),
    /// Where the diverter sends the water.
    Course(Course),
}

/// Where a diverter sends the water.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Course {
    /// To the basins.
    Landscape,
    /// To the sewer.
    Sewer,
}

/// One value of one sensor of a system.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// Which sensor of the system.
    pub sensor: SensorIx,
    /// When it was measured.
    pub at: EventTime,
    /// What it said.
    pub value: Value,
}

impl Value {
    /// As one number, for storage: wet and landscape are 1, dry and sewer 0.
    pub fn to_number(self) -> f64 {
        match self {
            Self::Wet(wet) => f64::from(u8::from(wet)),
            Self::Number(number) => number,
            Self::Course(course) => f64::from(u8::from(course == Course::Landscape)),
        }
    }

    /// The value that [`Value::to_number`] stored for a sensor of `quantity`.
    pub fn from_number(quantity: Quantity, number: f64) -> Self {
        match quantity {
            Quantity::Float | Quantity::Overflow => Self::Wet(number >= 0.5),
            Quantity::Diverter if number >= 0.5 => Self::Course(Course::Landscape),
            Quantity::Diverter => Self::Course(Course::Sewer),
            Quantity::Moisture
            | Quantity::Temperature
            | Quantity::Battery
            | Quantity::Meter
            | Quantity::Rain => Self::Number(number),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_survive_storage_as_numbers() {
        for (quantity, value) in [
            (Quantity::Float, Value::Wet(true)),
            (Quantity::Overflow, Value::Wet(false)),
            (Quantity::Moisture, Value::Number(0.31)),
            (Quantity::Diverter, Value::Course(Course::Sewer)),
            (Quantity::Diverter, Value::Course(Course::Landscape)),
        ] {
            assert_eq!(Value::from_number(quantity, value.to_number()), value);
        }
    }
}
