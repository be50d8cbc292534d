//! A local program that is given an event on its standard input.

use std::process::Stdio;
use std::time::Duration;

use serde_json::Value;
use tokio::io::AsyncWriteExt;
use tokio::process::Command;

use super::Trouble;
use crate::settings::CommandChannel;

/// Characters of the program's own words that are kept when it fails.
const WORDS: usize = 300;

/// A program to run.
pub struct Program {
    settings: CommandChannel,
}

impl Program {
    pub(super) fn new(settings: &CommandChannel) -> Self {
        Self { settings: settings.clone() }
    }

    /// Runs it; it has taken the event when it ends with exit code 0.
    pub(super) async fn run(&self, event: &Value) -> Result<(), Trouble> {
        let limit = Duration::from_millis(self.settings.time_limit.millis().unsigned_abs());
        let name = self.settings.program.display();
        match tokio::time::timeout(limit, self.finish(event)).await {
            Ok(done) => done.map_err(|trouble| Trouble::new(format!("{name}: {trouble}"))),
            Err(_) => Err(Trouble::new(format!(
                "{name} took longer than its `time_limit` of {} and was stopped",
                self.settings.time_limit
            ))),
        }
    }

    async fn finish(&self, event: &Value) -> Result<(), Trouble> {
        let mut child = Command::new(&self.settings.program)
            .args(&self.settings.arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .kill_on_drop(true)
            .spawn()
            .map_err(|error| Trouble::of(&error, "check that it is there and may be executed"))?;
        let mut input = child.stdin.take().expect("it was asked for");
        let line = format!("{event}\n");
        let feed = async move {
            // A program need not read what it does not want to know; its exit code decides.
            let _ = input.write_all(line.as_bytes()).await;
        };
        let ((), output) = tokio::join!(feed, child.wait_with_output());
        let output = output.map_err(|error| Trouble::of(&error, ""))?;
        if output.status.success() {
            return Ok(());
        }
        let words: String = String::from_utf8_lossy(&output.stderr).trim().chars().take(WORDS).collect();
        Err(Trouble::new(format!("it ended with {}; it said: {words}", output.status)))
    }
}
