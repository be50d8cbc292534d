//! A folder of system files of which some may be faulty: every good one is taken, every other one is named.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use serde_json::Value as Json;
use toml_edit::Value;

use super::Fault;
use super::edit::content;
use super::load::{ReadFile, in_order, read_all, sensors, toml_files};
use super::sensors::{Contest, FileSensors, contests};
use crate::model::{Id, System};

/// What a folder of system files comes to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Folder {
    /// The systems to watch, by their ids.
    pub systems: Vec<Arc<System>>,
    /// The files that cannot be taken, by their names.
    pub faulty: Vec<FaultyFile>,
}

/// A system file that cannot be taken as it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FaultyFile {
    /// The file, with its folder.
    pub file: String,
    /// The id of its system, if the file is called after one.
    pub id: Option<Id>,
    /// What its system is called, as far as that can be told.
    pub name: Option<String>,
    /// What its system belongs to, as far as that can be told.
    pub property: Option<Id>,
    /// All that is wrong.
    pub faults: Vec<Fault>,
    /// It is sound by itself, but hears a topic that a sensor of another file has.
    pub clashes: bool,
    /// Its system is watched all the same, by the plan from before the fault.
    pub watched: bool,
}

impl Folder {
    /// Ids of systems that are not watched only because their files are faulty.
    pub fn held(&self) -> impl Iterator<Item = &Id> {
        self.faulty.iter().filter(|file| !file.watched).filter_map(|file| file.id.as_ref())
    }
}

impl FaultyFile {
    /// Whether it is the file of the system called `id`.
    pub fn is_of(&self, id: &str) -> bool {
        self.id.as_ref().is_some_and(|known| known.as_str() == id)
    }

    /// What people call its system: its name, else its id, else its file.
    pub fn title(&self) -> &str {
        let id = self.id.as_ref().map(Id::as_str);
        self.name.as_deref().or(id).unwrap_or(&self.file)
    }
}

/// Reads every `*.toml` of a folder, each by itself.
///
/// Where two files cannot stand beside each other, because sensors of both hear one topic at one pointer, the faulty one
/// is that whose system is not one of those `in_force`, then that which has changed since, then that which states the
/// topic where the other hears it by default, then that whose name comes later. A system in force whose file has become
/// faulty goes on by its plan, unless somebody else has its topics by now.
///
/// # Errors
/// The folder cannot be read.
pub fn load_folder(dir: &Path, prefix: &str, in_force: &[Arc<System>]) -> Result<Folder, Fault> {
    let mut read = read_all(&toml_files(dir)?, None);
    let in_force: BTreeMap<&Id, &Arc<System>> = in_force.iter().map(|system| (&system.id, system)).collect();
    let mut folder = Folder::default();
    for file in read.extract_if(.., |file| !file.draft.faults.is_empty()) {
        let ReadFile { file, stem, draft, said } = file;
        folder.faulty.push(FaultyFile {
            file,
            id: stem,
            name: said.name,
            property: said.property,
            faults: draft.faults,
            clashes: false,
            watched: false,
        });
    }
    let clashes = clashes(&read, prefix, &in_force);
    for (file, mut faults) in read.into_iter().zip(clashes) {
        let ReadFile { file, stem, draft, .. } = file;
        let Some(system) = draft.system else { continue };
        if faults.is_empty() {
            folder.systems.push(Arc::new(system));
            continue;
        }
        faults.sort_by(in_order);
        folder.faulty.push(FaultyFile {
            file,
            id: stem,
            name: Some(system.name.clone()),
            property: Some(system.property.clone()),
            faults,
            clashes: true,
            watched: false,
        });
    }
    folder.faulty.sort_by(|a, b| a.file.cmp(&b.file));
    folder.keep(&in_force, prefix);
    folder.systems.sort_by(|a, b| a.id.cmp(&b.id));
    // They lie where the drafts lay, which were many times as large.
    folder.systems.shrink_to_fit();
    Ok(folder)
}

impl Folder {
    /// Goes on with systems in force whose files are faulty by now, as far as nobody has taken over one of their topics.
    fn keep(&mut self, in_force: &BTreeMap<&Id, &Arc<System>>, prefix: &str) {
        if !self.faulty.iter().any(|file| file.id.as_ref().is_some_and(|id| in_force.contains_key(id))) {
            return;
        }
        // What has not changed was in force beside them.
        let is_new = |system: &&Arc<System>| in_force.get(&system.id).is_none_or(|old| **old != **system);
        let mut taken: Vec<(String, String)> =
            self.systems.iter().filter(is_new).flat_map(|system| topics(system, prefix)).collect();
        taken.sort();
        for file in &mut self.faulty {
            let Some(&system) = file.id.as_ref().and_then(|id| in_force.get(id)) else { continue };
            file.name.get_or_insert_with(|| system.name.clone());
            file.property.get_or_insert_with(|| system.property.clone());
            file.watched = topics(system, prefix).all(|topic| taken.binary_search(&topic).is_err());
            if file.watched {
                self.systems.push(Arc::clone(system));
            }
        }
    }
}

