//! A scenario on disk: the recording a subscriber would have made, the system file, and the truth beside them.

mod answers;
mod lines;

pub use answers::{Answer, answers};
pub use lines::recording_line;

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use crate::run::{Truth, run};
use crate::scenario::{Scenario, ScenarioError};

/// Why a scenario could not be written.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// It cannot begin.
    #[error(transparent)]
    Scenario(#[from] ScenarioError),
    /// The disk would not.
    #[error("cannot write {}", .path.display())]
    Write {
        /// The file or directory.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
}

/// Writes `recording.jsonl`, `systems/<id>.toml` and `truth.jsonl` into `dir` and returns the number of messages.
/// The same scenario and seed give the same bytes.
pub fn write(
    scenario: &Scenario,
    seed: u64,
    dir: &Path,
    passed: &mut dyn FnMut(u64),
) -> Result<u64, RecordError> {
    let system = dir.join("systems").join(format!("{}.toml", scenario.site.id));
    make(&dir.join("systems"), |path| fs::create_dir_all(path))?;
    make(&system, |path| fs::write(path, &scenario.system_text))?;
    let recording = dir.join("recording.jsonl");
    let mut out = BufWriter::new(make(&recording, |path| File::create(path))?);
    let mut messages = 0;
    let truth = run::<RecordError>(
        scenario,
        seed,
        &mut |message| {
            messages += 1;
            make(&recording, |_| recording_line(message, &mut out))
        },
        passed,
    )?;
    make(&recording, |_| out.flush())?;
    let answers_path = dir.join("truth.jsonl");
    make(&answers_path, |path| write_truth(scenario, seed, &truth, path))?;
    Ok(messages)
}

fn write_truth(scenario: &Scenario, seed: u64, truth: &Truth, path: &Path) -> io::Result<()> {
    let mut out = BufWriter::new(File::create(path)?);
    for answer in answers(scenario, seed, truth) {
        serde_json::to_writer(&mut out, &answer)?;
        out.write_all(b"\n")?;
    }
    out.flush()
}

fn make<T>(path: &Path, act: impl FnOnce(&Path) -> io::Result<T>) -> Result<T, RecordError> {
    act(path).map_err(|source| RecordError::Write { path: path.to_owned(), source })
}
