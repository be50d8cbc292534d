//! The kinds of value that a setting may have, and how each is read.

use std::net::SocketAddr;
use std::path::Path;

use config::ValueKind;
use tracing_subscriber::filter::Targets;

use super::nearest::nearest;
use super::{BrokerAddress, ServerAddress, What};
use crate::upkeep::{TravelGroups, WorkingDays};

/// What the value of a setting may be.
#[derive(Debug, Clone, Copy)]
pub enum Kind {
    /// Any text.
    Text,
    /// Text that is never shown; may be given as `<key>_file`.
    Secret,
    /// A folder, which need not exist yet.
    Path,
    /// A file, which must be there.
    File,
    /// A whole number within a range.
    Whole {
        /// Least value.
        min: i64,
        /// Greatest value.
        max: i64,
        /// Unit in words.
        unit: &'static str,
    },
    /// One of these words.
    OneOf(&'static [&'static str]),
    /// An IP address and a port to listen at.
    Listen,
    /// A broker's address.
    Broker,
    /// An HTTP server's address.
    Server,
    /// An MQTT topic without wildcards.
    Topic,
    /// Log levels for single modules.
    LogFilter,
    /// Days of the week.
    WorkingDays,
    /// Groups of properties.
    TravelGroups,
}

/// A value as somebody wrote it.
#[derive(Debug, Clone, Copy)]
pub(super) enum Raw<'a> {
    /// Text from a source that has nothing but text: the environment, a default.
    Bare(&'a str),
    /// A TOML string.
    Text(&'a str),
    /// A TOML integer.
    Whole(i64),
    /// Any other TOML value, in words.
    Other(&'static str),
}

impl Kind {
    /// What the value should be, for a sentence that begins with "write".
    pub fn expected(self) -> String {
        match self {
            Self::Text | Self::Secret => "text in quotes".to_owned(),
            Self::Path => "the path of a folder, in quotes".to_owned(),
            Self::File => "the path of a file, in quotes".to_owned(),
            Self::Whole { min, max, unit } => format!("a whole number of {unit} from {min} to {max}"),
            Self::OneOf(choices) => format!("one of {}", quoted(choices)),
            Self::Listen => "an IP address and a port, such as \"127.0.0.1:8480\"".to_owned(),
            Self::Broker => "an address such as \"mqtt://host:1883\" or \"mqtts://host:8883\"".to_owned(),
            Self::Server => {
                "an address such as \"http://127.0.0.1:8086\" or \"https://host\", without a path".to_owned()
            }
            Self::Topic => {
                "a topic without + and #, with no / at either end, such as \"greywater\"".to_owned()
            }
            Self::LogFilter => "module=level pairs, such as \"basinward::link=debug\"".to_owned(),
            Self::WorkingDays => "days such as \"mon tue wed thu fri\"".to_owned(),
            Self::TravelGroups => {
                "ids of properties such as \"alder-court birch-lane, cedar-row\"".to_owned()
            }
        }
    }

    /// Unit in words, where there is one.
    pub fn unit(self) -> Option<&'static str> {
        if let Self::Whole { unit, .. } = self { Some(unit) } else { None }
    }

    /// Whether the value is written in quotes in TOML.
    pub(super) fn is_text(self) -> bool {
        !matches!(self, Self::Whole { .. })
    }
}

/// Reads the values that may stand beside one key.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reader<'a> {
    /// The key, as messages name it.
    pub(super) key: &'a str,
    /// What the value may be.
    pub(super) kind: Kind,
    /// Whether an empty value means "not set" rather than a mistake.
    pub(super) may_be_empty: bool,
    /// Where relative paths start.
    pub(super) base: &'a Path,
}

