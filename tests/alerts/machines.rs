//! Webhooks, local programs and retained states.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use basinward::alerts::{AlertNo, Deed};
use serde_json::Value;
use support::{Listener, Reaction, Sink, until};

use crate::house::{House, assert_documented, event};
use crate::rig::PATIENCE;

fn hook(sink: &Sink) -> String {
    format!(
        "[channels.hook]\nkind = \"webhook\"\nurl = \"{}\"\nsecret = \"whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw\"\n\
         [contacts.desk]\nchannels = [\"hook\"]\n[routes.all]\ntell = [\"desk\"]\nseverity = \"critical\"\n",
        sink.url()
    )
}

#[test]
fn a_flood_reaches_a_webhook_is_acknowledged_by_its_link_once_and_closes_itself() {
    let sink = Sink::start();
    let house = House::new(1, &hook(&sink));
    house.overflow(0, "quince", true);
    until(PATIENCE, "the flood is posted", || sink.taken() == 1);
    let post = &sink.posts()[0];
    let told = event(post);
    assert_documented(&told);
    // CloudEvents 1.0, section "Required attributes", and its HTTP binding, section 3.2 (structured mode).
    assert_eq!(told["specversion"], "1.0");
    for attribute in ["id", "source", "type"] {
        assert!(told[attribute].as_str().is_some_and(|text| !text.is_empty()), "{attribute}: {told}");
    }
    assert!(post.header("content-type").is_some_and(|kind| kind.starts_with("application/cloudevents+json")));
    assert_eq!(told["type"], "basinward.alert.opened");
    assert_eq!(told["subject"], "yard-0/basin:quince");
    assert_eq!(post.header("idempotency-key"), told["id"].as_str());
    assert!(post.header("webhook-signature").is_some_and(|signature| signature.starts_with("v1,")));
    let alert = AlertNo(told["data"]["alerts"][0]["alert"].as_u64().expect("a number"));

    let link = told["data"]["acknowledge"].as_str().expect("a link");
    assert!(House::ask("GET", link).starts_with("HTTP/1.1 200"));
    assert!(House::ask("HEAD", link).starts_with("HTTP/1.1 200"));
    assert_eq!(house.deeds(alert), [(None, Deed::Opened)], "looking at a link does nothing");
    assert!(House::ask("GET", &format!("{link}x")).starts_with("HTTP/1.1 404"));
    assert!(House::ask("POST", link).starts_with("HTTP/1.1 200"));
    assert!(House::ask("POST", link).starts_with("HTTP/1.1 409"), "used once");
    assert_eq!(house.deeds(alert)[1], (Some("desk".to_owned()), Deed::Acknowledged));

    house.overflow(0, "quince", false);
    until(PATIENCE, "the end is posted", || sink.taken() == 2);
    let over = event(&sink.posts()[1]);
    assert_eq!(
        (&over["type"], &over["data"]["alerts"][0]["stage"]),
        (&"basinward.alert.over".into(), &"closed".into())
    );
    assert_eq!(house.deeds(alert)[2], (None, Deed::Cleared));
    let story = house.yard.view().alert(alert).expect("reads").expect("is there");
    assert_eq!(story.sent.len(), 2);
}

#[test]
fn a_webhook_that_fails_in_every_way_gets_the_message_in_the_end_under_the_same_key() {
    let sink = Sink::start();
    sink.will([
        Reaction::Answer(500),
        Reaction::Later(1),
        Reaction::Close,
        Reaction::Nonsense,
        Reaction::Answer(302),
    ]);
    let house = House::new(1, &hook(&sink));
    house.overflow(0, "fig", true);
    until(PATIENCE * 2, "the flood is taken", || sink.taken() == 1);
    let posts = sink.posts();
    assert_eq!(posts.len(), 6);
    assert!(posts.iter().all(|post| post.header("idempotency-key") == posts[0].header("idempotency-key")));
    assert!(posts.iter().all(|post| post.body == posts[0].body), "one key, one content");
    std::thread::sleep(Duration::from_secs(2));
    assert_eq!(sink.posts().len(), 6, "what was confirmed is not repeated");
}

#[test]
fn a_local_program_is_given_the_event_and_stopped_when_it_takes_too_long() {
    let folder = tempfile::tempdir().expect("a folder");
    let (taker, sleeper) = (folder.path().join("take"), folder.path().join("sleep"));
    let script = |path: &std::path::Path, text: &str| {
        use std::os::unix::fs::PermissionsExt;
        std::fs::write(path, text).expect("writes");
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o755)).expect("may be run");
    };
    let taken = folder.path().join("taken");
    script(&taker, &format!("#!/bin/sh\ncat >> {}\n", taken.display()));
    script(&sleeper, "#!/bin/sh\nexec sleep 60\n");
    let settings = format!(
        "[channels.bell]\nkind = \"command\"\nprogram = \"{}\"\n[channels.slow]\nkind = \"command\"\nprogram = \"{}\"\n\
         time_limit = \"1s\"\n[contacts.desk]\nchannels = [\"bell\", \"slow\"]\n[routes.all]\ntell = [\"desk\"]\nseverity = \"critical\"\n",
        taker.display(),
        sleeper.display()
    );
    let house = House::new(1, &settings);
    house.overflow(0, "quince", true);
    until(PATIENCE, "the program has it", || {
        std::fs::read_to_string(&taken).is_ok_and(|text| text.ends_with('\n'))
    });
    let told: Value = serde_json::from_str(&std::fs::read_to_string(&taken).expect("reads")).expect("JSON");
    assert_eq!(told["type"], "basinward.alert.opened");
    let trouble = || house.yard.view().deliveries_in_trouble(9).expect("reads");
    until(PATIENCE, "the slow one is in trouble", || !trouble().is_empty());
    let said = format!("{:?}", trouble()[0].state);
    assert!(said.contains("took longer than its `time_limit`"), "{said}");
}

