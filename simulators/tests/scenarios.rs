//! The scenario library: every file loads, runs, and says clearly what is wrong with it if something is.

#![expect(clippy::unwrap_used, reason = "a test may stop at the first thing that is not as it must be")]

use std::fs;
use std::path::Path;

use simulators::record;
use simulators::run::run;
use simulators::scenario::{Library, Scenario, ScenarioError};
use simulators::span::Span;

fn all() -> Vec<Scenario> {
    let library = Library::shipped();
    library.names().unwrap().iter().map(|name| library.load(name).unwrap()).collect()
}

#[test]
fn the_library_is_large_and_every_scenario_says_what_it_shows() {
    let scenarios = all();
    assert!(scenarios.len() >= 25);
    for scenario in &scenarios {
        assert!(!scenario.shows.is_empty() && !scenario.shows.contains('\n'), "{}", scenario.name);
    }
    let kinds: Vec<String> = scenarios
        .iter()
        .flat_map(|it| it.faults.iter().map(|fault| serde_json::to_value(&fault.kind).unwrap()))
        .map(|kind| kind.as_object().and_then(|it| it.keys().next().cloned()).unwrap_or_default())
        .chain(scenarios.iter().flat_map(|it| it.troubles.iter().map(|it| it.kind.word().to_owned())))
        .collect();
    for kind in [
        "tilt",
        "blockage",
        "mulch-clogging",
        "cold-wet-soil",
        "overload",
        "source-lost",
        "leak",
        "sensor-dead",
        "probe-frozen",
        "probe-shifted",
        "probe-spiking",
        "float-stuck-wet",
        "float-stuck-dry",
        "battery-dying",
        "gateway-out",
    ] {
        assert!(kinds.iter().any(|known| known == kind), "no scenario shows {kind}");
    }
}

#[test]
fn every_scenario_runs_for_days_in_order_of_arrival_at_a_bounded_rate() {
    for mut scenario in all() {
        scenario.duration = Span::days(3);
        let (mut last_ms, mut messages) = (i64::MIN, 0_usize);
        run::<ScenarioError>(
            &scenario,
            1,
            &mut |message| {
                assert!(message.received_ms >= last_ms, "{}: out of order", scenario.name);
                last_ms = message.received_ms;
                messages += 1;
                Ok(())
            },
            &mut |_| {},
        )
        .unwrap();
        // No sensor is asked more often than once a minute; switches, repeats and retained messages add a little.
        let most = 3 * 1440 * scenario.wiring.sensors.len() * 2;
        assert!(messages > 0 && messages < most, "{}: {messages} messages", scenario.name);
    }
}

#[test]
fn the_same_seed_writes_the_same_bytes() {
    let mut scenario = Library::shipped().load("healthy-poor-radio").unwrap();
    scenario.duration = Span::days(10);
    let write = |seed| {
        let dir = tempfile::tempdir().unwrap();
        record::write(&scenario, seed, dir.path(), &mut |_| {}).unwrap();
        ["recording.jsonl", "truth.jsonl", "systems/quince-row.toml"]
            .map(|file| fs::read(dir.path().join(file)).unwrap())
    };
    let first = write(3);
    assert_eq!(first, write(3));
    assert_ne!(first[0], write(4)[0]);
}

#[test]
fn a_recording_is_json_lines_in_order_of_arrival() {
    let mut scenario = Library::shipped().load("healthy-hourly").unwrap();
    scenario.duration = Span::days(5);
    let dir = tempfile::tempdir().unwrap();
    let messages = record::write(&scenario, 1, dir.path(), &mut |_| {}).unwrap();
    let text = fs::read_to_string(dir.path().join("recording.jsonl")).unwrap();
    let lines: Vec<serde_json::Value> =
        text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(lines.len() as u64, messages);
    let received: Vec<jiff::Timestamp> =
        lines.iter().map(|line| line["received"].as_str().unwrap().parse().unwrap()).collect();
    assert!(received.is_sorted());
    for line in &lines {
        assert!(line["topic"].is_string());
        assert!(line["payload"].is_string() != line["payload_base64"].is_string(), "{line}");
    }
    assert!(lines.iter().any(|line| line["payload_base64"].is_string()), "CBOR is written as base64");
}

fn broken(text: &str) -> String {
    let system =
        fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("systems/quince-row.toml")).unwrap();
    Scenario::parse("broken", text, &|_| Ok(system.clone())).unwrap_err().to_string()
}

const HEAD: &str =
    "shows = \"x\"\nsystem = \"quince-row\"\nstart = \"2026-03-01T00:00:00Z\"\nduration = \"10d\"\n";

#[test]
fn an_unknown_key_is_named_with_file_line_and_the_nearest_known_key() {
    let said = broken(&format!("{HEAD}[radio]\nlos = 0.1\n"));
    assert!(said.contains("broken.toml, line 6") && said.contains("`los`"), "{said}");
    assert!(said.contains("did you mean `loss`?"), "{said}");
}

#[test]
fn an_unknown_kind_of_fault_is_named_with_the_nearest_known_one() {
    let said = broken(&format!(
        "{HEAD}[[fault]]\nkind = {{ blokage = {{ basin = \"fig\", closed = 1.0 }} }}\nonset = 1\n"
    ));
    assert!(said.contains("line 6") && said.contains("did you mean `blockage`?"), "{said}");
}

#[test]
fn a_basin_or_sensor_that_the_system_lacks_is_named() {
    let fault = broken(&format!(
        "{HEAD}[[fault]]\nkind = {{ blockage = {{ basin = \"figg\", closed = 1.0 }} }}\nonset = 1\n"
    ));
    assert!(fault.contains("broken.toml: fault 1"), "{fault}");
    let trouble = broken(&format!("{HEAD}[[trouble]]\non = \"fig/moistur\"\nkind = \"dead\"\nonset = 1\n"));
    assert!(trouble.contains("did you mean `fig/moisture`?"), "{trouble}");
    let expect = broken(&format!(
        "{HEAD}[expect]\nfindings = [{{ finding = \"x\", subject = \"medler\", from = 1 }}]\n"
    ));
    assert!(expect.contains("did you mean `medlar`?"), "{expect}");
}

#[test]
fn senseless_values_are_refused_with_their_range() {
    let long = broken(&HEAD.replace("10d", "9000d"));
    assert!(long.contains("duration is 9000d") && long.contains("3653d"), "{long}");
    let span = broken(&HEAD.replace("10d", "soon"));
    assert!(span.contains("line 4") && span.contains("write it like 15min, 6h or 20d"), "{span}");
    let loss = broken(&format!("{HEAD}[radio]\nloss = 1.5\n"));
    assert!(loss.contains("radio.loss is 1.5") && loss.contains("0 to 1"), "{loss}");
    let fast = broken(&format!("{HEAD}[sensors.moisture]\nevery = \"5s\"\n"));
    assert!(fast.contains("sensors.moisture.every is 5s"), "{fast}");
}

#[test]
fn a_missing_scenario_is_answered_with_the_nearest_name() {
    let said = Library::shipped().load("tilt-stepp").unwrap_err().to_string();
    assert!(said.contains("did you mean `tilt-step`?"), "{said}");
}
