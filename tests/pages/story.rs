//! A yard at a known time: everything that the pages tell of it is written here.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use basinward::engine::{Change, Dose, Effect, FindingChange, Forecast, Input, Soak};
use basinward::flowtest::{Caught, Method, Run, judge};
use basinward::ledger::{
    Batch, Ledger, Order, RetentionPolicy, ServiceDeed, ServiceOrder, SystemNo, TestDeed, TestOrder,
};
use basinward::model::{
    BasinIx, EventTime, Evidence, Finding, FindingKind, Id, LevelReading, LevelUnit, Place, Quantity,
    Reading, RecordKey, ServiceRecord, Severity, Span, Subject, System, Value, Work,
};
use serde_json::{Value as Json, json};

use crate::house::Failure;

/// The present: a Friday, 11:00 in Denver.
pub(crate) fn now() -> EventTime {
    "2026-11-20T18:00:00Z".parse().expect("a time")
}

/// Writes what is known of the first of `systems`, of the second that it is well, and of the third nothing.
pub(crate) fn write(folder: &Path, systems: &[Arc<System>]) -> Result<(), Failure> {
    let mut ledger = Ledger::open(folder)?;
    let numbers = ledger.enrol(systems.iter().map(Arc::as_ref))?;
    let mut batch = Batch::default();
    for system in 0..2 {
        readings(&mut batch, numbers[system], &systems[system]);
        doses(&mut batch, numbers[system], if system == 0 { 0.20 } else { 0.0 });
    }
    findings(&mut batch, numbers[0]);
    for days in 1..40 {
        let began = now() - Span::from_days(days);
        let lasted = Span::from_mins(200 - 3 * days);
        batch.conclude(numbers[0], Effect::Soak(Soak { basin: BasinIx(2), began, lasted }));
    }
    let refused = b"{\"value\": 7}";
    let at = now() - Span::from_mins(50);
    batch.refuse("out-of-range", "greywater/terrace/quince/moisture", refused, &"7 is above 1 m3/m3", at);
    batch.hear_unassigned("greywater/node-7/soil", b"31.4", now() - Span::from_mins(2));
    work(&mut batch, &systems[1]);
    ledger.commit(&batch)?;
    while ledger.retain(now(), &RetentionPolicy::default())?.more {}
    Ok(())
}

/// Mulch was renewed and a splitter levelled, the split then proved with buckets, and a test by the probes is under way.
fn work(batch: &mut Batch, system: &System) {
    let key = |last: u8| RecordKey::new(&format!("0f5b2c1e-77aa-4c55-9c5e-5ec2e7f160{last}")).expect("a key");
    let subject = Subject::Splitter(Id::new("s2").expect("an id"));
    let at = now() - Span::from_hours(26);
    let record = ServiceRecord {
        work: vec![Work::SplitterLevelled],
        level: Some(LevelReading { unit: LevelUnit::Degrees, found: Some(0.6), left: Some(0.1) }),
        note: "A root had lifted the box.".to_owned(),
        ..ServiceRecord::look(subject, at)
    };
    let (by, of) = ("Sam".to_owned(), system.id.clone());
    let deed = ServiceDeed::Record(Box::new(record));
    let mut service = |no, deed| {
        let service = ServiceOrder { at, by: by.clone(), system: of.clone(), key: key(no), deed };
        batch.order(Order::Service(service));
    };
    service(13, deed);
    let renewed = ServiceRecord {
        work: vec![Work::MulchRenewed],
        mulch_found_mm: Some(110.0),
        mulch_left_mm: Some(180.0),
        ..ServiceRecord::look(Subject::Basin(system.basins[1].id.clone()), at)
    };
    service(15, ServiceDeed::Record(Box::new(renewed)));
    let mut test = |no, hours_ago, deed| {
        let at = now() - Span::from_hours(hours_ago);
        let order = TestOrder { at, by: by.clone(), system: of.clone(), key: key(no), deed };
        batch.order(Order::Test(order));
    };
    let begin = |method, note: &str| TestDeed::Begin { method, litres: Some(80.0), note: note.to_owned() };
    test(12, 25, begin(Method::Buckets, "after levelling"));
    let basins = system.basins.iter().map(|basin| basin.id.clone());
    let caught = basins.zip([20.5, 19.5, 21.0, 19.0].map(|litres| Caught { litres, mark_litres: 0.5 }));
    let caught: BTreeMap<_, _> = caught.collect();
    let run = Run::by_buckets(system, now() - Span::from_hours(24), &caught).expect("water was caught");
    test(12, 24, TestDeed::Catch { run: key(14), caught });
    test(12, 23, TestDeed::Finish { outcome: judge(system, &[run]) });
    test(11, 1, begin(Method::Probes, ""));
}

