//! What can be wrong with a scenario file, said so that it can be mended.

use std::fmt;
use std::path::PathBuf;

use crate::fault::Misfit;
use crate::site::SiteError;

/// Why a scenario cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ScenarioError {
    /// No scenario of this name.
    #[error("there is no scenario `{name}`{}", hint(.nearest.as_deref()))]
    NoSuchName {
        /// The name asked for.
        name: String,
        /// The nearest that exists.
        nearest: Option<String>,
    },
    /// A file that cannot be read.
    #[error("cannot read {}", .path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// A line that is not right.
    #[error("{file}, line {line}: {message}{}", hint(.nearest.as_deref()))]
    Line {
        /// The file.
        file: String,
        /// Its line, from 1.
        line: usize,
        /// What is wrong there.
        message: String,
        /// The nearest known key or word.
        nearest: Option<String>,
    },
    /// The system file does not describe a system.
    #[error("{file}")]
    System {
        /// The system file.
        file: String,
        /// Why.
        source: SiteError,
    },
    /// A fault or service that does not fit the system.
    #[error("{file}: {part}")]
    Misfit {
        /// The scenario file.
        file: String,
        /// Which entry.
        part: String,
        /// Why.
        source: Misfit,
    },
    /// An entry that names something the system lacks.
    #[error("{file}: {part} names `{name}`, which {system} has not{}", hint(.nearest.as_deref()))]
    NoSuchPart {
        /// The scenario file.
        file: String,
        /// Which entry.
        part: String,
        /// The name.
        name: String,
        /// The system.
        system: String,
        /// The nearest that exists.
        nearest: Option<String>,
    },
    /// A value out of its range.
    #[error("{file}: {key} is {value}; it must be {range}")]
    Range {
        /// The scenario file.
        file: String,
        /// The key.
        key: String,
        /// What stands there.
        value: String,
        /// What may stand there.
        range: &'static str,
    },
}

fn hint(nearest: Option<&str>) -> impl fmt::Display {
    nearest.map_or_else(String::new, |name| format!("; did you mean `{name}`?"))
}

impl ScenarioError {
    /// Places a TOML error in its file and finds the nearest key among those that the message offers.
    pub(super) fn of_toml(file: &str, text: &str, error: &toml::de::Error) -> Self {
        let at = error.span().map_or(0, |span| span.start.min(text.len()));
        let line = 1 + text[..at].matches('\n').count();
        let message = error.message().to_owned();
        let mut words = message.split('`').skip(1).step_by(2);
        let found = match words.next() {
            Some(wrong) if message.starts_with("unknown") => nearest(wrong, words),
            _ => None,
        };
        Self::Line { file: file.to_owned(), line, nearest: found, message }
    }
}

/// The candidate most like `wrong`, if any is like it at all.
pub(super) fn nearest<'a>(wrong: &str, candidates: impl Iterator<Item = &'a str>) -> Option<String> {
    candidates
        .map(|candidate| (strsim::jaro_winkler(wrong, candidate), candidate))
        .filter(|(likeness, _)| *likeness > 0.7)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, candidate)| candidate.to_owned())
}