/// Topics and pointers that the sensors of a system are heard at.
fn topics(system: &System, prefix: &str) -> impl Iterator<Item = (String, String)> {
    system.sensor_ixs().map(move |ix| {
        let pointer = system.sensor(ix).wiring.value.as_deref().unwrap_or("/value");
        (system.topic(ix, prefix), pointer.to_owned())
    })
}

/// Of each of `read`, all of them sound by themselves, what keeps it from standing beside those that go before it.
fn clashes(read: &[ReadFile], prefix: &str, in_force: &BTreeMap<&Id, &Arc<System>>) -> Vec<Vec<Fault>> {
    let files = sensors(read);
    let contests = contests(&files, Some(prefix));
    let mut faults: Vec<Vec<Fault>> = read.iter().map(|_| Vec::new()).collect();
    let mut involved: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (at, contest) in contests.iter().enumerate() {
        for (file, _) in &contest.hearers {
            involved.entry(*file).or_default().push(at);
        }
    }
    let mut order: Vec<usize> = involved.keys().copied().collect();
    order.sort_by_key(|&at| {
        let rank = read[at].draft.system.as_ref().map_or(2, |system| match in_force.get(&system.id) {
            Some(old) if ***old == *system => 0,
            Some(_) => 1,
            None => 2,
        });
        let states = involved[&at].iter().any(|contest| states(&contests[*contest], at));
        (rank, states, at)
    });
    let mut owners: Vec<Option<usize>> = vec![None; contests.len()];
    for at in order {
        let found = involved[&at]
            .iter()
            .flat_map(|&contest| against(&contests[contest], &files, at, owners[contest]));
        faults[at] = found.collect();
        if faults[at].is_empty() {
            for &contest in &involved[&at] {
                owners[contest] = contests[contest].hearers.iter().position(|(file, _)| *file == at);
            }
        }
    }
    faults
}

/// Whether a sensor of the file at `at` hears the contested topic because the file says so.
fn states(contest: &Contest<'_>, at: usize) -> bool {
    contest.hearers.iter().any(|(file, heard)| *file == at && heard.sensor.wiring.topic.is_some())
}

/// What is wrong with the sensors of the file at `at`, when the hearer at `owner` has the topic already; without one,
/// when the first of its own has it.
fn against(contest: &Contest<'_>, files: &[FileSensors<'_>], at: usize, owner: Option<usize>) -> Vec<Fault> {
    let mut own = (0..contest.hearers.len()).filter(|hearer| contest.hearers[*hearer].0 == at);
    let Some(owner) = owner.or_else(|| own.next()) else { return Vec::new() };
    own.map(|later| contest.fault(files, owner, later)).collect()
}

/// What a faulty file says of itself all the same.
#[derive(Default)]
pub(super) struct Said {
    name: Option<String>,
    property: Option<Id>,
}

impl Said {
    /// Of the file with this text, whose system is called `id`.
    pub(super) fn of(text: &str, id: Option<&Id>) -> Self {
        let whole = content(text).ok();
        let value = |key: &str| match &whole {
            Some(content) => content.get(key).and_then(Json::as_str).map(str::to_owned),
            None => line_of(text, key),
        };
        let property = match (value("property"), &whole) {
            // Left out, it is the system's id; where the file is no TOML, the line may be what is wrong.
            (None, Some(content)) if !content.contains_key("property") => id.cloned(),
            (property, _) => property.and_then(|property| Id::new(&property).ok()),
        };
        Self { name: value("name"), property }
    }
}

/// The text that a line before the first table gives `key`, in a file that is no TOML as a whole.
fn line_of(text: &str, key: &str) -> Option<String> {
    let mut lines = text.lines().take_while(|line| !line.trim_start().starts_with('['));
    lines.find_map(|line| {
        let value = line.trim_start().strip_prefix(key)?.trim_start().strip_prefix('=')?;
        value.trim().parse::<Value>().ok()?.as_str().map(str::to_owned)
    })
}
