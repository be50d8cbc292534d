//! `basinward backup`: a copy of the ledger, also while the daemon runs.

use std::path::PathBuf;

use super::{Failure, SettingsFile};

/// Arguments of `backup`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example:
  basinward backup /mnt/backup/ledger-2026-03-01.db

To restore, stop the daemon and put the copy in place of the ledger in the data folder.")]
pub struct BackupArgs {
    /// File to write; it must not exist yet
    #[arg(value_name = "FILE")]
    pub to: PathBuf,
    /// Where the settings come from.
    #[command(flatten)]
    pub settings: SettingsFile,
}

/// Does the work.
pub(super) fn backup(_args: &BackupArgs) -> Result<(), Failure> {
    Err(Failure::Failed("not built yet".into()))
}
