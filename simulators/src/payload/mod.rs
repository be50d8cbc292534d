//! How devices write their readings down: every payload style a subscriber has to understand.
//!
//! Written from the standards (RFC 8428 for SenML, RFC 6901 for JSON pointers, RFC 3339 for time),
//! independently of the decoder that will read it.

mod json;
mod senml;
mod value;

pub use json::{Foreign, Pointer, PointerError};
pub use value::{Unit, Value, Wording};

use serde::Deserialize;

/// A style of payload that needs no configuration at the receiver.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Style {
    /// RFC 8428 JSON.
    SenmlJson,
    /// RFC 8428 CBOR.
    SenmlCbor,
    /// A JSON object with `value` and perhaps `time`.
    Json,
    /// Bare text; carries no time.
    Text,
}

/// How a JSON payload states its time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TimeForm {
    /// Not at all: the receiver takes the time of arrival.
    None,
    /// RFC 3339, in UTC.
    Rfc3339,
    /// Unix seconds.
    Seconds,
    /// Unix milliseconds.
    Millis,
}

/// Everything that decides how one sensor's values are written.
#[derive(Debug, Clone, PartialEq)]
pub enum Format {
    /// SenML, JSON or CBOR; always carries a time.
    Senml {
        /// Binary form.
        cbor: bool,
    },
    /// An object with `value` and perhaps `time`.
    Json {
        /// Form of the time.
        time: TimeForm,
        /// Words for a float's state.
        wording: Wording,
    },
    /// Somebody else's JSON, read through pointers.
    Foreign(Foreign),
    /// Bare text.
    Text {
        /// Words for a float's state.
        wording: Wording,
    },
}

impl Format {
    /// Whether the receiver learns when the value was taken.
    pub fn carries_time(&self) -> bool {
        match self {
            Format::Senml { .. } => true,
            Format::Json { time, .. } => *time != TimeForm::None,
            Format::Foreign(foreign) => foreign.time.is_some(),
            Format::Text { .. } => false,
        }
    }
}

/// A value with its name and the time on the device's own clock.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    /// SenML name below the pack's base name, such as `moisture` or `quince/moisture`.
    pub name: String,
    /// Device time, Unix milliseconds.
    pub device_ms: i64,
    /// What the sensor says.
    pub value: Value,
}

/// Writes one or more samples as one payload. Only SenML holds more than one: of the others the last counts.
pub fn encode(format: &Format, base_name: &str, samples: &[Sample]) -> Vec<u8> {
    let Some(last) = samples.last() else {
        return Vec::new();
    };
    match format {
        Format::Senml { cbor: false } => senml::json(base_name, samples),
        Format::Senml { cbor: true } => senml::cbor(base_name, samples),
        Format::Json { time, wording } => json::plain(last, *time, *wording),
        Format::Foreign(foreign) => json::foreign(std::iter::once((foreign, last))),
        Format::Text { wording } => last.value.text(*wording).into_bytes(),
    }
}

/// Writes samples of one foreign device, taken together, as one object.
pub fn encode_together(parts: &[(&Foreign, &Sample)]) -> Vec<u8> {
    json::foreign(parts.iter().copied())
}
