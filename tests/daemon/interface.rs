//! The interface for programs: every address of its own description, asked by somebody who sees one property.

use std::time::Duration;

use basinward::clock::Clock;
use basinward::model::Span;
use serde_json::{Value, json};
use support::{Mosquitto, until};

use crate::rig::{Daemon, PATIENCE, Yard};

/// Words that only the other property's data contains.
const HIDDEN: [&str; 4] = ["elsewhere", "Hidden grove", "secret-fig", "elm-row"];

/// A yard at home and a flooded one elsewhere; Maria sees both, Sam only the one at home.
fn two_properties(broker: &Mosquitto) -> (Yard, Daemon) {
    let yard = Yard::new(1).listening_to(broker.port());
    yard.write(
        "systems/elsewhere.toml",
        "id = \"elsewhere\"\nname = \"Hidden grove\"\nproperty = \"elm-row\"\ntimezone = \"UTC\"\n\
         soil = \"loam\"\n[[basin]]\nid = \"secret-fig\"\narea_m2 = 1.2\noverflow = {}\nmoisture = {}\n",
    );
    let daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);
    let now = Clock::wall().now();
    let wet = |minutes_ago| {
        let at = now - Span::from_mins(minutes_ago);
        broker.publish(
            "greywater/elsewhere/secret-fig/overflow",
            json!({ "value": true, "time": at.millis() }).to_string(),
        );
    };
    (1..10).rev().for_each(wet);
    broker.publish("greywater/elsewhere/secret-fig/moisture", "0.25");
    until(PATIENCE, "the flood elsewhere is known", || {
        !yard.view().findings_open().expect("findings").is_empty()
    });
    yard.let_in("Maria", "owner", &[]);
    yard.let_in("Sam", "manager", &["home"]);
    (yard, daemon)
}

/// A key for everything that `name` may.
pub(crate) fn key_of(yard: &Yard, name: &str, scopes: &[&str]) -> String {
    let cookie = yard.sign_in(name);
    let page = yard.ask(&format!("GET /account HTTP/1.1\r\nCookie: {cookie}\r\n"), "");
    let csrf = page.split("name=\"csrf\" content=\"").nth(1).and_then(|rest| rest.split('"').next());
    let head = format!("Cookie: {cookie}\r\nX-CSRF-Token: {}\r\n", csrf.expect("the page carries it"));
    key_with(yard, &head, scopes)
}

/// A key, made within the session that `head` brings along.
pub(crate) fn key_with(yard: &Yard, head: &str, scopes: &[&str]) -> String {
    let sent = json!({ "label": "test", "scopes": scopes });
    let (status, made) = yard.call("POST", "/api/v1/keys", head, &sent);
    assert_eq!(status, 201, "{made}");
    made["key"].as_str().expect("a key").to_owned()
}

pub(crate) fn bearer(key: &str) -> String {
    format!("Authorization: Bearer {key}\r\n")
}

/// The path with the other property's system, or the owner's number, in it.
fn aimed_at_the_other(path: &str) -> String {
    path.replace("{id}", "elsewhere").replace("{number}", "1")
}

#[test]
fn no_address_of_the_description_tells_one_property_of_another() {
    let broker = Mosquitto::start();
    let (yard, _daemon) = two_properties(&broker);
    let maria = bearer(&key_of(&yard, "Maria", &["see", "attend", "plan", "govern"]));
    let sam = bearer(&key_of(&yard, "Sam", &["see", "attend", "plan"]));
    let (status, description) = yard.call("GET", "/api/v1/openapi.json", &sam, &Value::Null);
    assert_eq!((status, description["openapi"].as_str().map(|version| &version[..3])), (200, Some("3.1")));
    let paths = description["paths"].as_object().expect("paths");
    let (mut asked, mut seen_by_maria) = (0, 0);
    for (path, item) in paths.iter().filter(|(path, _)| !path.ends_with("/events")) {
        for method in item.as_object().expect("operations").keys() {
            let aimed = aimed_at_the_other(path);
            let queries: &[&str] = if method == "get" {
                &[
                    "",
                    "?system=elsewhere",
                    "?property=elm-row",
                    "?past=true",
                    "?limit=1",
                    "?sensor=secret-fig/moisture",
                    "?sensor=secret-fig/moisture&by=hour",
                ]
            } else {
                &[""]
            };
            for query in queries {
                let address = format!("{aimed}{query}");
                let body = if method == "get" || method == "delete" { Value::Null } else { json!({}) };
                let (status, answer) = yard.call(&method.to_uppercase(), &address, &sam, &body);
                asked += 1;
                let said = answer.to_string();
                assert!(!HIDDEN.iter().any(|word| said.contains(word)), "{method} {address}: {said}");
                // A calendar is made for whoever asks, of what they see.
                let is_own = path.ends_with("/calendar");
                if !is_own && (aimed != *path || method != "get") {
                    assert!((400..500).contains(&status), "{method} {address}: {status} {said}");
                }
                if method == "get" {
                    let (_, answer) = yard.call("GET", &address, &maria, &Value::Null);
                    let said = answer.to_string();
                    seen_by_maria += usize::from(HIDDEN.iter().any(|word| said.contains(word)));
                }
            }
        }
    }
    assert!(asked > 40 && seen_by_maria > 8, "{asked} asked, {seen_by_maria} with the hidden words");
    assert_eq!(yard.view().people().expect("people").len(), 2, "nothing that Sam sent changed anybody");
}

