//! What several commands read: the settings and the system files.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::{Failure, Fault};
use crate::model::System;
use crate::settings::{Loaded, SettingFault, Settings, find_file};
use crate::systemfile;

/// The settings file to use.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct SettingsFile {
    /// Settings file [default: ./basinward.toml, else /etc/basinward/basinward.toml, else none]
    #[arg(long = "config", value_name = "FILE")]
    pub path: Option<PathBuf>,
}

impl SettingsFile {
    /// The file that will be read, if any.
    pub fn found(&self) -> Option<PathBuf> {
        find_file(self.path.as_deref())
    }

    /// Loads the settings from the file and the environment.
    ///
    /// # Errors
    /// Every fault found.
    pub fn load(&self) -> Result<Loaded, Vec<Fault>> {
        self.again().map_err(|faults| faults.into_iter().map(Fault::from).collect())
    }

    /// As [`SettingsFile::load`], for the log instead of a person at the command line.
    ///
    /// # Errors
    /// Every fault found.
    pub fn again(&self) -> Result<Loaded, Vec<SettingFault>> {
        let variables = std::env::vars_os()
            .map(|(name, value)| (name.to_string_lossy().into_owned(), value.to_string_lossy().into_owned()));
        Settings::load(self.found().as_deref(), variables)
    }
}

/// Reads every system file of `folder`; topics begin with `prefix`.
///
/// # Errors
/// Every fault found.
pub(super) fn read_systems(folder: &Path, prefix: &str) -> Result<Vec<Arc<System>>, Vec<Fault>> {
    systemfile::load_dir(folder, prefix).map_err(|faults| faults.into_iter().map(Fault::from).collect())
}

impl From<Vec<Fault>> for Failure {
    fn from(faults: Vec<Fault>) -> Self {
        Self::BadInput(faults)
    }
}
