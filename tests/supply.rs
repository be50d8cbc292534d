//! What comes in with the crates that the program is built from: one source, licences that we may pass on, and no
//! second version of a crate without a reason. `deploy/sbom` prints the bill of materials that goes with a build.

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

use serde_json::Value;

/// Licences under which a program may be passed on with the licence's text beside it (identifiers of SPDX).
const LICENCES: [&str; 15] = [
    "0BSD",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "BlueOak-1.0.0",
    "CDLA-Permissive-2.0",
    "ISC",
    "MIT",
    "MIT-0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
    "Apache-2.0 WITH LLVM-exception",
    "CC0-1.0",
];

/// Crates that matter for safety and must be there once: a second copy would miss half of every correction.
const ONCE: [&str; 5] = ["argon2", "ring", "rusqlite", "libsqlite3-sys", "lettre"];

/// Crates that the program contains in two versions or more, and why each is there.
const SEVERAL: [(&str, &[&str]); 4] = [
    (
        "the time-series client takes an HTTP client of the generation before: no newer one of it is to be had",
        &[
            "base64",
            "fallible-iterator",
            "http",
            "http-body",
            "hyper",
            "hyper-rustls",
            "parking_lot",
            "parking_lot_core",
            "rustls",
            "socket2",
            "syn",
            "sync_wrapper",
            "tokio-rustls",
        ],
    ),
    (
        "the MQTT client reads certificates by crates of its own",
        &["flume", "rustls-pemfile", "rustls-webpki"],
    ),
    (
        "password hashing has not moved to the generation of digests that the embedded broker takes",
        &["block-buffer", "cpufeatures", "crypto-common", "digest", "getrandom", "rand_core"],
    ),
    ("the snapshots' format supports both", &["embedded-io"]),
];

fn packages() -> Vec<Value> {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned());
    let manifest = concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml");
    let asked = ["metadata", "--format-version", "1", "--locked", "--manifest-path", manifest];
    let told = Command::new(cargo).args(asked).output().expect("cargo runs");
    assert!(told.status.success(), "{}", String::from_utf8_lossy(&told.stderr));
    let told: Value = serde_json::from_slice(&told.stdout).expect("it says JSON");
    told["packages"].as_array().expect("packages").clone()
}

/// Whether one of the choices that a licence expression gives is ours in all its parts. Old manifests write `/` for
/// `OR`; parentheses group a choice that is part of a conjunction.
fn is_ours(expression: &str) -> bool {
    let plain = expression.replace(" / ", " OR ").replace('/', " OR ");
    let (mut depth, mut parts, mut part) = (0, Vec::new(), String::new());
    for word in plain.replace('(', " ( ").replace(')', " ) ").split_whitespace() {
        depth += i32::from(word == "(") - i32::from(word == ")");
        match word {
            "(" | ")" => {}
            "AND" if depth == 0 => parts.push(std::mem::take(&mut part)),
            word => {
                part.push_str(word);
                part.push(' ');
            }
        }
    }
    parts.push(part);
    let mut parts = parts.iter();
    parts.all(|part| {
        part.split(" OR ").any(|choice| choice.split(" AND ").all(|it| LICENCES.contains(&it.trim())))
    })
}

#[test]
fn licence_expressions_are_understood() {
    for ours in [
        "MIT",
        "MIT/Apache-2.0",
        "MIT OR LGPL-2.1-or-later",
        "(GPL-3.0 OR MIT) AND ISC",
        "Apache-2.0 AND ISC",
    ] {
        assert!(is_ours(ours), "{ours}");
    }
    for not in ["GPL-3.0", "MIT AND GPL-3.0", "(GPL-3.0 OR AGPL-3.0) AND MIT", ""] {
        assert!(!is_ours(not), "{not}");
    }
}

#[test]
fn every_crate_may_be_passed_on_and_comes_from_the_one_registry() {
    let mut sources = BTreeSet::new();
    for package in packages() {
        let name = package["name"].as_str().expect("a name");
        let licence = package["license"].as_str().unwrap_or_default();
        assert!(
            is_ours(licence),
            "{name} is under `{licence}`: look at it, and leave it out or add to LICENCES"
        );
        match package["source"].as_str() {
            Some(source) => {
                assert!(source.starts_with("registry+"), "{name} comes from {source}, which nobody checks");
                sources.insert(source.to_owned());
            }
            // Part of this workspace.
            None => assert!(["basinward", "simulators", "support"].contains(&name), "{name} lies outside"),
        }
    }
    assert_eq!(sources.len(), 1, "{sources:?}");
}

#[test]
fn crates_that_matter_for_safety_are_there_once() {
    let mut versions: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for package in packages() {
        let (name, version) = (package["name"].as_str(), package["version"].as_str());
        let of = versions.entry(name.expect("a name").to_owned()).or_default();
        of.push(version.expect("a version").to_owned());
    }
    for name in ONCE {
        assert_eq!(versions.get(name).map(Vec::len), Some(1), "{name}: {:?}", versions.get(name));
    }
}

/// What `deploy/sbom` says: components by name and version, with the digest of each.
fn bill() -> BTreeMap<(String, String), Option<String>> {
    let program = concat!(env!("CARGO_MANIFEST_DIR"), "/deploy/sbom");
    let told = Command::new("python3").arg(program).output().expect("Python runs");
    assert!(told.status.success(), "{}", String::from_utf8_lossy(&told.stderr));
    let bill: Value = serde_json::from_slice(&told.stdout).expect("it says JSON");
    // CycloneDX 1.5 (ECMA-424 has its successor): these two tell what a file is.
    assert_eq!((bill["bomFormat"].as_str(), bill["specVersion"].as_str()), (Some("CycloneDX"), Some("1.5")));
    let text = |value: &Value| value.as_str().map(str::to_owned);
    let component = |it: &Value| {
        let name = (text(&it["name"]).expect("a name"), text(&it["version"]).expect("a version"));
        (name, text(&it["hashes"][0]["content"]))
    };
    bill["components"].as_array().expect("components").iter().map(component).collect()
}

#[test]
fn the_bill_of_materials_names_every_crate_by_the_digest_that_the_lock_file_holds_it_to() {
    let lock = include_str!("../Cargo.lock");
    let bill = bill();
    for ((name, version), digest) in &bill {
        let entry = lock
            .split("[[package]]")
            .find(|entry| entry.contains(&format!("\nname = \"{name}\"\nversion = \"{version}\"\n")));
        let entry = entry.unwrap_or_else(|| panic!("{name} {version} is not locked"));
        match digest {
            Some(digest) => assert!(entry.contains(&format!("checksum = \"{digest}\"")), "{name} {version}"),
            None => assert_eq!(name, "simulators", "it has no digest"),
        }
    }
    for name in ONCE.iter().chain(&["tokio", "rustls", "axum", "rumqttc"]) {
        assert!(bill.keys().any(|(known, _)| known == name), "{name} is missing");
    }
    assert!(!bill.keys().any(|(name, _)| name == "proptest" || name == "criterion"), "tests are not shipped");
}

#[test]
fn no_crate_is_there_twice_without_a_reason() {
    let mut versions: BTreeMap<String, usize> = BTreeMap::new();
    for (name, _) in bill().into_keys() {
        *versions.entry(name).or_default() += 1;
    }
    let several: BTreeSet<&str> =
        versions.iter().filter(|(_, count)| **count > 1).map(|(name, _)| name.as_str()).collect();
    let known: BTreeSet<&str> = SEVERAL.iter().flat_map(|(_, names)| names.iter().copied()).collect();
    assert_eq!(several, known, "those on the left come in twice, those on the right are said to");
}
