//! One value before it is written down.

use serde::{Deserialize, Serialize};
use serde_json::json;

/// What a number measures, as SenML names it (RFC 8428 section 12.1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// A ratio, `/`.
    Ratio,
    /// A ratio in hundredths, `%`.
    Percent,
    /// Degrees Celsius, `Cel`.
    Celsius,
    /// Remaining battery in hundredths, `%EL`.
    BatteryPercent,
    /// Counter value, `count`.
    Count,
    /// A unit only the receiver's configuration knows.
    Foreign,
}

impl Unit {
    /// The SenML unit symbol, or nothing for a foreign unit.
    pub fn symbol(self) -> Option<&'static str> {
        match self {
            Unit::Ratio => Some("/"),
            Unit::Percent => Some("%"),
            Unit::Celsius => Some("Cel"),
            Unit::BatteryPercent => Some("%EL"),
            Unit::Count => Some("count"),
            Unit::Foreign => None,
        }
    }
}

/// What a sensor says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Value {
    /// A number in a unit.
    Number {
        /// The number, already rounded to the device's resolution.
        value: f64,
        /// Its unit.
        unit: Unit,
    },
    /// A float switch.
    Float {
        /// The float is lifted by water.
        wet: bool,
        /// The contact is closed; the opposite of `wet` for a float that opens when wet.
        closed: bool,
    },
    /// The diverter valve.
    Diverter {
        /// Turned to the sewer rather than the landscape.
        sewer: bool,
    },
}

/// Which words a float switch uses outside SenML.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Wording {
    /// `true` and `false`, of the contact.
    Flags,
    /// `1` and `0`, of the contact.
    Digits,
    /// `closed` and `open`, of the contact.
    Contact,
    /// `wet` and `dry`, of the float.
    Words,
}

impl Value {
    /// The value as bare text.
    pub fn text(&self, wording: Wording) -> String {
        match *self {
            Value::Number { value, .. } => value.to_string(),
            Value::Float { wet, closed } => float_word(wording, wet, closed).to_owned(),
            Value::Diverter { sewer } => diverter_word(sewer).to_owned(),
        }
    }

    /// The value as JSON: numbers and flags bare, words quoted.
    pub(super) fn json(&self, wording: Wording) -> serde_json::Value {
        match *self {
            Value::Number { value, .. } => json!(Printed::from(value)),
            Value::Float { closed, .. } if wording == Wording::Flags => closed.into(),
            Value::Float { closed, .. } if wording == Wording::Digits => u8::from(closed).into(),
            Value::Float { wet, closed } => float_word(wording, wet, closed).into(),
            Value::Diverter { sewer } => diverter_word(sewer).into(),
        }
    }
}

/// A number as small devices print it: whole ones without a decimal point.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(untagged)]
pub(super) enum Printed {
    Whole(i64),
    Real(f64),
}

impl From<f64> for Printed {
    fn from(value: f64) -> Self {
        if value.fract() == 0.0 && value.abs() < 9e15 {
            Printed::Whole(value as i64)
        } else {
            Printed::Real(value)
        }
    }
}

fn float_word(wording: Wording, wet: bool, closed: bool) -> &'static str {
    match (wording, wet, closed) {
        (Wording::Flags, _, true) => "true",
        (Wording::Flags, _, false) => "false",
        (Wording::Digits, _, true) => "1",
        (Wording::Digits, _, false) => "0",
        (Wording::Contact, _, true) => "closed",
        (Wording::Contact, _, false) => "open",
        (Wording::Words, true, _) => "wet",
        (Wording::Words, false, _) => "dry",
    }
}

/// The word for a diverter position.
pub(super) fn diverter_word(sewer: bool) -> &'static str {
    if sewer { "sewer" } else { "landscape" }
}
