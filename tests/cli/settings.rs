//! Settings files: those we ship load, and each kind of fault has a file that shows it.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use basinward::settings::{SettingFault, Settings, What};
use basinward::systemfile;

fn load(path: &Path) -> Result<Settings, Vec<SettingFault>> {
    Settings::load(Some(path), std::iter::empty()).map(|loaded| loaded.settings)
}

/// Tests run in the package's folder, so that the places in messages are the same everywhere.
fn toml_files(folder: &str) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).expect("the folder is there");
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.expect("an entry").path()).collect();
    paths.retain(|path| path.extension().is_some_and(|extension| extension == "toml"));
    paths.sort();
    paths
}

/// The name of a kind of fault. A new kind does not compile until it stands here and has a file.
fn kind(what: &What) -> &'static str {
    match what {
        What::Unreadable(_) => "unreadable",
        What::NotToml(_) => "not TOML",
        What::UnknownSection { .. } => "unknown section",
        What::UnknownKey { .. } => "unknown key",
        What::WrongType { .. } => "wrong type",
        What::OutOfRange { .. } => "out of range",
        What::NotAChoice { .. } => "not a choice",
        What::Malformed { .. } => "malformed",
        What::Empty { .. } => "empty",
        What::FileUnreadable { .. } => "file unreadable",
        What::SecretTwice { .. } => "secret twice",
        What::NamedTwice { .. } => "named twice",
        What::Conflict { .. } => "conflict",
    }
}

#[test]
fn each_kind_of_fault_says_where_what_and_how_to_mend_it() {
    let mut told = Vec::new();
    let mut shown = BTreeSet::from(["unreadable"]); // no file can show that one; `check` has a test for it
    for path in toml_files("tests/settings_files") {
        let faults = load(&path).expect_err(&format!("{} has a fault", path.display()));
        for fault in faults {
            shown.insert(kind(&fault.what));
            told.push(format!("{}: {}\n    to mend: {}", fault.origin, fault.what, fault.what.how()));
        }
    }
    assert_eq!(shown.len(), 13, "kinds without a file: only {shown:?} are shown");
    insta::assert_snapshot!(told.join("\n").replace("tests/settings_files/", ""));
}

#[test]
fn the_shipped_settings_are_the_defaults_also_when_uncommented() {
    let path = Path::new("deploy/basinward.toml");
    let shipped = load(path).expect("it loads");
    let text = fs::read_to_string(path).expect("it is there");
    let uncommented: String = text
        .lines()
        .map(|line| match line.strip_prefix('#') {
            Some(setting) if !setting.starts_with(' ') => format!("{setting}\n"),
            _ => format!("{line}\n"),
        })
        .collect();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let written = folder.path().join("basinward.toml");
    fs::write(&written, uncommented).expect("written");
    let mut spelt_out = load(&written).expect("it loads uncommented");
    assert!(spelt_out.folders.systems.starts_with(folder.path()));
    spelt_out.folders = shipped.folders.clone();
    assert_eq!(spelt_out, shipped);
    assert_eq!(shipped, Settings { folders: shipped.folders.clone(), ..Settings::default() });
}

#[test]
fn the_shipped_example_system_needs_no_advice() {
    let systems = systemfile::load_dir(Path::new("deploy/systems"), "greywater").expect("it loads");
    assert_eq!(systems.len(), 1);
    assert_eq!(systemfile::advice(&systems[0]), Vec::<String>::new());
}

#[test]
fn a_secret_file_gives_its_line_without_the_line_end() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    fs::write(folder.path().join("secret"), "correct horse \r\n").expect("written");
    let file = folder.path().join("basinward.toml");
    fs::write(&file, "[mqtt]\nuser = \"yard\"\npassword = \"\"\npassword_file = \"secret\"\n")
        .expect("written");
    let settings = load(&file).expect("it loads");
    assert_eq!(settings.mqtt.password.expect("set").expose(), "correct horse ");
}
