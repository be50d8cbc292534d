//! The router against whole messages: the payload contract, case by case.

use std::sync::Arc;

use super::{Decoded, Refusal, Router};
use crate::model::{Course, EventTime, Span, System, Value};
use crate::systemfile;

const NOW: EventTime = EventTime::from_secs(1_772_352_900);

const YARD: &str = r#"
id = "yard"
name = "Yard"
property = "home"
timezone = "America/Denver"
soil = "sandy-loam"
[source]
meter = { litres_per_count = 1.0 }
[diverter]
[rain]
mm_per_count = 0.2
[[splitter]]
id = "s1"
feeds = ["quince", "fig"]
[[basin]]
id = "quince"
area_m2 = 1.2
float = { height_mm = 120 }
moisture = { depth_mm = 250 }
[[basin]]
id = "fig"
area_m2 = 1.0
float = { height_mm = 120, topic = "lora/7/up", value = "/d/contact", time = "/at", wet = "open" }
moisture = { depth_mm = 250, topic = "lora/7/up", value = "/d/vwc", time = "/at", unit = "%" }
"#;

fn yard() -> Arc<System> {
    Arc::new(systemfile::parse("yard.toml", YARD).expect("a sound system file"))
}

fn decode(topic: &str, payload: impl AsRef<[u8]>) -> Decoded {
    let mut out = Decoded::default();
    Router::new(&[yard()], "greywater").decode(NOW, topic, payload.as_ref(), &mut out);
    out
}

/// Sensor names with values and seconds before now; then the reasons of refusals.
fn told(out: &Decoded) -> (Vec<(String, f64, i64)>, Vec<&'static str>) {
    let yard = yard();
    let readings = out.readings.iter().map(|(_, r)| {
        (yard.sensor_name(r.sensor), (r.value.to_number() * 1e6).round() / 1e6, (NOW - r.at).millis() / 1000)
    });
    (readings.collect(), out.refusals.iter().map(|r| r.reason.name()).collect())
}

fn reading(topic: &str, payload: impl AsRef<[u8]>) -> (String, f64, i64) {
    let (readings, refused) = told(&decode(topic, payload));
    assert_eq!((readings.len(), refused.len()), (1, 0), "{readings:?} {refused:?}");
    readings[0].clone()
}

fn refused(topic: &str, payload: impl AsRef<[u8]>) -> Vec<&'static str> {
    let (readings, refused) = told(&decode(topic, payload));
    assert!(readings.is_empty(), "{readings:?}");
    refused
}

#[test]
fn bare_text_arrives_now() {
    assert_eq!(reading("greywater/yard/quince/moisture", "31.5"), ("quince/moisture".into(), 0.315, 0));
    assert_eq!(reading("greywater/yard/quince/float", "wet"), ("quince/float".into(), 1.0, 0));
    assert_eq!(reading("greywater/yard/quince/float", "0"), ("quince/float".into(), 0.0, 0));
    assert_eq!(reading("greywater/yard/fig/battery", "80"), ("fig/battery".into(), 80.0, 0));
    assert_eq!(reading("greywater/yard/meter", "12345"), ("meter".into(), 12345.0, 0));
    let diverter = decode("greywater/yard/diverter", "sewer");
    assert_eq!(diverter.readings[0].1.value, Value::Course(Course::Sewer));
}

#[test]
fn json_objects_carry_their_time() {
    let payload = r#"{"value":"wet","time":"2026-03-01T08:10:00Z"}"#;
    assert_eq!(reading("greywater/yard/quince/float", payload), ("quince/float".into(), 1.0, 300));
    let payload = r#"{"time":1772352840000,"value":0.25}"#;
    assert_eq!(reading("greywater/yard/quince/moisture", payload), ("quince/moisture".into(), 0.25, 60));
}

#[test]
fn one_foreign_message_feeds_several_sensors() {
    let payload = r#"{"at":1772352890,"d":{"contact":"open","vwc":28}}"#;
    let (readings, refused) = told(&decode("lora/7/up", payload));
    assert_eq!(readings, [("fig/float".into(), 1.0, 10), ("fig/moisture".into(), 0.28, 10)]);
    assert!(refused.is_empty());
    let payload = r#"{"at":1772352890,"d":{"contact":"closed"}}"#;
    let (readings, refused) = told(&decode("lora/7/up", payload));
    assert_eq!((readings.len(), refused), (1, vec!["missing-pointer"]));
    assert_eq!(self::refused("lora/7/up", "{"), ["not-parsable"]);
}

