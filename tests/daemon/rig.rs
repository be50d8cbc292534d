//! A daemon in a folder of its own.

use std::collections::BTreeMap;
use std::fs;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use basinward::engine::FindingChange;
use basinward::ledger::{Record, Resolution, View};
use basinward::model::{EventTime, Id};
use serde_json::Value;
use support::{Process, free_port, until};
use tempfile::TempDir;

/// Long enough for anything on a busy machine.
pub(crate) const PATIENCE: Duration = Duration::from_mins(1);

/// Everybody's password.
const PASSWORD: &str = "rake trowel spirit level";

/// A folder with system files and settings; daemons come and go in it.
pub(crate) struct Yard {
    folder: TempDir,
    environment: BTreeMap<&'static str, String>,
    desk_port: u16,
}

/// A daemon that runs; killed when dropped.
pub(crate) struct Daemon {
    pub(crate) process: Process,
}

impl Yard {
    /// A folder with `systems` systems, each of two basins with float, overflow float and probe.
    pub(crate) fn new(systems: usize) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        fs::create_dir(folder.path().join("systems")).expect("a folder for system files");
        let yard = Self { folder, environment: BTreeMap::new(), desk_port: free_port() };
        (0..systems).for_each(|n| yard.write_system(&format!("yard-{n}"), &["quince", "fig"]));
        yard
    }

    /// The daemon takes its readings from the broker on `port`.
    pub(crate) fn listening_to(mut self, port: u16) -> Self {
        self.environment.insert("BASINWARD__MQTT__BROKER", format!("mqtt://127.0.0.1:{port}"));
        self
    }

    /// The daemon runs its own broker on `port`.
    pub(crate) fn with_embedded_broker(mut self, port: u16) -> Self {
        self.environment.insert("BASINWARD__EMBEDDED_BROKER__LISTEN", format!("127.0.0.1:{port}"));
        self
    }

    /// Writes a system file with one splitter over two basins.
    pub(crate) fn write_system(&self, id: &str, basins: &[&str; 2]) {
        let [a, b] = basins;
        let mut text = format!(
            "id = \"{id}\"\nname = \"{id}\"\nproperty = \"home\"\ntimezone = \"America/Denver\"\n\
             soil = \"sandy-loam\"\n[diverter]\n[[splitter]]\nid = \"s1\"\nfeeds = [\"{a}\", \"{b}\"]\n"
        );
        for basin in basins {
            text.push_str("[[basin]]\n");
            text.extend([
                format!("id = \"{basin}\"\narea_m2 = 1.2\n"),
                "float = { height_mm = 120 }\noverflow = { height_mm = 260 }\n".to_owned(),
                "moisture = { depth_mm = 250 }\n".to_owned(),
            ]);
        }
        self.write(&format!("systems/{id}.toml"), &text);
    }

    pub(crate) fn write(&self, name: &str, text: &str) {
        fs::write(self.path().join(name), text).expect("writes into the temporary folder");
    }

    /// A file of the folder; empty while there is none.
    pub(crate) fn file(&self, name: &str) -> String {
        fs::read_to_string(self.path().join(name)).unwrap_or_default()
    }

    /// `host:port` of the pages.
    pub(crate) fn desk(&self) -> String {
        format!("localhost:{}", self.desk_port)
    }

    pub(crate) fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Starts a daemon, without waiting for it.
    pub(crate) fn launch(&self) -> Daemon {
        let log = fs::OpenOptions::new().create(true).append(true).open(self.path().join("log"));
        let mut command = Command::new(env!("CARGO_BIN_EXE_basinward"));
        command
            .arg("run")
            .current_dir(self.path())
            .envs(&self.environment)
            .env("BASINWARD__DESK__LISTEN", format!("127.0.0.1:{}", self.desk_port))
            .stdout(Stdio::null())
            .stderr(log.expect("a log file"));
        Daemon { process: Process::start(&mut command) }
    }

    /// Shows the demonstration with these further arguments, and waits until its pages are served.
    pub(crate) fn show(&self, more: &[&str]) -> Daemon {
        let log = || fs::OpenOptions::new().create(true).append(true).open(self.path().join("log"));
        let mut command = Command::new(env!("CARGO_BIN_EXE_basinward"));
        command
            .args(["demo", "--folder", ".", "--port", &self.desk_port.to_string()])
            .args(more)
            .current_dir(self.path())
            .stdout(log().expect("a log file"))
            .stderr(log().expect("a log file"));
        let daemon = Daemon { process: Process::start(&mut command) };
        until(PATIENCE, "the demonstration is shown", || self.times_logged("Open http") > 0);
        daemon
    }

    /// What a page says now to an owner, who is let in for it while the daemon runs.
    pub(crate) fn page(&self, path: &str) -> String {
        self.let_in("Maria", "owner", &[]);
        let cookie = self.sign_in("Maria");
        self.ask(&format!("GET {path} HTTP/1.1\r\nCookie: {cookie}\r\n"), "")
    }

    /// Lets somebody in by the command line.
    pub(crate) fn let_in(&self, name: &str, role: &str, properties: &[&str]) {
        let mut command = Command::new(env!("CARGO_BIN_EXE_basinward"));
        command.args(["person", "add", name, "--role", role]).current_dir(self.path());
        command.args(properties.iter().flat_map(|property| ["--property", property]));
        let mut child = command.stdin(Stdio::piped()).stdout(Stdio::null()).spawn().expect("it runs");
        writeln!(child.stdin.take().expect("a pipe"), "{PASSWORD}").expect("it listens");
        assert!(child.wait().expect("it ends").success());
    }

    /// Gives somebody another password by the command line.
    pub(crate) fn new_password(&self, name: &str, password: &str) {
        let mut command = Command::new(env!("CARGO_BIN_EXE_basinward"));
        command.args(["person", "password", name]).current_dir(self.path());
        let mut child = command.stdin(Stdio::piped()).stdout(Stdio::null()).spawn().expect("it runs");
        writeln!(child.stdin.take().expect("a pipe"), "{password}").expect("it listens");
        assert!(child.wait().expect("it ends").success());
    }

    /// The cookie of a browser that somebody signs in at.
    pub(crate) fn sign_in(&self, name: &str) -> String {
        let form = format!("name={name}&password={}", PASSWORD.replace(' ', "+"));
        let answer = self.ask("POST /sign-in HTTP/1.1\r\n", &form);
        let cookie = answer.lines().find_map(|line| line.strip_prefix("set-cookie: "));
        cookie.and_then(|cookie| cookie.split(';').next()).unwrap_or_else(|| panic!("{answer}")).to_owned()
    }

    /// The answer to a request that begins with `head`.
    pub(crate) fn ask(&self, head: &str, form: &str) -> String {
        self.send(head, "application/x-www-form-urlencoded", form)
    }

    pub(crate) fn send(&self, head: &str, kind: &str, body: &str) -> String {
        let mut desk = TcpStream::connect(("127.0.0.1", self.desk_port)).expect("the desk listens");
        let host = format!("127.0.0.1:{}", self.desk_port);
        let length = body.len();
        write!(
            desk,
            "{head}Host: {host}\r\nConnection: close\r\nContent-Length: {length}\r\n\
             Content-Type: {kind}\r\n\r\n{body}"
        )
        .expect("asks");
        let mut answer = String::new();
        desk.read_to_string(&mut answer).expect("an answer");
        answer
    }

    /// Status and content of the answer to a JSON request with `headers`.
    pub(crate) fn call(&self, method: &str, path: &str, headers: &str, body: &Value) -> (u16, Value) {
        let body = if body.is_null() { String::new() } else { body.to_string() };
        let answer = self.send(&format!("{method} {path} HTTP/1.1\r\n{headers}"), "application/json", &body);
        let status = answer.split(' ').nth(1).and_then(|status| status.parse().ok()).expect("a status");
        let (head, body) = answer.split_once("\r\n\r\n").expect("a head");
        assert!(!head.contains("transfer-encoding"), "{head}");
        (status, serde_json::from_str(body).unwrap_or(Value::String(body.to_owned())))
    }

    /// What comes within `time` from an address that goes on and on.
    pub(crate) fn listen(&self, head: &str, time: Duration) -> String {
        let mut desk = TcpStream::connect(("127.0.0.1", self.desk_port)).expect("the desk listens");
        write!(desk, "{head}Host: 127.0.0.1:{}\r\n\r\n", self.desk_port).expect("asks");
        let mut heard = Vec::new();
        let until = std::time::Instant::now() + time;
        while let Some(left) =
            until.checked_duration_since(std::time::Instant::now()).filter(|left| !left.is_zero())
        {
            desk.set_read_timeout(Some(left)).expect("a timeout");
            let mut some = [0; 4096];
            match desk.read(&mut some) {
                Ok(0) | Err(_) => break,
                Ok(length) => heard.extend_from_slice(&some[..length]),
            }
        }
        String::from_utf8(heard).expect("text")
    }

    /// Adds a variable to the daemon's environment.
    pub(crate) fn with(mut self, name: &'static str, value: String) -> Self {
        self.environment.insert(name, value);
        self
    }

    /// Starts a daemon and waits until it serves.
    pub(crate) fn start(&self) -> Daemon {
        let before = self.times_logged("serving");
        let daemon = self.launch();
        until(PATIENCE, "the daemon serves", || self.times_logged("serving") > before);
        daemon
    }

    pub(crate) fn log(&self) -> String {
        self.file("log")
    }

    pub(crate) fn times_logged(&self, text: &str) -> usize {
        self.log().matches(text).count()
    }

    pub(crate) fn view(&self) -> View {
        View::open(&self.path().join("data")).expect("a ledger")
    }

    /// Every change of a finding in the ledger's log, in order.
    pub(crate) fn changes(&self) -> Vec<(Id, FindingChange)> {
        let effects = self.view().changes_since(0, usize::MAX >> 1).expect("the log of effects");
        let changes = effects.into_iter().filter_map(|effect| match effect.record {
            Record::Finding(change) => Some((effect.system, change)),
            Record::Dose(_) | Record::Soak(_) => None,
        });
        changes.collect()
    }

    /// Times and values of all readings of a sensor.
    pub(crate) fn readings(&self, system: &str, sensor: &str) -> BTreeMap<EventTime, f64> {
        let id = Id::new(system).expect("an id");
        let all = self.view().history(&id, sensor, EventTime::MIN, EventTime::MAX, Resolution::Raw);
        all.expect("the history").into_iter().map(|bin| (bin.at, bin.mean)).collect()
    }
}
