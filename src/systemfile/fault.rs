//! What is wrong in a system file, where, and how to mend it.

use std::fmt;

/// One fault of one file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// File as the caller named it.
    pub file: String,
    /// Line, counted from 1; 0 where the fault concerns the file as a whole.
    pub line: usize,
    /// Column in characters, counted from 1; 0 as for the line.
    pub column: usize,
    /// What is wrong.
    pub what: String,
    /// How to mend it.
    pub how: String,
}

impl Fault {
    /// A fault of a file as a whole, for example one that cannot be read.
    pub(super) fn of_file(file: &str, what: impl Into<String>, how: impl Into<String>) -> Self {
        Self { file: file.to_owned(), line: 0, column: 0, what: what.into(), how: how.into() }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if self.line > 0 {
            write!(f, ":{}", self.line)?;
        }
        write!(f, ": {}; {}", self.what, self.how)
    }
}

impl std::error::Error for Fault {}
