//! JSON payloads: the plain object, and objects of foreign make addressed by pointers (RFC 6901).

use serde::Deserialize;
use serde_json::{Map, Value as Json, json};

use super::{Sample, TimeForm, Wording};

/// A checked JSON pointer to an object member, such as `/uplink/decoded/vwc`.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(try_from = "String")]
pub struct Pointer(Vec<String>);

/// Why a text is not a usable pointer.
#[derive(Debug, thiserror::Error)]
#[error("`{0}` is not a JSON pointer to a member: write it like /uplink/moisture")]
pub struct PointerError(String);

impl TryFrom<String> for Pointer {
    type Error = PointerError;

    fn try_from(text: String) -> Result<Self, PointerError> {
        match text.strip_prefix('/') {
            Some(rest) if !rest.is_empty() => {
                Ok(Self(rest.split('/').map(|part| part.replace("~1", "/").replace("~0", "~")).collect()))
            }
            _ => Err(PointerError(text)),
        }
    }
}

impl Pointer {
    /// Puts `value` where the pointer points, making the objects on the way.
    fn place(&self, root: &mut Json, value: Json) {
        let mut here = root;
        for part in &self.0 {
            if !here.is_object() {
                *here = Json::Object(Map::new());
            }
            here = &mut here[part.as_str()];
        }
        *here = value;
    }
}

/// `{"time":…,"value":…}`
pub(super) fn plain(sample: &Sample, form: TimeForm, wording: Wording) -> Vec<u8> {
    let mut object = Map::new();
    if let Some(time) = time(sample.device_ms, form) {
        object.insert("time".into(), time);
    }
    object.insert("value".into(), sample.value.json(wording));
    Json::Object(object).to_string().into_bytes()
}

/// How a foreign device writes one of its values.
#[derive(Debug, Clone, PartialEq)]
pub struct Foreign {
    /// Where the value stands.
    pub value: Pointer,
    /// Where the time stands and its form.
    pub time: Option<(Pointer, TimeForm)>,
    /// Words for a float's state.
    pub wording: Wording,
}

/// One object of foreign make with all values and times at their pointers, among members nobody asked for.
pub(super) fn foreign<'a>(parts: impl Iterator<Item = (&'a Foreign, &'a Sample)>) -> Vec<u8> {
    let mut object = json!({ "fw": "2.4.1", "rssi": -97 });
    for (format, sample) in parts {
        format.value.place(&mut object, sample.value.json(format.wording));
        if let Some((pointer, form)) = &format.time
            && let Some(time) = time(sample.device_ms, *form)
        {
            pointer.place(&mut object, time);
        }
    }
    object.to_string().into_bytes()
}

/// Device time in its form; devices that count in seconds round down.
fn time(device_ms: i64, form: TimeForm) -> Option<Json> {
    match form {
        TimeForm::None => None,
        TimeForm::Rfc3339 => Some(
            jiff::Timestamp::from_second(device_ms.div_euclid(1000))
                .map_or(Json::Null, |at| at.to_string().into()),
        ),
        TimeForm::Seconds => Some(device_ms.div_euclid(1000).into()),
        TimeForm::Millis => Some(device_ms.into()),
    }
}
