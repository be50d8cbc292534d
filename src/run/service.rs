//! Starts the daemon's parts, serves until told to stop, and ends them in order.

use std::io;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, mpsc};
use std::thread;
use std::time::Duration;

use tokio::net::TcpListener;
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::sync::{oneshot, watch};
use tracing::{error, info, warn};

use super::certificate::Certificate;
use super::feed::{Feed, FeedFault};
use super::telling::Telling;
use super::writer::Writer;
use super::{Rounds, Steward, note, passing_on, reload, systemd};
use crate::clock::Clock;
use crate::desk::{self, Desk, Entry, SystemFolder};
use crate::export::{SetupFault, Sources};
use crate::ledger::{Ledger, LedgerFault, Orders, RetentionPolicy, View};
use crate::model::{Span, System};
use crate::notify::NoChannel;
use crate::schedule::{Schedule, ScheduleParts};
use crate::secrets::Seal;
use crate::secrets::one_time_code;
use crate::settings::{Loaded, SettingFault, Settings};
use crate::systemfile::{self, FaultyFile, Folder};

/// Longest that the parts may take to end.
const FAREWELL: Duration = Duration::from_secs(4);

/// Why the daemon does not start, or ended by itself.
#[derive(Debug, thiserror::Error)]
pub enum RunFault {
    /// The folder of system files cannot be read, or where all of them are needed, some cannot.
    #[error("{} faults in the system files", .0.len())]
    Systems(Vec<systemfile::Fault>),
    /// The ledger cannot be used.
    #[error("the ledger cannot be used")]
    Ledger(#[from] LedgerFault),
    /// No messages can come in.
    #[error(transparent)]
    Feed(#[from] FeedFault),
    /// Nothing can be passed on.
    #[error("cannot pass anything on")]
    Export(#[from] SetupFault),
    /// The pages' address cannot be used.
    #[error("cannot serve pages at {address}")]
    Listen {
        /// The address.
        address: SocketAddr,
        /// Why not.
        source: io::Error,
    },
    /// The pages cannot be served over TLS.
    #[error("cannot serve pages over TLS")]
    Tls(#[from] desk::TlsFault),
    /// A channel of the settings cannot be used.
    #[error(transparent)]
    Channel(#[from] NoChannel),
    /// The operating system refuses something every daemon needs.
    #[error("cannot start")]
    System(#[from] io::Error),
    /// The writer thread panicked; its message is in the log.
    #[error("the writer broke down")]
    Writer,
}

/// A daemon that serves.
pub(crate) struct Service {
    feed: Feed,
    desk_address: SocketAddr,
    writer_done: oneshot::Receiver<Result<(), LedgerFault>>,
    waker: crate::link::Waker,
    plans: mpsc::Sender<Folder>,
    /// The systems in force.
    systems: watch::Receiver<Arc<Vec<Arc<System>>>>,
    /// The pages have written system files.
    files_changed: tokio::sync::mpsc::Receiver<oneshot::Sender<()>>,
    stop_desk: watch::Sender<bool>,
    desk: tokio::task::JoinHandle<()>,
    telling: Telling,
    certificate: Option<Certificate>,
    schedule: Schedule,
    ending: Arc<AtomicBool>,
}

/// What a service is started with.
pub(crate) struct Start<'a> {
    pub(crate) settings: &'a Settings,
    pub(crate) clock: Clock,
    pub(crate) steward: Steward,
    /// System files that cannot be taken.
    pub(crate) faulty: Vec<FaultyFile>,
    /// A line for the top of every page.
    pub(crate) banner: Option<String>,
    /// Anybody may come in as long as nobody has been named.
    pub(crate) open: bool,
}

/// Runs the daemon until SIGTERM or SIGINT; `again` reads the settings again.
///
/// # Errors
/// When it cannot start, or its writer fails for good.
pub fn run(
    settings: &Settings,
    again: impl Fn() -> Result<Loaded, Vec<SettingFault>>,
) -> Result<(), RunFault> {
    runtime()?.block_on(async {
        let folder = reload::read(&settings.folders.systems, &settings.mqtt.prefix, &[])
            .map_err(|fault| RunFault::Systems(vec![fault]))?;
        info!(systems = folder.systems.len(), folder = %settings.folders.systems.display(), "system files read");
        let (ledger, held) = (open(settings)?, folder.held().cloned().collect());
        let Folder { systems, faulty } = folder;
        let steward = Steward::open_soon(ledger, &systems, &held, &settings.mqtt.prefix)?;
        let clock = Clock::wall();
        let service =
            Service::start(Start { settings, clock, steward, faulty, banner: None, open: false }).await?;
        info!(pages = %format!("http://{}/", service.address()), "serving");
        systemd::ready();
        let again = || reload::settings(again());
        service.serve(&settings.folders.systems, &settings.mqtt.prefix, again).await
    })
}

/// The ledger, as the settings want it.
pub(super) fn open(settings: &Settings) -> Result<Ledger, LedgerFault> {
    let mut ledger = Ledger::open(&settings.folders.data)?;
    ledger.let_alerts_return_within(Span::from_hours(i64::from(settings.alerts.returns_within_h)));
    Ok(ledger)
}

/// The daemon's runtime: two workers, since the writer has a thread of its own.
pub(crate) fn runtime() -> io::Result<tokio::runtime::Runtime> {
    tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()
}

impl Service {
    /// Starts every part.
    pub(crate) async fn start(start: Start<'_>) -> Result<Self, RunFault> {
        let Start { settings, clock, mut steward, faulty, banner, open } = start;
        let systems = steward.systems();
        let (systems_tx, systems_rx) = watch::channel(Arc::new(systems.clone()));
        let (faulty_tx, faulty) = watch::channel(Arc::new(faulty));
        let (commits_tx, commits_rx) = watch::channel(0);
        let (plans_tx, plans_rx) = mpsc::channel();
        let address = settings.desk.listen;
        let listener =
            TcpListener::bind(address).await.map_err(|source| RunFault::Listen { address, source })?;
        let desk_address = listener.local_addr()?;
        let (feed, inbox, acker) = Feed::start(settings, &systems, &clock).await?;
        info!(broker = feed.describe(settings), "listening for readings");
        let waker = inbox.waker();
        let to_wake = waker.clone();
        let (orders, order_queue) = Orders::new(move || to_wake.wake());
        let to_wake = waker.clone();
        steward.let_learn(move || to_wake.wake())?;
        let (learning_tx, learning) = watch::channel(Arc::new(steward.learning()));
        let ending = Arc::new(AtomicBool::new(false));
        let writer = Writer {
            rounds: Rounds::new(steward, retention(settings)),
            inbox,
            acker,
            clock: clock.clone(),
            batch: usize::from(settings.mqtt.batch),
            linger: linger(settings),
            plans: plans_rx,
            orders: order_queue,
            commits: commits_tx,
            faulty: faulty_tx,
            systems: systems_tx,
            learning: learning_tx,
            ending: Arc::clone(&ending),
        };
        let (done_tx, writer_done) = oneshot::channel();
        thread::Builder::new().name("writer".to_owned()).spawn(move || {
            // The service may have gone already; then nobody wants to know.
            let _ = done_tx.send(writer.run());
        })?;
        tokio::spawn(wake_regularly(waker.clone()));
        let (stop_desk, stop) = watch::channel(false);
        let certificate = Certificate::of(&settings.desk)?;
        let view = View::open(&settings.folders.data)?;
        let seal = Seal::kept_in(&settings.folders.data.join("links.key"))?;
        let sources = Sources {
            view: view.clone(),
            orders: orders.clone(),
            commits: commits_rx.clone(),
            systems: systems_rx.clone(),
            clock: clock.clone(),
        };
        let links = (seal.clone(), pages(settings, desk_address));
        let telling = Telling::start(settings, sources.clone(), feed.publisher(), links)?;
        let schedule = schedule(settings, &sources);
        let export = passing_on::start(&settings.influxdb, sources, stopped(stop.clone()))?;
        let (changed, files_changed) = tokio::sync::mpsc::channel(4);
        let desk = Desk {
            systems: systems_rx.clone(),
            faulty,
            files: files(settings, changed),
            entry: entry(&view, open && desk_address.ip().is_loopback(), desk_address)?,
            view,
            commits: commits_rx,
            orders,
            clock,
            banner,
            seal: Some(seal),
            pages: pages(settings, desk_address),
            broker: feed.address(settings),
            link: note::follow(feed.health()),
            learning,
            export,
            upkeep: schedule.upkeep(),
        };
        let tls = certificate.as_ref().map(Certificate::newest);
        let desk = tokio::spawn(async move {
            if let Err(error) = desk::serve(listener, tls, desk, stopped(stop)).await {
                error!(%error, "the pages have stopped");
            }
        });
        Ok(Self {
            feed,
            desk_address,
            writer_done,
            waker,
            plans: plans_tx,
            systems: systems_rx,
            files_changed,
            stop_desk,
            desk,
            telling,
            certificate,
            schedule,
            ending,
        })
    }

    /// Where the pages are.
    pub(crate) fn address(&self) -> SocketAddr {
        self.desk_address
    }

    /// Where the embedded broker listens, if it runs.
    pub(crate) fn broker_address(&self) -> Option<SocketAddr> {
        self.feed.embedded_address()
    }

    /// Serves until a signal says to stop, then ends in order; `again` gives the settings of now, if they are right.
    pub(crate) async fn serve(
        mut self,
        folder: &Path,
        prefix: &str,
        again: impl Fn() -> Option<Settings>,
    ) -> Result<(), RunFault> {
        let mut terminate = signal(SignalKind::terminate())?;
        let mut interrupt = signal(SignalKind::interrupt())?;
        let mut hang_up = signal(SignalKind::hangup())?;
        loop {
            tokio::select! {
                () = told(&mut terminate) => break,
                () = told(&mut interrupt) => break,
                () = told(&mut hang_up) => {
                    self.reload(folder, prefix);
                    if let Some(settings) = again() {
                        self.telling.change(&settings);
                    }
                    if let Some(certificate) = &self.certificate {
                        certificate.read_again();
                    }
                }
                Some(done) = self.files_changed.recv() => {
                    self.reload(folder, prefix);
                    // Whoever asked may have gone.
                    let _ = done.send(());
                }
                done = &mut self.writer_done => return Err(writer_fault(done)),
            }
        }
        self.end().await
    }

    fn reload(&self, folder: &Path, prefix: &str) {
        info!("reading the system files again");
        let in_force = Arc::clone(&self.systems.borrow());
        let Some(folder) = reload::reread(folder, prefix, &in_force) else { return };
        if let Err(fault) = self.feed.listen_to(&folder.systems, prefix) {
            error!(%fault, "a topic of the system files cannot be heard; the old ones stay in force");
            return;
        }
        if self.plans.send(folder).is_ok() {
            self.waker.wake();
        }
    }

    /// Stops taking, stores and acknowledges what was taken, then ends every part.
    pub(crate) async fn end(self) -> Result<(), RunFault> {
        info!("ending");
        systemd::stopping();
        self.ending.store(true, Ordering::Relaxed);
        drop(self.telling);
        drop(self.schedule);
        self.feed.stop_taking();
        self.waker.wake();
        let done = tokio::time::timeout(FAREWELL, self.writer_done).await;
        self.stop_desk.send_replace(true);
        let _ = tokio::time::timeout(Duration::from_millis(500), async {
            tokio::join!(self.feed.end(), async { self.desk.await.unwrap_or_default() })
        })
        .await;
        match done {
            Ok(Ok(result)) => result.map_err(RunFault::Ledger),
            Ok(Err(_)) => Err(RunFault::Writer),
            Err(_) => {
                error!("the writer did not end in time; the broker will send the last messages again");
                Ok(())
            }
        }
    }
}

/// The folder of system files, as the pages use it.
fn files(settings: &Settings, changed: tokio::sync::mpsc::Sender<oneshot::Sender<()>>) -> SystemFolder {
    SystemFolder { folder: settings.folders.systems.clone(), prefix: settings.mqtt.prefix.clone(), changed }
}

/// What is to be done and when, from the same sources.
fn schedule(settings: &Settings, sources: &Sources) -> Schedule {
    let Sources { view, orders, commits, systems, clock } = sources;
    Schedule::start(ScheduleParts {
        view: view.clone(),
        orders: orders.clone(),
        clock: clock.clone(),
        systems: systems.clone(),
        commits: commits.clone(),
        rules: settings.upkeep.rules(),
        crew: settings.upkeep.crew(),
    })
}

/// How people come in. Where nobody can yet, tells a code by which the first one can.
fn entry(view: &View, open: bool, address: SocketAddr) -> Result<Entry, RunFault> {
    if open {
        return Ok(Entry::LetIn);
    }
    if view.has_people()? {
        return Ok(Entry::SignIn);
    }
    let code = one_time_code().map_err(io::Error::other)?;
    // Told to people, not to programs that keep logs for long: the code is worthless once somebody used it.
    warn!(%code, page = %format!("http://{address}/welcome"), "nobody may come in yet: become the owner with this code");
    Ok(Entry::SetUp { code })
}

/// Address of the pages in links.
pub(crate) fn pages(settings: &Settings, listening: SocketAddr) -> String {
    let scheme = if settings.desk.certificate_file.is_some() { "https" } else { "http" };
    match settings.alerts.pages.trim_end_matches('/') {
        "" => format!("{scheme}://{listening}"),
        stated => stated.to_owned(),
    }
}

/// Over when the daemon ends.
async fn stopped(mut stop: watch::Receiver<bool>) {
    // An error means the service is gone, which is a reason to stop as well.
    let _ = stop.wait_for(|stop| *stop).await;
}

/// What the ledger keeps, and for how long.
fn retention(settings: &Settings) -> RetentionPolicy {
    RetentionPolicy {
        raw_days: settings.ledger.readings_days,
        hour_days: settings.ledger.hourly_days,
        message_days: settings.ledger.messages_days,
        ..RetentionPolicy::default()
    }
}

/// How long a batch waits for more. Publishers at the embedded broker wait for each message's commit, so there it
/// does not: what arrives during one commit makes up the next batch.
fn linger(settings: &Settings) -> Duration {
    match settings.mqtt.broker {
        Some(_) => Duration::from_millis(u64::from(settings.ledger.commit_every_ms)),
        None => Duration::ZERO,
    }
}

fn writer_fault(done: Result<Result<(), LedgerFault>, oneshot::error::RecvError>) -> RunFault {
    match done {
        Ok(Err(fault)) => RunFault::Ledger(fault),
        Ok(Ok(())) | Err(_) => RunFault::Writer,
    }
}

async fn told(signal: &mut Signal) {
    if signal.recv().await.is_none() {
        std::future::pending::<()>().await;
    }
}

/// Wakes the writer so that deadlines are met while no messages come.
async fn wake_regularly(waker: crate::link::Waker) {
    let interval = systemd::watchdog_interval().unwrap_or(Duration::from_secs(1)).min(Duration::from_secs(1));
    let mut beat = tokio::time::interval(interval);
    loop {
        beat.tick().await;
        waker.wake();
    }
}
