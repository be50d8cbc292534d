//! A system that is retired, and comes back.

use basinward::alerts::{AlertNo, Closing, Stage};
use basinward::clock::Clock;
use basinward::model::Span;
use serde_json::{Value, json};
use support::{Mosquitto, until};

use crate::interface::{bearer, key_of};
use crate::rig::{PATIENCE, Yard};

/// Two systems of one property; water has stood at the rim of the first one's fig for minutes.
fn flooded(broker: &Mosquitto) -> Yard {
    let yard = Yard::new(2).listening_to(broker.port());
    let text = yard.file("systems/yard-0.toml");
    yard.write("systems/yard-0.toml", &format!("# by the wall\n{text}"));
    yard
}

fn let_it_flood(broker: &Mosquitto) {
    let now = Clock::wall().now();
    for minutes_ago in (1..10).rev() {
        let at = (now - Span::from_mins(minutes_ago)).millis();
        broker.publish("greywater/yard-0/fig/overflow", json!({ "value": true, "time": at }).to_string());
    }
}

fn stage(yard: &Yard) -> Option<Stage> {
    yard.view().alert(AlertNo(1)).expect("the ledger").map(|story| story.alert.stage)
}

#[test]
fn a_retired_system_ends_with_its_alerts_and_comes_back_with_its_memory() {
    let broker = Mosquitto::start();
    let yard = flooded(&broker);
    let file = yard.file("systems/yard-0.toml");
    let daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);
    yard.let_in("Maria", "owner", &[]);
    yard.let_in("Sam", "manager", &["elsewhere"]);
    yard.let_in("Tom", "technician", &[]);
    let maria = bearer(&key_of(&yard, "Maria", &["see", "plan"]));
    let ask = |method: &str, path: &str| yard.call(method, &format!("/api/v1{path}"), &maria, &Value::Null);
    let_it_flood(&broker);
    until(PATIENCE, "the flood is an alert with a task", || {
        let tasks = ask("GET", "/tasks").1.to_string();
        stage(&yard).is_some() && tasks.contains("yard-0")
    });

    for (who, key) in [("Sam", "plan"), ("Tom", "attend")] {
        let bearer = bearer(&key_of(&yard, who, &["see", key]));
        let (status, _) = yard.call("POST", "/api/v1/systems/yard-0/retire", &bearer, &Value::Null);
        assert!(matches!(status, 403 | 404), "{who}: {status}");
    }
    let stale = format!("{maria}If-Match: \"another\"\r\n");
    assert_eq!(yard.call("POST", "/api/v1/systems/yard-0/retire", &stale, &Value::Null).0, 409);
    assert!(!stage(&yard).expect("the alert").is_closed(), "nothing has happened so far");

    assert_eq!(ask("POST", "/systems/yard-0/retire").0, 204);
    let Some(Stage::Closed { how: Closing::Dismissed { by, reason }, .. }) = stage(&yard) else {
        panic!("{:?}", stage(&yard));
    };
    assert_eq!((by.as_str(), reason.as_str()), ("Maria", "the system was retired"));
    until(PATIENCE, "its engine ends", || yard.times_logged("is no longer watched") == 1);
    assert_eq!(ask("GET", "/systems/yard-0").0, 404);
    assert_eq!(ask("GET", "/systems/yard-1").0, 200);
    assert_eq!(
        ask("GET", "/retired").1["items"],
        json!([{ "id": "yard-0", "name": "yard-0", "property": "home" }])
    );
    until(PATIENCE, "its tasks and findings are gone", || {
        let said = format!("{} {}", ask("GET", "/tasks").1, ask("GET", "/findings").1);
        !said.contains("yard-0")
    });
    broker.publish("greywater/yard-0/fig/moisture", "0.3");
    until(PATIENCE, "what it sends is of no system", || {
        yard.view()
            .unassigned()
            .expect("the ledger")
            .iter()
            .any(|it| it.topic == "greywater/yard-0/fig/moisture")
    });
    assert!(!yard.readings("yard-0", "fig/overflow").is_empty(), "its readings are kept");
    let taken = json!({ "id": "yard-0", "name": "New", "timezone": "UTC", "soil": "loam", "basin": [{ "id": "fig", "area_m2": 1 }] });
    let (status, said) = yard.call("PUT", "/api/v1/systems/yard-0/file", &maria, &taken);
    assert!(status == 422 && said["errors"][0]["pointer"] == "/id", "{status} {said}");

    drop(daemon);
    let _daemon = yard.start();
    assert_eq!(ask("GET", "/systems/yard-0").0, 404, "it stays retired");
    assert_eq!(ask("POST", "/systems/yard-0/file/undo").0, 204);
    assert_eq!(yard.file("systems/yard-0.toml"), file, "to the letter");
    until(PATIENCE, "it is watched again", || ask("GET", "/systems/yard-0").0 == 200);
    assert_eq!(yard.times_logged("is watched again, with what it had learnt"), 1);
    assert_eq!(ask("GET", "/retired").1["items"], json!([]));
    let_it_flood(&broker);
    until(PATIENCE, "the flood stands again", || stage(&yard).is_some_and(|stage| !stage.is_closed()));
}

