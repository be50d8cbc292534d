//! `simulators score`

use std::fs;
use std::num::NonZero;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use indicatif::ProgressBar;
use simulators::scenario::{Library, Scenario};
use simulators::score::daemon::{Daemon, DaemonError};
use simulators::score::report::Scoreboard;
use simulators::score::{Class, Forecasting, Job, Seeds, Tally, Verdict, judge, plan};

use super::{Done, clock, progress};

/// The lines between which the scoreboard is written into a document.
const BEGIN: &str = "<!-- scoreboard begins -->";
const END: &str = "<!-- scoreboard ends -->";

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Scenarios to run; all but the demo's without this
    scenarios: Vec<String>,
    /// Which seeds: those to tune on, or those to report
    #[arg(long, value_enum, default_value_t = SeedsArg::Reporting)]
    seeds: SeedsArg,
    /// Runs of each scenario, as a multiple of the default number
    #[arg(long, default_value_t = 1.0)]
    times: f64,
    /// The daemon's program [default: basinward beside this program]
    #[arg(long, value_name = "FILE")]
    daemon: Option<PathBuf>,
    /// Runs at the same time [default: one for each core]
    #[arg(long)]
    jobs: Option<NonZero<usize>>,
    /// Print JSON instead of the table
    #[arg(long)]
    json: bool,
    /// Write the verdict of every run into a file, one JSON object a line
    #[arg(long, value_name = "FILE")]
    verdicts: Option<PathBuf>,
    /// Put the table with date and commit between the scoreboard markers of a document
    #[arg(long, value_name = "FILE")]
    write: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum SeedsArg {
    Tuning,
    Reporting,
}

/// Why a document cannot take the scoreboard.
#[derive(Debug, thiserror::Error)]
#[error("{} has no line `{BEGIN}` followed by a line `{END}`; add both where the scoreboard should stand", .0.display())]
struct NoMarkers(PathBuf);

/// Runs, judges, prints.
pub(super) fn run(args: &Args) -> Done {
    let daemon = Daemon::find(args.daemon.as_deref())?;
    let scenarios = chosen(&args.scenarios)?;
    let seeds = match args.seeds {
        SeedsArg::Tuning => Seeds::Tuning,
        SeedsArg::Reporting => Seeds::Reporting,
    };
    let jobs = plan(&scenarios, seeds, args.times.clamp(0.01, 100.0));
    let verdicts = run_all(&daemon, &scenarios, &jobs, args.jobs)?;
    if let Some(path) = &args.verdicts {
        let lines: Result<Vec<String>, _> = verdicts.iter().map(serde_json::to_string).collect();
        fs::write(path, lines?.join("\n") + "\n")?;
    }
    let tally = Tally::of(&verdicts);
    let board = Scoreboard::new(&tally, seeds);
    if args.json {
        println!("{}", serde_json::to_string_pretty(&board)?);
    } else {
        print!("{}", board.table());
    }
    match &args.write {
        Some(path) => write_into(path, &board.table()),
        None => Ok(()),
    }
}

fn chosen(names: &[String]) -> Result<Vec<Scenario>, Box<dyn std::error::Error>> {
    let library = Library::shipped();
    let names = if names.is_empty() {
        library.names()?.into_iter().filter(|name| !name.starts_with("demo-")).collect()
    } else {
        names.to_vec()
    };
    Ok(names.iter().map(|name| library.load(name)).collect::<Result<_, _>>()?)
}

/// Shares the jobs among threads and gives the verdicts in the order of the jobs.
fn run_all(
    daemon: &Daemon,
    scenarios: &[Scenario],
    jobs: &[Job],
    threads: Option<NonZero<usize>>,
) -> Result<Vec<Verdict>, DaemonError> {
    let threads = threads.or_else(|| thread::available_parallelism().ok()).map_or(1, NonZero::get);
    let bar = progress::bar("score", jobs.len() as u64, "runs");
    let next = AtomicUsize::new(0);
    let done: Mutex<Vec<(usize, Verdict)>> = Mutex::new(Vec::with_capacity(jobs.len()));
    thread::scope(|scope| {
        let work = || work_off(daemon, scenarios, jobs, &next, &done, &bar);
        let workers: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        workers.into_iter().try_for_each(|worker| worker.join().expect("workers do not panic"))
    })?;
    bar.finish_and_clear();
    let mut done = done.into_inner().expect("no worker panicked holding it");
    done.sort_by_key(|(index, _)| *index);
    Ok(done.into_iter().map(|(_, verdict)| verdict).collect())
}

fn work_off(
    daemon: &Daemon,
    scenarios: &[Scenario],
    jobs: &[Job],
    next: &AtomicUsize,
    done: &Mutex<Vec<(usize, Verdict)>>,
    bar: &ProgressBar,
) -> Result<(), DaemonError> {
    loop {
        let index = next.fetch_add(1, Ordering::Relaxed);
        let Some(job) = jobs.get(index) else {
            return Ok(());
        };
        let verdict = one(daemon, &scenarios[job.scenario], job.seed).inspect_err(|_| {
            // One failure ends the whole: nobody takes another job.
            next.store(jobs.len(), Ordering::Relaxed);
        })?;
        done.lock().expect("no worker panics holding it").push((index, verdict));
        bar.inc(1);
    }
}

/// One run; a silting basin is asked a second time, half-way to its flood.
fn one(daemon: &Daemon, scenario: &Scenario, seed: u64) -> Result<Verdict, DaemonError> {
    let (truth, said) = daemon.hear(scenario, seed, None)?;
    let asked = (Class::of(scenario) == Class::Clogging).then(|| Forecasting::of(scenario, &truth)).flatten();
    let half_way = match asked {
        Some(asked) => Some(daemon.hear(scenario, seed, Some(asked.half_way_ms()))?.1.forecasts),
        None => None,
    };
    Ok(judge(scenario, seed, &truth, &said, half_way.as_deref()))
}

/// Replaces what stands between the markers.
fn write_into(path: &Path, table: &str) -> Done {
    let text = fs::read_to_string(path)?;
    let missing = || NoMarkers(path.to_owned());
    let begin = text.find(BEGIN).ok_or_else(missing)? + BEGIN.len();
    let end = begin + text[begin..].find(END).ok_or_else(missing)?;
    let date = jiff::Timestamp::from_millisecond(clock::now_ms())?.strftime("%Y-%m-%d");
    let head = format!("Measured on {date} at commit {} by `simulators score`.", commit());
    fs::write(path, format!("{}\n\n{head} {table}\n{}", &text[..begin], &text[end..]))?;
    println!("written into {}", path.display());
    Ok(())
}

/// The commit that was measured, as far as git knows.
fn commit() -> String {
    let git = |args: &[&str]| {
        let output = Command::new("git").args(args).output().ok().filter(|output| output.status.success())?;
        Some(String::from_utf8_lossy(&output.stdout).trim().to_owned())
    };
    let Some(hash) = git(&["rev-parse", "--short", "HEAD"]) else {
        return "unknown".to_owned();
    };
    match git(&["status", "--porcelain", "--untracked-files=no"]) {
        Some(changes) if changes.is_empty() => hash,
        _ => format!("{hash} with changes"),
    }
}
