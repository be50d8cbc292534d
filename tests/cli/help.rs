//! Help, completions and manual pages.

use std::collections::BTreeSet;
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
    let written = |section: &str| {
        let pages = fs::read_dir(folder.path().join("pages").join(section)).expect("the folder was made");
        let names = pages.map(|entry| entry.expect("an entry").file_name().into_string().expect("UTF-8"));
        names.collect::<BTreeSet<_>>()
    };
    let nested = ["person-add", "person-list", "person-password"];
    let commands = COMMANDS.iter().chain(&nested).map(|command| format!("basinward-{command}.1"));
    assert_eq!(written("man1"), commands.chain(["basinward.1".to_owned()]).collect());
    assert_eq!(written("man5"), BTreeSet::from(["basinward.toml.5".to_owned()]));
}
