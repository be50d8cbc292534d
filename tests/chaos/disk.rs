//! What the disk holds when the power fails, or the process is killed, at a moment of our choice.

use std::fs;
use std::path::{Path, PathBuf};

use tempfile::TempDir;

use crate::chance::Chance;

const DATABASE: &str = "ledger.db";
const LOG: &str = "ledger.db-wal";
/// Written in one go or not at all.
const SECTOR: usize = 512;
/// The header of the log is brought to the disk before anything that follows it
/// (<https://www.sqlite.org/fileformat2.html#walformat>, section 4.1, has its length).
const LOG_HEADER: usize = 32;

/// The ledger's files as they are.
#[derive(Clone)]
pub(crate) struct Image {
    database: Vec<u8>,
    log: Vec<u8>,
}

impl Image {
    pub(crate) fn of(folder: &Path) -> Self {
        let read = |name| fs::read(folder.join(name)).unwrap_or_default();
        Self { database: read(DATABASE), log: read(LOG) }
    }

    /// What is left where the power failed between this and `after`, before the commit in between was brought to the
    /// disk as a whole: each sector of the log is there or is not.
    pub(crate) fn torn(&self, after: &Self, chance: &mut Chance) -> Self {
        // The log was emptied into the database in between, and that begins only once the commit is on the disk.
        if self.database != after.database {
            return after.clone();
        }
        let mut log = self.log.clone();
        log.resize(after.log.len().max(log.len()), 0);
        let header = LOG_HEADER.min(after.log.len());
        log[..header].copy_from_slice(&after.log[..header]);
        let often = chance.unit();
        for (new, old) in after.log[header..].chunks(SECTOR).zip(log[header..].chunks_mut(SECTOR)) {
            if chance.happens(often) {
                old[..new.len()].copy_from_slice(new);
            }
        }
        Self { database: self.database.clone(), log }
    }

    /// Puts it on a disk of its own.
    pub(crate) fn put_down(&self) -> TempDir {
        let folder = folder();
        fs::write(folder.path().join(DATABASE), &self.database).expect("a disk that works");
        if !self.log.is_empty() {
            fs::write(folder.path().join(LOG), &self.log).expect("a disk that works");
        }
        folder
    }
}

/// An empty folder, in memory where there is one: what the disk does is played here, and waiting for a real one
/// teaches nothing.
pub(crate) fn folder() -> TempDir {
    let memory = PathBuf::from("/dev/shm");
    let made = if memory.is_dir() { TempDir::new_in(memory) } else { TempDir::new() };
    made.expect("a folder for a run")
}
