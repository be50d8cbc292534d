//! `simulators load`
//!
//! Many systems, each with two basins of one probe, in turn. Every payload carries the time at which it was handed
//! over, so that whatever acts on it can tell how long it took. Values wander too little to mean anything.

use std::path::{Path, PathBuf};
use std::time::Duration;

use serde::Serialize;
use tokio::time::Instant;

use super::broker::{BrokerArgs, BrokerError, Sender, block_on};
use super::latency::{Latencies, Summary};
use super::{Done, clock, progress};

/// Basins of every system.
const BASINS: [&str; 2] = ["north", "south"];
/// Time between two bursts.
const BEAT: Duration = Duration::from_millis(5);

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Systems to report from
    #[arg(long, default_value_t = 100, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    systems: u32,
    /// Messages a second, over all connections
    #[arg(long, default_value_t = 1000, value_parser = clap::value_parser!(u64).range(1..=500_000))]
    rate: u64,
    /// Stop after this many seconds
    #[arg(long, default_value_t = 60, value_parser = clap::value_parser!(u64).range(1..=3600))]
    seconds: u64,
    /// Stop after this many messages, if that comes first
    #[arg(long, value_parser = clap::value_parser!(u64).range(1..=20_000_000))]
    messages: Option<u64>,
    /// Connections to share the work
    #[arg(long, default_value_t = 2, value_parser = clap::value_parser!(u64).range(1..=64))]
    connections: u64,
    /// First part of the topics
    #[arg(long, default_value = "greywater")]
    prefix: String,
    /// Write the system files that fit into this directory and stop
    #[arg(long, value_name = "DIR")]
    write_systems: Option<PathBuf>,
    #[command(flatten)]
    broker: BrokerArgs,
}

/// The one line of output.
#[derive(Debug, Serialize)]
struct Report {
    sent: u64,
    acked: u64,
    seconds: f64,
    rate: f64,
    ack_latency_ms: Summary,
}

/// Sends, or writes system files.
pub(super) fn run(args: &Args) -> Done {
    if let Some(dir) = &args.write_systems {
        return Ok(write_systems(args.systems, dir)?);
    }
    let report = block_on(send(args))?;
    println!("{}", serde_json::to_string(&report)?);
    Ok(())
}

async fn send(args: &Args) -> Result<Report, Box<dyn std::error::Error>> {
    let total = (args.rate * args.seconds).min(args.messages.unwrap_or(u64::MAX));
    let bar = progress::bar("load", total, "messages");
    let began = Instant::now();
    let mut lines = Vec::new();
    for line in 0..args.connections {
        let client_id = format!("simulators-load-{}-{line}", std::process::id());
        let sender = Sender::connect(args.broker.options(&client_id)?).await?;
        lines.push(tokio::spawn(Line::new(args, line, total, bar.clone()).send(sender)));
    }
    let mut latencies = Latencies::default();
    let mut sent = 0;
    for line in lines {
        let (count, its_latencies) = line.await??;
        sent += count;
        latencies.join(&its_latencies);
    }
    bar.finish_and_clear();
    let seconds = began.elapsed().as_secs_f64();
    // Each line ends only when all it sent is acknowledged.
    Ok(Report {
        sent,
        acked: sent,
        seconds,
        rate: sent as f64 / seconds,
        ack_latency_ms: latencies.summary(),
    })
}

/// One connection's part of the load.
struct Line {
    first: u64,
    step: u64,
    total: u64,
    rate: u64,
    deadline: Duration,
    topics: Vec<String>,
    bar: indicatif::ProgressBar,
}

impl Line {
    fn new(args: &Args, line: u64, total: u64, bar: indicatif::ProgressBar) -> Self {
        let topics = (0..args.systems)
            .flat_map(|system| BASINS.map(|basin| format!("{}/{}/{basin}/moisture", args.prefix, id(system))))
            .collect();
        Self {
            first: line,
            step: args.connections,
            total,
            rate: args.rate,
            deadline: Duration::from_secs(args.seconds),
            topics,
            bar,
        }
    }

    /// Sends every message whose turn has come, beat by beat; a slow broker only makes it late.
    async fn send(self, sender: Sender) -> Result<(u64, Latencies), BrokerError> {
        let began = Instant::now();
        let mut next = self.first;
        let mut sent = 0;
        while next < self.total && began.elapsed() < self.deadline + BEAT {
            let due = (self.rate as f64 * began.elapsed().as_secs_f64()) as u64;
            while next < self.total.min(due + 1) {
                let (topic, payload) = self.message(next);
                sender.send(topic, payload, false).await?;
                next += self.step;
                sent += 1;
                self.bar.inc(1);
            }
            tokio::time::sleep(BEAT).await;
        }
        Ok((sent, sender.finish(sent).await?))
    }

    fn message(&self, number: u64) -> (String, Vec<u8>) {
        let topics = self.topics.len() as u64;
        let topic = self.topics[(number % topics) as usize].clone();
        let wander = ((number / topics) % 40) as f64 * 0.0005;
        let value = (0.25 + wander).min(0.27);
        (topic, format!(r#"{{"time":{},"value":{value:.4}}}"#, clock::now_ms()).into_bytes())
    }
}

fn id(system: u32) -> String {
    format!("load-{system:05}")
}

fn write_systems(systems: u32, dir: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(dir)?;
    for system in 0..systems {
        std::fs::write(dir.join(format!("{}.toml", id(system))), system_file(system))?;
    }
    println!("{systems} system files written to {}", dir.display());
    Ok(())
}

fn system_file(system: u32) -> String {
    let id = id(system);
    let [north, south] = BASINS;
    format!(
        r#"id = "{id}"
name = "Load {system}"
property = "load"
timezone = "UTC"
soil = "loam"

[[splitter]]
id = "s1"
feeds = ["{north}", "{south}"]

[[basin]]
id = "{north}"
area_m2 = 1.2
moisture = {{ depth_mm = 250 }}
float = {{ height_mm = 120 }}

[[basin]]
id = "{south}"
area_m2 = 1.2
moisture = {{ depth_mm = 250 }}
float = {{ height_mm = 120 }}
"#
    )
}