/// Two days of readings, one in half an hour; one is missing, one comes twice.
fn readings(batch: &mut Batch, no: SystemNo, system: &System) {
    let sensor = |basin: u16, quantity| {
        system.find_sensor(Place::Basin(BasinIx(basin)), quantity).expect("it is there")
    };
    for half_hour in (0..96).rev().filter(|half_hour| *half_hour != 40) {
        let at = now() - Span::from_mins(30 * half_hour + 1);
        let content = 0.24 + 0.05 * ((half_hour % 24) as f64 / 24.0);
        let payload = format!("{{\"value\": {content:.3}}}");
        let reading = Reading { sensor: sensor(0, Quantity::Moisture), at, value: Value::Number(content) };
        for _ in 0..if half_hour == 3 { 2 } else { 1 } {
            batch.take_in(no, at + Span::SECOND, Input::Reading(reading));
            batch.carried_by(payload.as_bytes());
        }
        let wet = Reading { sensor: sensor(0, Quantity::Float), at, value: Value::Wet(half_hour < 20) };
        batch.take_in(no, at + Span::SECOND, Input::Reading(wet));
        let plum = Reading { sensor: sensor(2, Quantity::Moisture), at, value: Value::Number(0.21) };
        batch.take_in(no, at + Span::SECOND, Input::Reading(plum));
    }
}

/// Sixty days of showers, morning and evening; `lean` more of each goes to the quince than to the fig, lately.
fn doses(batch: &mut Batch, no: SystemNo, lean: f64) {
    for half_day in (1..120).rev() {
        let at = now() - Span::from_hours(12 * half_day);
        let lean = if half_day < 30 { lean } else { 0.0 } + 0.004 * ((half_day % 5) as f64 - 2.0);
        let shares = [0.25 + lean, 0.25 - lean, 0.25, 0.25];
        let shares = (0..4).map(BasinIx).zip(shares).collect();
        let litres = (half_day % 17 != 0).then_some(80.0);
        batch.conclude(no, Effect::Dose(Dose { at, litres, shares, quality: 0.9 }));
    }
}

fn findings(batch: &mut Batch, no: SystemNo) {
    let basin = |id: &str| Subject::Basin(Id::new(id).expect("an id"));
    let flood = json!({ "standing_since": "2026-11-20T08:00:00Z" });
    raise(
        batch,
        no,
        9,
        FindingKind::Flooding,
        basin("quince"),
        Severity::Critical,
        &flood,
        "The float has been up for 10 h.",
    );
    let split = json!({ "share_a": 0.9, "share_b": 0.1, "design_a": 0.5, "doses": 22, "since": "2026-11-05T18:00:00Z",
        "explanations": [{ "finding": "uneven-split", "subject": { "splitter": "s2" }, "probability": 0.80 },
                         { "finding": "blocked-outlet", "subject": { "basin": "fig" }, "probability": 0.07 }],
        "no_fault": 0.13 });
    let splitter = Subject::Splitter(Id::new("s2").expect("an id"));
    raise(
        batch,
        no,
        30,
        FindingKind::UnevenSplit,
        splitter,
        Severity::Warning,
        &split,
        "Since 5 November quince received 45 % of each dose instead of 25 %.",
    );
    let soak = json!({ "baseline_h": 1.3, "soak_time_h": 3.1, "due": "2027-01-20T12:00:00Z", "infiltration_mm_h": 5.75 });
    raise(
        batch,
        no,
        50,
        FindingKind::SlowSoak,
        basin("plum"),
        Severity::Info,
        &soak,
        "Loam alone would take the same 18 mm in 83 minutes.",
    );
    let silent = json!({ "silent_since": "2026-11-18T10:00:00Z" });
    let float = Subject::Sensor("fig/float".into());
    raise(
        batch,
        no,
        20,
        FindingKind::SensorSilent,
        float,
        Severity::Warning,
        &silent,
        "Nothing was heard from fig/float since 18 November 03:00.",
    );
    let day = |days| now() + Span::from_days(days);
    let forecast = Forecast {
        basin: BasinIx(2),
        made: now(),
        due: day(61),
        earliest: day(30),
        latest: day(120),
        basis: "soak times".into(),
        litres: 1139.0,
        mulch_left: 0.6,
    };
    batch.conclude(no, Effect::Forecast(forecast));
}

#[expect(clippy::too_many_arguments, reason = "each is one part of one finding, told on one line")]
fn raise(
    batch: &mut Batch,
    no: SystemNo,
    hours_ago: i64,
    kind: FindingKind,
    subject: Subject,
    severity: Severity,
    estimate: &Json,
    says: &str,
) {
    let at = now() - Span::from_hours(hours_ago);
    let estimate = estimate.as_object().expect("an object").clone();
    let evidence = vec![Evidence { at: Some(at), says: says.to_owned() }];
    // As probable as the first of what explains it.
    let explained = estimate.get("explanations").and_then(|all| all[0]["probability"].as_f64());
    let probability = explained.unwrap_or(0.94);
    let finding = Finding { kind, subject, severity, probability, estimate, evidence };
    batch.conclude(no, Effect::Finding(FindingChange { change: Change::Raised, at, finding }));
}
