//! Reading system files from disk.

use std::ffi::OsStr;
use std::fs::{self, File};
use std::io::Read as _;
use std::num::NonZero;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread;

use super::Fault;
use super::folder::Said;
use super::parse::{Draft, parse};
use super::sensors::{FileSensors, contests, shared_topics};
use crate::model::{Id, System};

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
    let mut read = read_all(&toml_files(dir).map_err(|fault| vec![fault])?, None);
    let mut faults: Vec<Fault> =
        read.iter_mut().flat_map(|it| std::mem::take(&mut it.draft.faults)).collect();
    faults.extend(shared_topics(&sensors(&read), Some(prefix)));
    if !faults.is_empty() {
        faults.sort_by(in_order);
        return Err(faults);
    }
    let mut systems: Vec<_> = read.into_iter().filter_map(|it| it.draft.system.map(Arc::new)).collect();
    // It lies where the drafts lay, which were many times as large.
    systems.shrink_to_fit();
    systems.sort_by(|a, b| a.id.cmp(&b.id));
    Ok(systems)
}

/// Whether the file at `path` could hold `text` beside the other files of its folder `dir`, faulty ones among them.
///
/// # Errors
/// Every fault of that file, and every sensor of another one that could not be heard beside it.
pub fn fits(dir: &Path, prefix: &str, path: &Path, text: &str) -> Result<(), Vec<Fault>> {
    let mut paths = toml_files(dir).map_err(|fault| vec![fault])?;
    let at = match paths.binary_search_by(|known| known.as_path().cmp(path)) {
        Ok(at) => at,
        Err(at) => {
            paths.insert(at, path.to_owned());
            at
        }
    };
    let mut read = read_all(&paths, Some((path, text)));
    let mut faults = std::mem::take(&mut read[at].draft.faults);
    let files = sensors(&read);
    for contest in contests(&files, Some(prefix)) {
        let is_own = |hearer: &usize| contest.hearers[*hearer].0 == at;
        let blamed = (1..contest.hearers.len()).filter(|later| is_own(&0) || is_own(later));
        faults.extend(blamed.map(|later| contest.fault(&files, 0, later)));
    }
    faults.sort_by(in_order);
    if faults.is_empty() { Ok(()) } else { Err(faults) }
}

/// By file and place.
pub(super) fn in_order(a: &Fault, b: &Fault) -> std::cmp::Ordering {
    (&a.file, a.line, a.column).cmp(&(&b.file, b.line, b.column))
}

/// A file as far as it could be read.
pub(super) struct ReadFile {
    pub(super) file: String,
    /// The id of its system, if it is called after one.
    pub(super) stem: Option<Id>,
    pub(super) draft: Draft,
    /// What a faulty file says of itself all the same.
    pub(super) said: Said,
}

/// What is needed of each file to tell topics that are heard twice.
pub(super) fn sensors(read: &[ReadFile]) -> Vec<FileSensors<'_>> {
    let mut files = Vec::with_capacity(read.len());
    for ReadFile { file, draft, .. } in read {
        files.push(FileSensors { file, system: draft.id.as_ref(), heard: &draft.heard });
    }
    files
}

/// Reads and parses the files, in their order, on every processor: of a large portfolio this is most of the start. The
/// one at the path of `instead` counts as holding its text.
pub(super) fn read_all(paths: &[PathBuf], instead: Option<(&Path, &str)>) -> Vec<ReadFile> {
    let read = |path: &PathBuf| {
        let file = path.display().to_string();
        let text = match instead {
            Some((known, text)) if known == path => Ok(text.to_owned()),
            _ => read_text(path, &file),
        };
        let stem = path.file_stem().and_then(OsStr::to_str).and_then(|stem| Id::new(stem).ok());
        let mut said = Said::default();
        let draft = match text {
            Ok(text) => {
                let draft = Draft::read(&file, &text);
                if !draft.faults.is_empty() {
                    said = Said::of(&text, stem.as_ref());
                }
                draft
            }
            Err(fault) => Draft { faults: vec![fault], ..Draft::default() },
        };
        ReadFile { file, stem, draft, said }
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

pub(super) fn toml_files(dir: &Path) -> Result<Vec<PathBuf>, Fault> {
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
