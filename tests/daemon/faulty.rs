//! One system file that cannot be read keeps nobody else from being watched, and loses nothing.

use basinward::alerts::{AlertNo, Stage};
use basinward::clock::Clock;
use basinward::model::Span;
use serde_json::{Value, json};
use support::{Mosquitto, until};

use crate::interface::{bearer, key_of};
use crate::rig::{Daemon, PATIENCE, Yard};

const FILE: &str = "systems/yard-0.toml";

/// `count` systems of one property, watched by a daemon that listens.
fn watched(broker: &Mosquitto, count: usize) -> (Yard, Daemon) {
    let yard = Yard::new(count).listening_to(broker.port());
    let daemon = start(&yard);
    yard.let_in("Maria", "owner", &[]);
    (yard, daemon)
}

fn start(yard: &Yard) -> Daemon {
    let before = yard.times_logged("listening to the broker");
    let daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > before);
    daemon
}

fn let_it_flood(broker: &Mosquitto, system: &str) {
    let now = Clock::wall().now();
    for minutes_ago in (1..10).rev() {
        let at = (now - Span::from_mins(minutes_ago)).millis();
        let topic = format!("greywater/{system}/fig/overflow");
        broker.publish(&topic, json!({ "value": true, "time": at }).to_string());
    }
}

fn stage(yard: &Yard, alert: u64) -> Option<Stage> {
    yard.view().alert(AlertNo(alert)).expect("the ledger").map(|story| story.alert.stage)
}

fn stands(yard: &Yard, alert: u64) -> bool {
    stage(yard, alert).is_some_and(|stage| !stage.is_closed())
}

#[test]
fn the_others_are_watched_and_its_alerts_and_memory_are_kept_until_it_is_mended() {
    let broker = Mosquitto::start();
    let (yard, daemon) = watched(&broker, 2);
    let good = yard.file(FILE);
    let_it_flood(&broker, "yard-0");
    until(PATIENCE, "the flood is an alert", || stands(&yard, 1));
    let flooded_at = yard.readings("yard-0", "fig/overflow").len();
    // Killed, so that what came last is in the journal alone.
    drop(daemon);
    yard.write(FILE, &good.replace("sandy-loam", "sandy-lome"));

    let daemon = start(&yard);
    for said in ["yard-0.toml:5", "sandy-lome", "is not watched until its file is mended"] {
        assert!(yard.log().contains(said), "{said}: {}", yard.log());
    }
    assert!(stands(&yard, 1), "{:?}", stage(&yard, 1));
    let maria = bearer(&key_of(&yard, "Maria", &["see", "plan"]));
    let ask = |path: &str| yard.call("GET", path, &maria, &Value::Null);
    assert_eq!((ask("/api/v1/systems/yard-0").0, ask("/api/v1/systems/yard-1").0), (404, 200));
    let told = ask("/api/v1/faulty-files").1;
    let file = &told["items"][0];
    assert_eq!(
        (&file["id"], &file["property"], &file["watched"]),
        (&json!("yard-0"), &json!("home"), &json!(false))
    );
    let fault = &file["faults"][0];
    assert!(fault["line"] == 5 && fault["how"].to_string().contains("sandy-loam"), "{told}");
    assert!(ask("/readyz").1.to_string().contains("some system files cannot be read"));
    let metrics = ask("/metrics").1;
    let metrics = metrics.as_str().expect("text");
    assert!(metrics.contains("basinward_system_files_faulty 1\n"), "{metrics}");
    assert!(metrics.contains("basinward_systems_unwatched 1\n"), "{metrics}");

    let_it_flood(&broker, "yard-1");
    until(PATIENCE, "floods of the others are told", || stands(&yard, 2));
    broker.publish("greywater/yard-0/fig/moisture", "0.3");
    until(PATIENCE, "what it sends is of no system", || {
        let heard = yard.view().unassigned().expect("the ledger");
        heard.iter().any(|stray| stray.topic == "greywater/yard-0/fig/moisture")
    });

    yard.write(FILE, &good);
    daemon.process.signal("HUP");
    until(PATIENCE, "it is watched again", || ask("/api/v1/systems/yard-0").0 == 200);
    assert_eq!(yard.times_logged("is watched again, with what it had learnt"), 1);
    assert_eq!(ask("/api/v1/faulty-files").1["items"], json!([]));
    assert!(stands(&yard, 1), "{:?}", stage(&yard, 1));
    assert_eq!(yard.readings("yard-0", "fig/overflow").len(), flooded_at);
    let minute = Clock::wall().now().millis();
    broker.publish("greywater/yard-0/fig/overflow", json!({ "value": false, "time": minute }).to_string());
    until(PATIENCE, "its readings come in", || yard.readings("yard-0", "fig/overflow").len() > flooded_at);
    let raised = yard.changes();
    let raised = raised
        .iter()
        .filter(|(id, it)| id.as_str() == "yard-0" && it.change == basinward::engine::Change::Raised);
    assert_eq!(raised.count(), 1, "the flood is one and the same");
}

