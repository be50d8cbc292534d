//! A ledger with a writer that does nothing but keep: what a test commits, and the orders of an exporter.

use std::sync::mpsc::{Sender, channel, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;

use basinward::clock::Clock;
use basinward::export::{Destination, ExportHealth, Exporter, Sources};
use basinward::ledger::{Batch, Ledger, Orders, SystemNo, View};
use basinward::model::System;
use tempfile::TempDir;
use tokio::sync::{oneshot, watch};
use tokio::task::JoinHandle;

type Job = Box<dyn FnOnce(&mut Ledger, SystemNo) + Send>;

/// The ledger and its writer.
pub(crate) struct Keeper {
    folder: TempDir,
    system: Arc<System>,
    jobs: Sender<Job>,
    orders: Orders,
    commits: watch::Receiver<u64>,
}

/// An exporter at work; it stops when dropped.
pub(crate) struct Export {
    pub(crate) health: ExportHealth,
    stop: Option<oneshot::Sender<()>>,
    task: JoinHandle<()>,
}

impl Keeper {
    pub(crate) fn new(system: System) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let mut ledger = Ledger::open(folder.path()).expect("a new ledger");
        let number = ledger.enrol([&system]).expect("it enrols")[0];
        let recovery = ledger.recover().expect("nothing to recover");
        ledger.replay(&recovery, |_| ()).expect("nothing to replay");
        let (jobs, work) = channel::<Job>();
        let wake = Mutex::new(jobs.clone());
        let (orders, queue) = Orders::new(move || {
            let _ = wake.lock().unwrap_or_else(PoisonError::into_inner).send(Box::new(|_, _| ()));
        });
        let (told, commits) = watch::channel(0);
        thread::spawn(move || {
            for job in work {
                job(&mut ledger, number);
                let asked: Vec<_> = queue.waiting().collect();
                let mut batch = Batch::default();
                for it in &asked {
                    batch.order(it.order.clone());
                }
                if !batch.is_empty() {
                    let commit = ledger.commit(&batch).expect("orders are committed");
                    asked.into_iter().zip(commit.answers).for_each(|(it, answer)| it.answer(answer));
                }
                told.send_replace(ledger.last_commit());
            }
        });
        Self { folder, system: Arc::new(system), jobs, orders, commits }
    }

    /// Has the writer do something and waits until it has.
    pub(crate) fn with_ledger<T: Send + 'static>(
        &self,
        work: impl FnOnce(&mut Ledger, SystemNo) -> T + Send + 'static,
    ) -> T {
        let (done, wait) = sync_channel(1);
        let job = move |ledger: &mut Ledger, number| done.send(work(ledger, number)).expect("the test waits");
        self.jobs.send(Box::new(job)).expect("the writer lives");
        wait.recv().expect("the writer answers")
    }

    /// Commits what `fill` puts into a batch.
    pub(crate) fn commit(&self, fill: impl FnOnce(&mut Batch, SystemNo) + Send + 'static) {
        self.with_ledger(move |ledger, number| {
            let mut batch = Batch::default();
            fill(&mut batch, number);
            ledger.commit(&batch).expect("a batch is committed");
        });
    }

    pub(crate) fn view(&self) -> View {
        View::open(self.folder.path()).expect("the ledger is there")
    }

    /// Starts an exporter to `url`.
    pub(crate) fn export(&self, url: &str) -> Export {
        let destination = Destination {
            url: url.to_owned(),
            org: "yards".to_owned(),
            bucket: "greywater".to_owned(),
            token: Some("secret".to_owned()),
            ca_file: None,
        };
        let (_, systems) = watch::channel(Arc::new(vec![Arc::clone(&self.system)]));
        let sources = Sources {
            view: self.view(),
            orders: self.orders.clone(),
            commits: self.commits.clone(),
            systems,
            clock: Clock::wall(),
        };
        let (exporter, health) = Exporter::new(destination, sources).expect("an exporter");
        let (stop, stopped) = oneshot::channel();
        let task = tokio::spawn(exporter.run(async {
            let _ = stopped.await;
        }));
        Export { health, stop: Some(stop), task }
    }
}

impl Export {
    /// Waits until the state of the export is as wanted.
    pub(crate) async fn until(&mut self, wanted: impl FnMut(&basinward::export::ExportState) -> bool) {
        let waited =
            tokio::time::timeout(std::time::Duration::from_mins(2), self.health.wait_for(wanted)).await;
        waited.expect("the state is reached").expect("the exporter lives");
    }

    /// Ends it.
    pub(crate) async fn end(mut self) {
        drop(self.stop.take());
        self.task.await.expect("it ends by itself");
    }
}
