//! System files as people write them: good ones are read whole, and each mistake is named with
//! its line and how to mend it.

use std::fs;
use std::path::{Path, PathBuf};

use basinward::model::{BasinIx, Chip, Id, Node, Place, Quantity, Soil, Span, SplitterIx, Unit};
use basinward::systemfile::{Folder, advice, fits, load_dir, load_file, load_folder, parse};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/system_files")
}

fn read(path: &Path) -> (String, String) {
    let name = path.file_name().and_then(|name| name.to_str()).expect("a plain name");
    (name.to_owned(), fs::read_to_string(path).expect("a readable file"))
}

/// Lines `# expect LINE: TEXT` at the top of a file.
fn expectations(text: &str) -> Vec<(usize, &str)> {
    let expected = text.lines().map_while(|line| line.strip_prefix("# expect "));
    expected
        .map(|rest| {
            let (line, what) = rest.split_once(": ").expect("a line and what is said of it");
            (line.parse().expect("a number"), what)
        })
        .collect()
}

#[test]
fn every_mistake_is_named_with_its_line_and_how_to_mend_it() {
    let mut tried = 0;
    for entry in fs::read_dir(folder()).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "toml") {
            continue;
        }
        let (name, text) = read(&path);
        let faults = parse(&name, &text).expect_err(&name);
        let mut expected = expectations(&text);
        assert!(!expected.is_empty(), "{name} expects nothing");
        for fault in &faults {
            let shown = fault.to_string();
            assert!(shown.starts_with(&format!("{name}:{}: ", fault.line)), "{shown}");
            assert!(!fault.how.is_empty(), "{shown}");
            let known = expected.iter().position(|(line, what)| fault.line == *line && shown.contains(what));
            expected.remove(known.unwrap_or_else(|| panic!("unexpected: {shown}")));
        }
        assert!(expected.is_empty(), "{name}: not reported: {expected:?} among {faults:?}");
        tried += 1;
    }
    assert!(tried > 50, "only {tried} files found");
}

#[test]
fn the_full_example_is_read_with_all_its_parts() {
    let system = load_file(&folder().join("good/alder-court-east.toml")).unwrap();
    assert_eq!((system.id.as_str(), system.property.as_str()), ("alder-court-east", "alder-court"));
    assert_eq!(system.zone.iana_name(), Some("America/Denver"));
    assert_eq!(system.location.map(|l| l.elevation_m), Some(2100.0));
    assert_eq!(system.soil, Soil::SandyLoam);
    assert_eq!(system.commissioned.unwrap().to_string(), "2025-04-12");
    assert_eq!((system.source.people, system.source.litres_per_count), (6, Some(1.0)));
    assert_eq!(system.source.fixtures, ["showers", "laundry"]);
    assert!(system.diverter && !system.source.meter_after_diverter);
    assert_eq!(system.rain_mm_per_count, Some(0.2));

    let quince = system.basin(BasinIx(0));
    assert_eq!(quince.label(), "quince tree");
    assert_eq!((quince.area_m2, quince.depth_mm, quince.air_gap_mm), (1.2, 300.0, 150.0));
    assert_eq!((quince.mulch.depth_mm, quince.mulch.chip), (200.0, Chip::Coarse));
    assert_eq!(quince.mulch.placed, system.commissioned);
    assert_eq!((quince.float_height_mm, quince.overflow_height_mm), (Some(120.0), Some(260.0)));
    assert_eq!((quince.moisture_depth_mm, quince.flood_hold), (Some(250.0), Some(Span::from_hours(6))));
    assert_eq!(quince.at.map(|at| at.y_m), Some(2.5));

    let tree = system.tree();
    assert_eq!(tree.root(), Node::Splitter(SplitterIx(0)));
    // A split that sums to 1.0005 is within the tolerance and scaled to sum to 1.
    assert!((tree.design_share(BasinIx(0)) - 0.3 / 1.0005).abs() < 1e-12);
    let sum: f64 = system.basin_ixs().map(|b| tree.design_share(b)).sum();
    assert!((sum - 1.0).abs() < 1e-12);
}

