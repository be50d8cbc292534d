//! A desk over a ledger, served on this machine: for tests of what pages say and measurements of what they cost.

use std::future::pending;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::sync::Arc;
use std::thread;
use std::time::Duration;

use basinward::clock::Clock;
use basinward::desk::{self, Desk, Entry, LinkNote, SystemFolder};
use basinward::ledger::{OrderQueue, Orders, View};
use basinward::model::System;
use basinward::schedule::Upkeep;
use basinward::systemfile::{self, FaultyFile, Folder};
use tokio::net::TcpListener;
use tokio::sync::{mpsc, watch};

pub(crate) type Failure = Box<dyn std::error::Error>;

/// Two levels of splitters over four basins, all on the plan, without its names.
const TERRACE: &str = include_str!("../yards/terrace.toml");

/// The terrace by these names; `everywhere` with float and probe in every basin and a meter.
pub(crate) fn terrace(id: &str, name: &str, property: &str, everywhere: bool) -> System {
    let mut plan = TERRACE.to_owned();
    if everywhere {
        let is_sensor =
            |line: &str| ["float = ", "overflow = ", "moisture = "].iter().any(|key| line.starts_with(key));
        plan = TERRACE.lines().filter(|line| !is_sensor(line)).map(|line| line.to_owned() + "\n").collect();
        plan = plan.replace("area_m2 = 1.2", "area_m2 = 1.2\nfloat = {}\nmoisture = {}");
        plan.push_str("[source]\nmeter = { litres_per_count = 1.0 }\n");
    }
    let names = format!("id = \"{id}\"\nname = \"{name}\"\nproperty = \"{property}\"\n");
    systemfile::parse(&format!("{id}.toml"), &(names + &plan)).expect("the plan is plain")
}

/// Where pages are served, and what must live as long as they are asked for.
pub(crate) struct Served {
    address: SocketAddr,
    _queue: OrderQueue,
    _systems: watch::Sender<Arc<Vec<Arc<System>>>>,
    commits: watch::Sender<u64>,
    _link: watch::Sender<LinkNote>,
    _upkeep: watch::Sender<Arc<Upkeep>>,
    _faulty: watch::Sender<Arc<Vec<FaultyFile>>>,
}

/// An answer.
pub(crate) struct Answer {
    pub(crate) status: u16,
    pub(crate) body: Vec<u8>,
}

impl Served {
    /// Serves the pages of the system files `found` from what the ledger in `folder` holds, to whom `entry` lets in.
    pub(crate) fn start(
        folder: &Path,
        (view, entry): (View, Entry),
        found: Folder,
        upkeep: Upkeep,
        clock: Clock,
    ) -> Result<Self, Failure> {
        let (orders, queue) = Orders::new(|| ());
        let (systems_tx, systems) = watch::channel(Arc::new(found.systems));
        let (commits_tx, commits) = watch::channel(1);
        let (link_tx, link) = watch::channel(LinkNote::default());
        let (faulty_tx, faulty) = watch::channel(Arc::new(found.faulty));
        let (upkeep_tx, upkeep) = watch::channel(Arc::new(upkeep));
        let files = SystemFolder {
            folder: folder.to_owned(),
            prefix: "greywater".into(),
            changed: mpsc::channel(1).0,
        };
        let desk = Desk {
            systems,
            faulty,
            view,
            commits,
            orders,
            clock,
            banner: None,
            files,
            entry,
            seal: None,
            link,
            learning: watch::channel(Arc::default()).1,
            pages: String::new(),
            broker: "mqtt://127.0.0.1:1883".to_owned(),
            export: None,
            upkeep,
        };
        let runtime = tokio::runtime::Runtime::new()?;
        let listener = runtime.block_on(TcpListener::bind("127.0.0.1:0"))?;
        let address = listener.local_addr()?;
        thread::spawn(move || runtime.block_on(desk::serve(listener, None, desk, pending())));
        Ok(Self {
            address,
            _queue: queue,
            _systems: systems_tx,
            commits: commits_tx,
            _link: link_tx,
            _upkeep: upkeep_tx,
            _faulty: faulty_tx,
        })
    }

    /// Lets the desk believe that something was committed.
    pub(crate) fn commit(&self) {
        self.commits.send_modify(|commits| *commits += 1);
    }

    /// What is answered at `path`, asked with these further header lines.
    pub(crate) fn ask(&self, path: &str, lines: &str) -> Result<Answer, Failure> {
        let mut peer = TcpStream::connect(self.address)?;
        peer.set_read_timeout(Some(Duration::from_secs(30)))?;
        write!(peer, "GET {path} HTTP/1.0\r\nHost: localhost\r\n{lines}\r\n")?;
        let mut answer = Vec::new();
        peer.read_to_end(&mut answer)?;
        let head = answer.windows(4).position(|four| four == b"\r\n\r\n").ok_or("no head")?;
        let status = std::str::from_utf8(&answer[9..12])?.parse()?;
        Ok(Answer { status, body: answer.split_off(head + 4) })
    }
}
