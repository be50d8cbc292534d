//! One daemon a folder.

use std::fs::{File, TryLockError};
use std::io::{Read, Seek, Write};
use std::path::Path;

use super::LedgerFault;

const NAME: &str = "ledger.lock";

/// Holds the folder until dropped, or until the process ends in whatever way.
#[derive(Debug)]
pub(super) struct FolderLock {
    file: File,
}

impl FolderLock {
    /// Takes the lock, or says who has it.
    pub(super) fn take(folder: &Path) -> Result<Self, LedgerFault> {
        let path = folder.join(NAME);
        let fault = |doing| {
            let path = path.clone();
            move |source| LedgerFault::File { doing, path, source }
        };
        let mut file = File::options()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .map_err(fault("open"))?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut holder = String::new();
                // Without a readable number the message just lacks it.
                let _ = file.read_to_string(&mut holder);
                let holder = holder.trim().parse().ok();
                return Err(LedgerFault::Locked { folder: folder.to_owned(), holder });
            }
            Err(TryLockError::Error(source)) => return Err(fault("lock")(source)),
        }
        file.set_len(0)
            .and_then(|()| file.rewind())
            .and_then(|()| writeln!(file, "{}", std::process::id()))
            .map_err(fault("write"))?;
        Ok(Self { file })
    }
}

/// Closing the file would do, but for a process that is just being started: until it runs its own
/// program, it has a copy of the open file, and with it the lock.
impl Drop for FolderLock {
    fn drop(&mut self) {
        // If this fails, closing the file still releases the lock.
        let _ = self.file.unlock();
    }
}
