//! `simulators plot`

use std::fs;
use std::path::PathBuf;

use simulators::fault::Moment;
use simulators::picture::{Frame, picture};
use simulators::plot::plot;
use simulators::scenario::Library;
use simulators::score::daemon::Daemon;
use simulators::span::Span;

use super::{Done, progress};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Name of a scenario, or path of a scenario file
    scenario: String,
    /// Seed of all random draws
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// First day to show
    #[arg(long, value_name = "DAY", default_value_t = 0.0)]
    from: f64,
    /// Days to show [default: to the end]
    #[arg(long)]
    days: Option<f64>,
    /// Picture to write
    #[arg(long, value_name = "FILE.svg")]
    out: PathBuf,
    /// Mark what the daemon finds
    #[arg(long)]
    findings: bool,
    /// The daemon's program [default: basinward beside this program]
    #[arg(long, value_name = "FILE", requires = "findings")]
    daemon: Option<PathBuf>,
}

/// Draws one scenario.
pub(super) fn run(args: &Args) -> Done {
    let scenario = Library::shipped().load(&args.scenario)?;
    let last_ms = scenario.end_ms();
    let from_ms = Moment::Days(args.from).at_ms(scenario.start_ms).clamp(scenario.start_ms, last_ms - 1);
    let until_ms =
        args.days.map_or(last_ms, |days| Moment::Days(days).at_ms(from_ms)).clamp(from_ms + 1, last_ms);
    let findings = if args.findings {
        Daemon::find(args.daemon.as_deref())?.hear(&scenario, args.seed, None)?.1.findings
    } else {
        Vec::new()
    };
    let bar = progress::bar(&scenario.name, Span::from_ms(until_ms - scenario.start_ms).days_begun(), "days");
    let input = picture(&scenario, args.seed, Frame { from_ms, until_ms }, &findings, &mut |days| {
        bar.set_position(days);
    })?;
    bar.finish_and_clear();
    fs::write(&args.out, plot(&input))?;
    println!("drawn in {}", args.out.display());
    Ok(())
}
