//! `check`: faults of settings and system files, and what it says when all is right.

use super::program::Folder;

const YARD: &str = r#"
id = "alder-court-east"
name = "Alder Court, east terrace"
timezone = "America/Denver"
soil = "sandy-loam"

[source]
meter = { litres_per_count = 1.0 }

[[splitter]]
id = "s1"
feeds = ["quince", "fig"]

[[basin]]
id = "quince"
area_m2 = 1.2
float = { height_mm = 120 }
moisture = { unit = "%" }

[[basin]]
id = "fig"
area_m2 = 1.2
moisture = {}
"#;

#[test]
fn several_faults_of_the_settings_are_told_at_once() {
    let folder = Folder::new()
        .with("basinward.toml", include_str!("../settings_files/several-at-once.toml"))
        .with_variable("BASINWARD__MQTT__KEEP_ALIVE", "60")
        .with_variable("BASINWARD__LEDGER__READINGS_DAYS", "a year")
        .with_variable("BASINWARD_OTHER", "none of our business");
    let ended = folder.basinward(&["check"]);
    assert_eq!(ended.code, Some(2));
    assert_eq!(ended.err, "");
    insta::assert_snapshot!(ended.out);
}

#[test]
fn several_faults_of_system_files_are_told_at_once() {
    let folder =
        Folder::new().with("systems/alder-court-east.toml", &YARD.replace("sandy-loam", "sandy-lome")).with(
            "systems/elm-row.toml",
            &YARD.replace("alder-court-east", "elm-row").replace("area_m2", "area"),
        );
    let ended = folder.basinward(&["check"]);
    assert_eq!(ended.code, Some(2));
    insta::assert_snapshot!(ended.out);
}

#[test]
fn what_is_right_is_summed_up_with_advice() {
    let folder = Folder::new()
        .with("systems/alder-court-east.toml", YARD)
        .with_variable("BASINWARD__DESK__LISTEN", "192.0.2.7:80");
    let ended = folder.basinward(&["check"]);
    assert_eq!(ended.code, Some(0), "{}", ended.out);
    insta::assert_snapshot!(ended.out);
}

#[test]
fn explain_names_every_setting_its_value_and_its_origin() {
    let folder = Folder::new()
        .with("yards/alder-court-east.toml", YARD)
        .with("secret", "correct horse\n")
        .with(
            "yard.toml",
            "[folders]\nsystems = \"yards\"\n\n[mqtt]\nuser = \"yard\"\npassword_file = \"secret\"\n",
        )
        .with_variable("BASINWARD__MQTT__BROKER", "mqtt://yard.example");
    let ended = folder.basinward(&["check", "--config", "yard.toml", "--explain"]);
    assert_eq!(ended.code, Some(0), "{}", ended.out);
    assert!(!ended.out.contains("correct horse"));
    insta::assert_snapshot!(ended.out);
}

#[test]
fn a_settings_file_that_is_named_must_be_there() {
    let ended = Folder::new().basinward(&["check", "--config", "nowhere.toml"]);
    assert_eq!(ended.code, Some(2));
    assert!(ended.out.starts_with("nowhere.toml"), "{}", ended.out);
}

#[test]
fn run_refuses_bad_settings_before_it_starts_anything() {
    let folder = Folder::new().with("basinward.toml", "[mqtt]\nbrokr = \"\"\n");
    let ended = folder.basinward(&["run"]);
    assert_eq!(ended.code, Some(2));
    assert!(ended.err.contains("basinward.toml:2:1: unknown key `brokr`"), "{}", ended.err);
}
