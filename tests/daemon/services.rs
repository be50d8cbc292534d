//! A record written over HTTP: stored once, its engine told, the alert that it ends closed with history.

use basinward::alerts::{AlertNo, Closing, Deed, Stage};
use basinward::engine::Change;
use basinward::model::{FindingKind, Span};
use serde_json::{Value, json};
use support::{Mosquitto, until};

use crate::interface::{bearer, key_of};
use crate::rig::{PATIENCE, Yard};

#[test]
fn a_battery_changed_in_the_yard_ends_its_alert_and_the_history_says_who_did_it() {
    let broker = Mosquitto::start();
    let yard = Yard::new(1).listening_to(broker.port());
    let _daemon = yard.start();
    yard.let_in("Sam", "owner", &[]);
    let sam = bearer(&key_of(&yard, "Sam", &["see", "attend"]));
    // Measured longer ago than readings may still overtake one another, so that they count at once; two say so.
    let measured = |minutes| basinward::clock::Clock::wall().now() - Span::from_mins(minutes);
    let payloads = [20, 10].map(|minutes| json!({ "time": measured(minutes), "value": 8 }).to_string());
    until(PATIENCE, "the battery is known to be low", || {
        for payload in &payloads {
            broker.publish("greywater/yard-0/quince/battery", payload.as_str());
        }
        yard.changes().iter().any(|(_, change)| change.finding.kind == FindingKind::BatteryLow)
    });
    let now = basinward::clock::Clock::wall().now();
    let record = json!({
        "key": "3f1c9a6e-4c7b-4d11-9c5e-0a1b2c3d4e5f", "system": "yard-0",
        "record": { "subject": { "basin": "quince" }, "at": now, "work": ["battery-changed", "mulch-renewed"],
                    "mulch_found_mm": 90, "mulch_left_mm": 200, "note": "three AA cells" },
    });
    let (status, told) = yard.call("POST", "/api/v1/services", &sam, &record);
    assert_eq!((status, &told["versions"][0]["by"]), (201, &json!("Sam")), "{told}");
    let cleared = |yard: &Yard| {
        let changes = yard.changes();
        let over = changes
            .iter()
            .filter(|(_, it)| it.change == Change::Cleared && it.finding.kind == FindingKind::BatteryLow);
        over.count()
    };
    assert_eq!(cleared(&yard), 1, "the engine forgot the battery in the same commit");
    let story = yard.view().alert(AlertNo(1)).expect("the ledger").expect("the alert");
    assert!(matches!(story.alert.stage, Stage::Closed { how: Closing::Cleared, .. }), "{:?}", story.alert);
    let last = story.steps.last().expect("a step");
    assert_eq!(last.by.as_deref(), Some("Sam"));
    assert!(matches!(&last.deed, Deed::Noted { text } if text.starts_with("serviced")), "{:?}", last.deed);
    assert_eq!(told["ended"], json!([1]));

    let again = yard.call("POST", "/api/v1/services", &sam, &record);
    assert_eq!(
        (again.0, &again.1["versions"]),
        (201, &told["versions"]),
        "the same one again changes nothing"
    );
    let (_, page) = yard.call("GET", "/api/v1/services?system=yard-0", &sam, &Value::Null);
    assert_eq!(page["items"].as_array().map(Vec::len), Some(1));
    let (_, last) = yard.call("GET", "/api/v1/services/last", &sam, &Value::Null);
    assert_eq!(last.as_array().map(Vec::len), Some(3), "two kinds of work, and the look: {last}");

    let future = json!({
        "key": "3f1c9a6e-0000-0000-0000-0a1b2c3d4e5f", "system": "yard-0",
        "record": { "subject": { "splitter": "s1" }, "at": "2099-01-01T00:00:00Z", "work": ["outlet-cleared"] },
    });
    let (status, refusal) = yard.call("POST", "/api/v1/services", &sam, &future);
    let fields: Vec<_> =
        refusal["errors"].as_array().expect("fields").iter().map(|it| &it["pointer"]).collect();
    assert_eq!((status, fields), (422, vec![&json!("/at"), &json!("/work")]), "{refusal}");
}

