//! After an upgrade that remembers differently: pages and intake go on while systems learn anew from what is stored.

use std::fs;
use std::thread;

use basinward::engine::{Change, Input};
use basinward::ledger::{Batch, Ledger};
use basinward::model::{EventTime, FindingKind, Reading, Span, System, Value};
use basinward::systemfile;
use support::{Mosquitto, until};

use crate::rig::{PATIENCE, Yard};

/// Systems for each processor, so that learning takes a while: every two days of thirteen months are looked at.
const SYSTEMS: usize = 300;
/// A snapshot that no program can use.
const UNUSABLE: [u8; 8] = [0xff; 8];
const BEGIN: &str = "learning anew from the stored readings of systems whose memory cannot be used";

/// The time now.
fn now() -> EventTime {
    let file = tempfile::NamedTempFile::new().expect("a temporary file");
    let modified = file.as_file().metadata().and_then(|m| m.modified()).expect("the time now");
    let now = modified.duration_since(std::time::UNIX_EPOCH).expect("after 1970").as_secs();
    EventTime::from_secs(i64::try_from(now).expect("a time"))
}

/// A ledger with readings of every probe long ago and of late, by a program whose snapshots are no longer read.
fn remember(yard: &Yard, now: EventTime) -> u64 {
    let plans = systemfile::load_dir(&yard.path().join("systems"), "greywater").expect("system files");
    let data = yard.path().join("data");
    fs::create_dir_all(&data).expect("a folder");
    let mut ledger = Ledger::open(&data).expect("a ledger");
    let numbers = ledger.enrol(plans.iter().map(|plan| &**plan)).expect("numbers");
    let recovery = ledger.recover().expect("nothing yet");
    ledger.replay(&recovery, |_| ()).expect("nothing yet");
    let mut batch = Batch::default();
    for at in [now - Span::from_days(399), now - Span::HOUR] {
        batch.count_message(at);
        for (plan, number) in plans.iter().zip(&numbers) {
            let sensor = probe(plan);
            batch.take_in(*number, at, Input::Reading(Reading { sensor, at, value: Value::Number(0.3) }));
        }
    }
    for number in numbers {
        batch.save(number, UNUSABLE.to_vec());
    }
    ledger.commit(&batch).expect("it is stored");
    2 * plans.len() as u64
}

fn probe(plan: &System) -> basinward::model::SensorIx {
    plan.sensor_ixs().find(|ix| plan.sensor_name(*ix) == "quince/moisture").expect("a probe")
}

/// How many systems learnt anew, at each start.
fn learners(yard: &Yard) -> Vec<usize> {
    let log = yard.log();
    let counts = log.lines().filter(|line| line.contains(BEGIN)).map(|line| {
        let count = line.split("systems=").nth(1).and_then(|rest| rest.split_whitespace().next());
        count.and_then(|count| count.parse().ok()).unwrap_or_else(|| panic!("{line}"))
    });
    counts.collect()
}

fn is_over(yard: &Yard, systems: usize) -> bool {
    yard.times_logged(&format!("learnt anew from the stored readings done={systems} of={systems}")) > 0
}

#[test]
fn pages_and_intake_go_on_while_systems_learn_anew_and_a_kill_in_the_middle_loses_nothing() {
    let broker = Mosquitto::start();
    let systems = SYSTEMS * thread::available_parallelism().map_or(1, usize::from).min(8);
    let yard = Yard::new(systems).listening_to(broker.port());
    let begun = now();
    let remembered = remember(&yard, begun);
    let mut daemon = yard.start();

    yard.let_in("Maria", "owner", &[]);
    let session = yard.sign_in("Maria");
    let figure = |name: &str| -> usize {
        let page = yard.ask(&format!("GET /metrics HTTP/1.1\r\nCookie: {session}\r\n"), "");
        let line = page.lines().find_map(|line| line.strip_prefix(&format!("{name} ")));
        line.and_then(|value| value.parse().ok()).unwrap_or_else(|| panic!("no {name}: {page}"))
    };
    let first_page = || yard.ask(&format!("GET / HTTP/1.1\r\nCookie: {}\r\n", yard.sign_in("Maria")), "");
    let page = first_page();
    assert!(page.contains("Learning anew from 399 days of readings after an upgrade: "), "{page}");
    assert!(page.contains(&format!(" of {systems} systems done.")));
    let ready = yard.ask("GET /readyz HTTP/1.1\r\n", "");
    assert!(ready.starts_with("HTTP/1.1 200") && ready.contains("some systems are learning anew"), "{ready}");
    let left = figure("basinward_systems_learning");
    assert!((1..=systems).contains(&left), "{left}");

    // A flood in every tenth yard, among them some that have learnt and some that have not.
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);
    let flooded: Vec<_> = (0..systems).step_by(10).collect();
    let wet = |minutes: i64| {
        let at = (begun - Span::from_mins(minutes)).millis();
        format!("{{\"value\":true,\"time\":{at}}}")
    };
    let messages = flooded.iter().flat_map(|n| [30, 20].map(|minutes| (*n, wet(minutes))));
    let messages: Vec<_> =
        messages.map(|(n, payload)| (format!("greywater/yard-{n}/fig/overflow"), payload)).collect();
    let sent = messages.len();
    assert_eq!(broker.device().publish_all(messages, 100).acknowledged, sent);
    let all = remembered + sent as u64;
    until(PATIENCE, "what comes is stored", || yard.view().totals().expect("totals").readings == all);
    until(PATIENCE, "what waits is counted", || {
        (1..=sent).contains(&figure("basinward_inputs_waiting")) || is_over(&yard, systems)
    });
    assert!(!is_over(&yard, systems), "it still learns, or this tests nothing: take more systems");

    daemon.process.kill();
    let _daemon = yard.start();
    let [first, then] = learners(&yard)[..] else { panic!("{:?}", learners(&yard)) };
    assert_eq!(first, systems);
    assert!((1..=systems).contains(&then), "{then}");
    until(PATIENCE, "all have learnt", || is_over(&yard, then));
    println!("{systems} systems, {then} of them learnt after the kill; {sent} readings in between");

    assert_eq!(yard.view().totals().expect("totals").readings, all, "each once");
    for n in &flooded {
        let stored = yard.readings(&format!("yard-{n}"), "fig/overflow");
        assert_eq!(stored.len(), 2, "yard-{n}");
    }
    let told = || {
        let raised = yard.changes().into_iter().filter(|(_, change)| {
            change.finding.kind == FindingKind::Flooding && change.change == Change::Raised
        });
        let mut raised: Vec<_> = raised.map(|(system, _)| system.to_string()).collect();
        raised.sort();
        raised
    };
    let mut expected: Vec<_> = flooded.iter().map(|n| format!("yard-{n}")).collect();
    expected.sort();
    until(PATIENCE, "all floods are told", || told().len() >= expected.len());
    assert_eq!(told(), expected, "each flood once");
    assert!(!first_page().contains("Learning anew"));
    assert!(yard.ask("GET /readyz HTTP/1.1\r\n", "").ends_with("\r\n\r\nready\n"));
    assert_eq!(["basinward_systems_learning", "basinward_inputs_waiting"].map(figure), [0, 0]);
}
