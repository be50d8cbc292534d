//! `decode`: what one message would be understood as.

use super::program::{Ended, Folder};

const YARD: &str = include_str!("../../deploy/systems/alder-court-east.toml");
const RECEIVED: &str = "2026-03-01T08:15:00Z";

fn decode(topic: &str, payload: &str) -> Ended {
    let yard = Folder::new().with("systems/alder-court-east.toml", YARD);
    yard.basinward_hearing(payload, &["decode", "--received", RECEIVED, topic])
}

#[test]
fn what_is_understood_is_shown_with_unit_and_time() {
    for (topic, payload, says) in [
        ("greywater/alder-court-east/quince/moisture", "31.4\n", "quince/moisture  0.314 m³/m³"),
        ("greywater/alder-court-east/fig/float", "wet", "fig/float  wet"),
        ("greywater/alder-court-east/pomegranate/float", "open", "pomegranate/float  wet"),
        ("greywater/alder-court-east/diverter", "sewer", "diverter  sewer"),
        ("yard/probes/7", r#"{"dev": 7, "vwc": 31.4, "ts": 1772352900}"#, "plum/moisture  0.314 m³/m³"),
        // RFC 8428, section 5.1.1, has packs of this form.
        ("greywater/alder-court-east/quince", r#"[{"n":"battery","u":"%EL","v":80}]"#, "battery  80 %"),
    ] {
        let ended = decode(topic, payload);
        assert_eq!(ended.code, Some(0), "{ended:?}");
        assert!(ended.out.contains(says) && ended.out.contains("2026-03-01T08:15:00"), "{}", ended.out);
    }
}

#[test]
fn what_is_not_understood_says_why_and_how_to_mend_it() {
    for (topic, payload, says) in [
        ("greywater/alder-court-east/quince/moisture", "soggy", "not-parsable"),
        ("greywater/alder-court-east/quince/moisture", "131", "out-of-range"),
        ("yard/probes/7", r#"{"dev": 7}"#, "missing-pointer"),
        (
            "greywater/alder-court-east/quince/moisture",
            r#"{"value": 31.4, "time": "2026-03-02T08:15:00Z"}"#,
            "in-future",
        ),
    ] {
        let ended = decode(topic, payload);
        assert_eq!(ended.code, Some(2), "{ended:?}");
        assert!(ended.out.contains(says) && ended.out.contains("to mend:"), "{}", ended.out);
    }
}

#[test]
fn a_topic_that_nobody_claims_is_shown_with_those_most_like_it() {
    let ended = decode("greywater/alder-court-east/qince/moisture", "31.4");
    assert_eq!(ended.code, Some(2), "{ended:?}");
    assert!(ended.out.contains("not assigned"), "{}", ended.out);
    assert!(ended.out.contains("greywater/alder-court-east/quince/moisture"), "{}", ended.out);
}

#[test]
fn of_a_pack_the_good_records_are_shown_beside_the_bad_ones() {
    let pack = r#"[{"n":"moisture","u":"%","v":31.4},{"n":"battery","u":"lm","v":80}]"#;
    let ended = decode("greywater/alder-court-east/quince", pack);
    assert_eq!(ended.code, Some(2), "{ended:?}");
    assert!(ended.out.contains("0.314") && ended.out.contains("wrong-unit"), "{}", ended.out);
}

#[test]
fn the_messages_of_the_guide_for_sensors_are_understood() {
    let guide = include_str!("../../deploy/sensors.md");
    let pack = guide.lines().map(str::trim).find(|line| line.starts_with("[{")).expect("it shows a pack");
    let ended = decode("greywater/alder-court-east/quince", pack);
    assert_eq!((ended.code, ended.out.lines().count()), (Some(0), 3), "{ended:?}");

    let lines: Vec<&str> = guide.lines().skip_while(|line| *line != "[[basin]]").take(5).collect();
    let basin = lines.join("\n") + "\n";
    let yard = format!("id = \"yard\"\nname = \"Yard\"\ntimezone = \"UTC\"\nsoil = \"loam\"\n{basin}");
    let folder = Folder::new().with("systems/yard.toml", &yard);
    let up = r#"{"time":"2026-03-01T08:14:30Z","object":{"soil_moisture":31.4,"contact":"open"}}"#;
    let topic = "application/7/device/a84041/event/up";
    let ended = folder.basinward_hearing(up, &["decode", "--received", RECEIVED, topic]);
    assert_eq!(ended.code, Some(0), "{ended:?}");
    assert!(ended.out.contains("0.314") && ended.out.contains("plum/float  wet"), "{}", ended.out);
}
