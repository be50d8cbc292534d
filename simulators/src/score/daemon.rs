//! The daemon under judgement, run as a process over its standard input and output.

use std::io::{self, BufReader, BufWriter, Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStderr, Command, Stdio};
use std::thread;

use super::said::Said;
use crate::record::recording_line;
use crate::run::{Truth, run};
use crate::scenario::{Scenario, ScenarioError};

/// Room for lines on their way to the daemon (bytes).
const BUFFER: usize = 1 << 16;

/// The daemon's program.
#[derive(Debug, Clone)]
pub struct Daemon {
    program: PathBuf,
}

/// Why a run could not be judged.
#[derive(Debug, thiserror::Error)]
pub enum DaemonError {
    /// The program is not there.
    #[error("{} is not there: build it with `cargo build --release`, or name it with --daemon", .0.display())]
    Missing(PathBuf),
    /// The scenario cannot begin.
    #[error(transparent)]
    Scenario(#[from] ScenarioError),
    /// The process could not be started or spoken to.
    #[error("cannot play to {program}")]
    Process {
        /// The program.
        program: String,
        /// Why.
        source: io::Error,
    },
    /// It ended with an error, or said something outside the contract.
    #[error("{program} on {scenario}, seed {seed}: {said}")]
    Failed {
        /// The program.
        program: String,
        /// What was played.
        scenario: String,
        /// With which seed.
        seed: u64,
        /// What it said.
        said: String,
    },
}

impl Daemon {
    /// The daemon at `program`, or the one beside this very program.
    pub fn find(program: Option<&Path>) -> Result<Self, DaemonError> {
        let beside = || {
            let own = std::env::current_exe().unwrap_or_default();
            own.with_file_name(format!("basinward{}", std::env::consts::EXE_SUFFIX))
        };
        let program = program.map_or_else(beside, Path::to_owned);
        if program.is_file() { Ok(Self { program }) } else { Err(DaemonError::Missing(program)) }
    }

    /// Plays a scenario to `replay`, leaving out what arrives after `until_ms`, and gives the truth of the whole
    /// scenario with what the daemon said.
    pub fn hear(
        &self,
        scenario: &Scenario,
        seed: u64,
        until_ms: Option<i64>,
    ) -> Result<(Truth, Said), DaemonError> {
        let systems = self.spoken(tempfile::tempdir())?;
        let file = systems.path().join(format!("{}.toml", scenario.site.id));
        self.spoken(std::fs::write(file, &scenario.system_text))?;
        let mut child = self.spoken(self.start(systems.path()))?;
        let input = child.stdin.take().expect("the input is piped");
        let output = child.stdout.take().expect("the output is piped");
        let errors = child.stderr.take().expect("the errors are piped");
        thread::scope(|scope| {
            let said = scope.spawn(|| Said::read(BufReader::with_capacity(BUFFER, output)));
            let complaint = scope.spawn(|| complaint(errors));
            let truth = self.play(scenario, seed, until_ms, BufWriter::with_capacity(BUFFER, input));
            let said = said.join().map_err(|_| self.failed(scenario, seed, "reading broke off"))?;
            let complaint = complaint.join().unwrap_or_default();
            self.end(child, scenario, seed, &complaint)?;
            let said = said.map_err(|error| self.failed(scenario, seed, &error.to_string()))?;
            Ok((truth?, said))
        })
    }

    fn start(&self, systems: &Path) -> io::Result<Child> {
        Command::new(&self.program)
            .args(["replay", "--doses", "--forecast", "--systems"])
            .arg(systems)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
    }

    /// Writes the recording. The input closes when this returns.
    fn play(
        &self,
        scenario: &Scenario,
        seed: u64,
        until_ms: Option<i64>,
        mut input: BufWriter<std::process::ChildStdin>,
    ) -> Result<Truth, DaemonError> {
        let until_ms = until_ms.unwrap_or(i64::MAX);
        let truth = run::<DaemonError>(
            scenario,
            seed,
            &mut |message| {
                if message.received_ms > until_ms {
                    return Ok(());
                }
                self.spoken(recording_line(message, &mut input))
            },
            &mut |_| {},
        )?;
        self.spoken(input.flush())?;
        Ok(truth)
    }

    fn end(
        &self,
        mut child: Child,
        scenario: &Scenario,
        seed: u64,
        complaint: &str,
    ) -> Result<(), DaemonError> {
        let status = self.spoken(child.wait())?;
        if status.success() {
            return Ok(());
        }
        let last = complaint.lines().last().unwrap_or("no message");
        Err(self.failed(scenario, seed, &format!("{status}: {last}")))
    }

    fn spoken<T>(&self, result: io::Result<T>) -> Result<T, DaemonError> {
        result.map_err(|source| DaemonError::Process { program: self.name(), source })
    }

    fn failed(&self, scenario: &Scenario, seed: u64, said: &str) -> DaemonError {
        DaemonError::Failed {
            program: self.name(),
            scenario: scenario.name.clone(),
            seed,
            said: said.to_owned(),
        }
    }

    fn name(&self) -> String {
        self.program.display().to_string()
    }
}

/// What a process said on its standard error, up to a bound; the rest is read and dropped.
fn complaint(errors: ChildStderr) -> String {
    let mut errors = BufReader::new(errors);
    let mut text = Vec::new();
    // What cannot be read of a complaint is no reason to fail.
    let _ = errors.by_ref().take(64 * 1024).read_to_end(&mut text);
    let _ = io::copy(&mut errors, &mut io::sink());
    String::from_utf8_lossy(&text).into_owned()
}
