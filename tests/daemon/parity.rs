//! Everything that a form on a page does, a program can do as well.

use std::collections::BTreeSet;

use serde_json::Value;
use support::Mosquitto;

use crate::interface::{bearer, key_of};
use crate::isolation::routes;
use crate::rig::Yard;

/// The address of a form, and the operations by which a program does the same: method and path under `/api/v1`.
const WAYS: [(&str, &[&str]); 19] = [
    ("/account/keys", &["post /keys"]),
    ("/account/keys/{no}/revoke", &["delete /keys/{number}"]),
    ("/account/password", &["put /me/password"]),
    ("/acknowledge/{signed}", &["post /alerts/steps"]),
    ("/alerts", &["post /alerts/steps"]),
    ("/calendar", &["post /calendar"]),
    ("/people", &["post /people"]),
    ("/people/{no}", &["put /people/{number}"]),
    ("/people/{no}/password", &["put /people/{number}/password"]),
    ("/people/{no}/remove", &["delete /people/{number}"]),
    (
        "/services/{key}",
        &["put /services/{key}", "post /services/{key}/withdraw", "post /services/{key}/photos"],
    ),
    ("/setup/{id}/retire", &["post /systems/{id}/retire", "post /systems/{id}/file/undo"]),
    ("/sign-in", &["post /session"]),
    ("/sign-out", &["delete /session"]),
    ("/systems/{id}/mute", &["put /systems/{id}/mute", "delete /systems/{id}/mute"]),
    ("/systems/{id}/record", &["post /services"]),
    ("/systems/{id}/tests", &["post /systems/{id}/tests"]),
    ("/tests/{key}", &["post /tests/{key}/steps"]),
    ("/welcome", &["post /first-owner"]),
];

#[test]
fn what_a_form_does_a_program_can_do() {
    let broker = Mosquitto::start();
    let yard = Yard::new(1).listening_to(broker.port());
    let _daemon = yard.start();
    yard.let_in("Maria", "owner", &[]);
    let maria = bearer(&key_of(&yard, "Maria", &["see"]));
    let (status, description) = yard.call("GET", "/api/v1/openapi.json", &maria, &Value::Null);
    assert_eq!(status, 200);
    let paths = description["paths"].as_object().expect("paths");
    let offered: BTreeSet<String> = paths
        .iter()
        .flat_map(|(path, item)| {
            let path = path.trim_start_matches("/api/v1");
            let methods: Vec<_> = item.as_object().expect("operations").keys().collect();
            methods.into_iter().map(move |method| format!("{method} {path}"))
        })
        .collect();

    let forms: BTreeSet<String> =
        routes().into_iter().filter_map(|(address, sends)| sends.then_some(address)).collect();
    let decided: BTreeSet<String> = WAYS.iter().map(|(address, _)| (*address).to_owned()).collect();
    assert_eq!(forms, decided, "say in WAYS how a program does what each form does");
    for (address, operations) in WAYS {
        for operation in operations {
            assert!(offered.contains(*operation), "{address}: nothing offers {operation}: {offered:?}");
        }
    }
}
