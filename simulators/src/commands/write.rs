//! `simulators write`

use std::path::PathBuf;

use simulators::record;
use simulators::scenario::Library;

use super::{Done, progress};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Name of a scenario, or path of a scenario file
    scenario: String,
    /// Seed of all random draws; the same seed gives the same bytes
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Directory for recording.jsonl, systems/ and truth.jsonl
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
}

/// Writes one scenario.
pub(super) fn run(args: &Args) -> Done {
    let scenario = Library::shipped().load(&args.scenario)?;
    let bar = progress::bar(&scenario.name, scenario.duration.days_begun(), "days");
    let messages = record::write(&scenario, args.seed, &args.out, &mut |days| bar.set_position(days))?;
    bar.finish_and_clear();
    println!("{messages} messages written to {}", args.out.join("recording.jsonl").display());
    Ok(())
}
