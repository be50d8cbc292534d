//! The layer of the environment: `BASINWARD__SECTION__KEY`.

use std::path::Path;

use super::kind::Raw;
use super::layer::Gathered;
use super::nearest::nearest;
use super::{Origin, SECTIONS, Section, What};

/// What every variable that is meant for the settings begins with.
pub(super) const PREFIX: &str = "BASINWARD__";

/// Reads the variables that begin with [`PREFIX`]; others are none of our business.
pub(super) fn gather(variables: impl Iterator<Item = (String, String)>, base: &Path) -> Gathered {
    let mut ours: Vec<(String, String)> = variables.filter(|(name, _)| name.starts_with(PREFIX)).collect();
    ours.sort(); // the system gives them in no particular order; faults should come in one
    let mut gathered = Gathered::default();
    for (name, value) in ours {
        let origin = Origin::Environment(name.clone());
        let found = SECTIONS.iter().find_map(|section| {
            let key = name.strip_prefix(&variable(section, ""))?;
            let lower = key.to_ascii_lowercase();
            (key == lower.to_ascii_uppercase())
                .then(|| gathered.find(section, &lower, &origin))
                .flatten()
                .map(|found| (section, found))
        });
        if let Some((section, found)) = found {
            gathered.take(section, found, Raw::Bare(&value), origin, base);
        } else {
            gathered.fault(origin, What::UnknownKey { advice: advice(&name), key: name });
        }
    }
    gathered
}

/// The variable that sets `key` of `section`.
fn variable(section: &Section, key: &str) -> String {
    format!("{PREFIX}{}__{}", section.name.to_ascii_uppercase(), key.to_ascii_uppercase())
}

fn advice(name: &str) -> String {
    let known: Vec<String> =
        SECTIONS.iter().flat_map(|section| section.keys().map(move |key| variable(section, &key))).collect();
    match nearest(&name.to_ascii_uppercase(), known.iter().map(String::as_str)) {
        Some(meant) => format!("did you mean {meant}?"),
        None => format!("unset it; `check --explain` lists every key, and {PREFIX}SECTION__KEY sets one"),
    }
}
