//! System files on disk: checked as a whole set, written at one stroke, with the previous version kept.

use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use serde_json::{Map, Value as Json};
use tokio::sync::{Mutex, mpsc, oneshot};

use crate::desk::problem::{FieldFault, Problem};
use crate::model::{Id, System};
use crate::secrets::digest_text;
use crate::systemfile;

/// The folder of system files, and how the daemon is told that it changed.
#[derive(Clone, Debug)]
pub struct SystemFolder {
    /// Where the files are.
    pub folder: PathBuf,
    /// What default topics begin with.
    pub prefix: String,
    /// Asks the daemon to read the files again; answered when it has.
    pub changed: mpsc::Sender<oneshot::Sender<()>>,
}

/// One change at a time: what was checked is what is written.
#[derive(Debug, Default)]
pub(in crate::desk) struct Turn(pub(super) Mutex<()>);

/// A system file as it is.
#[derive(Debug)]
pub(in crate::desk) struct File {
    /// Its keys.
    pub(in crate::desk) content: Map<String, Json>,
    /// Changes with every change of the file.
    pub(in crate::desk) version: String,
    /// There is a version before this one.
    pub(in crate::desk) can_undo: bool,
}

/// A change that would do.
#[derive(Debug)]
pub(in crate::desk) struct Checked {
    pub(in crate::desk) text: String,
    pub(in crate::desk) system: System,
}

impl SystemFolder {
    pub(super) fn path(&self, id: &Id) -> PathBuf {
        self.folder.join(format!("{id}.toml"))
    }

    /// Where the previous version lies; not one of the files that are read as systems.
    fn before(&self, id: &Id) -> PathBuf {
        self.folder.join(format!("{id}.toml.before"))
    }

    pub(super) fn text(&self, id: &Id) -> Result<Option<String>, Problem> {
        match fs::read_to_string(self.path(id)) {
            Ok(text) => Ok(Some(text)),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(error) => Err(Problem::failed(format!("the system file cannot be read: {error}"))),
        }
    }

    /// The file of the system `id`, if there is one.
    pub(in crate::desk) fn read(&self, id: &Id) -> Result<Option<File>, Problem> {
        let Some(text) = self.text(id)? else { return Ok(None) };
        let content = systemfile::content(&text).map_err(Problem::conflict)?;
        Ok(Some(File { content, version: digest_text(text.as_bytes()), can_undo: self.before(id).exists() }))
    }

    /// Checks what `change` would make of the file of `id`, beside all others. `tell_others` names them where they stand
    /// against it, which only those may read who see every property.
    pub(in crate::desk) async fn check(
        &self,
        id: &Id,
        change: &Map<String, Json>,
        tell_others: bool,
    ) -> Result<Checked, Problem> {
        let present = self.text(id)?;
        if present.is_none() && self.is_retired(id) {
            let detail =
                "a retired system has this short name: bring that back, or take another one".to_owned();
            let fault = FieldFault { pointer: "/id".to_owned(), detail };
            return Err(Problem::wrong_fields("some fields need another look", vec![fault]));
        }
        let text = systemfile::edit(&present.unwrap_or_default(), change).map_err(Problem::conflict)?;
        let system =
            systemfile::parse(&format!("{id}.toml"), &text).map_err(|faults| told(&text, &faults))?;
        if let Err(faults) = self.fits(id, &text).await {
            let name = self.path(id).display().to_string();
            let (here, elsewhere): (Vec<_>, Vec<_>) =
                faults.into_iter().partition(|fault| fault.file == name);
            if here.is_empty() || !tell_others {
                let says = "a topic of this system is heard by a sensor of another one already".to_owned();
                let names: Vec<String> = elsewhere.iter().map(ToString::to_string).collect();
                let tells = tell_others && !names.is_empty();
                return Err(Problem::wrong(if tells {
                    format!("{says}: {}", names.join("; "))
                } else {
                    says
                }));
            }
            return Err(told(&text, &here));
        }
        Ok(Checked { text, system })
    }

