//! The demonstration: invented yards with a past, live, on defaults.

use std::fs;
use std::io;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use simulators::demo::Demo;
use tracing::info;

use super::demo_traffic::Traffic;
use super::service::{RunFault, Service, Start, open, runtime};
use super::{Steward, reload};
use crate::clock::Clock;
use crate::ledger::LedgerFault;
use crate::model::{EventTime, Span};
use crate::settings::Settings;

/// Messages of the made-up past that are committed together.
const PAST_BATCH: u64 = 20_000;
/// Stretch of the made-up past that is simulated at a time.
const PAST_STEP: Span = Span::from_hours(6);
/// Remembers in the folder which yards these are.
const STORY_FILE: &str = "demo.json";

/// How to show the demonstration.
#[derive(Clone, Debug)]
pub struct DemoOptions {
    /// Folder for system files and ledger.
    pub folder: PathBuf,
    /// How many times faster than real time.
    pub speed: f64,
    /// Port of the pages.
    pub port: u16,
    /// Seed of chance.
    pub seed: u64,
    /// Days of history to make up.
    pub past: Span,
}

/// Why there is no demonstration.
#[derive(Debug, thiserror::Error)]
pub enum DemoFault {
    /// The folder cannot be used.
    #[error("cannot use the folder {folder}")]
    Folder {
        /// The folder.
        folder: PathBuf,
        /// Why not.
        source: io::Error,
    },
    /// The daemon cannot run.
    #[error(transparent)]
    Run(#[from] RunFault),
    /// The ledger cannot be used.
    #[error("the ledger cannot be used")]
    Ledger(#[from] LedgerFault),
}

/// Which yards a folder holds.
#[derive(Serialize, Deserialize)]
struct Story {
    start: EventTime,
    seed: u64,
}

/// Shows the yards until told to stop; `opened` is given the address of the pages.
///
/// # Errors
/// When the folder, the ports or the ledger cannot be used.
pub fn demo(
    mut settings: Settings,
    options: &DemoOptions,
    opened: impl FnOnce(SocketAddr),
) -> Result<(), DemoFault> {
    settings.folders.systems = options.folder.join("systems");
    settings.folders.data = options.folder.join("data");
    settings.desk.listen = SocketAddr::from((Ipv4Addr::LOCALHOST, options.port));
    settings.embedded_broker.listen = SocketAddr::from((Ipv4Addr::LOCALHOST, 0));
    settings.mqtt.broker = None;
    let story = story(options)?;
    let mut yards = Demo::new(story.start.millis(), story.seed);
    write_systems(&yards, &settings.folders.systems).map_err(|source| folder_fault(options, source))?;
    let prefix = settings.mqtt.prefix.clone();
    let systems = reload::read(&settings.folders.systems, &prefix).map_err(RunFault::Systems)?;
    let mut steward = Steward::open(open(&settings)?, &systems, &prefix)?;
    let now = live_through(&mut yards, &mut steward, story.start, options.past)?;
    let clock = Clock::scaled(now, options.speed);
    runtime().map_err(RunFault::System)?.block_on(async {
        let banner =
            Some("A demonstration: these yards, their people and their weather are invented.".to_owned());
        let start = Start { settings: &settings, clock: clock.clone(), steward, banner, open: true };
        let service = Service::start(start).await?;
        let broker = service.broker_address().expect("no broker is configured, so the embedded one runs");
        let traffic = Traffic::start(yards, clock, broker);
        opened(service.address());
        let served = service.serve(&settings.folders.systems, &prefix, || None).await;
        traffic.stop();
        Ok(served?)
    })
}

/// The story of the folder, or a new one that begins as many days ago as there is past to make up.
fn story(options: &DemoOptions) -> Result<Story, DemoFault> {
    let fault = |source| folder_fault(options, source);
    fs::create_dir_all(&options.folder).map_err(fault)?;
    let path = options.folder.join(STORY_FILE);
    if path.exists() {
        let text = fs::read(&path).map_err(fault)?;
        return serde_json::from_slice(&text).map_err(|error| fault(error.into()));
    }
    let story = Story { start: Clock::wall().now() - options.past, seed: options.seed };
    let text = serde_json::to_vec(&story).map_err(|error| fault(error.into()))?;
    fs::write(&path, text).map_err(fault)?;
    Ok(story)
}

fn folder_fault(options: &DemoOptions, source: io::Error) -> DemoFault {
    DemoFault::Folder { folder: options.folder.clone(), source }
}

/// Writes the system files, except those that are there already: somebody may have changed them.
fn write_systems(yards: &Demo, folder: &Path) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    for (id, text) in yards.systems() {
        let path = folder.join(format!("{id}.toml"));
        if !path.exists() {
            fs::write(path, text)?;
        }
    }
    Ok(())
}

/// Lives through the made-up past that the ledger does not hold yet, and returns when it ends.
fn live_through(
    yards: &mut Demo,
    steward: &mut Steward,
    start: EventTime,
    past: Span,
) -> Result<EventTime, LedgerFault> {
    let known = steward.now();
    let end = known.max(start + past);
    let mut at = start;
    while at < end {
        at = (at + PAST_STEP).min(end);
        for message in yards.advance_to(at.millis()) {
            let received = EventTime::from_millis(message.received_ms);
            if received > known {
                steward.take(received, &message.topic, &message.payload);
            }
        }
        if steward.waiting() >= PAST_BATCH {
            steward.tick(at);
            steward.store()?;
        }
    }
    steward.tick(end);
    steward.put_away()?;
    info!(days = (end - start).days_f64(), "the made-up past is in the ledger");
    Ok(end)
}
