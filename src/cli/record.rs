//! `basinward record`: what the sensors send, written down for `replay`.

use std::path::PathBuf;

use super::{Failure, SettingsFile};
use crate::model::Span;

/// Arguments of `record`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  basinward record --out today.jsonl --for 1d
  basinward record --out - | head

It listens at the broker of the settings beside the daemon, under a name of its own, and takes nothing \
away from it. Ctrl-C ends the recording.")]
pub struct RecordArgs {
    /// File to write, or - for standard output; a file that is there already is added to
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// How long to record, such as 90s, 15m, 6h or 2d [default: until Ctrl-C]
    #[arg(long = "for", value_name = "DURATION")]
    pub duration: Option<Span>,
    /// Folder of the system files, for the topics that they name [default: as in the settings]
    #[arg(long, value_name = "DIR")]
    pub systems: Option<PathBuf>,
    /// Where the settings come from.
    #[command(flatten)]
    pub settings: SettingsFile,
}

/// Does the work.
pub(super) fn record(_args: &RecordArgs) -> Result<(), Failure> {
    Err(Failure::Failed("not built yet".into()))
}
