//! Everything that a form on a page does, a program can do as well.

use std::collections::BTreeSet;

use serde_json::Value;
use support::Mosquitto;

use crate::interface::{bearer, key_of};
use crate::isolation::routes;
use crate::rig::Yard;

/// How a program does what a form sent to an address does.
#[derive(Clone, Copy)]
enum Way {
    /// By these operations, method and path under `/api/v1`.
    By(&'static [&'static str]),
    /// Not at all, since it is about a browser that signs in, which a program does not do.
    SigningIn,
}

use Way::{By, SigningIn};

const WAYS: [(&str, Way); 17] = [
    ("/account/keys", By(&["post /keys"])),
    ("/account/keys/{no}/revoke", By(&["delete /keys/{number}"])),
    ("/account/password", SigningIn),
    ("/acknowledge/{signed}", By(&["post /alerts/steps"])),
    ("/alerts", By(&["post /alerts/steps"])),
    ("/calendar", By(&["post /calendar"])),
    ("/people", By(&["post /people"])),
    ("/people/{no}", By(&["put /people/{number}"])),
    ("/people/{no}/password", By(&["put /people/{number}/password"])),
    ("/people/{no}/remove", By(&["delete /people/{number}"])),
    (
        "/services/{key}",
        By(&["put /services/{key}", "post /services/{key}/withdraw", "post /services/{key}/photos"]),
    ),
    ("/sign-in", SigningIn),
    ("/sign-out", SigningIn),
    ("/systems/{id}/record", By(&["post /services"])),
    ("/systems/{id}/tests", By(&["post /systems/{id}/tests"])),
    ("/tests/{key}", By(&["post /tests/{key}/steps"])),
    ("/welcome", SigningIn),
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
    for (address, way) in WAYS {
        let By(operations) = way else { continue };
        for operation in operations {
            assert!(offered.contains(*operation), "{address}: nothing offers {operation}: {offered:?}");
        }
    }
}
