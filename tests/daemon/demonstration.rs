//! The demonstration with a year behind it, whose yards heed what is written down: water that is run is measured and
//! judged, a splitter that is levelled is level. All of it over HTTP and MQTT, with simulated water.

use std::time::Duration;

use basinward::engine::Change;
use basinward::model::{EventTime, FindingKind, Id, Span, Subject};
use serde_json::{Value, json};
use support::until;

use crate::interface::{bearer, key_of};
use crate::rig::{PATIENCE, Yard};

/// With two digits more, the key of a test.
const TEST: &str = "3f1c9a6e-4c7b-4d11-9c5e-0a1b2c3d4e";
/// Long enough for two months at the speed below on a machine that has much else to do: the yards then fall behind.
const MONTHS: Duration = Duration::from_mins(20);
const RECORD: &str = "3f1c9a6e-4c7b-4d11-9c5e-0a1b2c3d4e72";

/// Rain spoils a run, soil so wet that a probe shows no more hides an outlet or makes the run vague, and water of the
/// household beside it may keep it from being judged; nobody knows when: then the water is run again.
#[test]
fn water_run_on_purpose_is_seen_arriving_measured_judged_and_kept() {
    let yard = Yard::new(0);
    // Before anything goes wrong.
    let _demonstration = yard.show(&["--year", "--backfill-days", "30", "--speed", "1200"]);
    yard.let_in("Sam", "owner", &[]);
    let sam = bearer(&key_of(&yard, "Sam", &["see", "attend"]));
    let cookie = yard.sign_in("Sam");
    let page = |key: &str| yard.ask(&format!("GET /tests/{key} HTTP/1.1\r\nCookie: {cookie}\r\n"), "");
    let test = |key: &str| yard.call("GET", &format!("/api/v1/tests/{key}"), &sam, &Value::Null).1;
    let step = |key: &str, act: &str| {
        yard.call("POST", &format!("/api/v1/tests/{key}/steps"), &sam, &json!({ "act": act })).0
    };
    let dry = |attempt: usize| {
        let key = format!("{TEST}{attempt:02}");
        let begin = json!({ "key": key, "method": "probes", "litres": 120, "note": "as a proof" });
        assert_eq!(yard.call("POST", "/api/v1/systems/hazel-court/tests", &sam, &begin).0, 204);
        let answered = within_six_hours(&yard, || page(&key).matches("after the water began").count() == 4);
        assert_eq!(step(&key, "run-ended"), 204);
        assert!(page(&key).contains("said Sam"), "who said that the water is off stands on the page");
        let measured = || test(&key)["outcome"]["runs"].as_u64() > Some(0);
        let is_clear = || splits_of(&test(&key)["outcome"]).iter().all(|split| width(split) < 0.3);
        within_six_hours(&yard, || measured() || page(&key).contains("rain touched"));
        if answered && measured() && is_clear() {
            assert_eq!(step(&key, "finish"), 204);
            return Some(key);
        }
        assert_eq!(step(&key, "give-up"), 204);
        None
    };
    let proved: Vec<String> = (0..30).filter_map(dry).take(3).collect();
    assert_eq!(proved.len(), 3, "the soil is not wet for ever");
    let outcomes: Vec<Value> = proved.iter().map(|key| test(key)["outcome"].clone()).collect();
    for place in 0..3 {
        let of_one = || outcomes.iter().map(|outcome| &splits_of(outcome)[place]);
        for split in of_one() {
            let (within, is_uneven) =
                (split["within"].as_f64().expect("probable"), split["verdict"] == "uneven");
            assert_eq!(is_uneven, within <= 0.05, "{split}");
        }
        // One run in twenty is off by more than it claims to know, and more of them are in wet soil.
        let share = middle(of_one().map(|split| split["share_a"].as_f64().expect("a share")).collect());
        assert!((share - 0.5).abs() < 0.1, "{:?}", of_one().collect::<Vec<_>>());
    }
    let told = test(&proved[0]);
    assert_eq!((splits_of(&told["outcome"]).len(), &told["run_ends"][0]["by"]), (3, &json!("Sam")), "{told}");
    assert!(told["ended"].is_string() && step(&proved[0], "run-ended") == 422, "{told}");
}

