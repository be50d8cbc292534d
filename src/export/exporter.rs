//! The loop: what the server does not have yet, in batches, the newest first and then the past.

use std::collections::BTreeMap;
use std::convert::Infallible;
use std::future::{Future, pending};
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::watch;
use tracing::{debug, error, info, warn};

use super::deliver::{Delivered, deliver};
use super::health::{ExportHealth, ExportState, Standing};
use super::server::{Destination, Server, SetupFault, Trouble};
use super::{Lines, schema};
use crate::backoff::Backoff;
use crate::clock::Clock;
use crate::ledger::{ExportPlace, ExportStep, LedgerFault, Order, Orders, Past, RejectedLine, View};
use crate::model::{Id, System};
use crate::telemetry::chain;

/// Readings of one write, about; the recommendation of InfluxDB's documentation on writing is 5,000 lines.
const READINGS: usize = 5000;
/// Conclusions of one write; a dose makes several lines.
const EFFECTS: usize = 500;
/// How long to wait for more before a write, so that single readings share one.
const LINGER: Duration = Duration::from_millis(500);
/// Pauses between failing writes.
const PAUSES: (Duration, Duration) = (Duration::from_secs(1), Duration::from_mins(1));
/// The past is reported on after this many readings.
const REPORT: u64 = 500_000;

/// Where the exporter's material comes from and where its position goes.
#[derive(Clone, Debug)]
pub struct Sources {
    /// The ledger.
    pub view: View,
    /// The way to the writer.
    pub orders: Orders,
    /// Changes after every commit.
    pub commits: watch::Receiver<u64>,
    /// Systems in force.
    pub systems: watch::Receiver<Arc<Vec<Arc<System>>>>,
    /// The time.
    pub clock: Clock,
}

/// Passes the ledger's contents on to one server.
pub struct Exporter {
    sources: Sources,
    server: Server,
    /// Name of our position in the ledger.
    cursor: String,
    /// Says which schema follows; a line that is right beyond doubt.
    greeting: Lines,
    lines: Lines,
    /// The systems in force, by id.
    directory: BTreeMap<Id, Arc<System>>,
    backoff: Backoff,
    state: watch::Sender<ExportState>,
    filled: u64,
}

/// Why a round did not succeed.
#[derive(Debug)]
enum Setback {
    Server(Trouble),
    Ledger(LedgerFault),
    /// The writer did not take our position down.
    Position(String),
}

impl Exporter {
    /// Prepares to write to `destination`; nothing is sent yet.
    ///
    /// # Errors
    /// When its certificates cannot be used.
    pub fn new(destination: Destination, sources: Sources) -> Result<(Self, ExportHealth), SetupFault> {
        let name = destination.name();
        let (first, longest) = PAUSES;
        let mut greeting = Lines::default();
        schema::beginning(&mut greeting, sources.clock.now());
        let (state, health) = watch::channel(ExportState {
            destination: name.clone(),
            standing: Standing::Beginning,
            lines: 0,
            refused: 0,
            failures: 0,
            commit: 0,
            effect: 0,
            past: 0.0,
        });
        let exporter = Self {
            backoff: Backoff::new(first, longest, sources.clock.now_ms().unsigned_abs()),
            server: Server::new(destination)?,
            cursor: format!("influxdb {name}"),
            sources,
            greeting,
            lines: Lines::default(),
            directory: BTreeMap::new(),
            state,
            filled: 0,
        };
        Ok((exporter, health))
    }

    /// Works until `stop` is over. Whatever is under way then is done again after the next start.
    pub async fn run(mut self, stop: impl Future<Output = ()>) {
        tokio::select! {
            () = stop => {}
            () = self.work() => {}
        }
    }

    async fn work(&mut self) {
        info!(to = %self.state.borrow().destination, "passing everything on");
        loop {
            let Err(setback) = self.session().await;
            self.fail(setback).await;
        }
    }

