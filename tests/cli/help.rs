//! Help, completions and manual pages.

use std::fs;

use super::program::Folder;

const COMMANDS: [&str; 13] = [
    "demo",
    "run",
    "visits",
    "check",
    "replay",
    "decode",
    "record",
    "notify",
    "backup",
    "password",
    "person",
    "completions",
    "man",
];

#[test]
fn help_of_every_command() {
    let folder = Folder::new();
    let mut all = vec![folder.basinward(&["--help"]).out];
    for command in COMMANDS {
        let help = folder.basinward(&[command, "--help"]);
        assert_eq!(help.code, Some(0));
        all.push(format!("======== basinward {command}\n\n{}", help.out));
    }
    insta::assert_snapshot!(all.join("\n"));
}

#[test]
fn without_a_command_the_help_is_shown_and_the_code_is_2() {
    let ended = Folder::new().basinward(&[]);
    assert_eq!(ended.code, Some(2));
    assert!(ended.err.contains("Usage: basinward"), "{}", ended.err);
}

#[test]
fn a_misspelt_command_is_bad_input() {
    let ended = Folder::new().basinward(&["chekc"]);
    assert_eq!(ended.code, Some(2));
    assert!(ended.err.contains("check"), "{}", ended.err);
}

#[test]
fn completions_know_the_commands() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = Folder::new().basinward(&["completions", shell]).out;
        assert!(script.contains("replay"), "{shell}");
    }
}

#[test]
fn a_manual_page_is_written_for_every_command() {
    let folder = Folder::new();
    assert_eq!(folder.basinward(&["man", "pages"]).code, Some(0));
    let mut written: Vec<String> = fs::read_dir(folder.path().join("pages"))
        .expect("the folder was made")
        .map(|entry| entry.expect("an entry").file_name().into_string().expect("UTF-8"))
        .collect();
    let mut wanted: Vec<String> = COMMANDS.map(|command| format!("basinward-{command}.1")).into();
    wanted.push("basinward.1".to_owned());
    written.sort();
    wanted.sort();
    assert_eq!(written, wanted);
}
