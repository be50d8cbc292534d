//! Ten thousand floods at once, through a real daemon, broker and webhook.

use std::collections::BTreeSet;

use basinward::ledger::DeliveryState;
use serde_json::{Value, json};
use support::{Mosquitto, Sink, until};

use crate::house::{event, now_s};
use crate::other_clock::OtherClock;
use crate::rig::{PATIENCE, Yard};

const SYSTEMS: usize = 1_000;
const BASINS: usize = 10;
const CEILING: usize = 4;

/// A line of basins, each fed by a splitter that passes the rest on.
fn write_system(yard: &Yard, no: usize) {
    let mut text = format!(
        "id = \"yard-{no}\"\nname = \"Yard {no}\"\nproperty = \"home-{no}\"\ntimezone = \"UTC\"\nsoil = \"loam\"\n"
    );
    for n in 1..BASINS {
        let rest = if n + 1 < BASINS { format!("s{}", n + 1) } else { format!("b{BASINS}") };
        text.extend([format!("[[splitter]]\nid = \"s{n}\"\nfeeds = [\"b{n}\", \"{rest}\"]\n")]);
    }
    for n in 1..=BASINS {
        text.extend([format!("[[basin]]\nid = \"b{n}\"\narea_m2 = 1.2\noverflow = {{ height_mm = 260 }}\n")]);
    }
    yard.write(&format!("systems/yard-{no}.toml"), &text);
}

/// One reading of every overflow float.
fn all_wet(time_s: u64) -> impl Iterator<Item = (String, String)> {
    let payload = json!({ "value": "wet", "time": time_s }).to_string();
    (0..SYSTEMS * BASINS).map(move |n| {
        let topic = format!("greywater/yard-{}/b{}/overflow", n / BASINS, n % BASINS + 1);
        (topic, payload.clone())
    })
}

fn total(post: &Value) -> usize {
    post["data"]["total"].as_u64().and_then(|total| usize::try_from(total).ok()).expect("a number")
}

#[test]
fn ten_thousand_alerts_at_once_stay_within_the_ceiling_and_none_is_lost_or_told_twice() {
    let (broker, sink) = (Mosquitto::with("max_queued_bytes 0"), Sink::start());
    let clock = OtherClock::found();
    let yard = Yard::new(0).listening_to(broker.port());
    let yard = clock.iter().fold(yard, |yard, clock| clock.drive(yard));
    (0..SYSTEMS).for_each(|no| write_system(&yard, no));
    yard.write(
        "basinward.toml",
        &format!(
            "[channels.hook]\nkind = \"webhook\"\nurl = \"{}\"\n[contacts.desk]\nchannels = [\"hook\"]\n\
             most_an_hour = {CEILING}\n[routes.floods]\ntell = [\"desk\"]\nseverity = \"critical\"\n",
            sink.url()
        ),
    );
    let _daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);

    let mut device = broker.device();
    for time_s in [now_s() - 110, now_s() + 20] {
        let progress = device.publish_all(all_wet(time_s), 500);
        assert_eq!(progress.acknowledged, SYSTEMS * BASINS, "{progress:?}");
    }
    let known = || {
        let facts = yard.view().planning_facts().expect("the alerts");
        let told = facts.iter().filter(|alert| alert.told.contains_key("desk")).count();
        (facts.len(), told)
    };
    until(PATIENCE, "all are alerts", || known().0 == SYSTEMS * BASINS);
    until(PATIENCE, "the hour has no room left, or all are told", || {
        sink.taken() == CEILING || known().1 == SYSTEMS * BASINS
    });
    let (at_once, events) = (known().1, || sink.posts().iter().map(event).collect::<Vec<_>>());
    assert_eq!(events().iter().map(total).sum::<usize>(), at_once, "what is told is what was sent");
    println!("{} alerts: {at_once} told by {} messages", SYSTEMS * BASINS, sink.taken());

    if let Some(clock) = &clock {
        clock.goes_ahead_by("61m");
        until(PATIENCE, "an hour later all are told", || known().1 == SYSTEMS * BASINS);
        until(PATIENCE, "and all of it is sent", || {
            events().iter().map(total).sum::<usize>() == SYSTEMS * BASINS
        });
        let further = events().split_off(CEILING.min(sink.taken()));
        assert!(further.len() <= CEILING, "the ceiling holds in the next hour too");
        assert!(further.iter().all(|event| event["type"] == "basinward.alert.summary"), "{further:#?}");
        println!(
            "an hour later: {} held back, told by {} messages",
            SYSTEMS * BASINS - at_once,
            further.len()
        );
    }
    let keys: BTreeSet<String> =
        sink.posts().iter().filter_map(|post| post.header("idempotency-key").map(str::to_owned)).collect();
    assert_eq!(keys.len(), sink.posts().len(), "no message was sent twice");
    let view = yard.view();
    for alert in view.planning_facts().expect("the alerts") {
        let story = view.alert(alert.no).expect("reads").expect("is there");
        let confirmed =
            matches!(story.sent[..], [ref sent] if matches!(sent.state, DeliveryState::Confirmed { .. }));
        assert!(confirmed || clock.is_none(), "alert {} in one message: {:?}", alert.no, story.sent);
    }
}
