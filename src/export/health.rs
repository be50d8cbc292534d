//! How the export is doing, for pages and metrics.

use tokio::sync::watch;

use crate::model::EventTime;

/// Whether the server takes what we send.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Standing {
    /// Nothing was sent yet.
    Beginning,
    /// The last write succeeded.
    Taking,
    /// The last write failed; it is tried again.
    Failing {
        /// Since when.
        since: EventTime,
        /// Why, in words.
        why: String,
    },
}

/// Where the export stands.
#[derive(Clone, Debug, PartialEq)]
pub struct ExportState {
    /// The server, its organisation and bucket.
    pub destination: String,
    /// Whether it takes what we send.
    pub standing: Standing,
    /// Lines that the server took since the daemon started.
    pub lines: u64,
    /// Lines that it refused for good since the daemon started.
    pub refused: u64,
    /// Writes that failed since the daemon started.
    pub failures: u64,
    /// Last commit whose readings it has; 0 before the first.
    pub commit: u64,
    /// Last conclusion that it has.
    pub effect: u64,
    /// How much of the past it has, 0 to 1.
    pub past: f64,
}

/// Reads where the export stands.
pub type ExportHealth = watch::Receiver<ExportState>;
