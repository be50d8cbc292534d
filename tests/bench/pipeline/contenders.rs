//! Who empties the backlog.

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use basinward::ledger::View;
use rumqttc::{Client, Event, Incoming, MqttOptions, QoS};
use rusqlite::{Connection, params};
use support::{Process, free_port, until};

use crate::measure::{bytes_in, cpu_seconds, memory_mib};
use crate::{BASINS, SYSTEMS};

const FILTER: &str = "greywater/#";
const PATIENCE: Duration = Duration::from_mins(10);
/// Messages that a script commits together.
const BATCH: usize = 1_000;
/// A script's one threshold.
const WET: f64 = 0.34;

/// What draining the backlog took.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Measured {
    pub(crate) per_second: f64,
    pub(crate) cpu_s_per_100k: f64,
    pub(crate) rss_mib: f64,
    /// Bytes on disk a message, write-ahead log included.
    pub(crate) disk_bytes: f64,
}

/// What a contender runs.
#[derive(Clone, Debug)]
pub(crate) enum Work {
    /// The daemon.
    Basinward,
    /// This program again, doing this.
    Ourselves(&'static str),
    /// Another program: how it begins.
    Other(Vec<String>),
}

/// One contender and its session.
#[derive(Clone, Debug)]
pub(crate) struct Contender {
    pub(crate) name: &'static str,
    pub(crate) work: Work,
    port: u16,
    messages: usize,
    folder: PathBuf,
}

impl Contender {
    /// Everybody who can run here.
    pub(crate) fn all(port: u16, messages: usize, folder: &Path) -> Vec<Self> {
        let scripts = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bench/pipeline");
        let script = |name: &str| scripts.join(name).display().to_string();
        let python = std::env::var("PIPELINE_PYTHON").ok().map(|python| vec![python, script("script.py")]);
        let node = std::env::var("PIPELINE_NODE_MODULES").ok();
        let node = node.map(|modules| vec!["node".to_owned(), script("script.js"), modules]);
        let sub = [
            "mosquitto_sub",
            "-q",
            "1",
            "-c",
            "-t",
            FILTER,
            "-p",
            &port.to_string(),
            "-i",
            "mosquitto_sub",
            "-C",
            &messages.to_string(),
        ];
        let sub = sub.map(str::to_owned).to_vec();
        let has_sub = Command::new("mosquitto_sub").arg("--help").output().is_ok();
        let all = [
            ("basinward", Some(Work::Basinward)),
            ("rust script", Some(Work::Ourselves("script"))),
            ("counting", Some(Work::Ourselves("count"))),
            ("mosquitto_sub", has_sub.then_some(Work::Other(sub))),
            ("python script", python.map(Work::Other)),
            ("node script", node.map(Work::Other)),
        ];
        all.into_iter()
            .filter_map(|(name, work)| {
                let folder = folder.join(name.replace(' ', "-"));
                fs::create_dir_all(&folder).expect("a folder of its own");
                Some(Self { name, work: work?, port, messages, folder })
            })
            .collect()
    }

    fn client_id(&self) -> String {
        self.name.replace(' ', "-")
    }

    /// Makes its session, to which the broker then adds what is published.
    pub(crate) fn subscribe(&self) {
        if matches!(self.work, Work::Basinward) {
            self.write_systems();
            let (mut daemon, desk) = self.daemon();
            until(PATIENCE, "the daemon listens", || is_ready(desk));
            daemon.signal("TERM");
            daemon.wait(PATIENCE);
            return;
        }
        let (client, mut connection) = connect(self.port, &self.client_id());
        client.subscribe(FILTER, QoS::AtLeastOnce).expect("asks");
        let answered = connection.iter().find(|it| matches!(it, Ok(Event::Incoming(Incoming::SubAck(_)))));
        answered.expect("the broker answers").expect("the subscription is granted");
        client.disconnect().expect("asks");
        // Until the connection has ended.
        while connection.iter().next().is_some_and(|it| it.is_ok()) {}
    }

