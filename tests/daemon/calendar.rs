//! Tasks, visits and their calendar, over HTTP; the calendar judged by an independent parser.

use std::path::PathBuf;
use std::process::{Command, Stdio};

use serde_json::{Value, json};
use support::{Mosquitto, until};

use crate::interface::{bearer, key_of};
use crate::rig::{PATIENCE, Yard};

/// Has a Python library read `text` by the script `read_WHAT` and say what it understood; none without the package
/// index.
pub(crate) fn understood(what: &str, text: &str) -> Option<Value> {
    if std::env::var_os("BASINWARD_OFFLINE").is_some_and(|value| !value.is_empty()) {
        println!("BASINWARD_OFFLINE is set: the parser comes from the Python package index");
        return None;
    }
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    let mut parser = Command::new(root.join(format!("tests/daemon/read_{what}")))
        .arg(root.join("target").join(what))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the script runs");
    std::io::Write::write_all(&mut parser.stdin.take().expect("it is piped"), text.as_bytes())
        .expect("it reads");
    let said = parser.wait_with_output().expect("it ends");
    assert!(said.status.success(), "the parser refuses it");
    Some(serde_json::from_slice(&said.stdout).expect("it says JSON"))
}

fn status(answer: &str) -> &str {
    answer.split(' ').nth(1).unwrap_or_default()
}

#[test]
fn visits_are_planned_and_shown_in_a_private_calendar_until_it_is_revoked() {
    let broker = Mosquitto::start();
    let yard = Yard::new(1).listening_to(broker.port());
    yard.write(
        "systems/elsewhere.toml",
        "id = \"elsewhere\"\nname = \"Hidden, grove; \\\"näher\\\"\"\nproperty = \"elm-row\"\ntimezone = \"America/Denver\"\n\
         soil = \"loam\"\ncommissioned = 2020-01-01\n[diverter]\n[[basin]]\nid = \"secret-fig\"\narea_m2 = 1.2\nfloat = {}\n",
    );
    let _daemon = yard.start();
    yard.let_in("Maria", "owner", &[]);
    yard.let_in("Sam", "manager", &["home"]);
    let maria = bearer(&key_of(&yard, "Maria", &["see"]));
    let sam = bearer(&key_of(&yard, "Sam", &["see"]));
    let list = |path: &str, who: &str| yard.call("GET", path, who, &Value::Null).1["items"].clone();
    until(PATIENCE, "a first plan is made", || {
        list("/api/v1/visits", &maria).as_array().is_some_and(|it| !it.is_empty())
    });

    // A system in service since 2020 that nobody ever looked at is caught up with in the first weeks that it is watched.
    let tasks = list("/api/v1/tasks?system=elsewhere", &maria);
    let kinds: Vec<&str> =
        tasks.as_array().expect("a list").iter().filter_map(|task| task["task"].as_str()).collect();
    for kind in ["inspect-outlet", "exercise-diverter", "yearly-look", "renew-mulch"] {
        assert!(kinds.contains(&kind), "{kind} is missing: {kinds:?}");
    }
    let visits = list("/api/v1/visits", &maria);
    let visit = visits
        .as_array()
        .and_then(|all| all.iter().find(|it| it["property"] == "elm-row"))
        .expect("a visit")
        .clone();
    assert_eq!((visit["tasks"].as_array().map(Vec::len), &visit["late"]), (Some(4), &json!(0)), "{visit}");
    assert!(visit["why"].as_str().is_some_and(|why| why.contains("is due by")), "{visit}");
    assert!(!list("/api/v1/tasks", &sam).to_string().contains("elsewhere"));
    assert_eq!(
        list("/api/v1/tasks?kind=renew-mulch&system=elsewhere", &maria).as_array().map(Vec::len),
        Some(1)
    );

    let cookie = yard.sign_in("Maria");
    let page = yard.ask(&format!("GET /visits HTTP/1.1\r\nCookie: {cookie}\r\n"), "");
    let csrf = page
        .split("name=\"csrf\" content=\"")
        .nth(1)
        .and_then(|rest| rest.split('"').next())
        .expect("a token");
    let made = yard.ask(&format!("POST /calendar HTTP/1.1\r\nCookie: {cookie}\r\n"), &format!("csrf={csrf}"));
    let key =
        made.split("/calendar.ics?key=").nth(1).and_then(|rest| rest.split('<').next()).expect("an address");
    let feed = || yard.ask(&format!("GET /calendar.ics?key={key} HTTP/1.1\r\n"), "");
    let answer = feed();
    assert_eq!(status(&answer), "200");
    let text = answer.split_once("\r\n\r\n").expect("a body").1;
    assert!(text.split("\r\n").all(|line| line.len() <= 75), "RFC 5545, section 3.1: {text}");
    if let Some(said) = understood("calendar", text) {
        let event = said
            .as_array()
            .and_then(|all| all.iter().find(|it| it["location"] == "Elm Row"))
            .expect("the visit");
        assert_eq!(event["begins"], visit["begins"]);
        assert!(
            event["description"].as_str().is_some_and(|says| says.contains("Hidden, grove; \"näher\"")),
            "{event}"
        );
        assert_eq!((&event["alarms"], &event["minutes"]), (&json!(1), &visit["minutes"]), "{event}");
    }

    // The key opens the calendar and nothing else, and nothing any more once it is revoked.
    let (answered, _) = yard.call("GET", "/api/v1/systems", &bearer(key), &Value::Null);
    assert_eq!(answered, 401);
    let keys = yard.ask(&format!("GET /account HTTP/1.1\r\nCookie: {cookie}\r\n"), "");
    let revoke =
        keys.split("action=\"").filter(|part| part.contains("/revoke\"") && part.contains("calendar"));
    let path = revoke.last().and_then(|part| part.split('"').next()).expect("it can be revoked");
    yard.ask(&format!("POST {path} HTTP/1.1\r\nCookie: {cookie}\r\n"), &format!("csrf={csrf}"));
    assert_ne!(status(&feed()), "200");
}
