//! Many at once, and `kill -9` between any two steps.

use std::collections::BTreeMap;
use std::time::Duration;

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
    std::thread::sleep(Duration::from_secs(5));
    let posts = sink.posts();
    assert!(posts.len() <= 4, "{} messages", posts.len());
    let last = event(posts.last().expect("a message"));
    assert_eq!(last["type"], "basinward.alert.summary");
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
            let all_sent = story
                .sent
                .iter()
                .all(|sent| matches!(sent.state, basinward::ledger::DeliveryState::Confirmed { .. }));
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