#[test]
fn senml_on_a_full_topic_is_a_series() {
    let payload = r#"[{"bn":"quince/","bt":1772352000,"bu":"%"},{"n":"moisture","v":30,"t":0},
                      {"n":"moisture","v":31,"t":300}]"#;
    let (readings, refused) = told(&decode("greywater/yard/quince/moisture", payload));
    assert_eq!(readings, [("quince/moisture".into(), 0.30, 900), ("quince/moisture".into(), 0.31, 600)]);
    assert!(refused.is_empty());
}

#[test]
fn a_record_that_names_another_quantity_is_refused_and_the_others_are_not() {
    let payload = r#"[{"n":"moisture","u":"/","v":0.3},{"n":"temperature","u":"Cel","v":12},
                      {"n":"moisture","u":"Cel","v":0.3},{"n":"moisture","v":"x"},{"v":0.29}]"#;
    let (readings, refused) = told(&decode("greywater/yard/quince/moisture", payload));
    assert_eq!(readings.len(), 2);
    assert_eq!(refused, ["wrong-quantity", "wrong-unit", "not-parsable"]);
}

#[test]
fn a_topic_may_stop_at_the_basin_or_the_system() {
    let payload = r#"[{"bn":"urn:dev:mac:0024befffe804ff1:"},{"n":"float","vb":true},{"n":"moisture","v":0.3},
                      {"n":"overflow","vb":false},{"n":"pressure","v":1}]"#;
    let out = decode("greywater/yard/quince", payload);
    let (readings, refused) = told(&out);
    assert_eq!(readings, [("quince/float".into(), 1.0, 0), ("quince/moisture".into(), 0.3, 0)]);
    assert_eq!(refused, ["wrong-quantity"]);
    assert_eq!(out.unassigned[0].topic, "greywater/yard/quince urn:dev:mac:0024befffe804ff1:overflow");

    let payload =
        r#"[{"n":"quince/moisture","v":0.3},{"n":"meter","u":"count","v":7},{"n":"plum/moisture","v":0.2}]"#;
    let out = decode("greywater/yard", payload);
    assert_eq!(told(&out).0, [("quince/moisture".into(), 0.3, 0), ("meter".into(), 7.0, 0)]);
    assert_eq!(out.unassigned.len(), 1);
    assert_eq!(decode("greywater/yard/quince", "0.3").unassigned.len(), 1);
}

#[test]
fn senml_cbor_means_the_same() {
    let mut bytes = Vec::new();
    let mut e = minicbor::Encoder::new(&mut bytes);
    e.array(2).unwrap();
    e.map(4).unwrap().i8(-2).unwrap().str("quince/").unwrap().i8(-3).unwrap().f64(1_772_352_800.0).unwrap();
    e.i8(0).unwrap().str("moisture").unwrap().i8(2).unwrap();
    e.tag(minicbor::data::IanaTag::Decimal).unwrap().array(2).unwrap().i8(-2).unwrap().i8(31).unwrap();
    e.map(3).unwrap().i8(0).unwrap().str("float").unwrap().i8(4).unwrap().bool(true).unwrap();
    e.i8(6).unwrap().i8(40).unwrap();
    let (readings, refused) = told(&decode("greywater/yard", &bytes));
    assert_eq!(readings, [("quince/moisture".into(), 0.31, 100), ("quince/float".into(), 1.0, 60)]);
    assert!(refused.is_empty());
    assert_eq!(self::refused("greywater/yard", &bytes[..bytes.len() - 1]), ["not-parsable"]);
    bytes.push(0);
    assert_eq!(self::refused("greywater/yard", &bytes), ["not-parsable"]);
}

