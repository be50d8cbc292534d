//! The scenarios that come with this crate, and files of the same kind elsewhere.

use std::fs;
use std::path::{Path, PathBuf};

use super::error::{ScenarioError, nearest};
use super::file::Scenario;

/// A directory with `scenarios/` and `systems/`.
#[derive(Debug, Clone)]
pub struct Library {
    root: PathBuf,
}

impl Library {
    /// The one that comes with this crate's source.
    pub fn shipped() -> Self {
        Self { root: PathBuf::from(env!("CARGO_MANIFEST_DIR")) }
    }

    /// Names of all scenarios, in order.
    pub fn names(&self) -> Result<Vec<String>, ScenarioError> {
        let path = self.root.join("scenarios");
        let entries =
            fs::read_dir(&path).map_err(|source| ScenarioError::Read { path: path.clone(), source })?;
        let mut names: Vec<String> = entries
            .filter_map(|entry| {
                let path = entry.ok()?.path();
                let is_scenario = path.extension().is_some_and(|ending| ending == "toml");
                is_scenario.then(|| path.file_stem().map(|stem| stem.to_string_lossy().into_owned()))?
            })
            .collect();
        names.sort();
        Ok(names)
    }

    /// Loads a scenario by its name, or by the path of its file.
    pub fn load(&self, name: &str) -> Result<Scenario, ScenarioError> {
        let as_path = Path::new(name);
        if as_path.extension().is_some_and(|ending| ending == "toml") {
            return load_file(as_path);
        }
        let path = self.root.join("scenarios").join(format!("{name}.toml"));
        if !path.is_file() {
            let names = self.names()?;
            return Err(ScenarioError::NoSuchName {
                name: name.to_owned(),
                nearest: nearest(name, names.iter().map(String::as_str)),
            });
        }
        load_file(&path)
    }
}

/// Loads a scenario file; its system file lies in `systems/` beside the file's own directory.
fn load_file(path: &Path) -> Result<Scenario, ScenarioError> {
    let name = path.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
    let systems = path.parent().unwrap_or(Path::new(".")).join("../systems");
    Scenario::parse(&name, &read(path)?, &|id| read(&systems.join(format!("{id}.toml"))))
}

fn read(path: &Path) -> Result<String, ScenarioError> {
    fs::read_to_string(path).map_err(|source| ScenarioError::Read { path: path.to_owned(), source })
}
