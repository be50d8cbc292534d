//! Every page address that the program has, asked by somebody who sees one property, for the things of another.
//!
//! The addresses are read off the source, so that one without a decision in [`DECISIONS`] fails the test. Those for
//! programs are read off their own description in `interface`; here they are asked for records that exist.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use basinward::clock::Clock;
use basinward::ledger::ServiceFilter;
use basinward::model::{EventTime, Id, Span};
use serde_json::{Value, json};
use support::{Mosquitto, until};

use crate::interface::{bearer, key_of};
use crate::rig::{Daemon, PATIENCE, Yard};

/// What an address answers to somebody who sees another property only.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Answers {
    /// As if there were no such thing.
    Nothing,
    /// A list or page of what is within reach.
    WithinReach,
    /// It is about the whole house: refused.
    Refused,
    /// It is about whoever asks, or the same for everybody.
    Own,
}

use Answers::{Nothing, Own, Refused, WithinReach};

/// A decision about every address, with how the thing of the other property is asked for where the address alone
/// does not say it.
const DECISIONS: [(&str, Answers, &str); 76] = [
    ("/", WithinReach, ""),
    ("/account", Own, ""),
    ("/account/keys", Own, ""),
    ("/account/keys/{no}/revoke", Nothing, ""),
    ("/account/password", Own, ""),
    ("/acknowledge/{signed}", Own, ""),
    ("/alerts", WithinReach, "?q=secret&property=elm-row&system=elsewhere"),
    ("/alerts/{no}", Nothing, ""),
    ("/assets/{name}", Own, ""),
    ("/at/{system}/{part}", Nothing, ""),
    ("/calendar", Own, ""),
    ("/calendar.ics", WithinReach, ""),
    ("/floods", WithinReach, "?property=elm-row"),
    ("/floods.csv", WithinReach, "?property=elm-row"),
    ("/fragments/alerts", WithinReach, "?property=elm-row&system=elsewhere"),
    ("/fragments/alerts/{no}", Nothing, ""),
    ("/fragments/first", WithinReach, "?parts=s-elsewhere"),
    ("/fragments/heard", Refused, ""),
    ("/fragments/systems/{id}", Nothing, ""),
    ("/fragments/systems/{id}/basins/{basin}", Nothing, ""),
    ("/fragments/systems/{id}/sensors", Nothing, ""),
    ("/fragments/systems/{id}/sensors/{*sensor}", Nothing, ""),
    ("/fragments/systems/{id}/splitters/{splitter}", Nothing, ""),
    ("/fragments/tests/{key}", Nothing, ""),
    ("/healthz", Own, ""),
    ("/heard", Refused, ""),
    ("/live", WithinReach, ""),
    ("/metrics", Refused, ""),
    ("/operations/export", Refused, ""),
    ("/people", Refused, ""),
    ("/people/{no}", Refused, ""),
    ("/people/{no}/password", Refused, ""),
    ("/people/{no}/remove", Refused, ""),
    ("/properties/{id}/services", Nothing, ""),
    ("/properties/{id}/services.csv", Nothing, ""),
    ("/properties/{id}/sheet", Nothing, ""),
    ("/properties/{id}/years/{year}", Nothing, ""),
    ("/queue/pass", Own, ""),
    ("/readyz", Own, ""),
    ("/sensors", WithinReach, ""),
    ("/services/{key}", Nothing, ""),
    ("/services/{key}/photos/{no}", Nothing, ""),
    ("/setup", WithinReach, ""),
    ("/setup/{id}", Nothing, ""),
    ("/setup/{id}/retire", Nothing, ""),
    ("/sign-in", Own, ""),
    ("/sign-out", Own, ""),
    ("/systems/{id}", Nothing, ""),
    ("/systems/{id}/basins/{basin}", Nothing, ""),
    ("/systems/{id}/basins/{basin}/timeline.csv", Nothing, ""),
    ("/systems/{id}/basins/{basin}/timeline.json", Nothing, ""),
    ("/systems/{id}/labels", Nothing, ""),
    ("/systems/{id}/mute", Nothing, ""),
    ("/systems/{id}/received.csv", Nothing, ""),
    ("/systems/{id}/record", Nothing, "?at=basin:secret-fig"),
    ("/systems/{id}/services", Nothing, ""),
    ("/systems/{id}/services.csv", Nothing, ""),
    ("/systems/{id}/sensors", Nothing, ""),
    ("/systems/{id}/sensors/{*sensor}", Nothing, ""),
    ("/systems/{id}/sheet", Nothing, ""),
    ("/systems/{id}/splitters/{splitter}", Nothing, ""),
    ("/systems/{id}/tests", Nothing, ""),
    ("/systems/{id}/timeline.csv", Nothing, ""),
    ("/systems/{id}/timeline.json", Nothing, ""),
    ("/systems/{id}/year", Nothing, ""),
    ("/systems/{id}/years/{year}", Nothing, ""),
    ("/tasks", WithinReach, "?property=elm-row&system=elsewhere"),
    ("/tasks.csv", WithinReach, "?property=elm-row&system=elsewhere"),
    ("/tests/{key}", Nothing, ""),
    ("/units", Own, ""),
    ("/visits", WithinReach, "?property=elm-row"),
    ("/visits.csv", WithinReach, "?property=elm-row"),
    ("/visits/compared", WithinReach, ""),
    ("/welcome", Own, ""),
    ("/worker.js", Own, ""),
    // Everything under it is described, and asked by `interface`.
    ("/api/v1/{*rest}", Own, ""),
];

