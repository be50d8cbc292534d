//! What the README shows must work as it stands.

use super::program::Folder;

const README: &str = include_str!("../../README.md");

/// The fenced blocks of one language.
fn blocks(language: &str) -> Vec<&'static str> {
    let opening = format!("```{language}\n");
    README.split(&opening).skip(1).filter_map(|rest| rest.split("```").next()).collect()
}

#[test]
fn the_system_file_is_right() {
    let [system, _] = blocks("toml")[..] else { panic!("a system file, and settings") };
    let ended = Folder::new().with("systems/my-yard.toml", system).basinward(&["check"]);
    assert_eq!(ended.code, Some(0), "{}", ended.out);
    assert!(ended.out.contains("2 basins, 1 splitter"), "{}", ended.out);
}

#[test]
fn the_settings_say_who_is_told() {
    let [system, settings] = blocks("toml")[..] else { panic!("a system file, and settings") };
    let folder = Folder::new().with("systems/my-yard.toml", system).with("basinward.toml", settings);
    let told = folder.basinward(&["check", "--told", "my-yard/flooding", "--at", "2026-03-01T09:00:00Z"]);
    assert_eq!(told.code, Some(0), "{}{}", told.out, told.err);
    assert!(told.out.contains("ana at once; by mail (route `now`)"), "{}", told.out);
}

/// The table of payloads, sent to the system of the README.
#[test]
fn the_payloads_are_understood() {
    let [system, _] = blocks("toml")[..] else { panic!("a system file, and settings") };
    let rows = README.lines().filter(|line| line.starts_with("| SenML") || line.starts_with("| JSON with"));
    let payloads: Vec<&str> = rows.filter_map(|row| row.split('`').rev().nth(1)).collect();
    assert_eq!(payloads.len(), 2);
    let recording: Vec<String> = payloads
        .into_iter()
        .map(|payload| {
            let topic = "greywater/my-yard/quince/moisture";
            format!(
                r#"{{"received":"2026-03-01T08:16:00Z","topic":"{topic}","payload":"{}"}}"#,
                payload.replace('"', "\\\"")
            )
        })
        .collect();
    let folder = Folder::new().with("systems/my-yard.toml", system).with("log.jsonl", &recording.join("\n"));
    let ended = folder.basinward(&["replay", "--systems", "systems", "log.jsonl"]);
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    assert!(ended.out.contains(r#""readings":2,"refused":{}"#), "{}", ended.out);
}

#[test]
fn an_overflow_float_raises_a_flood_after_two_minutes() {
    let system = include_str!("../../deploy/systems/alder-court-east.toml");
    let topic = "greywater/alder-court-east/quince/overflow";
    assert!(README.contains(topic));
    let line =
        |minute| format!(r#"{{"received":"2026-03-01T08:{minute}:00Z","topic":"{topic}","payload":"wet"}}"#);
    let folder = Folder::new()
        .with("systems/alder-court-east.toml", system)
        .with("log.jsonl", &format!("{}\n{}\n", line(15), line(30)));
    let ended = folder.basinward(&["replay", "--systems", "systems", "log.jsonl"]);
    let raised =
        r#""change":"raised","at":"2026-03-01T08:17:00Z","system":"alder-court-east","finding":"flooding""#;
    assert!(ended.out.contains(raised), "{}", ended.out);
}
