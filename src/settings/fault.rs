//! What can be wrong with a setting, where it stands, and how to mend it.

use std::fmt;
use std::path::PathBuf;

use super::Renamed;

/// Where a value, or a fault, comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Origin {
    /// Nobody said anything: the default of the setting table.
    Default,
    /// A place in the settings file.
    File {
        /// The file as it was named.
        path: PathBuf,
        /// Line, from 1.
        line: usize,
        /// Column in characters, from 1.
        column: usize,
    },
    /// An environment variable of this name.
    Environment(String),
    /// The contents of this file, named by a `…_file` key.
    SecretFile(PathBuf),
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Default => f.write_str("default"),
            Self::File { path, line, column } => write!(f, "{}:{line}:{column}", path.display()),
            Self::Environment(name) => write!(f, "environment {name}"),
            Self::SecretFile(path) => write!(f, "secret file {}", path.display()),
        }
    }
}

/// One thing wrong with the settings.
#[derive(Debug, thiserror::Error)]
#[error("{origin}: {what}; {}", what.how())]
pub struct SettingFault {
    /// Where it stands.
    pub origin: Origin,
    /// What is wrong; [`What::how`] says how to mend it.
    pub what: What,
}

/// An old name of a setting, which was understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OldName {
    /// Where it stands.
    pub origin: Origin,
    /// Which.
    pub renamed: Renamed,
}

impl fmt::Display for OldName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Renamed { once, now, .. } = self.renamed;
        write!(f, "{}: `{once}` is called `{now}` now; it was understood, but write `{now}`", self.origin)
    }
}

/// The kinds of fault. `Display` says what is wrong, [`What::how`] how to mend it.
#[derive(Debug, thiserror::Error)]
pub enum What {
    /// The settings file cannot be read.
    #[error("the settings file cannot be read: {0}")]
    Unreadable(std::io::Error),
    /// The settings file is not TOML.
    #[error("not valid TOML: {0}")]
    NotToml(String),
    /// No section of that name.
    #[error("unknown section `{name}`")]
    UnknownSection {
        /// As written.
        name: String,
        /// What to write instead.
        advice: String,
    },
    /// No setting of that name in its section.
    #[error("unknown key `{key}`")]
    UnknownKey {
        /// As written.
        key: String,
        /// What to write instead.
        advice: String,
    },
    /// A value of another type than the setting's.
    #[error("`{key}` is {found}")]
    WrongType {
        /// The setting.
        key: String,
        /// The type found.
        found: &'static str,
        /// What the value should be.
        expected: String,
    },
    /// A number outside its range.
    #[error("`{key}` is {found}")]
    OutOfRange {
        /// The setting.
        key: String,
        /// The number found.
        found: String,
        /// What the value should be.
        expected: String,
    },
    /// A word that is none of the choices.
    #[error("`{key}` is \"{found}\"")]
    NotAChoice {
        /// The setting.
        key: String,
        /// The word found.
        found: String,
        /// What to write instead.
        advice: String,
    },
    /// Text that does not have the form asked for.
    #[error("`{key}` is \"{found}\": {why}")]
    Malformed {
        /// The setting.
        key: String,
        /// The text found.
        found: String,
        /// What about it is wrong.
        why: String,
        /// What the value should be.
        expected: String,
    },
    /// An empty value where there must be one.
    #[error("`{key}` is empty")]
    Empty {
        /// The setting.
        key: String,
        /// What the value should be.
        expected: String,
    },
    /// A file that is not there or cannot be read.
    #[error("`{key}` names {path}, which cannot be read: {why}")]
    FileUnreadable {
        /// The key that names the file.
        key: String,
        /// The file.
        path: String,
        /// The system's own words.
        why: String,
    },
    /// A secret given directly and by a file, side by side.
    #[error("`{key}` and `{key}_file` are both set")]
    SecretTwice {
        /// The secret setting.
        key: String,
    },
    /// A setting under its old and its new name, side by side.
    #[error("`{}` is the old name of `{}`, and both are set", renamed.once, renamed.now)]
    NamedTwice {
        /// Which.
        renamed: Renamed,
    },
    /// Two settings that do not go together.
    #[error("{what}")]
    Conflict {
        /// What is wrong.
        what: String,
        /// How to mend it.
        how: String,
    },
}

impl What {
    /// How to mend it: one sentence for a person.
    pub fn how(&self) -> String {
        match self {
            Self::Unreadable(_) => {
                "check the path and its permissions, or name another file with --config".to_owned()
            }
            Self::NotToml(_) => "mend the line; text stands in \"quotes\", sections in [brackets]".to_owned(),
            Self::UnknownSection { advice, .. }
            | Self::UnknownKey { advice, .. }
            | Self::NotAChoice { advice, .. } => advice.clone(),
            Self::WrongType { expected, .. }
            | Self::OutOfRange { expected, .. }
            | Self::Malformed { expected, .. }
            | Self::Empty { expected, .. } => format!("write {expected}"),
            Self::FileUnreadable { .. } => {
                "check the path and its permissions; relative paths start at the settings file's folder"
                    .to_owned()
            }
            Self::SecretTwice { key } => {
                format!("keep one; `{key}_file` keeps the secret out of the settings")
            }
            Self::NamedTwice { renamed } => format!("keep `{}`", renamed.now),
            Self::Conflict { how, .. } => how.clone(),
        }
    }
}
