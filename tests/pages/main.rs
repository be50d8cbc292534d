//! What every page says about a yard at a known time, as snapshots: a change of wording is seen in review.
//!
//! `INSTA_UPDATE=always cargo test --test pages` writes them anew; read the difference.

mod house;
mod story;
mod text;

use std::sync::Arc;

use basinward::clock::Clock;
use basinward::desk::Entry;
use basinward::ledger::{Ledger, View};
use basinward::schedule::{Upkeep, work_out};
use basinward::systemfile::{self, Folder};
use basinward::upkeep::{Crew, Plan, Rules};

use house::{Served, terrace};

/// Names of the snapshots, and addresses.
const PAGES: [(&str, &str); 39] = [
    ("first", "/"),
    ("first_narrowed", "/?text=quince&state=now"),
    ("system", "/systems/terrace"),
    ("system_in_us_units", "/systems/terrace?units=us"),
    ("system_unheard", "/systems/orchard"),
    ("basin", "/systems/terrace/basins/quince"),
    ("basin_soaking_slowly", "/systems/terrace/basins/plum"),
    ("basin_renewed", "/systems/grove/basins/fig"),
    ("splitter", "/systems/terrace/splitters/s2"),
    ("sensor", "/systems/terrace/sensors/quince/moisture"),
    ("sensor_silent", "/systems/terrace/sensors/fig/float"),
    ("sensors", "/systems/terrace/sensors"),
    ("sensors_in_doubt", "/sensors"),
    ("alerts", "/alerts"),
    ("alerts_narrowed", "/alerts?show=all&severity=warning&kind=uneven-split"),
    ("alerts_puzzled", "/alerts?since=yesterday"),
    ("alert", "/alerts/2"),
    ("floods", "/floods"),
    ("heard", "/heard"),
    ("tasks", "/tasks"),
    ("visits", "/visits"),
    ("sheet", "/systems/terrace/sheet"),
    ("services", "/systems/terrace/services"),
    ("record", "/systems/terrace/record?at=splitter:s2"),
    ("tests", "/systems/terrace/tests"),
    ("test_by_probes", "/tests/0f5b2c1e-77aa-4c55-9c5e-5ec2e7f16011"),
    ("test_by_buckets", "/tests/0f5b2c1e-77aa-4c55-9c5e-5ec2e7f16012"),
    ("service", "/services/0f5b2c1e-77aa-4c55-9c5e-5ec2e7f16013"),
    ("service_saved", "/services/0f5b2c1e-77aa-4c55-9c5e-5ec2e7f16013?saved=1"),
    ("year", "/systems/terrace/years/2026"),
    ("labels", "/systems/terrace/labels"),
    ("setup", "/setup"),
    ("setup_change", "/setup/arbour"),
    ("retire", "/setup/arbour/retire"),
    ("retired", "/setup/bower/retire"),
    ("account", "/account"),
    ("people", "/people"),
    ("sign_in", "/sign-in"),
    ("nowhere", "/no-such-page"),
];

#[test]
fn every_page_says_what_it_said() {
    let folder = tempfile::tempdir().expect("a folder");
    let systems = [
        terrace("terrace", "Alder Court, terrace", "alder-court", false),
        terrace("grove", "Alder Court, grove", "alder-court", true),
        terrace("orchard", "Elm Row, orchard", "elm-row", false),
    ];
    let systems: Vec<_> = systems.into_iter().map(Arc::new).collect();
    let now = story::now();
    story::write(folder.path(), &systems).expect("the story is written");
    let view = View::open(folder.path()).expect("the ledger opens");
    let upkeep = work_out(&view, &systems, (&Rules::default(), &Crew::default()), &Plan::default(), now);
    let standing = Clock::scaled(now, 0.0);
    let (let_in, upkeep) = ((view, Entry::LetIn), upkeep.expect("tasks"));
    let found = Folder { systems, faulty: Vec::new() };
    for (id, file) in [("arbour", "arbour.toml"), ("bower", "bower.toml.retired")] {
        let text = format!(
            "id = \"{id}\"\nname = \"Elm Row, {id}\"\nproperty = \"elm-row\"\ntimezone = \"UTC\"\nsoil = \"loam\"\n\
             [[basin]]\nid = \"fig\"\narea_m2 = 1.2\n"
        );
        std::fs::write(folder.path().join(file), text).expect("a system file is written");
    }
    let served = Served::start(folder.path(), let_in, found, upkeep, standing).expect("it serves");
    for (name, path) in PAGES {
        let (path, cookie) = match path.strip_suffix("?units=us") {
            Some(path) => (path, "Cookie: units=us\r\n"),
            None => (path, ""),
        };
        insta::assert_snapshot!(name, told(&served, path, cookie));
    }
    // A commit that changes nothing leaves every word as it was.
    served.commit();
    insta::assert_snapshot!("first", told(&served, "/", ""));
}