const RECORD: &str = "0f5b2c1e-77aa-4c55-9c5e-5ec2e7f16001";
const TEST: &str = "0f5b2c1e-77aa-4c55-9c5e-5ec2e7f16002";
/// What the record says of the other property; no address contains it.
const SECRET: &str = "behind the blue door";

/// The routes in the source: address, and whether something can be sent to it.
pub(crate) fn routes() -> BTreeSet<(String, bool)> {
    let mut found = BTreeSet::new();
    read_routes(&PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("src/desk"), &mut found);
    found
}

fn read_routes(folder: &Path, found: &mut BTreeSet<(String, bool)>) {
    for entry in fs::read_dir(folder).expect("the source").map(|entry| entry.expect("an entry").path()) {
        if entry.is_dir() {
            read_routes(&entry, found);
        } else if entry.extension().is_some_and(|extension| extension == "rs") {
            let text = fs::read_to_string(&entry).expect("text");
            let program = text.split("#[cfg(test)]").next().unwrap_or_default();
            for rest in program.split(".route(").skip(1) {
                let (address, handlers) = match rest.strip_prefix('"').and_then(|rest| rest.split_once('"')) {
                    Some((address, handlers)) => (address.to_owned(), handlers),
                    // The two that stand under the root of the interface.
                    None if rest.contains("{ROOT}/openapi.json") => continue,
                    None if rest.contains("{ROOT}/{{*rest}}") => ("/api/v1/{*rest}".to_owned(), ""),
                    None => panic!("{}: a route whose address cannot be read: {rest:.60}", entry.display()),
                };
                let handlers = handlers.split(".route(").next().unwrap_or_default();
                let sends = handlers.lines().next().is_some_and(|line| line.contains("post("));
                found.insert((address, sends));
            }
        }
    }
}

#[test]
fn every_address_has_a_decision() {
    let decided: BTreeSet<&str> = DECISIONS.iter().map(|(address, ..)| *address).collect();
    let routes = routes();
    let there: BTreeSet<&str> = routes.iter().map(|(address, _)| address.as_str()).collect();
    assert_eq!(decided.len(), DECISIONS.len(), "an address is decided twice");
    let missing: Vec<_> = there.difference(&decided).collect();
    assert!(missing.is_empty(), "say in DECISIONS who may see what at {missing:?}");
    let gone: Vec<_> = decided.difference(&there).collect();
    assert!(gone.is_empty(), "these addresses are no longer there: {gone:?}");
}