#[test]
fn a_looker_writes_nothing_and_another_propertys_records_do_not_exist() {
    let broker = Mosquitto::start();
    let yard = Yard::new(1).listening_to(broker.port());
    let _daemon = yard.start();
    yard.let_in("Maria", "owner", &[]);
    yard.let_in("Eve", "viewer", &[]);
    yard.let_in("Ben", "technician", &["elsewhere"]);
    let maria = bearer(&key_of(&yard, "Maria", &["see", "attend"]));
    let eve = bearer(&key_of(&yard, "Eve", &["see"]));
    let ben = bearer(&key_of(&yard, "Ben", &["see", "attend"]));
    let now = basinward::clock::Clock::wall().now();
    let record = json!({ "key": "3f1c9a6e-4c7b-4d11-9c5e-0a1b2c3d4e5f", "system": "yard-0",
                         "record": { "subject": { "splitter": "s1" }, "at": now } });
    assert_eq!(yard.call("POST", "/api/v1/services", &eve, &record).0, 403);
    assert_eq!(yard.call("POST", "/api/v1/services", &ben, &record).0, 404);
    assert_eq!(yard.call("POST", "/api/v1/services", &maria, &record).0, 201);
    let address = "/api/v1/services/3f1c9a6e-4c7b-4d11-9c5e-0a1b2c3d4e5f";
    let withdrawal = json!({ "replaces": 1, "reason": "mine" });
    assert_eq!(yard.call("GET", address, &eve, &Value::Null).0, 200);
    assert_eq!(yard.call("GET", address, &ben, &Value::Null).0, 404);
    assert_eq!(yard.call("POST", &format!("{address}/withdraw"), &ben, &withdrawal).0, 404);
    assert_eq!(yard.call("POST", &format!("{address}/withdraw"), &eve, &withdrawal).0, 403);
    assert_eq!(yard.call("GET", "/api/v1/services/last", &ben, &Value::Null).1, json!([]));
    let (_, withdrawn) = yard.call("POST", &format!("{address}/withdraw"), &maria, &withdrawal);
    assert_eq!(withdrawn["versions"][1]["withdrawn"], json!(true), "{withdrawn}");
}

/// What stands in the hidden field `name` of a page.
fn hidden(page: &str, name: &str) -> String {
    let field = format!("name=\"{name}\" value=\"");
    page.split(&field).nth(1).and_then(|rest| rest.split('"').next()).expect("the field").to_owned()
}