#[test]
fn bounds_hold() {
    assert_eq!(refused("greywater/yard/quince/moisture", vec![b' '; 65 * 1024]), ["too-large"]);
    let pack = |n: usize| format!("[{}]", vec![r#"{"v":0.3}"#; n].join(","));
    assert_eq!(decode("greywater/yard/quince/moisture", pack(1000)).readings.len(), 1000);
    assert_eq!(refused("greywater/yard/quince/moisture", pack(1001)), ["too-many-records"]);
}

#[test]
fn times_are_compared_with_the_arrival() {
    let at = |span: Span| format!("{{\"value\":0.3,\"time\":\"{}\"}}", NOW + span);
    let topic = "greywater/yard/quince/moisture";
    assert_eq!(refused(topic, at(Span::from_mins(11))), ["in-future"]);
    assert_eq!(refused(topic, at(Span::from_days(-401))), ["too-old"]);
    assert_eq!(reading(topic, at(Span::from_days(-399))).2, 399 * 86_400);
}

#[test]
fn unknown_topics_are_heard_and_not_assigned() {
    let out = decode("greywater/yard/plum/moisture", "0.3");
    assert_eq!((out.readings.len(), out.refusals.len()), (0, 0));
    assert_eq!(out.unassigned[0].topic, "greywater/yard/plum/moisture");
}

#[test]
fn every_refusal_has_a_name_of_its_own() {
    let names: std::collections::BTreeSet<_> = Refusal::ALL.iter().map(|r| r.name()).collect();
    assert_eq!(names.len(), Refusal::ALL.len());
}

/// RFC 8428, sections 5.1.1 to 5.1.3 and 6: examples (from memory). They name quantities of their own,
/// so on a system's topic they are understood as SenML and refused record by record, never as a whole.
#[test]
fn the_standards_examples_are_understood_as_senml() {
    let single = r#"[ {"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1} ]"#;
    assert_eq!(reading("greywater/yard/quince/temperature", single), ("quince/temperature".into(), 23.1, 0));
    let multiple = r#"[ {"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
                        {"n":"current","u":"A","v":1.2} ]"#;
    assert_eq!(refused("greywater/yard", multiple), ["wrong-quantity", "wrong-quantity"]);
    let relative = r#"[ {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.772352776e+09,"bu":"%","bver":5,
                         "n":"moisture","v":20.0}, {"n":"moisture","t":-5,"v":21.2} ]"#;
    let (readings, _) = told(&decode("greywater/yard/quince", relative));
    assert_eq!(readings, [("quince/moisture".into(), 0.2, 124), ("quince/moisture".into(), 0.212, 129)]);
}

mod properties {
    use proptest::prelude::*;

    use super::*;

    const TOPICS: [&str; 7] = [
        "greywater/yard",
        "greywater/yard/quince",
        "greywater/yard/quince/float",
        "greywater/yard/quince/moisture",
        "greywater/yard/diverter",
        "lora/7/up",
        "elsewhere",
    ];

    proptest! {
        #[test]
        fn nothing_panics_and_every_message_leaves_a_trace(
            topic in prop::sample::select(&TOPICS[..]),
            payload in prop::collection::vec(any::<u8>(), 0..300),
        ) {
            let out = decode(topic, &payload);
            let records = out.readings.len() + out.refusals.len() + out.unassigned.len();
            // Only a pack of nothing leaves none.
            let empty_pack = payload.first().is_some_and(|b| matches!(b, 0x80 | 0x9f));
            prop_assert!(records > 0 || empty_pack, "{:?}", payload);
        }

        #[test]
        fn records_are_counted_one_by_one(good in 0usize..40, bad in 0usize..40) {
            let mut records = vec![r#"{"n":"moisture","v":0.3}"#; good];
            records.extend(vec![r#"{"n":"moisture","v":7e9}"#; bad]);
            let out = decode("greywater/yard/quince/moisture", format!("[{}]", records.join(",")));
            prop_assert_eq!((out.readings.len(), out.refusals.len()), (good, bad));
        }

        #[test]
        fn every_style_gives_the_same_number(value in 0.0f64..=1.0, secs in -30_000_000i64..0) {
            let at = NOW + Span::from_secs(secs);
            let unix = at.millis() / 1000;
            for payload in [
                format!("{{\"value\":{value},\"time\":\"{at}\"}}"),
                format!("{{\"value\":{value},\"time\":{unix}}}"),
                format!("{{\"time\":{}, \"value\":{value}}}", at.millis()),
                format!("[{{\"bt\":{unix},\"v\":{value}}}]"),
                format!("[{{\"bt\":{unix},\"u\":\"%\",\"v\":{}}}]", value * 100.0),
            ] {
                let out = decode("greywater/yard/quince/moisture", &payload);
                prop_assert_eq!(out.readings.len(), 1, "{} {:?}", payload, out.refusals);
                let reading = out.readings[0].1;
                prop_assert!((reading.value.to_number() - value).abs() < 1e-12);
                prop_assert_eq!(reading.at, at);
            }
        }
    }
}
