//! What `deploy/security.md` claims is held by a test, or says that it falls short and why.

use std::fs;
use std::path::Path;

/// Rows of all tables: the cells of each.
fn rows(text: &str) -> Vec<Vec<&str>> {
    let is_row = |line: &&str| line.starts_with('|') && !line.starts_with("|---");
    text.lines()
        .filter(is_row)
        .map(|line| line.trim_matches('|').split('|').map(str::trim).collect())
        .collect()
}

/// Paths of the source tree that a cell names.
fn named(cell: &str) -> impl Iterator<Item = &str> {
    let quoted = cell.split('`').skip(1).step_by(2);
    quoted.filter(|it| ["src/", "tests/", "deploy/"].iter().any(|root| it.starts_with(root)))
}

/// Whether a file, or one of a folder, tests something.
fn tests(path: &Path) -> bool {
    if path.is_dir() {
        let within = fs::read_dir(path).expect("a folder").flatten();
        return within.map(|entry| entry.path()).any(|path| tests(&path));
    }
    let text = fs::read_to_string(path).unwrap_or_default();
    let is_script = path.extension().is_none() && text.starts_with("#!");
    text.contains("#[test]") || text.contains("#[tokio::test]") || is_script
}

#[test]
fn what_is_called_met_names_a_test_that_is_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = include_str!("../deploy/security.md");
    let rows = rows(text);
    assert!(rows.len() > 40, "{} rows", rows.len());
    for row in &rows {
        let missing = row.iter().flat_map(|cell| named(cell)).find(|path| !root.join(path).exists());
        assert_eq!(missing, None, "named in {row:?}");
        let stands = row.last().expect("a row has cells");
        if stands.starts_with("met") {
            let held = named(stands).any(|path| tests(&root.join(path)));
            assert!(held, "nothing named tests this: {row:?}");
        }
    }
}

#[test]
fn what_falls_short_says_why_or_what_to_do() {
    let text = include_str!("../deploy/security.md");
    for row in rows(text) {
        let stands = row.last().expect("a row has cells");
        if let Some(why) = stands.strip_prefix("falls short") {
            assert!(why.split_whitespace().count() >= 4, "{row:?}");
        }
    }
}