    /// Empties its session.
    pub(crate) fn drain(&self) -> Measured {
        match &self.work {
            Work::Basinward => self.drain_by_daemon(),
            Work::Ourselves(what) => {
                let itself = std::env::current_exe().expect("it runs").display().to_string();
                self.drain_by(&[itself, "contend".to_owned(), (*what).to_owned()], true)
            }
            Work::Other(command) => self.drain_by(command, self.name != "mosquitto_sub"),
        }
    }

    /// Runs a program; one that `talks` takes port, client id, count and folder, says `begun` with the first message
    /// and `done` after the last, and waits for its input to close.
    fn drain_by(&self, command: &[String], talks: bool) -> Measured {
        let mut program = Command::new(&command[0]);
        program.args(&command[1..]).stdin(Stdio::piped()).stdout(Stdio::piped());
        if talks {
            program
                .args([self.port.to_string(), self.client_id(), self.messages.to_string()])
                .arg(&self.folder);
        }
        let mut process = Process::start(&mut program);
        let out = process.child().stdout.take().expect("it is piped");
        let mut lines = BufReader::new(out).lines().map_while(Result::ok);
        let mut wait_for = |wanted: usize| (0..wanted).filter_map(|_| lines.next()).count();
        assert_eq!(wait_for(1), 1, "{} says nothing", self.name);
        let began = Instant::now();
        let mut cpu = f64::NAN;
        if talks {
            wait_for(1);
        } else {
            // It prints the messages themselves, and is gone after the last: look while there is something to see.
            for _ in 0..99 {
                wait_for(self.messages / 100);
                cpu = cpu_seconds(process.id());
            }
            wait_for(self.messages);
        }
        let seconds = began.elapsed().as_secs_f64();
        if talks {
            cpu = cpu_seconds(process.id());
        }
        let rss_mib = memory_mib(process.id(), "VmHWM");
        drop(process.child().stdin.take());
        self.measured(seconds, cpu, rss_mib)
    }

    fn drain_by_daemon(&self) -> Measured {
        let (daemon, _) = self.daemon();
        let taken = || {
            View::open(&self.folder.join("data")).and_then(|view| view.totals()).map_or(0, |it| it.messages)
        };
        until(PATIENCE, "the first message is stored", || taken() > 0);
        let (first, began) = (taken(), Instant::now());
        until(PATIENCE, "every message is stored", || taken() >= self.messages as u64);
        let part = (self.messages as u64 - first) as f64 / self.messages as f64;
        let seconds = began.elapsed().as_secs_f64() / part;
        self.measured(seconds, cpu_seconds(daemon.id()), memory_mib(daemon.id(), "VmHWM"))
    }

    fn measured(&self, seconds: f64, cpu_s: f64, rss_mib: f64) -> Measured {
        let data =
            if matches!(self.work, Work::Basinward) { self.folder.join("data") } else { self.folder.clone() };
        Measured {
            per_second: self.messages as f64 / seconds,
            cpu_s_per_100k: cpu_s * 1e5 / self.messages as f64,
            rss_mib,
            disk_bytes: bytes_in(&data) as f64 / self.messages as f64,
        }
    }

    /// Readings in the daemon's ledger.
    pub(crate) fn stored(&self) -> u64 {
        let view = View::open(&self.folder.join("data")).expect("the ledger");
        view.totals().expect("its totals").readings
    }

    /// The daemon, and the port of its desk.
    fn daemon(&self) -> (Process, u16) {
        let desk = free_port();
        let log = fs::File::options().create(true).append(true).open(self.folder.join("log")).expect("a log");
        let mut command = Command::new(env!("CARGO_BIN_EXE_basinward"));
        command
            .arg("run")
            .current_dir(&self.folder)
            .env("BASINWARD__MQTT__BROKER", format!("mqtt://127.0.0.1:{}", self.port))
            .env("BASINWARD__DESK__LISTEN", format!("127.0.0.1:{desk}"))
            .stdout(Stdio::null())
            .stderr(log);
        (Process::start(&mut command), desk)
    }