#[test]
fn a_system_whose_file_went_while_the_daemon_was_away_leaves_no_alert() {
    let broker = Mosquitto::start();
    let yard = flooded(&broker);
    let daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);
    let_it_flood(&broker);
    until(PATIENCE, "the flood is an alert", || stage(&yard).is_some());
    drop(daemon);
    std::fs::remove_file(yard.path().join("systems/yard-0.toml")).expect("it was there");
    let _daemon = yard.start();
    until(PATIENCE, "its alert is closed", || stage(&yard).is_some_and(|stage| stage.is_closed()));
    assert!(yard.view().findings_open().expect("the ledger").iter().all(|it| it.system.as_str() != "yard-0"));
}

#[test]
fn the_page_retires_and_brings_back() {
    let broker = Mosquitto::start();
    let yard = flooded(&broker);
    let _daemon = yard.start();
    yard.let_in("Maria", "owner", &[]);
    let cookie = yard.sign_in("Maria");
    let get = |path: &str| yard.ask(&format!("GET {path} HTTP/1.1\r\nCookie: {cookie}\r\n"), "");
    let page = get("/setup/yard-0/retire");
    assert!(page.contains("Retire yard-0?") && page.contains("What is kept"), "{page}");
    let hidden = |name: &str| {
        let rest = page.split(&format!("name=\"{name}\" value=\"")).nth(1).expect("a field");
        rest.split('"').next().expect("its value").to_owned()
    };
    let (csrf, version) = (hidden("csrf"), hidden("version"));
    let send = |form: &str| {
        let head = format!("POST /setup/yard-0/retire HTTP/1.1\r\nCookie: {cookie}\r\n");
        yard.ask(&head, &format!("csrf={csrf}&{form}"))
    };
    assert!(send("act=retire&version=old").starts_with("HTTP/1.1 409"));
    let retired = send(&format!("act=retire&version={version}"));
    assert!(retired.contains("location: /setup/yard-0/retire"), "{retired}");
    assert!(get("/setup/yard-0/retire").contains("yard-0 is retired"));
    assert!(get("/setup/yard-0").contains("location: /setup/yard-0/retire"));
    assert!(get("/setup").contains("Retired systems"));
    let gone = get("/systems/yard-0");
    assert!(
        gone.contains("This system is retired") && gone.contains("href=\"/setup/yard-0/retire\""),
        "{gone}"
    );
    assert!(send("act=return").contains("location: /systems/yard-0"));
    until(PATIENCE, "it is watched again", || get("/systems/yard-0").starts_with("HTTP/1.1 200"));
}
