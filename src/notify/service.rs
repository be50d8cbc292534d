//! The running part: plans after every change, and keeps couriers and states at work.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{Notify, watch};
use tokio::task::JoinHandle;
use tokio::time::Instant;
use tracing::{debug, error};

use super::channels::Carriers;
use super::courier::Courier;
use super::planner;
use super::states::States;
use crate::clock::Clock;
use crate::ledger::{LedgerFault, Order, Orders, View};
use crate::link::Publisher;
use crate::model::{Span, System};
use crate::settings::{Channel, Notices};
use crate::telemetry::chain;

/// Without any change, planning looks again this often: waits, quiet hours and digests end by themselves.
const LOOK: Duration = Duration::from_secs(2);

/// What messages are made from.
pub struct NotifierParts {
    /// The ledger.
    pub view: View,
    /// Where orders are placed.
    pub orders: Orders,
    /// The time.
    pub clock: Clock,
    /// The systems in force.
    pub systems: watch::Receiver<Arc<Vec<Arc<System>>>>,
    /// Changes after every commit.
    pub commits: watch::Receiver<u64>,
    /// Who is told of what.
    pub notices: Notices,
    /// How long a message is tried.
    pub give_up_after: Span,
    /// The channels, ready.
    pub carriers: Carriers,
    /// The way to the broker.
    pub publisher: Publisher,
}

/// Messages under way; they stop when this is dropped.
#[derive(Debug)]
pub struct Notifier {
    tasks: Vec<JoinHandle<()>>,
}

impl Notifier {
    /// Starts.
    pub fn start(parts: NotifierParts) -> Self {
        let NotifierParts {
            view,
            orders,
            clock,
            systems,
            commits,
            notices,
            give_up_after,
            carriers,
            publisher,
        } = parts;
        let woken = Arc::new(Notify::new());
        let mut tasks = Vec::new();
        for channel in notices.channels.values() {
            if let Channel::Mqtt { topic } = channel {
                let states = States {
                    view: view.clone(),
                    systems: systems.clone(),
                    commits: commits.clone(),
                    publisher: publisher.clone(),
                    topic: topic.clone(),
                };
                tasks.push(tokio::spawn(states.run()));
            }
        }
        let courier = Courier {
            view: view.clone(),
            orders: orders.clone(),
            clock: clock.clone(),
            carriers: Arc::new(carriers),
            give_up_after,
            woken: Arc::clone(&woken),
        };
        tasks.push(tokio::spawn(courier.run()));
        let planning = Planning { view, orders, clock, systems, commits, notices: Arc::new(notices), woken };
        tasks.push(tokio::spawn(planning.run()));
        Self { tasks }
    }
}

impl Drop for Notifier {
    fn drop(&mut self) {
        self.tasks.iter().for_each(JoinHandle::abort);
    }
}

struct Planning {
    view: View,
    orders: Orders,
    clock: Clock,
    systems: watch::Receiver<Arc<Vec<Arc<System>>>>,
    commits: watch::Receiver<u64>,
    notices: Arc<Notices>,
    woken: Arc<Notify>,
}

impl Planning {
    async fn run(mut self) {
        let (mut seen, mut looked) = (None, Instant::now());
        loop {
            self.commits.mark_unchanged();
            let step = self.view.last_alert_step().ok();
            if step != seen || looked.elapsed() >= LOOK {
                looked = Instant::now();
                match self.plan().await {
                    Ok(()) => seen = step,
                    Err(fault) => error!(fault = %chain(&fault), "cannot find out whom to tell"),
                }
            }
            // Ends with the writer; then there is nothing more to plan either.
            if let Ok(Err(_)) = tokio::time::timeout(LOOK, self.commits.changed()).await {
                return;
            }
        }
    }

    async fn plan(&self) -> Result<(), LedgerFault> {
        let (view, notices) = (self.view.clone(), Arc::clone(&self.notices));
        let (systems, now) = (Arc::clone(&self.systems.borrow()), self.clock.now());
        let orders: Vec<Order> =
            tokio::task::spawn_blocking(move || planner::orders(&view, &notices.routing, &systems, now))
                .await
                .expect("planning does not panic and is not aborted")?;
        for order in orders {
            if let Err(refused) = self.orders.place(order).await {
                // What was not stored is planned again.
                debug!(%refused, "what to tell has to wait");
            }
        }
        self.woken.notify_one();
        Ok(())
    }
}