impl Reader<'_> {
    /// Checks a value and gives it the one form that the sections read.
    pub(super) fn read(&self, raw: Raw<'_>) -> Result<ValueKind, What> {
        if let Kind::Whole { min, max, .. } = self.kind {
            return self.read_whole(raw, min, max).map(ValueKind::from);
        }
        let text = match raw {
            Raw::Bare(text) | Raw::Text(text) => text,
            Raw::Whole(_) => return Err(self.wrong_type("a number")),
            Raw::Other(found) => return Err(self.wrong_type(found)),
        };
        if !text.is_empty() {
            return self.read_text(text).map(ValueKind::from);
        }
        if self.may_be_empty {
            return Ok(ValueKind::from(""));
        }
        Err(What::Empty { key: self.key.to_owned(), expected: self.kind.expected() })
    }

    fn read_whole(&self, raw: Raw<'_>, min: i64, max: i64) -> Result<i64, What> {
        let number = match raw {
            Raw::Whole(number) => number,
            Raw::Bare(text) => {
                text.trim().parse().map_err(|_| self.malformed(text, "not a whole number".to_owned()))?
            }
            Raw::Text(_) => return Err(self.wrong_type("text")),
            Raw::Other(found) => return Err(self.wrong_type(found)),
        };
        if (min..=max).contains(&number) {
            return Ok(number);
        }
        Err(What::OutOfRange {
            key: self.key.to_owned(),
            found: number.to_string(),
            expected: self.kind.expected(),
        })
    }

    fn read_text(&self, text: &str) -> Result<String, What> {
        let refuse = |why: String| self.malformed(text, why);
        let path = || resolved(self.base, text).ok_or_else(|| refuse("not UTF-8".to_owned()));
        match self.kind {
            Kind::Path => return path(),
            Kind::File => return readable(self.key, path()?),
            Kind::Listen => {
                text.parse::<SocketAddr>().map_err(|_| refuse("not an IP address and port".to_owned()))?;
            }
            Kind::Broker => {
                text.parse::<BrokerAddress>().map_err(refuse)?;
            }
            Kind::Server => {
                text.parse::<ServerAddress>().map_err(refuse)?;
            }
            Kind::Topic => check_topic(text).map_err(|why| refuse(why.to_owned()))?,
            Kind::LogFilter => {
                text.parse::<Targets>().map_err(|e| refuse(e.to_string()))?;
            }
            Kind::WorkingDays => {
                text.parse::<WorkingDays>().map_err(refuse)?;
            }
            Kind::TravelGroups => {
                text.parse::<TravelGroups>().map_err(refuse)?;
            }
            Kind::OneOf(choices) if !choices.contains(&text) => {
                return Err(self.not_a_choice(text, choices));
            }
            Kind::Text | Kind::Secret | Kind::OneOf(_) | Kind::Whole { .. } => {}
        }
        Ok(text.to_owned())
    }

    fn wrong_type(&self, found: &'static str) -> What {
        What::WrongType { key: self.key.to_owned(), found, expected: self.kind.expected() }
    }

    fn malformed(&self, found: &str, why: String) -> What {
        // What stands before an @ may be a password, and this goes to a screen or a log.
        let found = match (self.kind, found.rsplit_once('@')) {
            (Kind::Broker | Kind::Server, Some((_, rest))) => &format!("…@{rest}"),
            _ => found,
        };
        What::Malformed {
            key: self.key.to_owned(),
            found: found.to_owned(),
            why,
            expected: self.kind.expected(),
        }
    }

    fn not_a_choice(&self, found: &str, choices: &[&'static str]) -> What {
        let advice = match nearest(&found.to_lowercase(), choices.iter().copied()) {
            Some(choice) => format!("did you mean \"{choice}\"? It is one of {}", quoted(choices)),
            None => format!("write one of {}", quoted(choices)),
        };
        What::NotAChoice { key: self.key.to_owned(), found: found.to_owned(), advice }
    }
}

fn quoted(words: &[&str]) -> String {
    words.iter().map(|word| format!("\"{word}\"")).collect::<Vec<_>>().join(", ")
}

fn resolved(base: &Path, text: &str) -> Option<String> {
    base.join(text).into_os_string().into_string().ok()
}

/// Opens the file once, so that a wrong path or a missing permission shows now rather than at first use.
fn readable(key: &str, path: String) -> Result<String, What> {
    match std::fs::File::open(&path).and_then(|file| file.metadata()) {
        Ok(found) if found.is_dir() => {
            Err(What::FileUnreadable { key: key.to_owned(), path, why: "it is a folder".to_owned() })
        }
        Ok(_) => Ok(path),
        Err(e) => Err(What::FileUnreadable { key: key.to_owned(), path, why: e.to_string() }),
    }
}

/// MQTT 5.0, sections 4.7.1 and 4.7.3: a topic name holds no wildcard and no null character; at most 65,535
/// bytes. Empty outer segments are legal there, but never meant.
fn check_topic(text: &str) -> Result<(), &'static str> {
    const LONGEST: usize = 1_024; // leaves room for the segments that follow a prefix
    if text.contains(['+', '#', '\0']) {
        return Err("it contains a wildcard");
    }
    if text.starts_with('/') || text.ends_with('/') {
        return Err("it begins or ends with /");
    }
    if text.starts_with('$') {
        return Err("topics that begin with $ belong to the broker");
    }
    if text.len() > LONGEST {
        return Err("it is longer than 1,024 bytes");
    }
    Ok(())
}
