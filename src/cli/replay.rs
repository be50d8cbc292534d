//! `basinward replay`: a recording through the engine, without network or database.

use std::path::PathBuf;

use super::Failure;
use crate::model::EventTime;

/// Arguments of `replay`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  basinward replay --systems yards march.jsonl
  basinward record --out - --for 1d | basinward replay --systems yards --doses

A recording holds one JSON object a line, in order of `received`:
  {\"received\":\"2026-03-01T08:15:00Z\",\"topic\":\"greywater/yard/quince/float\",\"payload\":\"wet\"}

What comes out is one JSON object a line as well: findings as they are raised, updated and cleared, \
and a summary at the end. The exit code is 0 whatever was found; 2 with file and line if a file cannot be read.")]
pub struct ReplayArgs {
    /// Folder of the system files
    #[arg(long, value_name = "DIR")]
    pub systems: PathBuf,
    /// Print every dose and its shares too
    #[arg(long)]
    pub doses: bool,
    /// Print at the end when each basin's mulch will be due
    #[arg(long)]
    pub forecast: bool,
    /// Stop after the messages received up to and including this time, such as 2026-03-01T08:15:00Z
    #[arg(long, value_name = "TIME")]
    pub until: Option<EventTime>,
    /// Recording, JSON Lines [default: standard input]
    #[arg(value_name = "FILE")]
    pub recording: Option<PathBuf>,
}

/// Does the work.
pub(super) fn replay(_args: &ReplayArgs) -> Result<(), Failure> {
    Err(Failure::Failed("not built yet".into()))
}
