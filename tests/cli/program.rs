//! Runs the program in a folder of its own.

use std::fs;
use std::path::Path;
use std::process::Command;

use tempfile::TempDir;

/// A folder to run the program in; nothing of the environment reaches it.
pub(crate) struct Folder {
    folder: TempDir,
    environment: Vec<(&'static str, &'static str)>,
}

/// How the program ended.
#[derive(Debug)]
pub(crate) struct Ended {
    pub(crate) code: Option<i32>,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Folder {
    pub(crate) fn new() -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        Self { folder, environment: Vec::new() }
    }

    pub(crate) fn with(self, name: &str, text: &str) -> Self {
        let path = self.folder.path().join(name);
        fs::create_dir_all(path.parent().expect("it lies in the folder")).expect("its folder");
        fs::write(path, text).expect("a file in the temporary folder");
        self
    }

    pub(crate) fn with_variable(mut self, name: &'static str, value: &'static str) -> Self {
        self.environment.push((name, value));
        self
    }

    pub(crate) fn path(&self) -> &Path {
        self.folder.path()
    }

    pub(crate) fn basinward(&self, arguments: &[&str]) -> Ended {
        let output = Command::new(env!("CARGO_BIN_EXE_basinward"))
            .args(arguments)
            .current_dir(self.path())
            .env_clear()
            .envs(self.environment.iter().copied())
            .output()
            .expect("the program starts");
        let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).expect("UTF-8");
        Ended { code: output.status.code(), out: text(&output.stdout), err: text(&output.stderr) }
    }
}
