//! What the daemon's `replay` prints, as far as it is judged.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, BufRead};

use jiff::Timestamp;
use serde::Deserialize;
use serde_json::{Map, Value as Json};

/// All that was concluded from one recording.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Said {
    /// Findings raised, updated and cleared, as printed.
    pub findings: Vec<FindingSaid>,
    /// Doses.
    pub doses: Vec<DoseSaid>,
    /// Forecasts at the end.
    pub forecasts: Vec<ForecastSaid>,
    /// Records refused.
    pub refused: u64,
}

/// One change of a finding.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct FindingSaid {
    /// `raised`, `updated` or `cleared`.
    pub change: String,
    /// When the evidence sufficed.
    pub at: Timestamp,
    /// Its kind.
    pub finding: String,
    /// Its subject: one key, a name or `true`.
    subject: Map<String, Json>,
    /// `info`, `warning` or `critical`.
    pub severity: String,
    /// How sure it is, 0 to 1.
    pub probability: f64,
}

impl FindingSaid {
    /// The subject's name: a basin, splitter or sensor, `source` or `diverter`.
    pub fn subject(&self) -> &str {
        let only = self.subject.iter().next();
        only.map_or("", |(key, value)| value.as_str().unwrap_or(key))
    }

    /// Whether it asks somebody to do something.
    pub fn is_warning(&self) -> bool {
        self.severity != "info"
    }

    /// Whether this is its beginning.
    pub fn is_raised(&self) -> bool {
        self.change == "raised"
    }
}

/// One dose.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct DoseSaid {
    /// When it began.
    pub at: Timestamp,
    /// How much it was, if known.
    pub litres: Option<f64>,
    /// Each basin's share.
    pub shares: BTreeMap<String, f64>,
}

/// When a basin's mulch is due.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct ForecastSaid {
    /// The basin.
    pub basin: String,
    /// Best estimate of the first flood if nothing is done.
    pub due: Option<Timestamp>,
    /// Lower end of the 80 % interval.
    pub earliest: Option<Timestamp>,
    /// Upper end of the 80 % interval.
    pub latest: Option<Timestamp>,
}

#[derive(Deserialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
enum Event {
    Finding(FindingSaid),
    Dose(DoseSaid),
    Forecast(ForecastSaid),
    Summary { refused: BTreeMap<String, u64> },
}

impl Said {
    /// The change with which each finding first asked somebody to do something.
    pub fn warnings(&self) -> Vec<&FindingSaid> {
        let mut warned: BTreeSet<(&str, &str)> = BTreeSet::new();
        let mut warnings = Vec::new();
        for finding in &self.findings {
            let about = (finding.finding.as_str(), finding.subject());
            if finding.change == "cleared" {
                warned.remove(&about);
            } else if finding.is_warning() && warned.insert(about) {
                warnings.push(finding);
            }
        }
        warnings
    }

    /// Reads the output of one replay.
    ///
    /// # Errors
    /// A line that is no event of the contract, or an output that ends without a summary.
    pub fn read(output: impl BufRead) -> io::Result<Self> {
        let mut said = Self::default();
        let mut ended = false;
        for line in output.lines() {
            match serde_json::from_str(&line?)? {
                Event::Finding(finding) => said.findings.push(finding),
                Event::Dose(dose) => said.doses.push(dose),
                Event::Forecast(forecast) => said.forecasts.push(forecast),
                Event::Summary { refused } => {
                    said.refused = refused.values().sum();
                    ended = true;
                }
            }
        }
        if ended {
            Ok(said)
        } else {
            Err(io::Error::new(io::ErrorKind::UnexpectedEof, "no summary at the end"))
        }
    }
}