#[test]
fn states_are_retained_for_controllers() {
    let house = House::new(1, "[channels.building]\nkind = \"mqtt\"\n");
    let mut controller = Listener::subscribe(house.broker.port(), "basinward/state/#");
    let mut states = BTreeMap::new();
    let mut until_quince = |floods: bool| loop {
        let heard = controller.hear();
        let state: Value = serde_json::from_str(&heard.payload).expect("JSON");
        let alerts = state["alerts"].as_array().expect("a list");
        let is_flooding = alerts.iter().any(|alert| alert["finding"] == "flooding");
        states.insert(heard.topic.clone(), state);
        if heard.topic == "basinward/state/yard-0/quince" && is_flooding == floods {
            break states.clone();
        }
    };
    until_quince(false);
    house.overflow(0, "quince", true);
    let states = until_quince(true);
    states.values().for_each(assert_documented);
    assert_eq!(states["basinward/state/yard-0/quince"]["state"], "alert");
    assert_eq!(states["basinward/state/yard-0"]["severity"], "critical");
    let mut later = Listener::subscribe(house.broker.port(), "basinward/state/yard-0/quince");
    assert!(later.hear().retained);
    house.overflow(0, "quince", false);
    until_quince(false);
}

#[test]
fn contacts_channels_and_routes_are_changed_while_the_daemon_runs() {
    let (first, second) = (Sink::start(), Sink::start());
    let house = House::new(1, &hook(&first));
    let hang_up = || house.daemon.as_ref().expect("it runs").process.signal("HUP");
    house.overflow(0, "quince", true);
    until(PATIENCE, "the first flood is posted", || first.taken() == 1);
    // A message whose answer has not been written down when the address changes goes to the new one again.
    let no = house.floods().remove(0).no;
    until(PATIENCE, "the answer is written down", || house.delivered(no) == 1);

    house.yard.write("basinward.toml", "[routes.all]\ntell = [\"nobody\"]\n");
    hang_up();
    until(PATIENCE, "the faulty settings are refused", || {
        house.yard.times_logged("the settings are not taken over") == 1
    });
    house.yard.write("basinward.toml", &hook(&second));
    hang_up();
    until(PATIENCE, "the right ones are heeded", || {
        house.yard.times_logged("contacts, channels and routes have changed") == 1
    });
    house.overflow(0, "fig", true);
    until(PATIENCE, "the second flood is posted elsewhere", || second.taken() == 1);
    assert_eq!(event(&second.posts()[0])["subject"], "yard-0/basin:fig");
    assert_eq!(first.taken(), 1, "what was told is not told again, nor the old address any more");
}

#[test]
fn what_no_system_file_has_any_more_is_taken_away_from_controllers() {
    let mut house = House::new(2, "[channels.building]\nkind = \"mqtt\"\n");
    let mut controller = Listener::subscribe(house.broker.port(), "basinward/state/#");
    let mut held = BTreeSet::new();
    let mut until_held = |wanted: &[&str]| {
        until(PATIENCE, &format!("a controller holds {wanted:?}"), || {
            let heard = controller.hear();
            let topic = heard.topic.replace("basinward/state/", "");
            if heard.payload.is_empty() {
                held.remove(&topic)
            } else {
                held.insert(topic)
            };
            held.iter().eq(wanted)
        });
    };
    let first = ["yard-0", "yard-0/fig", "yard-0/quince"];
    until_held(&[&first[..], &["yard-1", "yard-1/fig", "yard-1/quince"]].concat());
    // Removed while the daemon runs.
    std::fs::remove_file(house.yard.path().join("systems/yard-1.toml")).expect("removed");
    house.daemon.as_ref().expect("it runs").process.signal("HUP");
    until_held(&first);
    // Renamed while it does not.
    house.kill();
    house.yard.write_system("yard-0", &["quince", "plum"]);
    house.start();
    until_held(&["yard-0", "yard-0/plum", "yard-0/quince"]);
    // And back again.
    house.yard.write_system("yard-0", &["quince", "fig"]);
    house.daemon.as_ref().expect("it runs").process.signal("HUP");
    until_held(&first);
    // The broker keeps nothing of what is gone for whoever comes later.
    let mut later = Listener::subscribe(house.broker.port(), "basinward/state/#");
    let kept: BTreeSet<String> = std::iter::from_fn(|| later.hear_within(Duration::from_secs(2)))
        .filter(|heard| heard.retained)
        .map(|heard| heard.topic)
        .collect();
    assert!(kept.iter().eq(&first.map(|topic| format!("basinward/state/{topic}"))), "{kept:?}");
}
