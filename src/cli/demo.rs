//! `basinward demo`: invented yards, live, without setting anything up.

use std::path::PathBuf;
use std::sync::Arc;

use super::{Failure, Fault};
use crate::model::{Span, System};
use crate::run::{DemoOptions, Made, Watching};
use crate::settings::{Level, Log, Settings};
use crate::telemetry::start_logging;
use crate::upkeep::{Day, TaskKey};

/// Arguments of `demo`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  basinward demo
  basinward demo --year                a year in which every visit of the plan was made, and the present after it
  basinward demo --speed 60            a simulated hour a minute: time to look around
  basinward demo --folder ~/yards      keep the folder, and go on from there next time
  basinward demo --speed 1 --config demo.toml
                                       tell the contacts that demo.toml names of what happens

Of the settings, the demonstration heeds how alerts are told and what is kept; it brings its own broker, \
folders and address.")]
pub struct DemoArgs {
    /// Folder for system files and ledger [default: a temporary one, removed at the end]
    #[arg(long, value_name = "DIR")]
    pub folder: Option<PathBuf>,
    /// Settings file, for its channels, contacts and routes [default: none, nobody is told]
    #[arg(long = "config", value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Make up a year in which the plan was kept to: mulch renewed, splitters levelled and proved by flow tests, all of
    /// it written down. Afterwards the yards heed what you write down
    #[arg(long)]
    pub year: bool,
    /// How many times faster than real time the yards live; 1440 is a day a minute [default: 1440, with --year 60]
    #[arg(long, value_name = "N", value_parser = speed)]
    pub speed: Option<f64>,
    /// Port of the pages on this machine
    #[arg(long, value_name = "N", default_value_t = 8480)]
    pub port: u16,
    /// Seed of chance: the same seed gives the same yards and the same weather
    #[arg(long, value_name = "N", default_value_t = 7)]
    pub seed: u64,
    /// Days of history to make up before the pages open [default: 60, with --year 365]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(0..=730))]
    pub backfill_days: Option<u16>,
}

fn speed(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(speed) if (0.1..=100_000.0).contains(&speed) => Ok(speed),
        _ => Err("write a number from 0.1 to 100000".to_owned()),
    }
}

/// Shows the demonstration until Ctrl-C.
pub(super) fn demo(args: &DemoArgs) -> Result<(), Failure> {
    let loaded = Settings::load(args.config.as_deref(), std::iter::empty())
        .map_err(|faults| Failure::BadInput(faults.into_iter().map(Fault::from).collect()))?;
    start_logging(&Log { level: Level::Warn, ..loaded.settings.log.clone() })?;
    let temporary = args.folder.is_none().then(tempfile::tempdir).transpose()?;
    let folder = match (&args.folder, &temporary) {
        (Some(folder), _) => folder.clone(),
        (None, Some(temporary)) => temporary.path().to_owned(),
        (None, None) => unreachable!("a temporary folder was made just now"),
    };
    let days = i64::from(args.backfill_days.unwrap_or(if args.year { 365 } else { 60 }));
    let options = DemoOptions {
        folder,
        speed: args.speed.unwrap_or(if args.year { 60.0 } else { 1440.0 }),
        port: args.port,
        seed: args.seed,
        past: Span::from_days(days),
        tended: args.year,
    };
    println!("Making up {days} days of history …");
    let watching = Watching {
        visit: |made: &Made, systems: &[Arc<System>]| println!("{}", line(made, systems)),
        opened: |address| {
            println!("Open http://{address}/ in a browser. Ctrl-C ends the demonstration.");
            if args.year {
                println!("http://{address}/visits/compared sets the year beside a calendar.");
            }
        },
    };
    crate::run::demo(loaded.settings, &options, watching).map_err(|fault| Failure::Failed(Box::new(fault)))
}

/// `12 March 2026  larkmere-house: Level splitter s1`
fn line(made: &Made, systems: &[Arc<System>]) -> String {
    let of = |task: &TaskKey| systems.iter().find(|system| system.id == task.system);
    let titles = made.tasks.iter().filter_map(|task| of(task).map(|system| task.title(system)));
    let zone = made.tasks.first().and_then(of).map_or(jiff::tz::TimeZone::UTC, |system| system.zone.clone());
    let day = Day::of(made.at, &zone).date().strftime("%e %B %Y");
    format!("{day}  {}: {}", made.property, titles.collect::<Vec<_>>().join("; "))
}
