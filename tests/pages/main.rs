//! What every page says about a yard at a known time, as snapshots: a change of wording is seen in review.
//!
//! `INSTA_UPDATE=always cargo test --test pages` writes them anew; read the difference.

mod house;
mod story;
mod text;

use std::sync::Arc;

use basinward::clock::Clock;
use basinward::ledger::View;
use basinward::schedule::work_out;
use basinward::upkeep::{Crew, Plan, Rules};

use house::{Served, terrace};

/// Names of the snapshots, and addresses.
const PAGES: [(&str, &str); 26] = [
    ("first", "/"),
    ("first_narrowed", "/?text=quince&state=now"),
    ("system", "/systems/terrace"),
    ("system_in_us_units", "/systems/terrace?units=us"),
    ("basin", "/systems/terrace/basins/quince"),
    ("basin_soaking_slowly", "/systems/terrace/basins/plum"),
    ("splitter", "/systems/terrace/splitters/s2"),
    ("sensor", "/systems/terrace/sensors/quince/moisture"),
    ("sensor_silent", "/systems/terrace/sensors/fig/float"),
    ("alerts", "/alerts"),
    ("alerts_narrowed", "/alerts?show=all&severity=warning&kind=uneven-split"),
    ("alerts_puzzled", "/alerts?since=yesterday"),
    ("alert", "/alerts/2"),
    ("heard", "/heard"),
    ("tasks", "/tasks"),
    ("visits", "/visits"),
    ("sheet", "/systems/terrace/sheet"),
    ("services", "/systems/terrace/services"),
    ("record", "/systems/terrace/record?at=splitter:s2"),
    ("tests", "/systems/terrace/tests"),
    ("year", "/systems/terrace/years/2026"),
    ("labels", "/systems/terrace/labels"),
    ("setup", "/setup"),
    ("account", "/account"),
    ("people", "/people"),
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
    let served =
        Served::start(folder.path(), view, systems, upkeep.expect("tasks"), standing).expect("it serves");
    for (name, path) in PAGES {
        let (path, cookie) = match path.strip_suffix("?units=us") {
            Some(path) => (path, "Cookie: units=us\r\n"),
            None => (path, ""),
        };
        let answer = served.ask(path, cookie).expect("an answer");
        let page = String::from_utf8(answer.body).expect("UTF-8");
        insta::assert_snapshot!(name, format!("{} {path}\n\n{}", answer.status, text::words(&page)));
    }
}
