//! Many at once, and `kill -9` between any two steps.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use basinward::alerts::Deed;
use basinward::ledger::DeliveryState;
use support::{Reaction, Sink, until};

use crate::house::{House, event};
use crate::rig::PATIENCE;

fn settings(sink: &Sink, most_an_hour: usize) -> String {
    format!(
        "[channels.hook]\nkind = \"webhook\"\nurl = \"{}\"\n[contacts.desk]\nchannels = [\"hook\"]\n\
         most_an_hour = {most_an_hour}\n[routes.all]\ntell = [\"desk\"]\nseverity = \"critical\"\n",
        sink.url()
    )
}

#[test]
fn a_storm_stays_within_the_ceiling_and_a_summary_tells_of_the_rest() {
    let sink = Sink::start();
    let house = House::new(12, &settings(&sink, 4));
    for system in 0..12 {
        house.overflow(system, "quince", true);
        house.overflow(system, "fig", true);
    }
    until(PATIENCE, "all are alerts", || house.floods().len() == 24);
    // Up to four messages are under way at once, in whatever order they arrive.
    let summary = || sink.posts().iter().map(event).find(|event| event["type"] == "basinward.alert.summary");
    until(PATIENCE, "a summary is told", || summary().is_some());
    std::thread::sleep(Duration::from_secs(5));
    assert!(sink.posts().len() <= 4, "{} messages", sink.posts().len());
    let summary = summary().expect("it was told");

    // Each alert of the summary has a link of its own, in the text and for programs, and a caution beside the urgent.
    let (alerts, text) = (&summary["data"]["alerts"], summary["data"]["text"].as_str().expect("a text"));
    let alerts = alerts.as_array().expect("a list");
    assert!(alerts.len() > 1 && text.contains("Turn the diverter to sewer") && text.contains("Take care:"));
    let links: BTreeMap<u64, &str> = alerts
        .iter()
        .map(|alert| {
            (alert["alert"].as_u64().expect("a number"), alert["acknowledge"].as_str().expect("a link"))
        })
        .collect();
    assert_eq!(links.values().collect::<BTreeSet<_>>().len(), alerts.len(), "no two alike");
    assert!(links.values().all(|link| text.contains(&format!("Acknowledge: {link}\n"))), "{text}");
    let (no, link) = links.first_key_value().expect("more than one");
    assert!(House::ask("POST", link).starts_with("HTTP/1.1 200"));
    let acknowledged = house.floods().into_iter().filter(|alert| alert.stage.name() == "acknowledged");
    assert_eq!(acknowledged.map(|alert| alert.no.0).collect::<Vec<_>>(), [*no], "this one and no other");
}

/// Kills the daemon after each single step of an alert's life: opened, planned, under way, delivered, acknowledged,
/// closed, and its end delivered. Its history and what was taken are those of a life without a kill.
#[test]
fn kill_9_after_each_step_of_one_alert_changes_nothing_but_the_delay() {
    let sink = Sink::start();
    let mut house = House::new(1, &settings(&sink, 60));
    let sent = |house: &House| {
        let alert = house.floods().remove(0).no;
        house.yard.view().alert(alert).expect("reads").expect("is there").sent
    };
    let delivered = |house: &House| house.delivered(house.floods().remove(0).no);
    let again = |house: &mut House| {
        house.kill();
        house.start();
    };
    // The first tries hang, so that a kill meets them under way.
    sink.will([Reaction::Hang(Duration::from_secs(4)), Reaction::Hang(Duration::from_secs(4))]);
    house.overflow(0, "quince", true);
    until(PATIENCE, "it is opened", || house.floods().len() == 1);
    again(&mut house);
    until(PATIENCE, "it is to be told", || sent(&house).len() == 1);
    std::thread::sleep(Duration::from_millis(300));
    again(&mut house);
    until(PATIENCE, "it is told", || delivered(&house) == 1);
    again(&mut house);
    let alert = house.floods().remove(0).no;
    let told = event(sink.posts().last().expect("told"));
    let link = told["data"]["acknowledge"].as_str().expect("a link").to_owned();
    assert!(House::ask("POST", &link).starts_with("HTTP/1.1 200"));
    again(&mut house);
    assert!(House::ask("POST", &link).starts_with("HTTP/1.1 409"), "it stays used");
    house.overflow(0, "quince", false);
    until(PATIENCE, "it is over", || house.floods().iter().all(|alert| alert.stage.is_closed()));
    again(&mut house);
    until(PATIENCE, "its end is told", || delivered(&house) == 2);
    again(&mut house);
    std::thread::sleep(Duration::from_secs(5));
    assert_eq!(sent(&house).len(), 2, "nothing is planned twice");
    assert_eq!(
        house.deeds(alert),
        [(None, Deed::Opened), (Some("desk".to_owned()), Deed::Acknowledged), (None, Deed::Cleared)]
    );
    let taken: BTreeSet<(String, String)> = sink
        .posts()
        .into_iter()
        .map(|post| (post.header("idempotency-key").expect("a key").to_owned(), post.body))
        .collect();
    assert_eq!(taken.len(), 2, "one key, one content: {taken:#?}");
}

/// Kills the daemon at random while floods come and go and the other side fails now and then. In the end every
/// flood was told and its end too, each under a key of its own, and no key was taken twice.
#[test]
fn kill_9_between_any_two_steps_changes_nothing_but_the_delay() {
    let kills: usize = std::env::var("BASINWARD_KILLS").ok().and_then(|text| text.parse().ok()).unwrap_or(12);
    let sink = Sink::start();
    let mut house = House::new(4, &settings(&sink, 3_600));
    for round in 0..kills {
        sink.will([Reaction::Answer(503)]);
        let basin = if round % 2 == 0 { "quince" } else { "fig" };
        house.overflow(round % 4, basin, round % 8 < 4);
        std::thread::sleep(random_pause(150, round));
        house.kill();
        house.start();
    }
    for system in 0..4 {
        house.overflow(system, "quince", false);
        house.overflow(system, "fig", false);
    }
    let told = || {
        let view = house.yard.view();
        house.floods().iter().all(|alert| {
            let story = view.alert(alert.no).expect("reads").expect("is there");
            let all_sent =
                story.sent.iter().all(|sent| matches!(sent.state, DeliveryState::Confirmed { .. }));
            alert.stage.is_closed() && all_sent
        })
    };
    until(PATIENCE * 2, "every alert is over and told", told);
    let mut taken: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for post in sink.posts().iter().filter(|post| post.answered == 204) {
        let key = post.header("idempotency-key").expect("a key").to_owned();
        taken.entry(key).or_default().push(post.body.clone());
    }
    // A kill after the answer and before it was noted repeats the message, under the same key and word for word.
    for (key, bodies) in &taken {
        assert!(bodies.iter().all(|body| *body == bodies[0]), "{key} meant two things: {bodies:#?}");
    }
    let deliveries: usize = house
        .floods()
        .iter()
        .map(|alert| house.yard.view().alert(alert.no).expect("reads").expect("is there").sent.len())
        .sum();
    assert!(taken.len() <= deliveries, "{} keys for {deliveries} messages", taken.len());
    assert!(!house.floods().is_empty());
}

/// Some milliseconds between 0 and `bound`, different every time.
fn random_pause(bound: u64, round: usize) -> Duration {
    use std::hash::{BuildHasher, RandomState};
    Duration::from_millis(RandomState::new().hash_one(round) % bound)
}
