//! Exit codes: 0 fine, 1 the work failed, 2 bad input.

use std::process::{Command, Stdio};

use super::program::Folder;

const YARD: &str = include_str!("../../deploy/systems/alder-court-east.toml");

#[test]
fn work_that_fails_ends_with_1_and_says_why() {
    let ended = Folder::new().basinward(&["backup", "copy.db"]);
    assert_eq!((ended.code, ended.out.as_str()), (Some(1), ""));
    assert!(ended.err.starts_with("basinward: there is no ledger"), "{}", ended.err);
}

#[test]
fn a_recording_that_cannot_be_read_ends_with_2_and_names_the_line() {
    let good = r#"{"received":"2026-03-01T08:15:00Z","topic":"x","payload":"1"}"#;
    let folder = Folder::new()
        .with("systems/alder-court-east.toml", YARD)
        .with("log.jsonl", &format!("{good}\n{{\"received\":\"soon\"}}\n"));
    let ended = folder.basinward(&["replay", "--systems", "systems", "log.jsonl"]);
    assert_eq!(ended.code, Some(2));
    assert!(ended.err.starts_with("log.jsonl:2: "), "{}", ended.err);
}

#[test]
fn system_files_that_cannot_be_read_end_with_2() {
    let folder = Folder::new().with("systems/yard.toml", "id = 7\n");
    for arguments in [&["check", "--systems", "systems"], &["replay", "--systems", "systems"]] {
        let ended = folder.basinward(arguments);
        assert_eq!(ended.code, Some(2), "{arguments:?}");
        let said = ended.out + &ended.err;
        assert!(said.contains("systems/yard.toml:1:"), "{said}");
    }
    // The daemon does without single files, but not without the folder.
    let ended = Folder::new().basinward(&["run"]);
    assert_eq!(ended.code, Some(2), "{}", ended.err);
    assert!(ended.err.contains("the folder of system files cannot be read"), "{}", ended.err);
}

/// As with `| head`: whoever reads has seen enough, which is no failure.
#[test]
fn a_reader_who_leaves_early_is_no_failure() {
    let mut manual = Command::new(env!("CARGO_BIN_EXE_basinward"))
        .arg("man")
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    drop(manual.stdout.take());
    let ended = manual.wait_with_output().expect("the program ends");
    assert_eq!((ended.status.code(), ended.stderr.as_slice()), (Some(0), &b""[..]));
}
