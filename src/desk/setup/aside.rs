//! Systems that are retired: their files lie aside, under a name that is not read as a system, and can come back.

use std::ffi::OsStr;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use super::store::{SystemFolder, Turn, told, unwritable};
use crate::desk::problem::Problem;
use crate::model::{Id, System};
use crate::secrets::digest_text;
use crate::systemfile;

/// What the name of a retired system's file ends with, after that of its file.
const ASIDE: &str = ".retired";

impl SystemFolder {
    fn aside(&self, id: &Id) -> PathBuf {
        self.folder.join(format!("{id}.toml{ASIDE}"))
    }

    /// Whether a retired system has this id.
    pub(super) fn is_retired(&self, id: &Id) -> bool {
        // Who wrote another file under its name by hand uses that one.
        self.aside(id).exists() && !self.path(id).exists()
    }

    /// The retired system called `id`, if there is one and its file can still be read.
    pub(super) fn retired(&self, id: &Id) -> Option<System> {
        let text = fs::read_to_string(self.aside(id)).ok().filter(|_| self.is_retired(id))?;
        systemfile::parse(&format!("{id}.toml"), &text).ok()
    }

    /// Every retired system whose file can still be read, in order.
    pub(super) fn all_retired(&self) -> Vec<System> {
        let id_of = |name: &OsStr| Id::new(name.to_str()?.strip_suffix(ASIDE)?.strip_suffix(".toml")?).ok();
        // A folder that cannot be read is told of where systems are changed.
        let entries = fs::read_dir(&self.folder).into_iter().flatten().flatten();
        let mut ids: Vec<Id> = entries.filter_map(|entry| id_of(&entry.file_name())).collect();
        ids.sort();
        ids.iter().filter_map(|id| self.retired(id)).collect()
    }

    /// Lays the file of `id` aside at one stroke. `expected` is the version that somebody looked at; `end` is done when
    /// the file is aside and the daemon still watches.
    pub(super) async fn retire(
        &self,
        turn: &Turn,
        id: &Id,
        expected: Option<&str>,
        end: impl Future<Output = ()>,
    ) -> Result<(), Problem> {
        let _turn = turn.0.lock().await;
        let Some(text) = self.text(id)? else {
            return Err(Problem::conflict("this system is retired already"));
        };
        if expected.is_some_and(|expected| expected != digest_text(text.as_bytes())) {
            return Err(Problem::conflict("somebody has changed this system meanwhile: look at it again"));
        }
        if systemfile::parse(&format!("{id}.toml"), &text).is_err() {
            // Laid aside, nobody could tell any more what it is.
            return Err(Problem::conflict("its system file cannot be read; mend it before it is retired"));
        }
        rename(&self.folder, &self.path(id), &self.aside(id)).map_err(|error| unwritable(&error))?;
        end.await;
        self.tell().await;
        Ok(())
    }

    /// Puts the file of a retired system back.
    pub(super) async fn bring_back(
        &self,
        turn: &Turn,
        id: &Id,
        may: impl Fn(&System) -> bool,
    ) -> Result<System, Problem> {
        let _turn = turn.0.lock().await;
        if self.text(id)?.is_some() {
            return Err(Problem::conflict("this system is not retired"));
        }
        let text = fs::read_to_string(self.aside(id))
            .map_err(|_| Problem::not_found("no retired system in your reach has this id"))?;
        let system =
            systemfile::parse(&format!("{id}.toml"), &text).map_err(|faults| told(&text, &faults))?;
        if !may(&system) {
            return Err(Problem::not_found("no retired system in your reach has this id"));
        }
        self.fits(id, &text).await.map_err(|_| {
            Problem::conflict(
                "it no longer goes with the other systems: one of its topics is heard by another sensor now",
            )
        })?;
        rename(&self.folder, &self.aside(id), &self.path(id)).map_err(|error| unwritable(&error))?;
        self.tell().await;
        Ok(system)
    }
}

/// Gives a file another name for good: after a crash it has the old one or the new one.
fn rename(folder: &Path, from: &Path, to: &Path) -> io::Result<()> {
    fs::rename(from, to)?;
    fs::File::open(folder)?.sync_all()
}

#[cfg(test)]
mod tests {
    use tokio::sync::mpsc;

    use super::*;

    const FILE: &str = "# by the wall\nid = \"east\"\nname = \"East\"\ntimezone = \"UTC\"\nsoil = \"loam\"\n[[basin]]\nid = \"fig\"\narea_m2 = 1\n";

    fn folder() -> (tempfile::TempDir, SystemFolder, Id) {
        let place = tempfile::tempdir().unwrap();
        fs::write(place.path().join("east.toml"), FILE).unwrap();
        // Nobody listens: as with a daemon that is ending.
        let (changed, _) = mpsc::channel(1);
        let folder =
            SystemFolder { folder: place.path().to_owned(), prefix: "greywater".to_owned(), changed };
        (place, folder, Id::new("east").unwrap())
    }

    #[tokio::test]
    async fn what_is_retired_comes_back_to_the_letter_with_the_version_before() {
        let (place, folder, east) = folder();
        fs::write(place.path().join("east.toml.before"), "older").unwrap();
        let turn = Turn::default();
        folder.retire(&turn, &east, None, async { assert!(folder.is_retired(&east)) }).await.unwrap();
        assert!(folder.read(&east).unwrap().is_none());
        assert_eq!(folder.all_retired().len(), 1);
        assert!(systemfile::load_dir(place.path(), "greywater").unwrap().is_empty());
        let again = folder.retire(&turn, &east, None, async {}).await;
        assert_eq!(again.unwrap_err().detail(), "this system is retired already");
        folder.bring_back(&turn, &east, |_| true).await.unwrap();
        assert_eq!(fs::read_to_string(place.path().join("east.toml")).unwrap(), FILE);
        assert_eq!(fs::read_to_string(place.path().join("east.toml.before")).unwrap(), "older");
        assert!(folder.all_retired().is_empty());
    }

    #[tokio::test]
    async fn a_change_in_between_a_fault_or_somebody_else_s_reach_stop_it_and_a_faulty_neighbour_does_not() {
        let (place, folder, east) = folder();
        let turn = Turn::default();
        let stale = folder.retire(&turn, &east, Some("another version"), async { panic!("not yet") }).await;
        assert!(stale.unwrap_err().detail().contains("meanwhile"));
        fs::write(place.path().join("east.toml"), FILE.replace("loam", "lome")).unwrap();
        let faulty = folder.retire(&turn, &east, None, async { panic!("not yet") }).await;
        assert!(faulty.unwrap_err().detail().contains("mend it"));
        fs::write(place.path().join("east.toml"), FILE).unwrap();
        fs::write(place.path().join("west.toml"), "id = ").unwrap();
        folder.retire(&turn, &east, None, async {}).await.unwrap();
        assert!(folder.bring_back(&turn, &east, |_| false).await.is_err());
        assert!(folder.is_retired(&east));
        folder.bring_back(&turn, &east, |_| true).await.unwrap();
    }

    #[tokio::test]
    async fn a_new_system_does_not_take_the_place_of_a_retired_one() {
        let (_place, folder, east) = folder();
        folder.retire(&Turn::default(), &east, None, async {}).await.unwrap();
        let change = systemfile::content(FILE).unwrap();
        let refused = folder.check(&east, &change, true).await.unwrap_err();
        assert!(format!("{refused:?}").contains("retired"), "{refused:?}");
    }
}
