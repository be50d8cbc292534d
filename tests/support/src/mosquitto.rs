//! The real broker.

use std::fs;
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use tempfile::TempDir;

use crate::device::Device;
use crate::ports::free_port;
use crate::process::{Process, until};

/// The four settings that matter for us, as the README tells users, and nothing on the terminal.
const BASE: &str = "persistence true
autosave_interval 1
max_queued_messages 0
max_inflight_messages 2000
allow_anonymous true
user root
";

/// A Mosquitto with a folder of its own, on a loopback port of its own; killed when dropped.
#[derive(Debug)]
pub struct Mosquitto {
    folder: TempDir,
    port: u16,
    process: Option<Process>,
}

impl Mosquitto {
    /// A broker that lets everyone in.
    pub fn start() -> Self {
        Self::with("")
    }

    /// A broker with more lines in its configuration; they follow the listener's and override ours.
    pub fn with(lines: &str) -> Self {
        Self::with_files(|_| lines.to_owned())
    }

    /// As [`Self::with`], for lines that name files: `lines` is given the broker's folder to put them in.
    ///
    /// # Panics
    /// When Mosquitto is not installed or does not come up.
    pub fn with_files(lines: impl FnOnce(&Path) -> String) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let port = free_port();
        let config = format!(
            "{BASE}persistence_location {}/\nlog_dest file {}\nlistener {port} 127.0.0.1\n{}\n",
            folder.path().display(),
            folder.path().join("log").display(),
            lines(folder.path())
        );
        fs::write(folder.path().join("mosquitto.conf"), config).expect("writes the configuration");
        let mut broker = Self { folder, port, process: None };
        broker.start_again();
        broker
    }

    /// Its port on 127.0.0.1.
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Its folder: configuration, log, stored sessions.
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Its process.
    ///
    /// # Panics
    /// When it is stopped.
    pub fn process(&self) -> &Process {
        self.process.as_ref().expect("the broker runs")
    }

    /// Starts it after [`Self::stop`] or [`Self::kill`], on the same port and folder.
    ///
    /// # Panics
    /// When it does not come up.
    pub fn start_again(&mut self) {
        let mut command = Command::new(program());
        command.arg("-c").arg(self.folder.path().join("mosquitto.conf"));
        let process =
            Process::start(command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()));
        self.process = Some(process);
        until(Duration::from_secs(10), "Mosquitto answers", || {
            TcpStream::connect(("127.0.0.1", self.port)).is_ok()
        });
    }

    /// Ends it in order; sessions and retained messages are kept on disk.
    pub fn stop(&mut self) {
        if let Some(mut process) = self.process.take() {
            process.signal("TERM");
            process.wait(Duration::from_secs(10));
        }
    }

    /// `kill -9`: what it has not saved is lost.
    pub fn kill(&mut self) {
        self.process = None;
    }

    /// Stops it in order and starts it again.
    pub fn restart(&mut self) {
        self.stop();
        self.start_again();
    }

    /// Wipes its stored sessions and retained messages; only while it is stopped.
    ///
    /// # Panics
    /// When it runs.
    pub fn forget_everything(&self) {
        assert!(self.process.is_none(), "stop the broker first");
        // Nothing stored yet is as good.
        let _ = fs::remove_file(self.folder.path().join("mosquitto.db"));
    }

    /// A device that publishes here.
    ///
    /// # Panics
    /// When the broker refuses it.
    pub fn device(&self) -> Device {
        Device::connect(self.port, None).expect("the broker lets the device in")
    }

    /// Publishes one message at QoS 1 and waits for the broker's acknowledgement.
    ///
    /// # Panics
    /// When the broker does not acknowledge.
    pub fn publish(&self, topic: &str, payload: impl AsRef<[u8]>) {
        self.device().publish(topic, payload.as_ref()).expect("acknowledged");
    }
}

/// Debian keeps it where an ordinary user's path does not reach.
fn program() -> PathBuf {
    let there = PathBuf::from("/usr/sbin/mosquitto");
    if there.exists() { there } else { PathBuf::from("mosquitto") }
}