#[test]
fn sensors_have_their_wiring_or_their_default_topic() {
    let system = load_file(&folder().join("good/alder-court-east.toml")).unwrap();
    let fig = Place::Basin(BasinIx(1));
    let find = |place, quantity| system.find_sensor(place, quantity);
    let temperature = find(fig, Quantity::Temperature).unwrap();
    let wiring = &system.sensor(temperature).wiring;
    assert_eq!(wiring.unit, Some(Unit::Fahrenheit));
    assert_eq!((wiring.value.as_deref(), wiring.time.as_deref()), (Some("/soil/temperature"), Some("/at")));
    assert_eq!(system.topic(temperature, "greywater"), "foreign/fig");
    assert!(system.sensor(find(fig, Quantity::Overflow).unwrap()).wiring.wet_is_open);
    assert!(!system.sensor(find(fig, Quantity::Float).unwrap()).wiring.wet_is_open);

    let pear = Place::Basin(BasinIx(2));
    let probe = system.sensor(find(pear, Quantity::Moisture).unwrap());
    assert!(probe.wiring.permittivity && probe.declared);
    assert_eq!((probe.wiring.scale, probe.wiring.offset), (Some(0.1), Some(-1.0)));
    let battery = find(pear, Quantity::Battery).unwrap();
    assert!(!system.sensor(battery).declared);
    assert_eq!(system.topic(battery, "yards/grey"), "yards/grey/alder-court-east/pear/battery");
    let meter = find(Place::System, Quantity::Meter).unwrap();
    assert_eq!(system.topic(meter, "greywater"), "greywater/alder-court-east/meter");
    assert_eq!(find(pear, Quantity::Float), None);
}

#[test]
fn what_a_file_leaves_out_takes_the_documented_default() {
    let system = load_file(&folder().join("good/one-basin.toml")).unwrap();
    assert_eq!(system.property, Id::new("one-basin").unwrap());
    assert_eq!((system.source.people, system.source.litres_per_count), (2, None));
    assert!(!system.diverter && system.location.is_none() && system.commissioned.is_none());
    let fig = system.basin(BasinIx(0));
    assert_eq!((fig.depth_mm, fig.air_gap_mm, fig.mulch.depth_mm), (300.0, 150.0, 200.0));
    assert_eq!((fig.mulch.chip, fig.mulch.placed, fig.flood_hold), (Chip::Medium, None, None));
    assert_eq!((fig.float_height_mm, fig.overflow_height_mm, fig.moisture_depth_mm), (None, None, None));
    assert_eq!(system.tree().root(), Node::Basin(BasinIx(0)));
    // The default floats of a basin half as deep as usual sit half as high.
    let shallow = load_file(&folder().join("good/alder-court-east.toml")).unwrap();
    let shallow = shallow.basin(BasinIx(1));
    assert_eq!((shallow.float_height_mm, shallow.overflow_height_mm), (Some(60.0), Some(130.0)));
    assert_eq!(shallow.moisture_depth_mm, Some(250.0));
}

#[test]
fn a_folder_is_read_as_one_set() {
    let systems = load_dir(&folder().join("good"), "greywater").unwrap();
    let ids: Vec<&str> = systems.iter().map(|s| s.id.as_str()).collect();
    assert_eq!(ids, ["alder-court-east", "one-basin"]);
}

#[test]
fn systems_may_not_share_a_topic_unless_their_pointers_differ() {
    let set = folder().join("shared-topics");
    let shown: Vec<String> =
        load_dir(&set, "greywater").unwrap_err().iter().map(ToString::to_string).collect();
    assert_eq!(shown.len(), 2, "{shown:?}");
    assert!(
        shown[0].contains("lower.toml:10: `fig/battery` of `lower` and `fig/temperature` of `upper`"),
        "{}",
        shown[0]
    );
    assert!(
        shown[1].contains("upper.toml:9: `fig/moisture` of `upper` and `fig/moisture` of `lower`"),
        "{}",
        shown[1]
    );
    // With another prefix the default topic is another one.
    assert_eq!(load_dir(&set, "yards").unwrap_err().len(), 1);
}

