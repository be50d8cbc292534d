//! JSON objects with `value` and `time`, and foreign JSON by pointers.

use std::borrow::Cow;

use serde::Deserialize;
use serde_json::value::RawValue;

use super::convert::Written;
use super::decoded::Fault;
use super::time::WrittenTime;
use super::{Refusal, text};

/// The plain form, without copying anything.
#[derive(Deserialize)]
struct Plain<'a> {
    #[serde(borrow)]
    value: Option<&'a RawValue>,
    #[serde(borrow)]
    time: Option<&'a RawValue>,
}

/// Reads an object with `value` and optional `time`.
pub(super) fn read_plain(payload: &[u8]) -> Result<(Written<'_>, WrittenTime<'_>), Fault> {
    let text = utf8(payload)?;
    let plain: Plain<'_> =
        serde_json::from_str(text).map_err(|error| (Refusal::NotParsable, error.to_string()))?;
    let Some(value) = plain.value else {
        return Err((Refusal::NoValue, "the object has no `value`".to_owned()));
    };
    let time = plain.time.map_or(Ok(WrittenTime::Arrival), raw_time)?;
    Ok((raw_value(value)?, time))
}

fn raw_value(raw: &RawValue) -> Result<Written<'_>, Fault> {
    match scalar(raw.get())? {
        Scalar::Number(number) => Ok(Written::Number(number)),
        Scalar::Truth(truth) => Ok(Written::Truth(truth)),
        Scalar::Text(text) => Ok(words(text)),
    }
}

/// A string value: a known word in any case of letters, or what it says.
fn words(text: Cow<'_, str>) -> Written<'_> {
    match text::word(text.trim()) {
        Some(known) => Written::Word(known.into()),
        None => Written::Word(text),
    }
}

fn raw_time(raw: &RawValue) -> Result<WrittenTime<'_>, Fault> {
    match scalar(raw.get())? {
        Scalar::Number(number) => Ok(WrittenTime::Unix(number)),
        Scalar::Text(text) => Ok(WrittenTime::Text(text)),
        Scalar::Truth(truth) => Err((Refusal::BadTime, format!("`{truth}` is no time"))),
    }
}

enum Scalar<'a> {
    Number(f64),
    Truth(bool),
    Text(Cow<'a, str>),
}

fn scalar(raw: &str) -> Result<Scalar<'_>, Fault> {
    let wrong = || (Refusal::WrongType, "a list, an object or null where a value is due".to_owned());
    match raw.as_bytes().first() {
        Some(b'"') => {
            let text = serde_json::from_str::<Borrowed<'_>>(raw);
            Ok(Scalar::Text(text.map_err(|error| (Refusal::NotParsable, error.to_string()))?.0))
        }
        Some(b't') => Ok(Scalar::Truth(true)),
        Some(b'f') => Ok(Scalar::Truth(false)),
        Some(b'-' | b'0'..=b'9') => raw.parse().map(Scalar::Number).map_err(|_| wrong()),
        _ => Err(wrong()),
    }
}

#[derive(Deserialize)]
struct Borrowed<'a>(#[serde(borrow)] Cow<'a, str>);

/// Any JSON, for sensors whose system file says where to look.
pub(super) struct Document(serde_json::Value);

impl Document {
    pub(super) fn read(payload: &[u8]) -> Result<Self, Fault> {
        let text = utf8(payload)?;
        serde_json::from_str(text).map(Self).map_err(|error| (Refusal::NotParsable, error.to_string()))
    }

    /// The value at `pointer` (RFC 6901).
    pub(super) fn value(&self, pointer: &str) -> Result<Written<'_>, Fault> {
        match self.at(pointer)? {
            serde_json::Value::Number(number) => Ok(Written::Number(number.as_f64().unwrap_or(f64::NAN))),
            serde_json::Value::Bool(truth) => Ok(Written::Truth(*truth)),
            serde_json::Value::String(text) => Ok(words(Cow::Borrowed(text))),
            serde_json::Value::Null | serde_json::Value::Array(_) | serde_json::Value::Object(_) => {
                Err((Refusal::WrongType, format!("no single value at `{pointer}`")))
            }
        }
    }

    /// The time at `pointer`.
    pub(super) fn time(&self, pointer: &str) -> Result<WrittenTime<'_>, Fault> {
        match self.at(pointer)? {
            serde_json::Value::Number(number) => Ok(WrittenTime::Unix(number.as_f64().unwrap_or(f64::NAN))),
            serde_json::Value::String(text) => Ok(WrittenTime::Text(Cow::Borrowed(text))),
            serde_json::Value::Null
            | serde_json::Value::Bool(_)
            | serde_json::Value::Array(_)
            | serde_json::Value::Object(_) => Err((Refusal::BadTime, format!("no time at `{pointer}`"))),
        }
    }

    fn at(&self, pointer: &str) -> Result<&serde_json::Value, Fault> {
        let found = self.0.pointer(pointer);
        found.ok_or_else(|| (Refusal::MissingPointer, format!("nothing at `{pointer}`")))
    }
}

fn utf8(payload: &[u8]) -> Result<&str, Fault> {
    std::str::from_utf8(payload).map_err(|error| (Refusal::NotUtf8, error.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn value_and_time_are_read_in_every_type() {
        let read = |text: &'static str| read_plain(text.as_bytes()).unwrap();
        assert_eq!(read(r#"{"value":0.31}"#), (Written::Number(0.31), WrittenTime::Arrival));
        assert_eq!(
            read(r#"{"time":1772352900,"extra":[1],"value":true}"#),
            (Written::Truth(true), WrittenTime::Unix(1_772_352_900.0))
        );
        assert_eq!(
            read(r#"{"value":"WET","time":"2026-03-01T08:15:00Z"}"#),
            (Written::Word("wet".into()), WrittenTime::Text("2026-03-01T08:15:00Z".into()))
        );
        assert_eq!(read(r#"{"value":"\u0077et","time":null}"#).0, Written::Word("wet".into()));
    }

    #[test]
    fn faults_are_told_apart() {
        let reason = |text: &'static str| read_plain(text.as_bytes()).unwrap_err().0;
        assert_eq!(reason("{}"), Refusal::NoValue);
        assert_eq!(reason(r#"{"value":null}"#), Refusal::NoValue);
        assert_eq!(reason(r#"{"value":[1]}"#), Refusal::WrongType);
        assert_eq!(reason(r#"{"value":1"#), Refusal::NotParsable);
        assert_eq!(reason(r#"{"value":1,"time":false}"#), Refusal::BadTime);
    }

    #[test]
    fn pointers_reach_into_foreign_json() {
        let text = br#"{"uplink":{"decoded":{"soil":[{"vwc":31.5}]},"at":"2026-03-01T08:15:00Z"}}"#;
        let document = Document::read(text).unwrap();
        assert_eq!(document.value("/uplink/decoded/soil/0/vwc"), Ok(Written::Number(31.5)));
        assert!(matches!(document.time("/uplink/at"), Ok(WrittenTime::Text(_))));
        assert_eq!(document.value("/uplink/nothing").unwrap_err().0, Refusal::MissingPointer);
        assert_eq!(document.value("/uplink").unwrap_err().0, Refusal::WrongType);
    }
}
