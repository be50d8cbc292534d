//! Runs the program in a folder of its own.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

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

    /// Runs the program with nothing on its standard input.
    pub(crate) fn basinward(&self, arguments: &[&str]) -> Ended {
        self.basinward_hearing("", arguments)
    }

    /// Runs the program with `input` on its standard input.
    pub(crate) fn basinward_hearing(&self, input: &str, arguments: &[&str]) -> Ended {
        let mut child = Command::new(env!("CARGO_BIN_EXE_basinward"))
            .args(arguments)
            .current_dir(self.path())
            .env_clear()
            .envs(self.environment.iter().copied())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let mut stdin = child.stdin.take().expect("it is piped");
        // A program that ends without reading closes the pipe; what it printed is checked instead.
        let _ = stdin.write_all(input.as_bytes());
        drop(stdin);
        let output = child.wait_with_output().expect("the program ends");
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
        Ended { code: output.status.code(), out: text(output.stdout), err: text(output.stderr) }
    }
}