#[test]
fn live_events_reach_only_those_who_may_see_the_property() {
    let broker = Mosquitto::start();
    let (yard, _daemon) = two_properties(&broker);
    let maria = bearer(&key_of(&yard, "Maria", &["see"]));
    let sam = bearer(&key_of(&yard, "Sam", &["see"]));
    let listen = |key: &str, address: &str| {
        yard.listen(&format!("GET {address} HTTP/1.1\r\n{key}"), Duration::from_secs(2))
    };
    let heard = listen(&maria, "/api/v1/events?after=0");
    assert!(heard.contains("event: finding") && heard.contains("secret-fig"), "{heard}");
    let heard = listen(&sam, "/api/v1/events?after=0");
    assert!(heard.starts_with("HTTP/1.1 200") && !heard.contains("event:"), "{heard}");
    let cookie = yard.sign_in("Sam");
    let heard = listen(&format!("Cookie: {cookie}\r\n"), "/live?since=0");
    assert!(heard.contains("event: board") && !HIDDEN.iter().any(|word| heard.contains(word)), "{heard}");
}

#[test]
fn a_key_is_good_for_its_scopes_until_it_is_revoked() {
    let broker = Mosquitto::start();
    let yard = Yard::new(3).listening_to(broker.port());
    let _daemon = yard.start();
    let (status, refusal) = yard.call("GET", "/api/v1/systems", "", &Value::Null);
    assert_eq!((status, refusal["status"].as_u64()), (401, Some(401)), "{refusal}");
    yard.let_in("Maria", "owner", &[]);
    let see = bearer(&key_of(&yard, "Maria", &["see"]));
    let all = bearer(&key_of(&yard, "Maria", &["see", "govern"]));
    assert_eq!(yard.call("GET", "/api/v1/people", &see, &Value::Null).0, 403);
    let (status, people) = yard.call("GET", "/api/v1/people", &all, &Value::Null);
    assert_eq!((status, people[0]["name"].as_str()), (200, Some("Maria")));
    let eve = json!({ "name": "Eve", "role": "viewer", "password": "rake trowel spirit level", "properties": ["home"] });
    let (status, made) = yard.call("POST", "/api/v1/people", &all, &eve);
    assert_eq!(status, 201, "{made}");
    assert_eq!(yard.call("POST", "/api/v1/people", &all, &eve).0, 409, "the name is taken");
    let last = yard.call("DELETE", "/api/v1/people/1", &all, &Value::Null);
    assert_eq!(last.0, 409, "the only owner stays: {}", last.1);
    let (_, keys) = yard.call("GET", "/api/v1/keys", &all, &Value::Null);
    let number = keys[0]["number"].as_u64().expect("a number");
    assert_eq!(yard.call("DELETE", &format!("/api/v1/keys/{number}"), &all, &Value::Null).0, 204);
    assert_eq!(yard.call("GET", "/api/v1/me", &see, &Value::Null).0, 401, "it is revoked");
}

#[test]
fn lists_come_in_pages_and_answers_with_tags() {
    let broker = Mosquitto::start();
    let yard = Yard::new(3).listening_to(broker.port());
    let _daemon = yard.start();
    yard.let_in("Maria", "owner", &[]);
    let maria = bearer(&key_of(&yard, "Maria", &["see"]));
    let mut ids = Vec::new();
    let mut after = String::new();
    loop {
        let (status, page) =
            yard.call("GET", &format!("/api/v1/systems?limit=2{after}"), &maria, &Value::Null);
        assert_eq!(status, 200);
        ids.extend(page["items"].as_array().expect("items").iter().map(|item| item["id"].to_string()));
        let Some(next) = page["next"].as_str() else { break };
        after = format!("&after={next}");
    }
    assert_eq!(ids, ["\"yard-0\"", "\"yard-1\"", "\"yard-2\""]);
    let first = yard.ask(&format!("GET /api/v1/systems HTTP/1.1\r\n{maria}"), "");
    let tag = first.lines().find_map(|line| line.strip_prefix("etag: ")).expect("a tag");
    let again = yard.ask(&format!("GET /api/v1/systems HTTP/1.1\r\n{maria}If-None-Match: {tag}\r\n"), "");
    assert!(again.starts_with("HTTP/1.1 304"), "{again}");
    let (status, refusal) = yard.call("GET", "/api/v1/latest?after=x", &maria, &Value::Null);
    assert_eq!((status, refusal["title"].as_str()), (422, Some("Not understood")));
}