    /// Whether the file of `id` could hold `text` beside all others; reading them may take its time.
    pub(super) async fn fits(&self, id: &Id, text: &str) -> Result<(), Vec<systemfile::Fault>> {
        let (folder, prefix) = (self.folder.clone(), self.prefix.clone());
        let (path, text) = (self.path(id), text.to_owned());
        tokio::task::spawn_blocking(move || systemfile::fits(&folder, &prefix, &path, &text))
            .await
            .expect("reading files does not panic and is not aborted")
    }

    /// Writes `text` as the file of `id`; what was there becomes the previous version.
    fn write(&self, id: &Id, text: &str) -> io::Result<()> {
        let path = self.path(id);
        if let Ok(old) = fs::read(&path) {
            replace(&self.folder, &self.before(id), &old)?;
        }
        replace(&self.folder, &path, text.as_bytes())
    }

    /// Tells the daemon, and waits until it has read the files.
    pub(super) async fn tell(&self) {
        let (done, told) = oneshot::channel();
        if self.changed.send(done).await.is_ok() {
            // A daemon that is ending reads them when it is back.
            let _ = told.await;
        }
    }

    /// Writes a checked change. `expected` is the version that it was made from, none for a new file.
    pub(in crate::desk) async fn save(
        &self,
        turn: &Turn,
        id: &Id,
        expected: Option<&str>,
        check: impl Future<Output = Result<Checked, Problem>>,
    ) -> Result<System, Problem> {
        let _turn = turn.0.lock().await;
        let version = self.text(id)?.map(|text| digest_text(text.as_bytes()));
        match (version.as_deref(), expected) {
            (Some(_), None) => {
                return Err(Problem::conflict("a system with this id exists already: choose another id"));
            }
            (version, expected) if version != expected => {
                return Err(Problem::conflict("somebody has changed this system meanwhile: load it again"));
            }
            _ => {}
        }
        let checked = check.await?;
        self.write(id, &checked.text).map_err(|error| unwritable(&error))?;
        self.tell().await;
        Ok(checked.system)
    }

    /// Goes back to the version before, which can be undone in turn.
    pub(in crate::desk) async fn undo(
        &self,
        turn: &Turn,
        id: &Id,
        may: impl Fn(&System) -> bool,
    ) -> Result<System, Problem> {
        let _turn = turn.0.lock().await;
        let text = fs::read_to_string(self.before(id))
            .map_err(|_| Problem::conflict("there is no version before this one"))?;
        let system =
            systemfile::parse(&format!("{id}.toml"), &text).map_err(|faults| told(&text, &faults))?;
        if !may(&system) {
            return Err(Problem::forbidden("the version before belongs to a property beyond your reach"));
        }
        let fits = self.fits(id, &text).await;
        fits.map_err(|_| Problem::conflict("the version before no longer goes with the other systems"))?;
        self.write(id, &text).map_err(|error| unwritable(&error))?;
        self.tell().await;
        Ok(system)
    }
}

pub(super) fn unwritable(error: &io::Error) -> Problem {
    Problem::failed(format!(
        "the system file cannot be written: {error}; check that the daemon may write in its folder"
    ))
}

pub(super) fn told(text: &str, faults: &[systemfile::Fault]) -> Problem {
    let fields = faults.iter().map(|fault| FieldFault {
        pointer: systemfile::pointer_of(text, fault),
        detail: format!("{}: {}", fault.what.replace('`', ""), fault.how.replace('`', "")),
    });
    Problem::wrong_fields("some fields need another look", fields.collect())
}

/// Puts a file in place at one stroke: after a crash there is the old one or the new one.
fn replace(folder: &Path, path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut fresh = tempfile::NamedTempFile::new_in(folder)?;
    fresh.write_all(bytes)?;
    if let Ok(old) = fs::metadata(path) {
        fresh.as_file().set_permissions(old.permissions())?;
    } else {
        readable(fresh.as_file())?;
    }
    fresh.as_file().sync_all()?;
    fresh.persist(path).map_err(|error| error.error)?;
    fs::File::open(folder)?.sync_all()
}

/// A temporary file is for its owner alone; system files are for people to read.
fn readable(file: &fs::File) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt as _;
    file.set_permissions(fs::Permissions::from_mode(0o644))
}
