//! Invariants of the source tree that the compiler does not check.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// Which modules each module may use. Imports run one way; DEVELOPERS.md draws the same map.
const MAY_USE: [(&str, &[&str]); 24] = [
    ("model", &[]),
    ("stats", &[]),
    ("secrets", &[]),
    ("flowtest", &["model", "stats"]),
    ("alerts", &["model"]),
    ("advice", &["model"]),
    ("upkeep", &["advice", "model"]),
    ("settings", &["alerts", "model", "upkeep"]),
    ("clock", &["model"]),
    ("telemetry", &["settings"]),
    ("systemfile", &["model"]),
    ("intake", &["model"]),
    ("engine", &["model", "stats"]),
    ("fleet", &["engine", "intake", "model"]),
    ("replay", &["advice", "engine", "fleet", "model"]),
    ("ledger", &["alerts", "engine", "flowtest", "model", "secrets", "upkeep"]),
    ("schedule", &["clock", "flowtest", "ledger", "model", "telemetry", "upkeep"]),
    ("backoff", &[]),
    ("link", &["backoff", "clock"]),
    ("notify", &["advice", "alerts", "clock", "ledger", "link", "model", "secrets", "settings", "telemetry"]),
    ("export", &["alerts", "backoff", "clock", "engine", "ledger", "model", "stats", "telemetry"]),
    (
        "desk",
        &[
            "advice",
            "alerts",
            "clock",
            "export",
            "flowtest",
            "intake",
            "ledger",
            "model",
            "notify",
            "schedule",
            "secrets",
            "settings",
            "stats",
            "systemfile",
            "telemetry",
            "upkeep",
        ],
    ),
    (
        "run",
        &[
            "clock",
            "desk",
            "engine",
            "export",
            "fleet",
            "flowtest",
            "ledger",
            "link",
            "model",
            "notify",
            "schedule",
            "secrets",
            "settings",
            "systemfile",
            "telemetry",
            "upkeep",
        ],
    ),
    (
        "cli",
        &[
            "alerts",
            "clock",
            "intake",
            "ledger",
            "link",
            "model",
            "notify",
            "replay",
            "run",
            "schedule",
            "secrets",
            "settings",
            "systemfile",
            "telemetry",
            "upkeep",
        ],
    ),
];

/// Modules that decide, and therefore ask nobody: no clock, file, socket, thread, async or SQL.
const DECIDE: [&str; 9] =
    ["model", "stats", "advice", "alerts", "upkeep", "intake", "engine", "fleet", "replay"];

const OUTSIDE: [&str; 8] = [
    "std::fs",
    "std::net",
    "std::thread",
    "std::time::SystemTime",
    "std::time::Instant",
    "std::env",
    "tokio",
    "rusqlite",
];

fn rust_files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("the folder is there") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            rust_files(&path, found);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
}

/// The code of each top module of src/, by module and file, without comments and unit tests.
fn sources() -> BTreeMap<String, Vec<(PathBuf, String)>> {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    rust_files(&src, &mut files);
    let test_modules = test_modules(&files);
    let mut sources: BTreeMap<String, Vec<(PathBuf, String)>> = BTreeMap::new();
    for path in files.into_iter().filter(|path| !test_modules.contains(path)) {
        let inside = path.strip_prefix(&src).expect("it lies in src");
        let top = inside.components().next().expect("it has a name").as_os_str().to_string_lossy();
        let module = top.trim_end_matches(".rs").to_owned();
        let text = fs::read_to_string(&path).expect("it is text");
        let text = text.split("#[cfg(test)]\nmod tests {").next().unwrap_or_default();
        let code = text.lines().filter(|line| !line.trim_start().starts_with("//")).collect::<Vec<_>>();
        sources.entry(module).or_default().push((inside.to_owned(), code.join("\n")));
    }
    sources
}

/// Files that are compiled for tests only: `#[cfg(test)] mod name;` stands above them.
fn test_modules(files: &[PathBuf]) -> BTreeSet<PathBuf> {
    let mut found = BTreeSet::new();
    for path in files {
        let text = fs::read_to_string(path).expect("it is text");
        for after in text.split("#[cfg(test)]\nmod ").skip(1) {
            if let Some((name, _)) = after.split_once(';').filter(|(name, _)| !name.contains(['{', '\n'])) {
                found.insert(path.with_file_name(format!("{name}.rs")));
            }
        }
    }
    found
}

/// What follows each `crate::` in `code`; nothing where a brace does, which would hide names from this test.
fn used(code: &str) -> impl Iterator<Item = &str> {
    code.split("crate::").skip(1).map(|rest| {
        let end = rest.find(|c: char| !c.is_ascii_alphanumeric() && c != '_').unwrap_or(rest.len());
        &rest[..end]
    })
}

#[test]
fn imports_run_one_way() {
    let may_use = BTreeMap::from(MAY_USE);
    let mut wrong = Vec::new();
    for (module, files) in sources() {
        let Some(allowed) = may_use.get(module.as_str()) else {
            assert!(["lib", "main"].contains(&module.as_str()), "src/{module} has no place in the map");
            continue;
        };
        for (path, code) in files {
            let foreign =
                used(&code).filter(|name| name.is_empty() || (may_use.contains_key(name) && *name != module));
            wrong.extend(
                foreign
                    .filter(|name| !allowed.contains(name))
                    .map(|name| format!("src/{} uses `crate::{name}`", path.display())),
            );
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn the_map_has_no_circle() {
    let order: Vec<&str> = MAY_USE.iter().map(|(module, _)| *module).collect();
    for (at, (module, uses)) in MAY_USE.iter().enumerate() {
        for name in *uses {
            assert!(order[..at].contains(name), "{module} uses {name}, which stands below it");
        }
    }
}

#[test]
fn what_decides_asks_nobody() {
    let sources = sources();
    for module in DECIDE {
        for (path, code) in &sources[module] {
            for name in OUTSIDE {
                assert!(!code.contains(name), "src/{} touches {name}", path.display());
            }
        }
    }
}

#[test]
fn the_developers_map_names_every_module() {
    let developers = include_str!("../DEVELOPERS.md");
    for (module, _) in MAY_USE {
        assert!(developers.contains(&format!("| `{module}` |")), "{module} is not in the map");
    }
}
