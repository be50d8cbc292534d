//! Every payload style read back by decoders of the test's own, written from the standards.

#![expect(clippy::unwrap_used, reason = "a test may stop at the first thing that is not as it must be")]

use minicbor::Decoder;
use minicbor::data::Type;
use serde_json::Value as Json;
use simulators::payload::{
    Foreign, Format, Pointer, Sample, TimeForm, Unit, Value, Wording, encode, encode_together,
};

/// 2026-03-01 08:15:20.250 UTC.
const AT_MS: i64 = 1_772_352_920_250;

fn pointer(text: &str) -> Pointer {
    Pointer::try_from(text.to_owned()).unwrap()
}

fn sample(name: &str, device_ms: i64, value: Value) -> Sample {
    Sample { name: name.to_owned(), device_ms, value }
}

fn moisture(value: f64, unit: Unit) -> Value {
    Value::Number { value, unit }
}

fn json_of(format: &Format, value: Value) -> Json {
    serde_json::from_slice(&encode(format, "", &[sample("x", AT_MS, value)])).unwrap()
}

fn text_of(value: Value, wording: Wording) -> String {
    String::from_utf8(encode(&Format::Text { wording }, "", &[sample("x", AT_MS, value)])).unwrap()
}

const PACK: [(&str, i64, Value); 4] = [
    ("quince/moisture", AT_MS, Value::Number { value: 0.236, unit: Unit::Ratio }),
    ("quince/float", AT_MS + 60_000, Value::Float { wet: true, closed: true }),
    ("quince/battery", AT_MS + 120_000, Value::Number { value: 87.0, unit: Unit::BatteryPercent }),
    ("diverter", AT_MS + 180_000, Value::Diverter { sewer: true }),
];

fn pack() -> Vec<Sample> {
    PACK.iter().map(|(name, at, value)| sample(name, *at, *value)).collect()
}

/// RFC 8428 section 4.6: names join, times add, to resolved records.
#[derive(Debug, Default, PartialEq, Clone)]
struct Resolved {
    name: String,
    seconds: f64,
    unit: Option<String>,
    number: Option<f64>,
    flag: Option<bool>,
    word: Option<String>,
}

fn expected() -> Vec<Resolved> {
    let second = (AT_MS / 1000) as f64;
    let record =
        |name: &str, seconds: f64| Resolved { name: format!("row/{name}"), seconds, ..Resolved::default() };
    let number = |name, seconds, number, unit: &str| Resolved {
        number: Some(number),
        unit: Some(unit.to_owned()),
        ..record(name, seconds)
    };
    vec![
        number("quince/moisture", second, 0.236, "/"),
        Resolved { flag: Some(true), ..record("quince/float", second + 60.0) },
        number("quince/battery", second + 120.0, 87.0, "%EL"),
        Resolved { word: Some("sewer".to_owned()), ..record("diverter", second + 180.0) },
    ]
}

#[test]
fn a_senml_json_pack_resolves_to_its_samples() {
    let bytes = encode(&Format::Senml { cbor: false }, "row/", &pack());
    let records: Vec<Json> = serde_json::from_slice(&bytes).unwrap();
    let (mut base_name, mut base_time) = (String::new(), 0.0);
    let resolved: Vec<Resolved> = records
        .iter()
        .map(|record| {
            if let Some(name) = record["bn"].as_str() {
                name.clone_into(&mut base_name);
            }
            base_time = record["bt"].as_f64().unwrap_or(base_time);
            Resolved {
                name: format!("{base_name}{}", record["n"].as_str().unwrap()),
                seconds: base_time + record["t"].as_f64().unwrap_or(0.0),
                unit: record["u"].as_str().map(str::to_owned),
                number: record["v"].as_f64(),
                flag: record["vb"].as_bool(),
                word: record["vs"].as_str().map(str::to_owned),
            }
        })
        .collect();
    assert_eq!(resolved, expected());
}

#[test]
fn a_senml_cbor_pack_resolves_to_its_samples() {
    let bytes = encode(&Format::Senml { cbor: true }, "row/", &pack());
    assert_eq!(read_cbor(&bytes), expected());
}