/// A yard at home, and a flooded one elsewhere with a record, a photograph and a flow test.
struct House {
    yard: Yard,
    _daemon: Daemon,
    /// The address's parts, as they are at the other property.
    parts: Vec<(&'static str, String)>,
}

impl House {
    fn new(broker: &Mosquitto) -> Self {
        let yard = Yard::new(1).listening_to(broker.port());
        yard.write(
            "systems/elsewhere.toml",
            "id = \"elsewhere\"\nname = \"Hidden grove\"\nproperty = \"elm-row\"\ntimezone = \"UTC\"\n\
             soil = \"loam\"\n[diverter]\n[[splitter]]\nid = \"secret-tee\"\nfeeds = [\"secret-fig\", \"secret-plum\"]\n\
             [[basin]]\nid = \"secret-fig\"\narea_m2 = 1.2\noverflow = {}\nmoisture = {}\n\
             [[basin]]\nid = \"secret-plum\"\narea_m2 = 1.2\nmoisture = {}\n",
        );
        let daemon = yard.start();
        until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);
        yard.let_in("Maria", "owner", &[]);
        yard.let_in("Sam", "manager", &["home"]);
        let now = Clock::wall().now();
        for minutes_ago in (1..10).rev() {
            let at = (now - Span::from_mins(minutes_ago)).millis();
            broker.publish(
                "greywater/elsewhere/secret-fig/overflow",
                json!({"value": true, "time": at}).to_string(),
            );
        }
        broker.publish("greywater/elsewhere/secret-fig/moisture", "0.25");
        let maria = bearer(&key_of(&yard, "Maria", &["see", "attend"]));
        let record = json!({ "key": RECORD, "system": "elsewhere", "record":
            { "subject": { "basin": "secret-fig" }, "at": now, "work": ["outlet-cleared"], "note": SECRET } });
        assert_eq!(yard.call("POST", "/api/v1/services", &maria, &record).0, 201);
        let photos = format!("POST /api/v1/services/{RECORD}/photos HTTP/1.1\r\n{maria}");
        let photo = yard.send(&photos, "image/webp", "RIFF\u{10}\0\0\0WEBPVP8 \u{4}\0\0\0blue");
        assert!(photo.starts_with("HTTP/1.1 201"), "{photo}");
        let form = format!("key={TEST}&units=metric&method=buckets&litres=20");
        let begun = send_form(&yard, "Maria", "/systems/elsewhere/tests", &form);
        assert!(begun.starts_with("HTTP/1.1 303"), "{begun}");
        let manager = yard.sign_in("Maria");
        until(PATIENCE, "the flood elsewhere is an alert, and there is a plan", || {
            let view = yard.view();
            let alert = view.alert(basinward::alerts::AlertNo(1)).expect("the ledger");
            let visits = yard.ask(&format!("GET /visits HTTP/1.1\r\nCookie: {manager}\r\n"), "");
            alert.is_some() && visits.contains("Elm Row")
        });
        let year = now.to_string()[..4].to_owned();
        let parts = [
            ("/properties/{id}", "/properties/elm-row"),
            ("{id}", "elsewhere"),
            ("{system}", "elsewhere"),
            ("{basin}", "secret-fig"),
            ("{splitter}", "secret-tee"),
            ("{part}", "basin:secret-fig"),
            ("{*sensor}", "secret-fig/moisture"),
            ("/tests/{key}", &format!("/tests/{TEST}")),
            ("{key}", RECORD),
            ("{no}", "1"),
            ("{year}", &year),
            ("{name}", "basinward.css"),
        ];
        let parts = parts.map(|(part, value)| (part, value.to_owned())).to_vec();
        Self { yard, _daemon: daemon, parts }
    }

    fn aimed(&self, address: &str) -> String {
        self.parts.iter().fold(address.to_owned(), |address, (part, value)| address.replace(part, value))
    }

    /// Everything at the other property that Sam could have changed.
    fn state(&self) -> String {
        let (view, elsewhere) = (self.yard.view(), Id::new("elsewhere").expect("an id"));
        let filter = ServiceFilter {
            systems: Some(vec![elsewhere.clone()]),
            withdrawn: true,
            ..ServiceFilter::default()
        };
        let file = fs::read_to_string(self.yard.path().join("systems/elsewhere.toml"));
        format!(
            "{:?} {:?} {:?} {:?} {:?} {file:?}",
            view.services(&filter, 100).expect("records"),
            view.flow_tests(&elsewhere, EventTime::MIN, EventTime::MAX, 100).expect("tests"),
            view.alert(basinward::alerts::AlertNo(1)).expect("the alert"),
            view.muted(EventTime::MIN).expect("who is at work"),
            view.people().expect("people").iter().map(|person| &person.name).collect::<Vec<_>>(),
        )
    }
}

fn cookie_and_csrf(yard: &Yard, name: &str) -> (String, String) {
    let cookie = yard.sign_in(name);
    let page = yard.ask(&format!("GET /account HTTP/1.1\r\nCookie: {cookie}\r\n"), "");
    let csrf = page.split("name=\"csrf\" content=\"").nth(1).and_then(|rest| rest.split('"').next());
    (cookie, csrf.expect("the page carries the token").to_owned())
}

fn send_form(yard: &Yard, name: &str, address: &str, form: &str) -> String {
    let (cookie, csrf) = cookie_and_csrf(yard, name);
    yard.ask(&format!("POST {address} HTTP/1.1\r\nCookie: {cookie}\r\nX-CSRF-Token: {csrf}\r\n"), form)
}

fn status(answer: &str) -> u16 {
    answer.split(' ').nth(1).and_then(|status| status.parse().ok()).expect("a status")
}

/// Words of the other property that `answer` has and the request did not.
fn told(answer: &str, asked: &str) -> Vec<&'static str> {
    let words = [
        "elsewhere",
        "Hidden grove",
        "secret-fig",
        "secret-plum",
        "secret-tee",
        "elm-row",
        "Elm Row",
        SECRET,
    ];
    words.into_iter().filter(|word| answer.contains(word) && !asked.contains(word)).collect()
}