#[test]
fn a_folder_with_several_bad_files_names_them_all() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("a.toml"), "id = 1\n").unwrap();
    fs::write(folder.path().join("b.toml"), b"\xff").unwrap();
    fs::write(folder.path().join("c.toml"), vec![b'#'; (1 << 20) + 1]).unwrap();
    fs::write(folder.path().join("notes.txt"), "not a system").unwrap();
    let faults = load_dir(folder.path(), "greywater").unwrap_err();
    for (file, text) in [("a.toml:1: ", "lacks `soil`"), ("b.toml: ", "UTF-8"), ("c.toml: ", "1 MiB")] {
        assert!(
            faults.iter().map(ToString::to_string).any(|f| f.contains(file) && f.contains(text)),
            "{faults:?}"
        );
    }
    let missing = load_dir(&folder.path().join("missing"), "greywater").unwrap_err();
    assert!(missing[0].to_string().contains("the folder of system files cannot be read"));
}

/// A folder with a file for each of `files`; each of one basin, its id and what comes after it.
fn files(files: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for (id, rest) in files {
        let head = format!("id = \"{id}\"\nname = \"The {id}\"\nproperty = \"home\"\n");
        fs::write(folder.path().join(format!("{id}.toml")), head + rest).expect("a file");
    }
    folder
}

const GOOD: &str = "timezone = \"UTC\"\nsoil = \"loam\"\n[[basin]]\nid = \"fig\"\narea_m2 = 1.2\n";

/// [`GOOD`] with a probe that is heard at `topic`.
fn hearing(topic: &str) -> String {
    format!("{GOOD}moisture = {{ topic = \"{topic}\", unit = \"%\" }}\n")
}

fn ids(folder: &Folder) -> (Vec<&str>, Vec<&str>) {
    assert!(folder.faulty.iter().all(|file| !file.faults.is_empty()));
    let faulty = folder.faulty.iter().map(|file| file.id.as_ref().map_or("", Id::as_str));
    (folder.systems.iter().map(|system| system.id.as_str()).collect(), faulty.collect())
}

#[test]
fn of_a_folder_with_faulty_files_the_others_are_taken() {
    let text = hearing("elsewhere/7");
    let folder = files(&[("a", "timezone = UTC\n"), ("b", GOOD), ("c", "soil = \"lome\"\n"), ("d", &text)]);
    fs::write(folder.path().join("e.toml"), b"\xff").unwrap();
    let found = load_folder(folder.path(), "greywater", &[]).unwrap();
    assert_eq!(ids(&found), (vec!["b", "d"], vec!["a", "c", "e"]));
    let said: Vec<_> = found.faulty.iter().map(|file| (file.title(), file.property.as_ref())).collect();
    let home = Id::new("home").unwrap();
    assert!(said[0] == ("The a", Some(&home)) && said[1] == ("The c", Some(&home)) && said[2] == ("e", None));
    assert_eq!(found.held().map(Id::as_str).collect::<Vec<_>>(), ["a", "c", "e"]);
    assert!(load_folder(&folder.path().join("missing"), "greywater", &[]).is_err());
}

