//! Reading the system files, at the start and again, and the settings again.

use std::path::Path;
use std::sync::Arc;

use tracing::{error, warn};

use crate::model::System;
use crate::settings::{Loaded, SettingFault, Settings};
use crate::systemfile::{self, Folder};

/// Every system of the folder that can be watched, beside those `in_force`; all that is wrong with the others is logged.
///
/// # Errors
/// The folder cannot be read.
pub(super) fn read(
    folder: &Path,
    prefix: &str,
    in_force: &[Arc<System>],
) -> Result<Folder, systemfile::Fault> {
    let folder = systemfile::load_folder(folder, prefix, in_force)?;
    for faulty in &folder.faulty {
        for fault in &faulty.faults {
            error!(%fault, "fault in a system file");
        }
        let system = faulty.title();
        if faulty.watched {
            warn!(%system, "goes on by the plan from before, until its file is mended");
        } else {
            error!(%system, "is not watched until its file is mended");
        }
    }
    Ok(folder)
}

/// As [`read`], while others are in force; nothing where the folder cannot be read.
pub(super) fn reread(folder: &Path, prefix: &str, in_force: &[Arc<System>]) -> Option<Folder> {
    let read = read(folder, prefix, in_force);
    read.inspect_err(|fault| {
        error!(%fault, "the system files are not taken over; the old ones stay in force");
    })
    .ok()
}

/// The settings as read again; with any fault they are refused whole, and every fault logged.
pub(super) fn settings(read: Result<Loaded, Vec<SettingFault>>) -> Option<Settings> {
    match read {
        Ok(loaded) => {
            loaded.old_names.iter().for_each(|old_name| warn!(%old_name, "the settings use an old name"));
            Some(loaded.settings)
        }
        Err(faults) => {
            for fault in &faults {
                error!(%fault, "fault in the settings");
            }
            error!(faults = faults.len(), "the settings are not taken over; the old ones stay in force");
            None
        }
    }
}
