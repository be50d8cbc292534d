//! Reading the system files, at the start and again, and the settings again.

use std::path::Path;
use std::sync::Arc;

use tracing::{error, warn};

use crate::model::System;
use crate::settings::{Loaded, SettingFault, Settings};
use crate::systemfile;

/// All systems of the folder, checked as a whole.
pub(super) fn read(folder: &Path, prefix: &str) -> Result<Vec<Arc<System>>, Vec<systemfile::Fault>> {
    systemfile::load_dir(folder, prefix)
}

/// Reads the folder again; a set with any fault is refused whole, and every fault logged.
pub(super) fn reread(folder: &Path, prefix: &str) -> Option<Vec<Arc<System>>> {
    match read(folder, prefix) {
        Ok(systems) => Some(systems),
        Err(faults) => {
            for fault in &faults {
                error!(%fault, "fault in a system file");
            }
            error!(faults = faults.len(), "the system files are not taken over; the old ones stay in force");
            None
        }
    }
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