#[test]
fn a_fault_while_it_runs_leaves_the_plan_from_before_in_force_until_the_next_start() {
    let broker = Mosquitto::start();
    let (yard, daemon) = watched(&broker, 1);
    let good = yard.file(FILE);
    yard.write(FILE, &format!("{good}]"));
    yard.write_system("orchard", &["pear", "plum"]);
    daemon.process.signal("HUP");
    until(PATIENCE, "what is good is taken over", || {
        yard.times_logged("the system files in force have changed") == 1
    });
    assert_eq!(yard.times_logged("goes on by the plan from before"), 1, "{}", yard.log());
    let maria = bearer(&key_of(&yard, "Maria", &["see", "plan"]));
    let files = || yard.call("GET", "/api/v1/faulty-files", &maria, &Value::Null).1["items"].clone();
    assert_eq!(files()[0]["watched"], json!(true));
    let_it_flood(&broker, "yard-0");
    until(PATIENCE, "its flood is told all the same", || stands(&yard, 1));
    let cookie = yard.sign_in("Maria");
    let first = yard.ask(&format!("GET / HTTP/1.1\r\nCookie: {cookie}\r\n"), "");
    assert!(first.contains("yard-0 is watched by the plan from before"), "{first}");

    drop(daemon);
    let daemon = start(&yard);
    assert!(files()[0]["watched"] == json!(false) && files()[0]["property"] == json!("home"), "{}", files());
    assert!(stands(&yard, 1));
    // Nothing is left of it that could come back.
    std::fs::remove_file(yard.path().join(FILE)).expect("it was there");
    daemon.process.signal("HUP");
    until(PATIENCE, "its alert ends with its file", || !stands(&yard, 1));
    assert_eq!(files(), json!([]));
}

#[test]
fn it_is_mended_through_the_pages_and_told_only_to_those_whose_it_is() {
    let broker = Mosquitto::start();
    let (yard, daemon) = watched(&broker, 1);
    let good = yard.file(FILE);
    drop(daemon);
    yard.write(FILE, &good.replace("sandy-loam", "sandy-lome"));
    let _daemon = start(&yard);
    yard.let_in("Sam", "manager", &["elsewhere"]);
    yard.let_in("Tom", "technician", &["home"]);
    let get = |who: &str, path: &str| {
        let cookie = yard.sign_in(who);
        yard.ask(&format!("GET {path} HTTP/1.1\r\nCookie: {cookie}\r\n"), "")
    };
    let first = get("Maria", "/");
    assert!(first.contains("yard-0 is not watched"), "{first}");
    assert!(first.contains("No system is watched") && first.contains("/setup#faulty-files"), "{first}");
    let (sam, tom) = (get("Sam", "/"), get("Tom", "/"));
    assert!(!sam.contains("yard-0"), "{sam}");
    assert!(tom.contains("yard-0 is not watched") && !tom.contains("#faulty-files"), "{tom}");
    assert!(get("Maria", "/setup").contains("Files that cannot be read"));
    assert!(!get("Sam", "/setup").contains("yard-0"));
    assert!(get("Sam", "/setup/yard-0").starts_with("HTTP/1.1 404"));
    let gone = get("Maria", "/systems/yard-0");
    assert!(gone.contains("This system is not watched") && gone.contains("href=\"/setup/yard-0\""), "{gone}");
    assert!(!get("Tom", "/systems/yard-0").contains("href=\"/setup/yard-0\""));
    let page = get("Maria", "/setup/yard-0");
    for said in ["This file cannot be read, so yard-0 is not watched", "Line 5", "sandy-lome", "id=\"setup\""]
    {
        assert!(page.contains(said), "{said}: {page}");
    }
    let keys = |who| bearer(&key_of(&yard, who, &["see", "plan"]));
    let refused = yard.call("GET", "/api/v1/systems/yard-0/file", &keys("Sam"), &Value::Null);
    assert_eq!(refused.0, 404, "{}", refused.1);
    let items = yard.call("GET", "/api/v1/faulty-files", &keys("Sam"), &Value::Null).1["items"].clone();
    assert_eq!(items, json!([]));

    let maria = keys("Maria");
    let file = yard.call("GET", "/api/v1/systems/yard-0/file", &maria, &Value::Null).1;
    let version = file["version"].as_str().expect("a version");
    let head = format!("{maria}If-Match: \"{version}\"\r\n");
    let retired = yard.call("POST", "/api/v1/systems/yard-0/retire", &head, &Value::Null);
    assert_eq!(retired.0, 409, "{}", retired.1);
    let saved = yard.call("PUT", "/api/v1/systems/yard-0/file", &head, &json!({ "soil": "sandy-loam" }));
    assert_eq!(saved.0, 200, "{}", saved.1);
    assert_eq!(yard.file(FILE), good, "to the letter");
    until(PATIENCE, "it is watched again", || get("Maria", "/systems/yard-0").starts_with("HTTP/1.1 200"));
    assert!(!get("Maria", "/").contains("is not watched"));
}

#[test]
fn of_two_that_claim_one_topic_the_one_that_was_there_first_is_watched() {
    let broker = Mosquitto::start();
    let (yard, daemon) = watched(&broker, 1);
    let claims = |id: &str| {
        format!(
            "id = \"{id}\"\nname = \"{id}\"\ntimezone = \"UTC\"\nsoil = \"loam\"\n[[basin]]\nid = \"fig\"\narea_m2 = 1.2\n\
             moisture = {{ topic = \"elsewhere/7\", unit = \"%\" }}\n"
        )
    };
    yard.write("systems/meadow.toml", &claims("meadow"));
    daemon.process.signal("HUP");
    until(PATIENCE, "the first is watched", || {
        yard.times_logged("the system files in force have changed") == 1
    });
    // By its name it would come before the other.
    yard.write("systems/beech.toml", &claims("beech"));
    daemon.process.signal("HUP");
    until(PATIENCE, "the newcomer is refused", || yard.times_logged("beech.toml:8") == 1);
    let maria = bearer(&key_of(&yard, "Maria", &["see", "plan"]));
    let get = |path: &str| yard.call("GET", &format!("/api/v1{path}"), &maria, &Value::Null);
    until(PATIENCE, "that is told", || get("/faulty-files").1["items"][0]["id"] == json!("beech"));
    assert_eq!((get("/systems/beech").0, get("/systems/meadow").0), (404, 200));
    assert!(get("/faulty-files").1.to_string().contains("of `meadow` both hear topic"));
}