#[test]
fn a_bucket_test_blames_the_splitter_and_one_after_levelling_proves_it() {
    let broker = Mosquitto::start();
    let yard = Yard::new(1).listening_to(broker.port());
    let _daemon = yard.start();
    yard.let_in("Maria", "owner", &[]);
    yard.let_in("Sam", "technician", &["home"]);
    let cookie = yard.sign_in("Sam");
    let get = |path: &str| yard.ask(&format!("GET {path} HTTP/1.1\r\nCookie: {cookie}\r\n"), "");
    let post = |path: &str, form: &str| {
        let answer = yard.ask(&format!("POST {path} HTTP/1.1\r\nCookie: {cookie}\r\n"), form);
        assert!(answer.starts_with("HTTP/1.1 303"), "{path} {form}: {answer}");
        answer.lines().find_map(|line| line.strip_prefix("location: ")).expect("an address").to_owned()
    };
    let test = |quince: &str, fig: &str| {
        let page = get("/systems/yard-0/tests");
        let (csrf, key) = (hidden(&page, "csrf"), hidden(&page, "key"));
        let begin = format!("csrf={csrf}&key={key}&units=metric&method=buckets&litres=20");
        let address = post("/systems/yard-0/tests", &begin);
        let running = get(&address);
        let run = hidden(&running, "run");
        let caught = format!(
            "csrf={csrf}&act=catch&run={run}&units=metric&mark=0.2&caught-quince={quince}&caught-fig={fig}"
        );
        post(&address, &caught);
        post(&address, &format!("csrf={csrf}&act=finish"));
        get(&address)
    };
    let before = test("7", "3");
    assert!(
        before.contains("“quince” 70 : “fig” 30") && before.contains("does not divide as designed"),
        "{before}"
    );
    let page = get("/systems/yard-0/record?at=splitter:s1");
    let record = format!(
        "csrf={}&key={}&subject=splitter:s1&work=splitter-levelled&level_found=3&level_left=0",
        hidden(&page, "csrf"),
        hidden(&page, "key")
    );
    post("/systems/yard-0/record", &record);
    let after = test("5.1", "5");
    assert!(after.contains("Every splitter divides as designed"), "{after}");
    assert!(
        after.contains("“quince” 70 : “fig” 30") && after.contains("proved by this test"),
        "compared with before: {after}"
    );
    let sam = bearer(&key_of(&yard, "Sam", &["see"]));
    let (_, tests) = yard.call("GET", "/api/v1/systems/yard-0/tests", &sam, &Value::Null);
    let verdicts: Vec<_> =
        tests.as_array().expect("tests").iter().map(|it| &it["outcome"]["splits"][0]["verdict"]).collect();
    assert_eq!(verdicts, [&json!("even"), &json!("uneven")]);

    // The year's account names the work and both tests, and says what is not known.
    let this_year = &basinward::clock::Clock::wall().now().to_string()[..4];
    let address = format!("/api/v1/systems/yard-0/years/{this_year}");
    let (status, year) = yard.call("GET", &address, &sam, &Value::Null);
    assert_eq!((status, &year["services"][0]["work"]), (200, &json!(["splitter-levelled"])), "{year}");
    assert_eq!(year["tests"].as_array().map(Vec::len), Some(2));
    let deviations = year["deviations"].to_string();
    assert!(
        deviations.contains("No dose was recognised") && !deviations.contains("No flow test"),
        "{deviations}"
    );
    let page = get(&format!("/systems/yard-0/years/{this_year}"));
    assert!(page.contains("What deviates") && page.contains("splitter levelled"), "{page}");
    let table = get(&format!("/properties/home/years/{this_year}.csv"));
    assert!(table.contains("yard-0,") && table.contains(",flow-test,splitter:s1,"), "{table}");
    assert_eq!(yard.call("GET", "/api/v1/systems/yard-0/years/2999", &sam, &Value::Null).0, 404);
}

#[test]
fn the_water_of_a_flow_test_is_said_to_be_off_while_it_runs_and_probes_measure_it() {
    let broker = Mosquitto::start();
    let yard = Yard::new(1).listening_to(broker.port());
    let _daemon = yard.start();
    yard.let_in("Sam", "owner", &[]);
    let sam = bearer(&key_of(&yard, "Sam", &["see", "attend"]));
    let begin = |method: &str, key: &str| {
        let body = json!({ "key": key, "method": method });
        yard.call("POST", "/api/v1/systems/yard-0/tests", &sam, &body).0
    };
    let step = |key: &str, act: &str| {
        yard.call("POST", &format!("/api/v1/tests/{key}/steps"), &sam, &json!({ "act": act })).0
    };
    let (by_probes, by_buckets) =
        ("3f1c9a6e-4c7b-4d11-9c5e-0a1b2c3d4e61", "3f1c9a6e-4c7b-4d11-9c5e-0a1b2c3d4e62");
    assert_eq!(begin("probes", by_probes), 204);
    assert_eq!(step(by_probes, "run-ended"), 204);
    assert_eq!(step(by_probes, "give-up"), 204);
    assert_eq!(step(by_probes, "run-ended"), 422);
    assert_eq!(begin("buckets", by_buckets), 204);
    assert_eq!(step(by_buckets, "run-ended"), 422, "buckets are read when the drip has stopped");
}
