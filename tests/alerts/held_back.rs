//! What people are not told, for a while or in the end: at work in the yard, or no channel that gets through.

use std::process::Command;

use basinward::alerts::Deed;
use basinward::ledger::DeliveryState;
use serde_json::{Value, json};
use support::{Mosquitto, Process, Reaction, Sink, free_port, until};

use crate::house::{House, event, now_s};
use crate::other_clock::OtherClock;
use crate::rig::{PATIENCE, Yard};

fn settings(sink: &Sink) -> String {
    format!(
        "[alerts]\ngive_up_after_h = 1\n[channels.hook]\nkind = \"webhook\"\nurl = \"{}\"\n\
         [contacts.desk]\nchannels = [\"hook\"]\n[routes.floods]\ntell = [\"desk\"]\nseverity = \"critical\"\n",
        sink.url()
    )
}

/// What an owner's browser brings along.
fn signed_in(yard: &Yard) -> String {
    yard.let_in("Olga", "owner", &[]);
    let cookie = yard.sign_in("Olga");
    let page = yard.ask(&format!("GET /account HTTP/1.1\r\nCookie: {cookie}\r\n"), "");
    let csrf = page.split("name=\"csrf\" content=\"").nth(1).and_then(|rest| rest.split('"').next());
    format!("Cookie: {cookie}\r\nX-CSRF-Token: {}\r\n", csrf.expect("the page carries it"))
}

#[test]
fn whoever_works_at_a_system_hears_nothing_of_it_until_the_work_is_done() {
    let sink = Sink::start();
    let house = House::new(2, &settings(&sink));
    let olga = signed_in(&house.yard);
    let call = |method, body: &Value| house.yard.call(method, "/api/v1/systems/yard-0/mute", &olga, body);
    assert_eq!(call("PUT", &json!({ "hours": 13, "reason": "clear the outlets" })).0, 422);
    assert_eq!(call("PUT", &json!({ "hours": 2, "reason": " " })).0, 422);
    assert_eq!(call("PUT", &json!({ "hours": 2, "reason": "clear the outlets" })).0, 204);
    let (_, muted) = call("GET", &Value::Null);
    assert_eq!(
        (&muted["muted"]["by"], &muted["muted"]["reason"]),
        (&json!("Olga"), &json!("clear the outlets"))
    );

    house.overflow(0, "quince", true);
    house.overflow(1, "quince", true);
    until(PATIENCE, "the other system is told of", || sink.taken() == 1 && house.floods().len() == 2);
    assert_eq!(event(&sink.posts()[0])["subject"], "yard-1/basin:quince");
    let page = house.yard.page("/systems/yard-0");
    assert!(page.contains("Olga is at work here until") && page.contains("clear the outlets"), "{page}");

    assert_eq!(call("DELETE", &Value::Null).0, 204);
    until(PATIENCE, "what still stands is told", || sink.taken() == 2);
    assert_eq!(event(&sink.posts()[1])["subject"], "yard-0/basin:quince");
    assert_eq!(call("GET", &Value::Null).1["muted"], Value::Null);
    let alert =
        house.floods().into_iter().find(|alert| alert.system.as_str() == "yard-0").expect("it stands");
    assert_eq!(house.deeds(alert.no), [(None, Deed::Opened)], "muting is no step of an alert");
}

#[test]
fn maintenance_mode_ends_by_itself() {
    let Some(clock) = OtherClock::found() else { return };
    let (broker, sink) = (Mosquitto::start(), Sink::start());
    let yard = clock.drive(Yard::new(1).listening_to(broker.port()));
    yard.write("basinward.toml", &settings(&sink));
    let _daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);
    let olga = signed_in(&yard);
    let work = json!({ "hours": 1, "reason": "clear the outlets" });
    assert_eq!(yard.call("PUT", "/api/v1/systems/yard-0/mute", &olga, &work).0, 204);
    flood(&broker);
    until(PATIENCE, "it is an alert", || yard.view().planning_facts().is_ok_and(|facts| !facts.is_empty()));
    clock.goes_ahead_by("59m");
    std::thread::sleep(std::time::Duration::from_secs(5));
    assert_eq!(sink.posts().len(), 0, "nobody is told within the hour");
    clock.goes_ahead_by("61m");
    until(PATIENCE, "what still stands is told", || sink.taken() == 1);
}

/// The overflow float of a basin has been wet for two minutes.
fn flood(broker: &Mosquitto) {
    for time in [now_s() - 110, now_s() + 20] {
        broker
            .publish("greywater/yard-0/quince/overflow", json!({ "value": "wet", "time": time }).to_string());
    }
}

