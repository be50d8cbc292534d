//! What comes in with the crates that the program is built from: one source, licences that we may pass on, and no
//! second version of a crate without a reason. `cargo tree --locked --prefix none --format '{p} {l}'` prints the bill
//! of materials that goes with a build.

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

fn packages() -> Vec<Value> {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned());
    let manifest = concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml");
    let asked = ["metadata", "--format-version", "1", "--locked", "--offline", "--manifest-path", manifest];
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