#[test]
fn a_splitter_that_is_levelled_is_learnt_anew_and_the_record_says_so() {
    let yard = Yard::new(0);
    let (system, s3) = (Id::new("hazel-court").expect("an id"), Id::new("s3").expect("an id"));
    // Splitter s3 has begun to settle by then. From then on nobody comes but Sam.
    let _demonstration = yard.show(&["--year", "--backfill-days", "52", "--speed", "14400"]);
    yard.let_in("Sam", "owner", &[]);
    let sam = bearer(&key_of(&yard, "Sam", &["see", "attend"]));
    let uneven = |change: Change| {
        let changes = yard.changes().into_iter();
        let of = changes.filter(|(of, it)| *of == system && it.finding.kind == FindingKind::UnevenSplit);
        of.filter(|(_, it)| it.finding.subject == Subject::Splitter(s3.clone()) && it.change == change)
            .count()
    };
    let stands = || uneven(Change::Raised) > uneven(Change::Cleared);
    until(MONTHS, "the splitter is found to be uneven", stands);
    let now = yard.view().totals().expect("totals").last_received.expect("readings came");
    let before = shares_of_fig(&yard, &system, EventTime::MIN, now);
    let before = middle(before[before.len() - 10..].to_vec());
    // It settles slowly, and is found while it is hardly off.
    assert!(before > 0.51, "it divides unevenly: {before}");

    let record = json!({
        "key": RECORD, "system": "hazel-court",
        "record": { "subject": { "splitter": "s3" }, "at": now, "work": ["splitter-levelled"],
                    "level": { "unit": "degrees", "found": 2.5, "left": 0.0 } },
    });
    let (status, told) = yard.call("POST", "/api/v1/services", &sam, &record);
    assert_eq!(status, 201, "{told}");
    assert!(!stands(), "the record ends the finding in the same commit");

    let heeded = || yard.file("demo.json").contains("level-splitter");
    until(PATIENCE, "the yard has heeded the record", heeded);
    let done = yard.view().totals().expect("totals").last_received.expect("readings came");
    until(MONTHS, "enough doses have come since", || {
        shares_of_fig(&yard, &system, done, EventTime::MAX).len() >= 20
    });
    let after = shares_of_fig(&yard, &system, done, EventTime::MAX);
    let after = middle(after[5..].to_vec());
    assert!((after - 0.5).abs() < 0.06, "it divides evenly again: {after}, before {before}");
    assert!(!stands(), "nothing is found there any more");
    let year = &now.to_string()[..4];
    let account =
        yard.call("GET", &format!("/api/v1/systems/hazel-court/years/{year}"), &sam, &Value::Null).1;
    let services = account["services"].to_string();
    assert!(services.contains("splitter-levelled") && services.contains("Sam"), "{services}");
}

/// Whether `so` comes true within six hours of the yards, however slowly they pass on this machine.
fn within_six_hours(yard: &Yard, so: impl Fn() -> bool) -> bool {
    let now = || yard.view().totals().expect("totals").last_received.expect("readings came");
    let (end, mut is_so) = (now() + Span::from_hours(6), false);
    until(MONTHS, "six hours pass in the yards", || {
        is_so = so();
        is_so || now() > end
    });
    is_so
}

fn splits_of(outcome: &Value) -> &[Value] {
    outcome["splits"].as_array().expect("splitters")
}

/// How wide the interval is that holds the share of side a.
fn width(split: &Value) -> f64 {
    let [low, high] = [0, 1].map(|end| split["interval"][end].as_f64().expect("an interval"));
    high - low
}

/// Of the water below s3, the part that went to the fig, in every dose that shows both of its sides.
fn shares_of_fig(yard: &Yard, system: &Id, from: EventTime, to: EventTime) -> Vec<f64> {
    let [fig, mulberry] = ["fig", "mulberry"].map(|id| Id::new(id).expect("an id"));
    let doses = yard.view().doses(system, from, to).expect("doses").into_iter();
    let parts = doses.filter(|dose| dose.quality > 0.0).filter_map(|dose| {
        let (a, b) = (dose.shares.get(&fig)?, dose.shares.get(&mulberry)?);
        (a + b > 0.0).then(|| a / (a + b))
    });
    parts.collect()
}

fn middle(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}