#[test]
fn a_message_that_never_gets_through_is_given_up_after_its_time_and_shown() {
    let Some(clock) = OtherClock::found() else { return };
    let (broker, sink) = (Mosquitto::start(), Sink::start());
    sink.will(std::iter::repeat_n(Reaction::Answer(503), 200));
    let yard = clock.drive(Yard::new(1).listening_to(broker.port()));
    yard.write("basinward.toml", &settings(&sink));
    let _daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);
    flood(&broker);
    let trouble = || yard.view().deliveries_in_trouble(9).expect("reads");
    until(PATIENCE, "it is in trouble", || !trouble().is_empty());
    assert!(matches!(trouble()[0].state, DeliveryState::Waiting { .. }), "{:?}", trouble()[0]);
    clock.goes_ahead_by("62m");
    until(PATIENCE, "it is given up", || matches!(trouble()[0].state, DeliveryState::Dead { .. }));
    assert_eq!(yard.times_logged("a message is given up"), 1);
    let listed =
        Command::new(env!("CARGO_BIN_EXE_basinward")).arg("notify").current_dir(yard.path()).output();
    let listed = String::from_utf8(listed.expect("runs").stdout).expect("text");
    assert!(listed.contains("to desk by hook") && listed.contains("given up at"), "{listed}");
    assert!(listed.contains("503 Service Unavailable: the other side has trouble of its own"), "{listed}");
    let tries = sink.posts().len();
    clock.goes_ahead_by("3h");
    std::thread::sleep(std::time::Duration::from_secs(4));
    assert_eq!(sink.posts().len(), tries, "it is not tried again");
}

#[test]
fn a_webhook_goes_over_https_and_a_test_says_why_it_does_not() {
    let folder = tempfile::tempdir().expect("a folder");
    let made = support::Certificates::make(folder.path());
    let (port, taken) = (free_port(), folder.path().join("taken"));
    let _server = Process::start(
        Command::new("python3")
            .arg("tests/alerts/hook.py")
            .args([port.to_string(), taken.display().to_string()])
            .args([made.path("server.pem"), made.path("server.key")]),
    );
    let yard = Yard::new(1);
    let test = |more: &str, port: u16| {
        yard.write(
            "basinward.toml",
            &format!(
                "[channels.hook]\nkind = \"webhook\"\nurl = \"https://localhost:{port}/hook\"\nsecret = \"whsec_c2VjcmV0\"\n{more}\n\
                 [channels.bell]\nkind = \"command\"\nprogram = \"ring\"\n\
                 [contacts.ana]\nchannels = [\"hook\", \"bell\"]\n[routes.all]\ntell = [\"ana\"]\n"
            ),
        );
        notify(&yard, "hook")
    };
    let ring = yard.path().join("ring");
    std::fs::write(&ring, "#!/bin/sh\necho no power >&2\nexit 3\n").expect("writes");
    let trusting = format!("ca_file = \"{}\"", made.path("ca.pem").display());
    until(PATIENCE, "the server takes a test", || test(&trusting, port).0);
    let event: Value = serde_json::from_str(&std::fs::read_to_string(&taken).expect("reads")).expect("JSON");
    assert_eq!((&event["type"], &event["specversion"]), (&json!("basinward.test"), &json!("1.0")));

    let (sent, said) = test("", port);
    assert!(!sent && said.contains("certificate") && said.contains("ca_file"), "{said}");
    let (sent, said) = test(&trusting, free_port());
    assert!(!sent && said.contains("check the host and port in `url`"), "{said}");
    assert_eq!(said.matches("Connection refused").count(), 1, "said once: {said}");

    let (sent, said) = notify(&yard, "bell");
    assert!(!sent && said.contains("check that it is there and may be executed"), "{said}");
    let executable = std::os::unix::fs::PermissionsExt::from_mode(0o755);
    std::fs::set_permissions(&ring, executable).expect("may be run");
    let (sent, said) = notify(&yard, "bell");
    assert!(!sent && said.contains("ended with exit status: 3; it said: no power"), "{said}");
}

fn notify(yard: &Yard, channel: &str) -> (bool, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_basinward"));
    let ended = command.args(["notify", "--test", channel]).current_dir(yard.path()).output().expect("runs");
    let said = String::from_utf8_lossy(&ended.stdout).into_owned() + &String::from_utf8_lossy(&ended.stderr);
    (ended.status.success(), said)
}