/// Files that cannot be read, as the pages tell of them: by a fault of TOML, by faults of its keys, by another's topic.
#[test]
fn what_is_not_watched_is_said_on_every_page() {
    let folder = tempfile::tempdir().expect("a folder");
    let head = |id: &str| format!("id = \"{id}\"\nname = \"Elm Row, {id}\"\nproperty = \"elm-row\"\n");
    let rest = "timezone = \"UTC\"\nsoil = \"loam\"\n[[basin]]\nid = \"fig\"\narea_m2 = 1.2\n";
    let heard = "moisture = { topic = \"elsewhere/7\", unit = \"%\" }\n";
    for (id, rest) in [
        ("arbour", format!("timezone = UTC\n{rest}")),
        ("bower", rest.replace("loam", "lome").replace("1.2", "900")),
        ("copse", rest.to_owned() + heard),
        ("dell", rest.to_owned() + heard),
    ] {
        std::fs::write(folder.path().join(format!("{id}.toml")), head(id) + &rest)
            .expect("a file is written");
    }
    drop(Ledger::open(folder.path()).expect("a new ledger"));
    let mut found = systemfile::load_folder(folder.path(), "greywater", &[]).expect("a folder");
    for fault in found.faulty.iter_mut().flat_map(|file| &mut file.faults) {
        fault.file = "systems".to_owned();
    }
    for file in &mut found.faulty {
        let id = file.id.as_ref().expect("they are called after systems");
        file.file = format!("systems/{id}.toml");
    }
    let view = View::open(folder.path()).expect("the ledger opens");
    let standing = Clock::scaled(story::now(), 0.0);
    let let_in = (view, Entry::LetIn);
    let served = Served::start(folder.path(), let_in, found, Upkeep::default(), standing);
    let served = served.expect("it serves");
    for (name, path) in [
        ("faulty_first", "/"),
        ("faulty_setup", "/setup"),
        ("faulty_without_form", "/setup/arbour"),
        ("faulty_with_form", "/setup/bower"),
        ("faulty_system", "/systems/dell"),
    ] {
        insta::assert_snapshot!(name, told(&served, path, ""));
    }
}

#[test]
fn who_comes_first_is_asked_for_the_code() {
    let folder = tempfile::tempdir().expect("a folder");
    drop(Ledger::open(folder.path()).expect("a new ledger"));
    let view = View::open(folder.path()).expect("the ledger opens");
    let entry = Entry::SetUp { code: "CODE-THAT-WAS-PRIN-TED".to_owned() };
    let standing = Clock::scaled(story::now(), 0.0);
    let served = Served::start(folder.path(), (view, entry), Folder::default(), Upkeep::default(), standing);
    insta::assert_snapshot!("welcome", told(&served.expect("it serves"), "/welcome", ""));
}

fn told(served: &Served, path: &str, lines: &str) -> String {
    let answer = served.ask(path, lines).expect("an answer");
    let page = String::from_utf8(answer.body).expect("UTF-8");
    format!("{} {path}\n\n{}", answer.status, text::words(&page))
}
