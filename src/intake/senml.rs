//! SenML packs (RFC 8428): base values resolved, names taken apart.

use std::borrow::Cow;

use super::Refusal;
use super::convert::Written;
use super::decoded::Fault;
use super::text;
use super::time::WrittenTime;
use crate::model::Quantity;

/// Records that a pack may hold.
pub(super) const MOST_RECORDS: usize = 1_000;
/// Version of SenML that we understand (RFC 8428, section 4.4).
const VERSION: f64 = 10.0;

/// A record as it stands in a pack, whatever its encoding.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Record<'a> {
    pub(super) base_name: Option<Cow<'a, str>>,
    pub(super) base_time: Option<f64>,
    pub(super) base_unit: Option<Cow<'a, str>>,
    pub(super) base_value: Option<f64>,
    pub(super) base_version: Option<f64>,
    pub(super) name: Option<Cow<'a, str>>,
    pub(super) unit: Option<Cow<'a, str>>,
    pub(super) value: Option<f64>,
    pub(super) string: Option<Cow<'a, str>>,
    pub(super) truth: Option<bool>,
    pub(super) data: bool,
    pub(super) time: Option<f64>,
    /// A field ends in `_` and must be understood.
    pub(super) mandatory: bool,
}

/// Base values in force, from the records read so far.
#[derive(Debug, Default)]
pub(super) struct Base<'a> {
    name: Cow<'a, str>,
    time: f64,
    unit: Option<Cow<'a, str>>,
    value: f64,
    version: Option<f64>,
}

/// A record with the base values joined in.
#[derive(Debug, PartialEq)]
pub(super) struct Resolved<'a> {
    pub(super) name: Name<'a>,
    pub(super) unit: Option<Cow<'a, str>>,
    pub(super) value: Written<'a>,
    pub(super) time: WrittenTime<'a>,
}

/// A full name.
#[derive(Debug, PartialEq)]
pub(super) struct Name<'a>(pub(super) Cow<'a, str>);

impl<'a> Base<'a> {
    /// Takes over the base fields of `record` and resolves it; none for a record that only sets
    /// base fields.
    pub(super) fn resolve(&mut self, record: Record<'a>) -> Result<Option<Resolved<'a>>, Fault> {
        self.take_over(&record);
        if record.mandatory || self.version.is_some_and(|version| version > VERSION) {
            let why = "a later version, or a field that must be understood";
            return Err((Refusal::UnsupportedSenml, why.to_owned()));
        }
        let is_base_only = record.name.is_none() && record.time.is_none() && record.unit.is_none();
        let name = join(&self.name, record.name);
        let value = match (record.value, record.truth, record.string, record.data) {
            (Some(number), ..) => Written::Number(number + self.value),
            (None, Some(truth), ..) => Written::Truth(truth),
            (None, None, Some(string), _) => match text::word(string.trim()) {
                Some(word) => Written::Word(word.into()),
                None => Written::Word(string),
            },
            (None, None, None, true) => {
                return Err((Refusal::WrongType, "bytes where a value is due".to_owned()));
            }
            (None, None, None, false) if is_base_only => return Ok(None),
            (None, None, None, false) => {
                return Err((Refusal::NoValue, "the record has no value".to_owned()));
            }
        };
        let time = match (record.time, self.time) {
            (None, 0.0) => WrittenTime::Arrival,
            (time, base) => WrittenTime::Senml(base + time.unwrap_or(0.0)),
        };
        Ok(Some(Resolved { name, unit: record.unit.or_else(|| self.unit.clone()), value, time }))
    }

    fn take_over(&mut self, record: &Record<'a>) {
        if let Some(name) = &record.base_name {
            self.name.clone_from(name);
        }
        if let Some(unit) = &record.base_unit {
            self.unit = Some(unit.clone());
        }
        self.time = record.base_time.unwrap_or(self.time);
        self.value = record.base_value.unwrap_or(self.value);
        self.version = record.base_version.or(self.version);
    }
}

fn join<'a>(base: &Cow<'a, str>, name: Option<Cow<'a, str>>) -> Name<'a> {
    Name(match name {
        None => base.clone(),
        Some(name) if base.is_empty() => name,
        Some(name) => Cow::Owned(format!("{base}{name}")),
    })
}

impl Name<'_> {
    /// The segments from the last to the first; they end at `/` or `:`.
    fn segments(&self) -> impl Iterator<Item = &str> {
        self.0.rsplit(['/', ':']).filter(|segment| !segment.is_empty())
    }

    /// The quantity that the last segment names.
    pub(super) fn quantity(&self) -> Option<Quantity> {
        self.segments().next().and_then(Quantity::named)
    }

    /// The last but one segment, where a basin may be named.
    pub(super) fn basin(&self) -> Option<&str> {
        self.segments().nth(1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base_values_hold_until_changed() {
        let mut base = Base::default();
        let first = Record {
            base_name: Some("urn:dev:ow:1:".into()),
            base_time: Some(100.0),
            base_unit: Some("/".into()),
            base_value: Some(0.1),
            name: Some("moisture".into()),
            value: Some(0.2),
            ..Record::default()
        };
        let resolved = base.resolve(first).unwrap().unwrap();
        assert_eq!(resolved.name.0, "urn:dev:ow:1:moisture");
        assert_eq!(resolved.value, Written::Number(0.1 + 0.2));
        assert_eq!(resolved.time, WrittenTime::Senml(100.0));
        let second = Record { time: Some(5.0), value: Some(0.3), ..Record::default() };
        let resolved = base.resolve(second).unwrap().unwrap();
        assert_eq!((resolved.unit, resolved.time), (Some("/".into()), WrittenTime::Senml(105.0)));
    }

    #[test]
    fn names_are_taken_apart_at_slashes_and_colons() {
        let name = Name("urn:dev:mac:quince/moisture".into());
        assert_eq!((name.quantity(), name.basin()), (Some(Quantity::Moisture), Some("quince")));
        let name = Name("quince:float".into());
        assert_eq!((name.quantity(), name.basin()), (Some(Quantity::Float), Some("quince")));
        assert_eq!(Name("urn:dev:ow:10e2".into()).quantity(), None);
    }

    #[test]
    fn later_versions_and_mandatory_fields_are_refused() {
        let mut base = Base::default();
        let mandatory = Record { value: Some(1.0), mandatory: true, ..Record::default() };
        assert_eq!(base.resolve(mandatory).unwrap_err().0, Refusal::UnsupportedSenml);
        let later = Record { base_version: Some(11.0), value: Some(1.0), ..Record::default() };
        assert_eq!(base.resolve(later).unwrap_err().0, Refusal::UnsupportedSenml);
    }
}