/// Labels of RFC 8428 table 4: -2 base name, -3 base time, 0 name, 1 unit, 2 value, 3 string, 4 boolean, 6 time.
fn read_cbor(bytes: &[u8]) -> Vec<Resolved> {
    let mut decoder = Decoder::new(bytes);
    let (mut base_name, mut base_time) = (String::new(), 0.0);
    let records = decoder.array().unwrap().unwrap();
    let resolved = (0..records)
        .map(|_| {
            let mut record = Resolved::default();
            for _ in 0..decoder.map().unwrap().unwrap() {
                match decoder.i32().unwrap() {
                    -2 => base_name = String::from(decoder.str().unwrap()),
                    -3 => base_time = number(&mut decoder),
                    0 => record.name = String::from(decoder.str().unwrap()),
                    1 => record.unit = Some(decoder.str().unwrap().to_owned()),
                    2 => record.number = Some(number(&mut decoder)),
                    3 => record.word = Some(decoder.str().unwrap().to_owned()),
                    4 => record.flag = Some(decoder.bool().unwrap()),
                    6 => record.seconds = number(&mut decoder),
                    other => panic!("label {other} is none of RFC 8428"),
                }
            }
            record.name = format!("{base_name}{}", record.name);
            record.seconds += base_time;
            record
        })
        .collect();
    assert_eq!(decoder.position(), bytes.len(), "nothing follows the pack");
    resolved
}

fn number(decoder: &mut Decoder<'_>) -> f64 {
    let kind = decoder.datatype().unwrap();
    if matches!(kind, Type::F16 | Type::F32 | Type::F64) {
        decoder.f64().unwrap()
    } else {
        decoder.i64().unwrap() as f64
    }
}

#[test]
fn plain_json_states_value_and_time_in_each_form() {
    let value = moisture(23.6, Unit::Percent);
    let object = |time| json_of(&Format::Json { time, wording: Wording::Flags }, value);
    assert_eq!(object(TimeForm::None), serde_json::json!({ "value": 23.6 }));
    assert_eq!(object(TimeForm::Seconds)["time"], 1_772_352_920_i64);
    assert_eq!(object(TimeForm::Millis)["time"], AT_MS);
    assert_eq!(object(TimeForm::Rfc3339)["time"], "2026-03-01T08:15:20Z");
}

#[test]
fn foreign_json_holds_value_and_time_where_the_pointers_point() {
    // RFC 6901: ~1 is a slash and ~0 a tilde inside a member's name.
    let format = Format::Foreign(Foreign {
        value: pointer("/uplink/decoded/soil~1vwc"),
        time: Some((pointer("/uplink/at"), TimeForm::Seconds)),
        wording: Wording::Flags,
    });
    let object = json_of(&format, moisture(412.5, Unit::Foreign));
    assert_eq!(object.pointer("/uplink/decoded/soil~1vwc"), Some(&412.5.into()));
    assert_eq!(object.pointer("/uplink/at"), Some(&1_772_352_920_i64.into()));
}

#[test]
fn values_of_one_foreign_device_share_an_object() {
    let [eps, warmth] = ["/up/eps", "/up/temp_f"].map(|at| Foreign {
        value: pointer(at),
        time: None,
        wording: Wording::Flags,
    });
    let [wet, warm] = [12.5, 61.3].map(|value| sample("x", AT_MS, moisture(value, Unit::Foreign)));
    let object: Json = serde_json::from_slice(&encode_together(&[(&eps, &wet), (&warmth, &warm)])).unwrap();
    assert_eq!(object["up"], serde_json::json!({ "eps": 12.5, "temp_f": 61.3 }));
}

#[test]
fn a_pointer_to_the_whole_document_is_refused() {
    assert!(Pointer::try_from(String::new()).is_err());
    assert!(Pointer::try_from("/".to_owned()).is_err());
    let error = Pointer::try_from("vwc".to_owned()).unwrap_err();
    assert!(error.to_string().contains("like /uplink/moisture"), "{error}");
}

#[test]
fn a_float_is_told_in_each_wording_and_an_opening_contact_turns_round() {
    let closing = Value::Float { wet: true, closed: true };
    let opening = Value::Float { wet: true, closed: false };
    let all = [Wording::Flags, Wording::Digits, Wording::Contact, Wording::Words];
    assert_eq!(all.map(|wording| text_of(closing, wording)), ["true", "1", "closed", "wet"]);
    assert_eq!(all.map(|wording| text_of(opening, wording)), ["false", "0", "open", "wet"]);
    let in_json =
        |wording| json_of(&Format::Json { time: TimeForm::None, wording }, opening)["value"].clone();
    assert_eq!(all.map(in_json), [Json::from(false), 0.into(), "open".into(), "wet".into()]);
}

#[test]
fn numbers_are_printed_as_short_as_they_are() {
    assert_eq!(text_of(moisture(0.236, Unit::Ratio), Wording::Flags), "0.236");
    assert_eq!(text_of(moisture(23518.0, Unit::Count), Wording::Flags), "23518");
    assert_eq!(text_of(Value::Diverter { sewer: false }, Wording::Flags), "landscape");
}

#[test]
fn nothing_to_say_is_no_payload() {
    assert!(encode(&Format::Senml { cbor: true }, "", &[]).is_empty());
}
