//! What a sensor may send, in words and by example: what the decoders take, told to whoever wires one.

use serde_json::{Value as Json, json};

use super::convert::{CONTACT_WORDS, COURSE_WORDS};
use crate::model::{Quantity, Sensor, Unit, Wiring};

/// What one sensor may send.
#[derive(Clone, Debug, PartialEq)]
pub struct Payload {
    /// What its value is, in words.
    pub value: String,
    /// Whole messages that would do, the shortest first.
    pub examples: Vec<String>,
}

/// What `sensor` may send, as the system file wires it.
pub fn payload(sensor: &Sensor) -> Payload {
    let wiring = &sensor.wiring;
    Payload { value: value_words(sensor), examples: examples(sensor.quantity, wiring) }
}

fn value_words(sensor: &Sensor) -> String {
    let wiring = &sensor.wiring;
    let turned = if wiring.scale.is_some() || wiring.offset.is_some() {
        ", after the scale and offset of the system file"
    } else {
        ""
    };
    let words = match sensor.quantity {
        Quantity::Float | Quantity::Overflow => {
            let wet = if wiring.wet_is_open { "open, false and 0" } else { "closed, true and 1" };
            return format!("one of {CONTACT_WORDS}; {wet} mean wet");
        }
        Quantity::Diverter => return COURSE_WORDS.to_owned(),
        Quantity::Moisture if wiring.permittivity => "the relative permittivity of the soil, a number",
        Quantity::Moisture => match (wiring.unit, turned.is_empty()) {
            (Some(Unit::Percent), _) => "water content of the soil, percent by volume",
            (None, true) => "water content of the soil, percent by volume, or a ratio up to 1",
            _ => "water content of the soil, a ratio from 0 to 1",
        },
        Quantity::Battery => match (wiring.unit, turned.is_empty()) {
            (Some(Unit::Ratio), _) => "charge, a ratio from 0 to 1",
            (None, true) => "charge, percent, or a ratio up to 1",
            _ => "charge, percent",
        },
        Quantity::Temperature if wiring.unit == Some(Unit::Fahrenheit) => "degrees Fahrenheit",
        Quantity::Temperature => "degrees Celsius",
        Quantity::Meter | Quantity::Rain => "its count so far, a number that only grows",
    };
    format!("{words}{turned}")
}

fn examples(quantity: Quantity, wiring: &Wiring) -> Vec<String> {
    let value = example(quantity, wiring);
    if let Some(pointer) = &wiring.value {
        let mut document = Json::Null;
        put(&mut document, pointer, value);
        if let Some(pointer) = &wiring.time {
            put(&mut document, pointer, json!("2026-03-01T08:15:00Z"));
        }
        return vec![document.to_string()];
    }
    let bare = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
    let mut record = json!({ "n": quantity.name() });
    if let Some(unit) = senml_unit(quantity, wiring) {
        record["u"] = json!(unit);
    }
    record[if value.is_string() { "vs" } else { "v" }] = value.clone();
    vec![bare, json!({ "value": value }).to_string(), json!([record]).to_string()]
}

/// A value in the middle of what is usual, as the sensor itself would put it.
fn example(quantity: Quantity, wiring: &Wiring) -> Json {
    let is_raw = wiring.scale.is_some() || wiring.offset.is_some();
    let number = match (quantity, wiring.unit) {
        (Quantity::Float | Quantity::Overflow, _) => return json!("wet"),
        (Quantity::Diverter, _) => return json!("landscape"),
        (Quantity::Moisture, _) if wiring.permittivity => 17.5,
        (Quantity::Moisture, None) if is_raw => 0.314,
        (Quantity::Moisture, None | Some(Unit::Percent)) => 31.4,
        (Quantity::Moisture, Some(_)) => 0.314,
        (Quantity::Battery, Some(Unit::Ratio)) => 0.87,
        (Quantity::Battery, _) => 87.0,
        (Quantity::Temperature, Some(Unit::Fahrenheit)) => 59.5,
        (Quantity::Temperature, _) => 15.3,
        (Quantity::Meter | Quantity::Rain, _) => 1204.0,
    };
    let raw = (number - wiring.offset.unwrap_or(0.0)) / wiring.scale.unwrap_or(1.0);
    let raw = (raw * 1e4).round() / 1e4;
    // Whole numbers without a point, as devices write them.
    if raw.fract() == 0.0 { json!(raw as i64) } else { json!(raw) }
}

