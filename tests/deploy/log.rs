//! Whatever the log warns of, the operator's guide says what to do about, and it names nothing else.

use std::fs;
use std::path::Path;

const GUIDE: &str = include_str!("../../deploy/README.md");

/// All Rust source below `folder`.
fn sources(folder: &Path, found: &mut Vec<String>) {
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, found);
        } else {
            found.push(fs::read_to_string(path).expect("text"));
        }
    }
}

/// The texts in quotes before the parenthesis closes that `code` begins inside of.
fn quoted(code: &str) -> Vec<&str> {
    let (mut texts, mut depth, mut begun) = (Vec::new(), 1, None);
    let mut chars = code.char_indices();
    while let Some((at, c)) = chars.next() {
        match (c, begun) {
            ('\\', Some(_)) => drop(chars.next()),
            ('"', Some(from)) => {
                texts.push(&code[from..at]);
                begun = None;
            }
            ('"', None) => begun = Some(at + 1),
            ('(', None) => depth += 1,
            (')', None) if depth == 1 => break,
            (')', None) => depth -= 1,
            _ => {}
        }
    }
    texts
}

/// The message of every warning and error: the last text of its macro.
fn messages(source: &str) -> impl Iterator<Item = &str> {
    let calls = ["warn!(", "error!("].into_iter().flat_map(move |call| source.split(call).skip(1));
    calls.filter_map(|code| quoted(code).pop())
}

/// The texts in the first column of the table of log messages.
fn explained() -> Vec<&'static str> {
    let (_, section) = GUIDE.split_once("## What the log means").expect("the section is there");
    let section = section.split("\n## ").next().unwrap_or_default();
    let cells = section.lines().filter_map(|line| line.strip_prefix("| `")?.split(" | ").next());
    cells.flat_map(|cell| cell.split('`').step_by(2)).collect()
}

#[test]
fn whatever_the_log_warns_of_has_a_row_in_the_guide() {
    let mut all = Vec::new();
    sources(Path::new("src"), &mut all);
    let said: Vec<&str> = all.iter().flat_map(|source| messages(source)).collect();
    let explained = explained();
    assert!(said.len() > 30 && explained.len() > 25, "found: {} and {}", said.len(), explained.len());
    for message in &said {
        assert!(explained.iter().any(|text| message.starts_with(text)), "no row explains: {message}");
    }
    for text in explained {
        assert!(all.iter().any(|source| source.contains(text)), "nothing says any more: {text}");
    }
}
