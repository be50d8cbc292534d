//! A second process that writes to a ledger until somebody ends it.
//!
//! It is this test binary again, asked for one test; what it has to say goes line by line to its
//! standard output, among the lines of the test harness.

use std::io::{BufRead, BufReader, Lines, Write};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::thread::sleep;
use std::time::Duration;

use basinward::engine::Change;
use basinward::ledger::{Batch, Ledger};
use basinward::model::Span;

use crate::yard::{PROBE, flooding, minute, system, take};

/// Readings in each commit of the child.
pub(crate) const READINGS: u64 = 50;
const FOLDER: &str = "LEDGER_TEST_FOLDER";

/// A running child.
pub(crate) struct Writer {
    pub(crate) process: Child,
    lines: Lines<BufReader<ChildStdout>>,
}

impl Writer {
    /// Starts one on `folder`, through `wrapper`: a command that runs the command given to it.
    pub(crate) fn start(folder: &Path, wrapper: &[&str]) -> Self {
        let this = std::env::current_exe().expect("this program has a path");
        let mut command = match wrapper {
            [] => Command::new(&this),
            [first, rest @ ..] => {
                let mut command = Command::new(first);
                command.args(rest).arg(&this);
                command
            }
        };
        command.args(["--exact", "child::write_until_ended", "--ignored", "--nocapture"]);
        let mut process = command
            .env(FOLDER, folder)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the child starts");
        let output = process.stdout.take().expect("its output is piped");
        Self { process, lines: BufReader::new(output).lines() }
    }

    /// What it says next that begins with one of `words`: the word and the rest of the line. None at its end.
    pub(crate) fn hear(&mut self, words: &[&'static str]) -> Option<(&'static str, String)> {
        self.lines.by_ref().find_map(|line| {
            let line = line.expect("the child writes text");
            let heard = |word: &&'static str| Some((*word, line.strip_prefix(word)?.trim().to_owned()));
            words.iter().find_map(heard)
        })
    }

    /// The number of its next commit. None at its end.
    pub(crate) fn hear_commit(&mut self) -> Option<u64> {
        self.hear(&["committed"]).map(|(_, number)| number.parse().expect("a commit has a number"))
    }

    /// Ends it at once, in the middle of whatever it does; returns the last commit that it told of.
    pub(crate) fn kill(mut self) -> Option<u64> {
        self.process.kill().expect("the child can be killed");
        let mut last = None;
        while let Some(commit) = self.hear_commit() {
            last = Some(commit);
        }
        last
    }
}

/// A failed test leaves no child behind.
impl Drop for Writer {
    fn drop(&mut self) {
        self.process.kill().ok();
        self.process.wait().ok();
    }
}

/// Adds what commit number `seq` of the child brings.
pub(crate) fn fill(batch: &mut Batch, system: basinward::ledger::SystemNo, seq: u64) {
    batch.clear();
    let start = minute(seq as i64);
    for i in 0..READINGS {
        take(batch, system, PROBE, start + Span::SECOND.scaled(i as f64), 0.25);
    }
    let change = if seq % 2 == 1 { Change::Raised } else { Change::Cleared };
    batch.conclude(system, flooding(change, "quince", start, 0.9));
}

#[test]
#[ignore = "the other process of the crash and full-disk tests; never ends by itself"]
fn write_until_ended() {
    let folder = std::env::var_os(FOLDER).expect("run by another test");
    let mut ledger = Ledger::open(Path::new(&folder)).unwrap();
    let no = ledger.enrol([&system("east", &["quince"])]).unwrap()[0];
    let recovery = ledger.recover().unwrap();
    let mut replayed = 0;
    ledger.replay(&recovery, |_| replayed += 1).unwrap();
    say(&format!("replayed {replayed}"));
    let mut batch = Batch::default();
    loop {
        fill(&mut batch, no, ledger.last_commit() + 1);
        // Kept and tried again, as the daemon does.
        let commit = loop {
            match ledger.commit(&batch) {
                Ok(commit) => break commit,
                Err(fault) if fault.may_pass() => say(&format!("full {fault}")),
                Err(fault) => panic!("{fault}: {fault:?}"),
            }
            sleep(Duration::from_millis(20));
        };
        say(&format!("committed {}", commit.seq));
    }
}

fn say(line: &str) {
    let mut out = std::io::stdout().lock();
    writeln!(out, "{line}").and_then(|()| out.flush()).expect("somebody listens");
}
