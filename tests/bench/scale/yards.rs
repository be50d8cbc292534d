//! A daemon over any number of yards, and what their sensors say.

use std::fs;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use basinward::ledger::View;
use support::{Process, free_port};

pub(crate) const PATIENCE: Duration = Duration::from_mins(20);
pub(crate) const BASINS: [&str; 2] = ["north", "south"];

/// A folder of yards, and the broker that a daemon over it listens to.
pub(crate) struct Yards {
    folder: PathBuf,
    broker: u16,
    pub(crate) systems: usize,
}

/// A running daemon.
pub(crate) struct Running {
    pub(crate) process: Process,
    pub(crate) desk: u16,
}

impl Yards {
    /// Writes system files with two basins each, and settings.
    pub(crate) fn write(folder: &Path, systems: usize, broker: u16, settings: &str) -> Self {
        let files = folder.join("systems");
        fs::create_dir_all(&files).expect("a folder");
        for system in 0..systems {
            let [a, b] = BASINS;
            let basin = |id| {
                format!(
                    "[[basin]]\nid = \"{id}\"\narea_m2 = 1.2\nmoisture = {{}}\noverflow = {{ height_mm = 260 }}\n"
                )
            };
            let text = format!(
                "id = \"load-{system}\"\nname = \"Load {system}\"\nproperty = \"home-{system}\"\ntimezone = \"UTC\"\n\
                 soil = \"loam\"\n[[splitter]]\nid = \"s1\"\nfeeds = [\"{a}\", \"{b}\"]\n{}{}",
                basin(a),
                basin(b)
            );
            fs::write(files.join(format!("load-{system}.toml")), text).expect("writes");
        }
        fs::write(folder.join("basinward.toml"), settings).expect("writes");
        Self { folder: folder.to_owned(), broker, systems }
    }

    /// Starts a daemon; `open` lets everybody on this machine in.
    pub(crate) fn start(&self) -> Running {
        let desk = free_port();
        let log = fs::File::options().create(true).append(true).open(self.folder.join("log")).expect("a log");
        let mut command = Command::new(env!("CARGO_BIN_EXE_basinward"));
        command
            .arg("run")
            .current_dir(&self.folder)
            .env("BASINWARD__MQTT__BROKER", format!("mqtt://127.0.0.1:{}", self.broker))
            .env("BASINWARD__DESK__LISTEN", format!("127.0.0.1:{desk}"))
            .stdout(Stdio::null())
            .stderr(log);
        Running { process: Process::start(&mut command), desk }
    }

    pub(crate) fn view(&self) -> Option<View> {
        View::open(&self.folder.join("data")).ok()
    }

    /// Messages in the ledger.
    pub(crate) fn taken(&self) -> u64 {
        self.view().and_then(|view| view.totals().ok()).map_or(0, |totals| totals.messages)
    }

    pub(crate) fn data(&self) -> PathBuf {
        self.folder.join("data")
    }

    /// Reading `n` of all probes in turn, measured at `at_s`.
    pub(crate) fn reading(&self, n: usize, at_s: i64) -> (String, String) {
        let probes = self.systems * BASINS.len();
        let (round, probe) = (n / probes, n % probes);
        let (system, basin) = (probe / BASINS.len(), BASINS[probe % BASINS.len()]);
        // Wet after every twentieth reading, drying in between.
        let value = 0.35 - 0.01 * ((round + system) % 20) as f64;
        (
            format!("greywater/load-{system}/{basin}/moisture"),
            format!("{{\"value\":{value:.3},\"time\":{at_s}}}"),
        )
    }
}

impl Running {
    /// Whether it serves pages and listens to its broker.
    pub(crate) fn is_ready(&self) -> bool {
        let Ok(mut desk) = TcpStream::connect(("127.0.0.1", self.desk)) else { return false };
        let mut answer = String::new();
        let asked = desk.write_all(b"GET /readyz HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n");
        asked.and_then(|()| desk.read_to_string(&mut answer)).is_ok() && answer.starts_with("HTTP/1.1 200")
    }

    /// Ends it in order.
    pub(crate) fn end(mut self) {
        self.process.signal("TERM");
        self.process.wait(PATIENCE);
    }
}
