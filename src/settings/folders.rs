//! `[folders]`: where things lie on disk.

use std::path::PathBuf;

use serde::Deserialize;

use super::{Kind, Section, Setting};

/// Where things lie on disk.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Folders {
    /// Folder of the system files.
    pub systems: PathBuf,
    /// Folder of the ledger.
    pub data: PathBuf,
}

pub(super) const SECTION: Section = Section {
    name: "folders",
    meaning: "Where things lie on disk. Relative paths start at the folder of this file",
    settings: &[
        Setting {
            key: "systems",
            kind: Kind::Path,
            default: "systems",
            meaning: "Folder of the system files, one <id>.toml a system",
        },
        Setting {
            key: "data",
            kind: Kind::Path,
            default: "data",
            meaning: "Folder of the ledger; only one daemon may use it at a time",
        },
    ],
};