    /// Goes on from the saved position for as long as all goes well.
    async fn session(&mut self) -> Result<Infallible, Setback> {
        self.lines.clear();
        let greeting = self.greeting.text(0..self.greeting.len());
        self.server.write(greeting).await.map_err(Setback::Server)?;
        let mut place = self.find_place().await?;
        loop {
            self.sources.commits.borrow_and_update();
            self.look_up_systems();
            let more = self.send_effects(&mut place).await?
                || self.send_alert_steps(&mut place).await?
                || self.send_readings(&mut place).await?
                || self.send_past(&mut place).await?;
            if !more {
                self.recover();
                if self.sources.commits.changed().await.is_err() {
                    pending::<()>().await; // the daemon is ending
                }
                tokio::time::sleep(LINGER).await;
            }
        }
    }

    /// Our position; on the first connection it is set to now, with the past to be filled in.
    async fn find_place(&mut self) -> Result<ExportPlace, Setback> {
        let place = self.read_place().await?;
        if place.readings.is_some() {
            return Ok(place);
        }
        info!("first connection to this server: the past is filled in beside what comes in");
        self.place(ExportStep::Begin).await?;
        self.read_place().await
    }

    async fn read_place(&self) -> Result<ExportPlace, Setback> {
        let cursor = self.cursor.clone();
        let place = self.ask(move |view| view.export_place(&cursor)).await?;
        self.state.send_modify(|state| {
            state.commit = place.readings.unwrap_or_default();
            state.effect = place.effects;
            state.past = match (&place.readings, &place.past) {
                (None, _) => 0.0,
                (Some(_), None) => 1.0,
                (Some(_), Some(past)) => past.done,
            };
        });
        Ok(place)
    }

    /// Sends the next conclusions; whether there were any.
    async fn send_effects(&mut self, place: &mut ExportPlace) -> Result<bool, Setback> {
        let after = place.effects;
        let effects = self.ask(move |view| view.changes_since(after, EFFECTS)).await?;
        let Some(last) = effects.last().map(|effect| effect.seq) else { return Ok(false) };
        for effect in &effects {
            schema::effect(
                &mut self.lines,
                effect,
                self.directory.get(&effect.system).map(|system| &**system),
            );
        }
        self.send().await?;
        self.place(ExportStep::Effects(last)).await?;
        place.effects = last;
        self.state.send_modify(|state| state.effect = last);
        Ok(true)
    }

    /// Sends the next steps of alerts; whether there were any.
    async fn send_alert_steps(&mut self, place: &mut ExportPlace) -> Result<bool, Setback> {
        let after = place.alert_steps;
        let steps = self.ask(move |view| view.alert_steps_since(after, EFFECTS)).await?;
        let Some(last) = steps.last().map(|step| step.no) else { return Ok(false) };
        for step in &steps {
            let system = self.directory.get(&step.system).map(|system| &**system);
            schema::alert_step(&mut self.lines, step, system);
        }
        self.send().await?;
        self.place(ExportStep::AlertSteps(last)).await?;
        place.alert_steps = last;
        Ok(true)
    }

    /// Sends the readings of the next commits; whether there were any.
    async fn send_readings(&mut self, place: &mut ExportPlace) -> Result<bool, Setback> {
        let Some(after) = place.readings else { return Ok(false) };
        let exported = self.ask(move |view| view.readings_since(after, READINGS)).await?;
        if exported.seq == after {
            return Ok(false);
        }
        for reading in &exported.readings {
            schema::reading(
                &mut self.lines,
                reading,
                self.directory.get(&reading.system).map(|system| &**system),
            );
        }
        self.send().await?;
        self.place(ExportStep::Readings(exported.seq)).await?;
        place.readings = Some(exported.seq);
        self.state.send_modify(|state| state.commit = exported.seq);
        Ok(true)
    }

    /// Sends the next readings of the past; whether there were any.
    async fn send_past(&mut self, place: &mut ExportPlace) -> Result<bool, Setback> {
        let Some(past) = place.past.clone() else { return Ok(false) };
        let page = self.ask(move |view| view.past_readings(&past, READINGS)).await?;
        for reading in &page.readings {
            schema::reading(
                &mut self.lines,
                reading,
                self.directory.get(&reading.system).map(|system| &**system),
            );
        }
        self.send().await?;
        self.place(ExportStep::Past(page.next.clone())).await?;
        self.report(page.readings.len() as u64, page.next.as_ref());
        place.past = page.next;
        Ok(true)
    }

