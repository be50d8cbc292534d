//! `basinward record`: what the sensors send, written down for `replay`.

use std::fs::OpenOptions;
use std::io::{BufWriter, Write, stdout};
use std::path::PathBuf;
use std::time::Duration;

use tokio::signal::unix::{SignalKind, signal};
use tracing::info;

use super::input::read_systems;
use super::{Failure, SettingsFile};
use crate::clock::Clock;
use crate::link::{self, LinkSettings};
use crate::model::Span;
use crate::run::{filters, link_settings, runtime};
use crate::settings::Settings;
use crate::telemetry::start_logging;

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

/// Records until the time is up or Ctrl-C.
pub(super) fn record(args: &RecordArgs) -> Result<(), Failure> {
    let loaded = args.settings.load()?;
    let settings = &loaded.settings;
    start_logging(&settings.log)?;
    let folder = args.systems.as_ref().unwrap_or(&settings.folders.systems);
    let systems = if folder.is_dir() { read_systems(folder, &settings.mqtt.prefix)? } else { Vec::new() };
    let filters = filters(&systems, &settings.mqtt.prefix);
    let link = match &settings.mqtt.broker {
        Some(broker) => link_settings(&settings.mqtt, broker, filters),
        None => embedded(settings, filters),
    };
    let to: Box<dyn Write> = if args.out.as_os_str() == "-" {
        Box::new(stdout().lock())
    } else {
        Box::new(BufWriter::new(OpenOptions::new().create(true).append(true).open(&args.out)?))
    };
    let written = runtime()?.block_on(link::record(&link, Clock::wall(), to, stop(args.duration)));
    info!(messages = written.map_err(|error| Failure::Failed(Box::new(error)))?, "recorded");
    Ok(())
}

/// The embedded broker of a daemon that runs on this machine.
fn embedded(settings: &Settings, filters: Vec<String>) -> LinkSettings {
    let listen = settings.embedded_broker.listen;
    LinkSettings {
        filters,
        ..LinkSettings::new(listen.ip().to_string(), listen.port(), &settings.mqtt.client_id)
    }
}

/// Done when the time is up, on Ctrl-C and on SIGTERM.
async fn stop(after: Option<Span>) {
    let time_is_up = async {
        match after {
            Some(span) => tokio::time::sleep(Duration::from_millis(span.millis().unsigned_abs())).await,
            None => std::future::pending().await,
        }
    };
    let terminated = async {
        match signal(SignalKind::terminate()) {
            Ok(mut signal) => drop(signal.recv().await),
            Err(_) => std::future::pending().await,
        }
    };
    tokio::select! {
        () = time_is_up => {}
        () = terminated => {}
        _ = tokio::signal::ctrl_c() => {}
    }
}
