//! The demonstration: invented yards with a past, live, on defaults.

use std::fs;
use std::io;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use simulators::demo::{Demo, Message};
use tracing::info;

use super::heeding::Heeding;
use super::story::Story;
use super::tended::TendedYard;
use super::traffic::Traffic;
use super::year::{Made, Year};
use crate::clock::Clock;
use crate::ledger::{LedgerFault, View};
use crate::model::{EventTime, Span, System};
use crate::run::Steward;
use crate::run::service::{RunFault, Service, Start, open, runtime};
use crate::settings::Settings;
use crate::systemfile;

/// Messages of the made-up past that are committed together.
const PAST_BATCH: u64 = 20_000;
/// Stretch of the made-up past that is simulated at a time.
const PAST_STEP: Span = Span::from_hours(6);

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
    /// The history is one in which the plan was kept to: visits, service records, flow tests.
    pub tended: bool,
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
    /// The folder holds the other kind of demonstration.
    #[error("the folder {folder} holds a demonstration {} the option --year: say another --folder", if *.tended { "with" } else { "without" })]
    OtherKind {
        /// The folder.
        folder: PathBuf,
        /// It is one with visits.
        tended: bool,
    },
    /// The daemon cannot run.
    #[error(transparent)]
    Run(#[from] RunFault),
    /// The ledger cannot be used.
    #[error("the ledger cannot be used")]
    Ledger(#[from] LedgerFault),
}

/// The yards of a folder at their beginning.
enum Yards {
    /// They are left to their own story.
    Alone(Demo),
    /// Somebody looks after them.
    Tended(Vec<TendedYard>),
}

impl Yards {
    fn of(story: &Story) -> Self {
        if story.is_tended() {
            Self::Tended(story.yards())
        } else {
            Self::Alone(Demo::new(story.start.millis(), story.seed))
        }
    }

    /// Id and system file of each.
    fn files(&self) -> Vec<(String, String)> {
        match self {
            Self::Alone(yards) => yards.systems(),
            Self::Tended(yards) => {
                yards.iter().map(|yard| (yard.id().to_owned(), yard.system_file().to_owned())).collect()
            }
        }
    }
}

/// Yards that live on: what their sensors send until then.
type Live = Box<dyn FnMut(EventTime) -> Vec<Message> + Send>;

/// What there is to watch while the demonstration is made and shown.
pub struct Watching<V, O> {
    /// Told of every visit of a history with visits, with the system of each of its tasks.
    pub visit: V,
    /// Told of the address of the pages once they are served.
    pub opened: O,
}

/// Shows the yards until told to stop.
///
/// # Errors
/// When the folder, the ports or the ledger cannot be used.
pub fn demo(
    mut settings: Settings,
    options: &DemoOptions,
    mut watching: Watching<impl FnMut(&Made, &[Arc<System>]), impl FnOnce(SocketAddr)>,
) -> Result<(), DemoFault> {
    settings.folders.systems = options.folder.join("systems");
    settings.folders.data = options.folder.join("data");
    settings.desk.listen = SocketAddr::from((Ipv4Addr::LOCALHOST, options.port));
    settings.embedded_broker.listen = SocketAddr::from((Ipv4Addr::LOCALHOST, 0));
    settings.mqtt.broker = None;
    let fault = |source| DemoFault::Folder { folder: options.folder.clone(), source };
    let mut story = Story::of(options).map_err(fault)?;
    if story.is_tended() != options.tended {
        return Err(DemoFault::OtherKind { folder: options.folder.clone(), tended: story.is_tended() });
    }
    let yards = Yards::of(&story);
    write_systems(&yards.files(), &settings.folders.systems).map_err(fault)?;
    let prefix = settings.mqtt.prefix.clone();
    let systems = systemfile::load_dir(&settings.folders.systems, &prefix).map_err(RunFault::Systems)?;
    let mut steward = Steward::open(open(&settings)?, &systems, &prefix)?;
    let start = story.start;
    let end = steward.now().max(start + options.past);
    let live: Live = match yards {
        Yards::Tended(yards) => {
            let view = View::open(&settings.folders.data)?;
            let care = (settings.upkeep.rules(), settings.upkeep.crew());
            let year = Year::new(yards, &mut steward, view.clone(), care);
            let yards = year.live(end, |made, yards| {
                (watching.visit)(made, &systems);
                story.keep(&options.folder, yards);
            })?;
            let folder = options.folder.clone();
            let mut heeding = Heeding::new(yards, view, end, move |yards| story.keep(&folder, yards))?;
            Box::new(move |until| heeding.live_until(until))
        }
        Yards::Alone(mut yards) => {
            live_through(&mut yards, &mut steward, (start, end))?;
            Box::new(move |until| yards.advance_to(until.millis()))
        }
    };
    info!(days = (end - start).days_f64(), "the made-up past is in the ledger");
    let clock = Clock::scaled(end, options.speed);
    runtime().map_err(RunFault::System)?.block_on(async {
        let banner =
            Some("A demonstration: these yards, their people and their weather are invented.".to_owned());
        let faulty = Vec::new();
        let begin = Start { settings: &settings, clock: clock.clone(), steward, faulty, banner, open: true };
        let service = Service::start(begin).await?;
        let broker = service.broker_address().expect("no broker is configured, so the embedded one runs");
        let traffic = Traffic::start(live, clock, broker);
        (watching.opened)(service.address());
        let served = service.serve(&settings.folders.systems, &prefix, || None).await;
        traffic.stop();
        Ok(served?)
    })
}

/// Writes the system files, except those that are there already: somebody may have changed them.
fn write_systems(files: &[(String, String)], folder: &Path) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    for (id, text) in files {
        let path = folder.join(format!("{id}.toml"));
        if !path.exists() {
            fs::write(path, text)?;
        }
    }
    Ok(())
}

/// Lives through the made-up past that the ledger does not hold yet.
fn live_through(
    yards: &mut Demo,
    steward: &mut Steward,
    (start, end): (EventTime, EventTime),
) -> Result<(), LedgerFault> {
    let known = steward.now();
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
    Ok(())
}