#[test]
fn no_page_tells_one_property_of_another() {
    let broker = Mosquitto::start();
    let house = House::new(&broker);
    let (sam, maria) = (house.yard.sign_in("Sam"), house.yard.sign_in("Maria"));
    let mut shown = 0;
    for (address, answers, query) in DECISIONS.into_iter().filter(|(address, ..)| *address != "/live") {
        for query in BTreeSet::from(["", query]) {
            let asked = format!("{}{query}", house.aimed(address));
            let ask = |who: &str| house.yard.ask(&format!("GET {asked} HTTP/1.1\r\nCookie: {who}\r\n"), "");
            let answer = ask(&sam);
            // The worker's script is a file of ours, the same for all, and says `elsewhere` in its own sense.
            let words = if address == "/worker.js" { Vec::new() } else { told(&answer, &asked) };
            let status_seen = status(&answer);
            assert!(words.is_empty(), "{asked} tells Sam of {words:?}: {answer}");
            let only_sent_to = status_seen == 405;
            match answers {
                Nothing => assert!(status_seen == 404 || only_sent_to, "{asked}: {status_seen}"),
                Refused => assert!(matches!(status_seen, 403..=405), "{asked}: {status_seen}"),
                WithinReach => assert_eq!(status_seen, 200, "{asked}: {answer}"),
                Own => assert!(status_seen < 500, "{asked}: {status_seen}"),
            }
            // Whoever may see it does: otherwise the above would say nothing.
            let answer = ask(&maria);
            shown += usize::from(!told(&answer, &asked).is_empty());
            if answers == Nothing && !only_sent_to {
                assert!(matches!(status(&answer), 200 | 303 | 307), "{asked} shows Maria nothing: {answer}");
            }
        }
    }
    assert!(shown > 30, "only {shown} pages show the other property to who may see it");
}

#[test]
fn nothing_sent_to_another_property_arrives() {
    let broker = Mosquitto::start();
    let house = House::new(&broker);
    let before = house.state();
    // What each form would need, all at once: fields that a form does not know are ignored.
    let form = "act=acknowledge&alert=1&reason=mine&back=/alerts&units=metric&key=0f5b2c1e-77aa-4c55-9c5e-5ec2e7f16009\
                &subject=basin:secret-fig&work=outlet-cleared&method=buckets&litres=20&replaces=1&name=Eve&role=owner\
                &reach=all&hours=2&password=rake+trowel+spirit+level&again=rake+trowel+spirit+level";
    let decided =
        |address: &str| DECISIONS.iter().find(|(it, ..)| *it == address).map(|(_, answers, _)| *answers);
    let mut sent = 0;
    for (address, _) in routes().into_iter().filter(|(_, sends)| *sends) {
        if decided(&address) == Some(Own) {
            continue;
        }
        for act in
            ["", "&act=mute", "&act=unmute", "&act=give-up", "&act=withdraw", "&act=finish", "&act=correct"]
        {
            let form =
                if act.is_empty() { form.to_owned() } else { form.replacen("act=acknowledge", &act[1..], 1) };
            let answer = send_form(&house.yard, "Sam", &house.aimed(&address), &form);
            sent += 1;
            assert!((400..500).contains(&status(&answer)), "{address}: {answer}");
            assert!(!answer.contains(SECRET), "{address}: {answer}");
        }
    }
    assert!(sent >= 40, "{sent} forms sent");
    assert_eq!(house.state(), before, "something that Sam sent arrived");
}

#[test]
fn programs_reach_no_record_of_another_property_by_its_key() {
    let broker = Mosquitto::start();
    let house = House::new(&broker);
    let sam = bearer(&key_of(&house.yard, "Sam", &["see", "attend", "plan"]));
    let maria = bearer(&key_of(&house.yard, "Maria", &["see"]));
    let before = house.state();
    let (_, description) = house.yard.call("GET", "/api/v1/openapi.json", &sam, &Value::Null);
    let (mut asked, mut shown) = (0, 0);
    for (path, item) in description["paths"].as_object().expect("paths") {
        if !path.contains('{') {
            continue;
        }
        let address = house.aimed(&path.replace("{number}", "1"));
        assert!(!address.contains('{'), "say what stands for the part of {path}");
        for method in item.as_object().expect("operations").keys() {
            let correction = json!({ "replaces": 1, "reason": "mine", "record":
                { "subject": { "basin": "secret-fig" }, "at": Clock::wall().now(), "work": [] } });
            let body = if method == "get" || method == "delete" { Value::Null } else { correction };
            let (status, answer) = house.yard.call(&method.to_uppercase(), &address, &sam, &body);
            let said = answer.to_string();
            asked += 1;
            assert!(
                (400..500).contains(&status) && !said.contains(SECRET),
                "{method} {address}: {status} {said}"
            );
            let seen = method == "get" && house.yard.call("GET", &address, &maria, &Value::Null).0 == 200;
            shown += usize::from(seen);
        }
    }
    assert!(asked >= 12 && shown >= 6, "{asked} asked, {shown} shown to who may see them");
    assert_eq!(house.state(), before, "something that Sam sent arrived");
}