#[test]
fn of_files_that_claim_one_topic_one_stands_whatever_the_others_do() {
    let (seven, of_b) = (hearing("elsewhere/7"), hearing("greywater/b/fig/moisture"));
    let by_default = format!("{GOOD}moisture = {{}}\n");
    // By name, but what is heard by default goes before what is stated.
    let folder = files(&[("a", &of_b), ("b", &by_default), ("c", &seven), ("d", &seven), ("e", &seven)]);
    let found = load_folder(folder.path(), "greywater", &[]).unwrap();
    assert_eq!(ids(&found), (vec!["b", "c"], vec!["a", "d", "e"]));
    assert!(found.faulty.iter().all(|file| file.clashes && !file.watched));
    assert!(found.faulty[2].faults[0].what.contains("of `c` both"), "{:?}", found.faulty[2].faults);
    // Whoever has it keeps it, and a newcomer before it in the alphabet does not.
    let in_force: Vec<_> = found.systems.iter().filter(|system| system.id.as_str() == "b").cloned().collect();
    let d = load_file(&folder.path().join("d.toml")).unwrap();
    let in_force: Vec<_> = in_force.into_iter().chain([std::sync::Arc::new(d)]).collect();
    let found = load_folder(folder.path(), "greywater", &in_force).unwrap();
    assert_eq!(ids(&found), (vec!["b", "d"], vec!["a", "c", "e"]));
}

#[test]
fn a_system_in_force_goes_on_by_its_plan_unless_somebody_took_its_topic() {
    let (seven, eight) = (hearing("elsewhere/7"), hearing("elsewhere/8"));
    let folder = files(&[("a", &seven), ("b", &eight)]);
    let in_force = load_folder(folder.path(), "greywater", &[]).unwrap().systems;
    fs::write(folder.path().join("a.toml"), "id = ").unwrap();
    let found = load_folder(folder.path(), "greywater", &in_force).unwrap();
    assert_eq!(ids(&found), (vec!["a", "b"], vec!["a"]));
    assert_eq!((found.systems[0] == in_force[0], found.faulty[0].title()), (true, "The a"));
    assert!(found.faulty[0].watched && found.held().next().is_none());
    fs::write(folder.path().join("c.toml"), format!("id = \"c\"\nname = \"C\"\n{seven}")).unwrap();
    let found = load_folder(folder.path(), "greywater", &in_force).unwrap();
    assert_eq!(ids(&found), (vec!["b", "c"], vec!["a"]));
    // Two that exchange their topics are both sound.
    fs::remove_file(folder.path().join("c.toml")).unwrap();
    let exchanged = files(&[("a", &eight), ("b", &seven)]);
    let found = load_folder(exchanged.path(), "greywater", &in_force).unwrap();
    assert_eq!(ids(&found), (vec!["a", "b"], vec![]));
}

#[test]
fn a_file_fits_unless_it_or_its_topics_are_wrong() {
    let seven = hearing("elsewhere/7");
    let folder = files(&[("a", "soil = \"lome\"\n"), ("b", &seven)]);
    let fits = |id: &str, text: &str| {
        let text = format!("id = \"{id}\"\nname = \"It\"\n{text}");
        fits(folder.path(), "greywater", &folder.path().join(format!("{id}.toml")), &text)
    };
    assert_eq!(fits("c", GOOD), Ok(()), "the fault of another is not its own");
    assert_eq!(fits("b", &seven), Ok(()));
    assert!(fits("c", "soil = \"lome\"\n").is_err());
    for id in ["a", "c"] {
        let faults = fits(id, &seven).unwrap_err();
        assert!(faults.len() == 1 && faults[0].what.contains("elsewhere/7"), "{faults:?}");
    }
}

#[test]
fn doubtful_files_are_read_with_advice() {
    let system = load_file(&folder().join("good/alder-court-east.toml")).unwrap();
    let advice = advice(&system);
    let about = |words: &str| advice.iter().filter(|a| a.contains(words)).count();
    assert_eq!(about("state the unit of moisture at quince"), 1);
    assert_eq!(about("state the unit"), 1, "fig states a unit, pear a scale: {advice:?}");
    assert_eq!(about("no float at pear: standing water cannot be seen"), 1);
    assert_eq!(about("no sensor at plum"), 1);
    assert_eq!(advice.len(), 3);
}
