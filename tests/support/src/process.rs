//! Processes that a test starts, and signals to them.

use std::process::{Child, Command, ExitStatus};
use std::time::{Duration, Instant};

/// A child process that is killed when the test ends.
#[derive(Debug)]
pub struct Process(Child);

impl Process {
    /// Starts it.
    ///
    /// # Panics
    /// When it cannot be started.
    pub fn start(command: &mut Command) -> Self {
        Self(command.spawn().unwrap_or_else(|error| panic!("cannot start {command:?}: {error}")))
    }

    /// Its process id.
    pub fn id(&self) -> u32 {
        self.0.id()
    }

    /// Sends a signal by name, such as `TERM`, `HUP`, `STOP` or `CONT`.
    ///
    /// # Panics
    /// When the process is gone.
    pub fn signal(&self, name: &str) {
        let kill = format!("kill -{name} {}", self.id());
        let done = Command::new("sh").arg("-c").arg(&kill).status();
        assert!(done.is_ok_and(|status| status.success()), "{kill} failed");
    }

    /// Waits for it to end by itself.
    ///
    /// # Panics
    /// When it has not ended within `limit`.
    pub fn wait(&mut self, limit: Duration) -> ExitStatus {
        let mut status = None;
        until(limit, "the process ends", || {
            status = self.0.try_wait().ok().flatten();
            status.is_some()
        });
        status.expect("`until` returned because it is there")
    }

    /// `kill -9`, and waits until it is gone.
    pub fn kill(&mut self) {
        // Both fail only if it is gone already.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }

    /// The child itself, for its pipes.
    pub fn child(&mut self) -> &mut Child {
        &mut self.0
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        self.kill();
    }
}

/// Waits for a state, looking every few milliseconds.
///
/// # Panics
/// When it is not reached within `limit`, which is meant generously: it bounds a failure, not a success.
pub fn until(limit: Duration, what: &str, mut reached: impl FnMut() -> bool) {
    let deadline = Instant::now() + limit;
    while !reached() {
        assert!(Instant::now() < deadline, "waited {limit:?} in vain until {what}");
        std::thread::sleep(Duration::from_millis(5));
    }
}