/// The unit that a SenML record states; none where the system file already says how numbers are meant.
fn senml_unit(quantity: Quantity, wiring: &Wiring) -> Option<&'static str> {
    if wiring.unit.is_some() || wiring.scale.is_some() || wiring.offset.is_some() || wiring.permittivity {
        return None;
    }
    match quantity {
        Quantity::Moisture => Some("%"),
        Quantity::Battery => Some("%EL"),
        Quantity::Temperature => Some("Cel"),
        Quantity::Meter | Quantity::Rain => Some("count"),
        Quantity::Float | Quantity::Overflow | Quantity::Diverter => None,
    }
}

/// Puts `value` where `pointer` (RFC 6901) leads to, making lists and objects on the way.
fn put(document: &mut Json, pointer: &str, value: Json) {
    /// Places of a list that an example fills at most.
    const LONGEST: usize = 16;
    let mut here = document;
    for step in pointer.split('/').skip(1) {
        let step = step.replace("~1", "/").replace("~0", "~");
        let at = step.parse::<usize>().ok().filter(|at| *at < LONGEST && !here.is_object());
        here = if let Some(at) = at {
            if !here.is_array() {
                *here = json!([]);
            }
            if let Some(list) = here.as_array_mut() {
                list.resize(list.len().max(at + 1), Json::Null);
            }
            &mut here[at]
        } else {
            if !here.is_object() {
                *here = json!({});
            }
            &mut here[step]
        };
    }
    *here = value;
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::intake::{Decoded, Router};
    use crate::model::EventTime;
    use crate::systemfile;

    const YARD: &str = r#"
id = "yard"
name = "Yard"
timezone = "America/Denver"
soil = "loam"
[source]
meter = { litres_per_count = 1.0 }
[diverter]
[rain]
mm_per_count = 0.2
[[splitter]]
id = "s1"
feeds = ["fig", "s2"]
[[splitter]]
id = "s2"
feeds = ["plum", "pear"]
[[basin]]
id = "fig"
area_m2 = 1.0
float = {}
moisture = {}
[[basin]]
id = "plum"
area_m2 = 1.0
float = { wet = "open" }
moisture = { scale = 0.001, offset = 0.1 }
[[basin]]
id = "pear"
area_m2 = 1.0
float = { topic = "lora/7/up", value = "/d/0/contact", time = "/at" }
moisture = { topic = "lora/8/up", value = "/d/vwc~1raw", unit = "%" }
"#;

    /// The decoders themselves are the judge of what is told to send.
    #[test]
    fn every_example_is_taken_and_all_of_a_sensor_mean_the_same() {
        let yard = Arc::new(systemfile::parse("yard.toml", YARD).expect("a sound system file"));
        let router = Router::new(&[Arc::clone(&yard)], "greywater");
        let now: EventTime = "2026-03-01T08:16:00Z".parse().expect("a time");
        for ix in yard.sensor_ixs() {
            let told = payload(yard.sensor(ix));
            assert!(!told.examples.is_empty());
            let values: Vec<_> = told
                .examples
                .iter()
                .map(|example| {
                    let mut out = Decoded::default();
                    router.decode(now, &yard.topic(ix, "greywater"), example.as_bytes(), &mut out);
                    assert_eq!((out.readings.len(), out.refusals.len()), (1, 0), "{example}: {out:?}");
                    out.readings[0].1.value
                })
                .collect();
            assert!(values.windows(2).all(|pair| pair[0] == pair[1]), "{told:?}: {values:?}");
        }
    }

    #[test]
    fn every_word_that_is_told_of_a_float_is_taken() {
        let yard = Arc::new(systemfile::parse("yard.toml", YARD).expect("a sound system file"));
        let router = Router::new(&[yard], "greywater");
        let told = CONTACT_WORDS.replace(" or ", ", ");
        for word in told.split(", ") {
            let mut out = Decoded::default();
            router.decode(
                EventTime::from_secs(1_772_352_900),
                "greywater/yard/fig/float",
                word.as_bytes(),
                &mut out,
            );
            assert_eq!((out.readings.len(), out.refusals.len()), (1, 0), "{word}: {out:?}");
        }
    }
}
