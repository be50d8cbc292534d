//! `basinward replay`: a recording through the engine, without network or database.

use std::fs::File;
use std::io::{self, BufReader, BufWriter, stdin, stdout};
use std::path::{Path, PathBuf};

use super::input::read_systems;
use super::{Failure, Fault};
use crate::model::EventTime;
use crate::replay::{Options, ReplayFault, replay as play};

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
    /// First segments of every default topic
    #[arg(long, value_name = "PREFIX", default_value = "greywater")]
    pub prefix: String,
    /// Recording, JSON Lines [default: standard input]
    #[arg(value_name = "FILE")]
    pub recording: Option<PathBuf>,
}

/// Runs the recording and prints what the engine concludes.
pub(super) fn replay(args: &ReplayArgs) -> Result<(), Failure> {
    let systems = read_systems(&args.systems, &args.prefix)?;
    let options = Options { doses: args.doses, forecast: args.forecast, until: args.until };
    let mut out = BufWriter::with_capacity(1 << 16, stdout().lock());
    let (place, played) = match &args.recording {
        Some(path) => {
            let file = File::open(path).map_err(|error| unreadable(path, &error))?;
            let input = BufReader::with_capacity(1 << 16, file);
            (path.display().to_string(), play(&systems, &args.prefix, input, options, &mut out))
        }
        None => {
            ("standard input".to_owned(), play(&systems, &args.prefix, stdin().lock(), options, &mut out))
        }
    };
    played.map_err(|fault| match fault {
        ReplayFault::Recording { line, fault } => {
            let how = "write one JSON object a line, as `basinward record` does".to_owned();
            vec![Fault { place: format!("{place}:{line}"), what: fault.to_string(), how }].into()
        }
        ReplayFault::Output(error) => error.into(),
    })
}

fn unreadable(path: &Path, error: &io::Error) -> Vec<Fault> {
    let how = "name a file that exists and that you may read".to_owned();
    vec![Fault { place: path.display().to_string(), what: format!("cannot be opened: {error}"), how }]
}
