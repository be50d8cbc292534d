//! What the live daemon concludes, `record` and `replay` conclude as well.

use std::process::{Command, Stdio};
use std::time::Duration;

use serde_json::{Value, json};
use support::{Mosquitto, Process, until};

use crate::rig::{PATIENCE, Yard};

/// Runs `replay` over the yard's recording and returns its lines.
fn replay(yard: &Yard) -> Vec<Value> {
    let output = Command::new(env!("CARGO_BIN_EXE_basinward"))
        .args(["replay", "--systems", "systems", "recording.jsonl"])
        .current_dir(yard.path())
        .output()
        .expect("replay runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
}

fn minutes_ago(minutes: u64) -> u64 {
    let file = tempfile::NamedTempFile::new().expect("a temporary file");
    let modified = file.as_file().metadata().and_then(|m| m.modified()).expect("the time now");
    modified.duration_since(std::time::UNIX_EPOCH).expect("after 1970").as_secs() - minutes * 60
}

#[test]
fn a_flood_is_raised_live_and_in_replay_alike() {
    let broker = Mosquitto::start();
    let yard = Yard::new(2).listening_to(broker.port());
    let _daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);
    let mut recorder = Process::start(
        Command::new(env!("CARGO_BIN_EXE_basinward"))
            .args(["record", "--out", "recording.jsonl"])
            .current_dir(yard.path())
            .env("BASINWARD__MQTT__BROKER", format!("mqtt://127.0.0.1:{}", broker.port()))
            .stderr(Stdio::null()),
    );
    let recording = yard.path().join("recording.jsonl");
    let recorded = || std::fs::read_to_string(&recording).unwrap_or_default().lines().count();
    // The recorder listens once a first message shows up in its file.
    until(PATIENCE, "the recorder listens", || {
        broker.publish(
            "greywater/yard-1/quince/battery",
            format!("{{\"value\":80,\"time\":{}}}", minutes_ago(30)),
        );
        recorded() > 0
    });
    let before = recorded();
    let say = |topic: &str, value: Value, minutes: u64| {
        broker.publish(topic, json!({ "value": value, "time": minutes_ago(minutes) }).to_string());
    };
    say("greywater/yard-0/quince/float", json!("wet"), 8 * 60);
    say("greywater/yard-0/quince/moisture", json!(0.41), 5 * 60);
    say("greywater/yard-0/quince/float", json!("wet"), 60);
    say("greywater/yard-0/fig/overflow", json!(true), 20);
    say("greywater/yard-0/fig/overflow", json!(true), 15);
    say("greywater/yard-0/fig/overflow", json!(false), 12);
    say("greywater/yard-1/fig/moisture", json!("soaked"), 1);
    say("greywater/nowhere/fig/moisture", json!(0.2), 1);
    until(PATIENCE, "all is recorded", || recorded() >= before + 8);
    recorder.signal("TERM");
    assert!(recorder.wait(Duration::from_secs(10)).success());

    until(PATIENCE, "the ledger holds both floods", || {
        let floods = yard.changes().into_iter().filter(|(_, c)| c.finding.kind.name() == "flooding");
        floods.count() == 2
    });
    until(PATIENCE, "the page tells of both floods", || {
        let page = yard.page("/");
        page.contains("Basin “quince” is flooding") && page.contains("Basin “fig” is flooding")
    });
    let live: Vec<Value> = yard
        .changes()
        .into_iter()
        .map(|(system, change)| {
            json!({ "system": system, "change": change.change, "at": change.at, "finding": change.finding.kind,
                    "subject": change.finding.subject, "evidence": change.finding.evidence })
        })
        .collect();
    let lines = replay(&yard);
    let replayed: Vec<Value> = lines
        .iter()
        .filter(|line| line["event"] == "finding")
        .map(|line| {
            json!({ "system": line["system"], "change": line["change"], "at": line["at"], "finding": line["finding"],
                    "subject": line["subject"], "evidence": line["evidence"] })
        })
        .collect();
    for change in &live {
        assert!(replayed.contains(change), "only live: {change}\nreplayed: {replayed:#?}");
    }
    let summary = lines.last().expect("a summary");
    assert_eq!(summary["event"], "summary");
    assert_eq!(summary["unassigned"], 1);
    assert_eq!(summary["refused"].as_object().map(serde_json::Map::len), Some(1), "{summary}");
    assert_eq!(summary["systems"], 2);
}
