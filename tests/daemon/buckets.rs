//! Water caught below the outlets, told over HTTP to a daemon whose probes speak MQTT: the verdict is what the buckets
//! say, and from then on every dose is told by what they said of the probes.

use std::time::Duration;

use basinward::ledger::DoseRecord;
use basinward::model::{EventTime, Id};
use serde_json::{Value, json};
use support::until;

use crate::interface::{bearer, key_of};
use crate::rig::Yard;

const TEST: &str = "3f1c9a6e-4c7b-4d11-9c5e-0a1b2c3d4e81";
const RUN: &str = "3f1c9a6e-4c7b-4d11-9c5e-0a1b2c3d4e82";
/// Long enough for a fortnight at the speed below on a machine that has much else to do.
const FORTNIGHT: Duration = Duration::from_mins(10);
/// What the buckets held, litres: splitters s1 and s3 divide evenly, s2 does not.
const CAUGHT: [(&str, f64); 4] = [("quince", 36.0), ("medlar", 24.0), ("fig", 30.5), ("mulberry", 29.5)];
/// Doses of which the middle is taken, and how far it may lie from what truly came: weather moves probes against each
/// other, by 0.015 on average. It tells what was caught from what is designed.
const DOSES: usize = 15;
const NEAR: f64 = 0.045;

#[test]
fn what_buckets_held_decides_the_verdict_and_what_probes_stand_for() {
    let yard = Yard::new(0);
    // Before anything goes wrong: until somebody catches the water, what the probes show counts as the design.
    let _demonstration = yard.show(&["--year", "--backfill-days", "35", "--speed", "14400"]);
    yard.let_in("Sam", "owner", &[]);
    let sam = bearer(&key_of(&yard, "Sam", &["see", "attend"]));
    let before = whole_doses(&yard, EventTime::MIN);
    for (basin, share) in middle(&before[before.len() - DOSES..]) {
        assert!((share - 0.25).abs() < NEAR, "{basin} received {share} while all is as designed");
    }

    let post = |path: &str, body: Value| yard.call("POST", path, &sam, &body).0;
    let step = |body: Value| post(&format!("/api/v1/tests/{TEST}/steps"), body);
    let begin = json!({ "key": TEST, "method": "buckets", "litres": 120, "note": "as a proof" });
    assert_eq!(post("/api/v1/systems/hazel-court/tests", begin), 204);
    let caught: serde_json::Map<_, _> =
        CAUGHT.iter().map(|(basin, litres)| ((*basin).to_owned(), json!(litres))).collect();
    let catch = json!({ "act": "catch", "run": RUN, "mark_litres": 0.5, "caught": caught });
    assert_eq!(step(catch.clone()), 204);
    let since = yard.view().totals().expect("totals").last_received.expect("readings came");
    assert_eq!(step(catch), 204, "a phone sends once more what it does not know to have arrived");
    assert_eq!(step(json!({ "act": "finish" })), 204);

    let told = yard.call("GET", &format!("/api/v1/tests/{TEST}"), &sam, &Value::Null).1;
    let splits = told["outcome"]["splits"].as_array().expect("splitters");
    let verdicts: Vec<_> = splits.iter().map(|split| (&split["splitter"], &split["verdict"])).collect();
    let said = |splitter: &str| verdicts.iter().find(|(id, _)| *id == splitter).expect("it is told").1;
    assert_eq!([said("s1"), said("s2"), said("s3")], ["even", "uneven", "even"], "{told}");
    assert_eq!(told["outcome"]["runs"], 1, "{told}");

    until(FORTNIGHT, "enough doses have come since", || whole_doses(&yard, since).len() >= DOSES);
    let all: f64 = CAUGHT.iter().map(|(_, litres)| litres).sum();
    let after = middle(&whole_doses(&yard, since));
    for (basin, litres) in CAUGHT {
        let share = after.iter().find(|(id, _)| *id == basin).expect("its probe tells").1;
        assert!((share - litres / all).abs() < NEAR, "{basin}: {litres} L of {all} caught, {share} told");
    }
}

/// Doses since then of which every basin's share is known and that no rain touched.
fn whole_doses(yard: &Yard, since: EventTime) -> Vec<DoseRecord> {
    let system = Id::new("hazel-court").expect("an id");
    let mut doses = yard.view().doses(&system, since, EventTime::MAX).expect("doses");
    doses.retain(|dose| dose.quality > 0.0 && dose.shares.len() == CAUGHT.len() && dose.at > since);
    doses
}

/// By basin: the middle of the shares.
fn middle(doses: &[DoseRecord]) -> Vec<(&'static str, f64)> {
    let of = |basin: &'static str| {
        let id = Id::new(basin).expect("an id");
        let mut shares: Vec<f64> = doses.iter().map(|dose| dose.shares[&id]).collect();
        shares.sort_by(f64::total_cmp);
        (basin, shares[shares.len() / 2])
    };
    CAUGHT.iter().map(|(basin, _)| of(basin)).collect()
}
