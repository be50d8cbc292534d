//! SenML records in JSON.

use std::borrow::Cow;
use std::fmt;

use serde::de::{Deserialize, Deserializer, IgnoredAny, MapAccess, Visitor};
use serde_json::value::RawValue;

use super::Refusal;
use super::decoded::Fault;
use super::senml::{MOST_RECORDS, Record};

/// Takes a pack apart into records, each to be read by itself.
pub(super) fn pack(payload: &[u8]) -> Result<Vec<&RawValue>, Fault> {
    let text = std::str::from_utf8(payload).map_err(|error| (Refusal::NotUtf8, error.to_string()))?;
    let records: Vec<&RawValue> =
        serde_json::from_str(text).map_err(|error| (Refusal::NotParsable, error.to_string()))?;
    if records.len() > MOST_RECORDS {
        return Err((Refusal::TooManyRecords, format!("{} records", records.len())));
    }
    Ok(records)
}

/// Reads one record of a pack.
pub(super) fn record(raw: &RawValue) -> Result<Record<'_>, Fault> {
    serde_json::from_str(raw.get()).map_err(|error| (Refusal::NotParsable, error.to_string()))
}

impl<'de: 'a, 'a> Deserialize<'de> for Record<'a> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_map(RecordVisitor)
    }
}

struct RecordVisitor;

/// Text that is borrowed where the encoding allows it.
#[derive(serde::Deserialize)]
struct Text<'a>(#[serde(borrow)] Cow<'a, str>);

impl<'de> Visitor<'de> for RecordVisitor {
    type Value = Record<'de>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a SenML record")
    }

    /// Labels of RFC 8428, table 4. Sums and update times say nothing that we use.
    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Record<'de>, A::Error> {
        let mut record = Record::default();
        while let Some(Text(label)) = map.next_key()? {
            match label.as_ref() {
                "bn" => record.base_name = Some(map.next_value::<Text<'de>>()?.0),
                "bt" => record.base_time = Some(map.next_value()?),
                "bu" => record.base_unit = Some(map.next_value::<Text<'de>>()?.0),
                "bv" => record.base_value = Some(map.next_value()?),
                "bver" => record.base_version = Some(map.next_value()?),
                "n" => record.name = Some(map.next_value::<Text<'de>>()?.0),
                "u" => record.unit = Some(map.next_value::<Text<'de>>()?.0),
                "v" => record.value = Some(map.next_value()?),
                "vs" => record.string = Some(map.next_value::<Text<'de>>()?.0),
                "vb" => record.truth = Some(map.next_value()?),
                "t" => record.time = Some(map.next_value()?),
                other => {
                    record.data |= other == "vd";
                    record.mandatory |= other.ends_with('_');
                    map.next_value::<IgnoredAny>()?;
                }
            }
        }
        Ok(record)
    }
}