    fn write_systems(&self) {
        let systems = self.folder.join("systems");
        fs::create_dir_all(&systems).expect("a folder");
        for system in 0..SYSTEMS {
            let [a, b] = BASINS;
            let text = format!(
                "id = \"load-{system:03}\"\nname = \"Load {system}\"\ntimezone = \"UTC\"\nsoil = \"loam\"\n\
                 [[splitter]]\nid = \"s1\"\nfeeds = [\"{a}\", \"{b}\"]\n\
                 [[basin]]\nid = \"{a}\"\narea_m2 = 1.2\nmoisture = {{}}\n[[basin]]\nid = \"{b}\"\narea_m2 = 1.2\nmoisture = {{}}\n"
            );
            fs::write(systems.join(format!("load-{system:03}.toml")), text).expect("writes");
        }
    }
}

/// Whether the daemon says that it is connected to the broker.
fn is_ready(desk: u16) -> bool {
    let Ok(mut desk) = TcpStream::connect(("127.0.0.1", desk)) else { return false };
    let mut answer = String::new();
    let asked = desk.write_all(b"GET /readyz HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n");
    asked.and_then(|()| desk.read_to_string(&mut answer)).is_ok() && answer.starts_with("HTTP/1.1 200")
}

fn connect(port: u16, client_id: &str) -> (Client, rumqttc::Connection) {
    let mut options = MqttOptions::new(client_id, "127.0.0.1", port);
    options.set_clean_session(false).set_inflight(1_000);
    Client::new(options, 1_000)
}

/// `contend WHAT PORT CLIENT_ID MESSAGES FOLDER`: what this program does as one of the contenders.
pub(crate) fn contend(args: &[String]) {
    let [what, port, client_id, messages, folder] = args else { panic!("called by itself only: {args:?}") };
    let port: u16 = port.parse().expect("a port");
    let messages: usize = messages.parse().expect("a count");
    let mut script = (what == "script").then(|| Script::new(Path::new(folder)));
    let (_client, mut connection) = connect(port, client_id);
    let mut taken = 0;
    for event in connection.iter() {
        let Ok(Event::Incoming(Incoming::Publish(message))) = event else { continue };
        if taken == 0 {
            say("begun");
        }
        taken += 1;
        if let Some(script) = &mut script {
            script.take(&message.topic, &message.payload);
        }
        if taken == messages {
            break;
        }
    }
    if let Some(script) = &mut script {
        script.commit();
    }
    say("done");
    // Until the other side has looked at what we used.
    let _ = std::io::stdin().lines().next();
}

fn say(word: &str) {
    let mut out = std::io::stdout();
    writeln!(out, "{word}").and_then(|()| out.flush()).expect("somebody listens");
}

/// What somebody would write in an afternoon.
struct Script {
    db: Connection,
    last: std::collections::BTreeMap<String, f64>,
    wet: u64,
    open: usize,
}

#[derive(serde::Deserialize)]
struct Reading {
    value: f64,
    time: i64,
}

impl Script {
    fn new(folder: &Path) -> Self {
        let db = Connection::open(folder.join("readings.db")).expect("a database");
        let begin = "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;
             CREATE TABLE readings (topic TEXT, time INTEGER, value REAL, PRIMARY KEY (topic, time)) WITHOUT ROWID; BEGIN";
        db.execute_batch(begin).expect("a table");
        Self { db, last: std::collections::BTreeMap::new(), wet: 0, open: 0 }
    }

    fn take(&mut self, topic: &str, payload: &[u8]) {
        let reading: Reading = serde_json::from_slice(payload).expect("JSON");
        let before = match self.last.get_mut(topic) {
            Some(last) => std::mem::replace(last, reading.value),
            None => self.last.insert(topic.to_owned(), reading.value).unwrap_or_default(),
        };
        if reading.value > WET && before <= WET {
            self.wet += 1;
        }
        let mut insert =
            self.db.prepare_cached("INSERT OR IGNORE INTO readings VALUES (?, ?, ?)").expect("SQL");
        insert.execute(params![topic, reading.time, reading.value]).expect("inserts");
        drop(insert);
        self.open += 1;
        if self.open == BATCH {
            self.commit();
            self.db.execute_batch("BEGIN").expect("begins");
        }
    }

    fn commit(&mut self) {
        self.db.execute_batch("COMMIT").expect("commits");
        self.open = 0;
    }
}
