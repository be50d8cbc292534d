//! `basinward backup`: a copy of the ledger, also while the daemon runs.

use std::path::PathBuf;

use super::{Failure, SettingsFile};

/// Arguments of `backup`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example:
  basinward backup /mnt/backup/ledger-2026-03-01.db

To restore, stop the daemon, remove ledger.db-wal and ledger.db-shm from the data folder, and put the copy in \
place of ledger.db there.")]
pub struct BackupArgs {
    /// File to write; it must not exist yet
    #[arg(value_name = "FILE")]
    pub to: PathBuf,
    /// Where the settings come from.
    #[command(flatten)]
    pub settings: SettingsFile,
}

/// Copies the ledger.
pub(super) fn backup(args: &BackupArgs) -> Result<(), Failure> {
    let loaded = args.settings.load()?;
    let size = crate::ledger::backup(&loaded.settings.folders.data, &args.to);
    let bytes = size.map_err(|fault| Failure::Failed(Box::new(fault)))?;
    println!("{} holds a checked copy, {bytes} bytes.", args.to.display());
    Ok(())
}