    fn report(&mut self, readings: u64, next: Option<&Past>) {
        let before = self.filled;
        self.filled += readings;
        let done = next.map_or(1.0, |past| past.done);
        if next.is_none() {
            info!(readings = self.filled, "the past is filled in");
        } else if before == 0 || before / REPORT != self.filled / REPORT {
            info!(readings = self.filled, percent = (done * 100.0).floor(), "filling in the past");
        }
        self.state.send_modify(|state| state.past = done);
    }

    /// Gets the lines at hand across and sets refused ones apart.
    async fn send(&mut self) -> Result<(), Setback> {
        if self.lines.is_empty() {
            return Ok(());
        }
        let delivered = deliver(&self.server, &self.lines, &self.greeting).await.map_err(Setback::Server)?;
        self.lines.clear();
        self.backoff.reset();
        self.recover();
        debug!(lines = delivered.taken, "passed on");
        self.state.send_modify(|state| {
            state.lines += delivered.taken;
            state.refused += delivered.refused;
        });
        self.set_apart(delivered).await
    }

    async fn set_apart(&mut self, delivered: Delivered) -> Result<(), Setback> {
        let Some(first) = delivered.samples.first() else { return Ok(()) };
        warn!(lines = delivered.refused, first = %first.line, why = %first.why, "the server refused lines for good; they are set apart");
        let at = self.sources.clock.now();
        let lines = delivered.samples.into_iter();
        let lines = lines.map(|it| RejectedLine { at, line: it.line, why: it.why }).collect();
        self.place(ExportStep::Rejected(lines)).await
    }

    /// Has the writer take a step down.
    async fn place(&self, step: ExportStep) -> Result<(), Setback> {
        let order = Order::Export { cursor: self.cursor.clone(), step };
        let placed = self.sources.orders.place(order).await;
        placed.map(|_| ()).map_err(|refused| Setback::Position(refused.to_string()))
    }

    fn recover(&self) {
        if let Standing::Failing { since, .. } = &self.state.borrow().standing {
            let down_s = (self.sources.clock.now() - *since).secs_f64().round();
            info!(down_s, "passing on works again");
        }
        self.state.send_modify(|state| state.standing = Standing::Taking);
    }

    /// Says what is wrong, once, and waits.
    async fn fail(&mut self, setback: Setback) {
        let (why, needs_somebody) = match &setback {
            Setback::Server(trouble) => (trouble.to_string(), matches!(trouble, Trouble::Denied(_))),
            Setback::Ledger(fault) => (chain(fault).to_string(), false),
            Setback::Position(why) => (format!("how far we came is not stored: {why}"), false),
        };
        let told = match &self.state.borrow().standing {
            Standing::Failing { why: before, .. } => *before == why,
            Standing::Beginning | Standing::Taking => false,
        };
        match (told, needs_somebody) {
            (true, _) => debug!(%why, "still not passing on"),
            (false, true) => error!(%why, "cannot pass on; the ledger keeps what is missing"),
            (false, false) => warn!(%why, "cannot pass on; the ledger keeps what is missing"),
        }
        let now = self.sources.clock.now();
        self.state.send_modify(|state| {
            let since = match state.standing {
                Standing::Failing { since, .. } => since,
                Standing::Beginning | Standing::Taking => now,
            };
            state.standing = Standing::Failing { since, why };
            state.failures += 1;
        });
        let pause = self.backoff.pause();
        // What only a person can mend is not asked for every second.
        tokio::time::sleep(if needs_somebody { pause.max(PAUSES.1 / 4) } else { pause }).await;
    }

    fn look_up_systems(&mut self) {
        if self.directory.is_empty() || self.sources.systems.has_changed().unwrap_or(false) {
            let systems = self.sources.systems.borrow_and_update();
            self.directory = systems.iter().map(|system| (system.id.clone(), Arc::clone(system))).collect();
        }
    }

    /// Asks the ledger on a thread where waiting is allowed.
    async fn ask<T: Send + 'static>(
        &self,
        question: impl FnOnce(&View) -> Result<T, LedgerFault> + Send + 'static,
    ) -> Result<T, Setback> {
        let view = self.sources.view.clone();
        tokio::task::spawn_blocking(move || question(&view))
            .await
            .expect("reading the ledger does not panic and is not aborted")
            .map_err(Setback::Ledger)
    }
}
