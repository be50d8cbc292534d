//! Reading system files from disk.

use std::fs::{self, File};
use std::io::Read as _;
use std::num::NonZero;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread;

use super::Fault;
use super::parse::{Draft, parse};
use super::sensors::{FileSensors, shared_topics};
use crate::model::System;

/// Largest system file, in bytes.
const LARGEST: u64 = 1 << 20;
/// Files that are worth a thread of their own.
const A_SHARE: usize = 64;

/// Reads one system file.
///
/// # Errors
/// Every fault of the file; one fault without a line if it cannot be read.
pub fn load_file(path: &Path) -> Result<System, Vec<Fault>> {
    let file = path.display().to_string();
    let text = read_text(path, &file).map_err(|fault| vec![fault])?;
    parse(&file, &text)
}

/// Reads every `*.toml` of a folder as one set, sorted by id.
///
/// `prefix` is what default topics begin with: no two sensors of the set may hear the same topic
/// at the same pointer. Ids are unique because each equals its file's name.
///
/// # Errors
/// Every fault of every file.
pub fn load_dir(dir: &Path, prefix: &str) -> Result<Vec<Arc<System>>, Vec<Fault>> {
    load(dir, prefix, None)
}

/// As [`load_dir`], as if the file at `path` of that folder held `text` already, or were not there.
///
/// # Errors
/// Every fault of every file.
pub fn load_dir_with(
    dir: &Path,
    prefix: &str,
    path: &Path,
    text: Option<&str>,
) -> Result<Vec<Arc<System>>, Vec<Fault>> {
    load(dir, prefix, Some((path, text)))
}

/// A file that counts as changed: its path, and its text if it is to be there.
type Instead<'a> = Option<(&'a Path, Option<&'a str>)>;

fn load(dir: &Path, prefix: &str, instead: Instead<'_>) -> Result<Vec<Arc<System>>, Vec<Fault>> {
    let mut faults = Vec::new();
    let mut drafts: Vec<(String, Draft)> = Vec::new();
    let mut paths = toml_files(dir).map_err(|fault| vec![fault])?;
    if let Some((path, text)) = instead {
        match (paths.binary_search_by(|known| known.as_path().cmp(path)), text) {
            (Err(at), Some(_)) => paths.insert(at, path.to_owned()),
            (Ok(at), None) => drop(paths.remove(at)),
            (Ok(_), Some(_)) | (Err(_), None) => {}
        }
    }
    for (file, read) in read_all(&paths, instead) {
        match read {
            Ok(mut draft) => {
                faults.append(&mut draft.faults);
                drafts.push((file, draft));
            }
            Err(fault) => faults.push(fault),
        }
    }
    let sensors: Vec<FileSensors<'_>> = drafts
        .iter()
        .map(|(file, draft)| FileSensors { file, system: draft.id.as_ref(), heard: &draft.heard })
        .collect();
    faults.extend(shared_topics(&sensors, Some(prefix)));
    if !faults.is_empty() {
        faults.sort_by(|a, b| (&a.file, a.line, a.column).cmp(&(&b.file, b.line, b.column)));
        return Err(faults);
    }
    let mut systems: Vec<_> =
        drafts.into_iter().filter_map(|(_, draft)| draft.system.map(Arc::new)).collect();
    // It lies where the drafts lay, which were many times as large.
    systems.shrink_to_fit();
    systems.sort_by(|a, b| a.id.cmp(&b.id));
    Ok(systems)
}

/// Reads and parses the files, in their order, on every processor: of a large portfolio this is most of the start.
fn read_all(paths: &[PathBuf], instead: Instead<'_>) -> Vec<(String, Result<Draft, Fault>)> {
    let read = |path: &PathBuf| {
        let file = path.display().to_string();
        let text = match instead {
            Some((known, Some(text))) if known == path => Ok(text.to_owned()),
            _ => read_text(path, &file),
        };
        let draft = text.map(|text| Draft::read(&file, &text));
        (file, draft)
    };
    let threads = thread::available_parallelism().map_or(1, NonZero::get);
    let share = paths.len().div_ceil(threads).max(A_SHARE);
    thread::scope(|scope| {
        let parts: Vec<_> = paths
            .chunks(share)
            .map(|part| scope.spawn(|| part.iter().map(read).collect::<Vec<_>>()))
            .collect();
        parts.into_iter().flat_map(|part| part.join().expect("reading does not panic")).collect()
    })
}

fn toml_files(dir: &Path) -> Result<Vec<PathBuf>, Fault> {
    let fault = |error: std::io::Error| {
        let what = format!("the folder of system files cannot be read: {error}");
        Fault::of_file(&dir.display().to_string(), what, "check its path and permissions")
    };
    let mut files = Vec::new();
    for entry in fs::read_dir(dir).map_err(fault)? {
        let path = entry.map_err(fault)?.path();
        if path.extension().is_some_and(|extension| extension == "toml") {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}

fn read_text(path: &Path, file: &str) -> Result<String, Fault> {
    let unreadable = |error: std::io::Error| {
        Fault::of_file(file, format!("this cannot be read: {error}"), "check its path and permissions")
    };
    let mut bytes = Vec::new();
    File::open(path)
        .and_then(|opened| opened.take(LARGEST + 1).read_to_end(&mut bytes))
        .map_err(unreadable)?;
    if bytes.len() as u64 > LARGEST {
        return Err(Fault::of_file(
            file,
            "this is larger than 1 MiB",
            "a system file describes one system only",
        ));
    }
    String::from_utf8(bytes).map_err(|_| Fault::of_file(file, "this is not UTF-8 text", "save it as UTF-8"))
}
