//! The stored form of engine inputs: one blob a commit.
//!
//! A blob is a format byte, then one postcard value after the other. Times are kept as small
//! differences, and a reading names its series, not an index into a plan that may change.

use serde::{Deserialize, Serialize};

use crate::engine::Input;
use crate::model::{EventTime, Reading, Span, Value};

use super::batch::JournalEntry;
use super::enrol::{Enrolment, SeriesNo, SystemNo};

const FORMAT: u8 = 1;

/// One stored input.
#[derive(Serialize, Deserialize)]
struct Line<I> {
    /// Arrival, in milliseconds after the entry before.
    later_ms: i64,
    what: What<I>,
}

#[derive(Serialize, Deserialize)]
enum What<I> {
    Reading { series: u32, age_ms: i64, value: Value },
    Other { system: u32, input: I },
}

/// One input as read back.
#[derive(Debug, PartialEq)]
pub(super) enum Stored {
    Reading { series: SeriesNo, at: EventTime, value: Value },
    Other { system: SystemNo, input: Input },
}

/// A blob that this program cannot read.
#[derive(Debug, thiserror::Error)]
pub(super) enum JournalFault {
    #[error("a journal entry has the unknown format {0:?}")]
    Format(Option<u8>),
    #[error("a journal entry cannot be read")]
    Entry(#[from] postcard::Error),
}

/// Writes `entries` into `blob`, whose memory is reused; nothing for no entries.
pub(super) fn encode(
    entries: &[JournalEntry],
    enrolment: &Enrolment,
    blob: &mut Vec<u8>,
) -> Result<(), postcard::Error> {
    blob.clear();
    let mut before = EventTime::default();
    for entry in entries {
        let Some(what) = what(entry, enrolment) else { continue };
        if blob.is_empty() {
            blob.push(FORMAT);
        }
        let line = Line { later_ms: (entry.received - before).millis(), what };
        *blob = postcard::to_extend(&line, std::mem::take(blob))?;
        before = entry.received;
    }
    Ok(())
}

/// The stored form of one entry; none for a sensor that its system does not have.
fn what<'e>(entry: &'e JournalEntry, enrolment: &Enrolment) -> Option<What<&'e Input>> {
    if let Input::Reading(Reading { sensor, at, value }) = entry.input {
        let series = enrolment.get(entry.system)?.series(sensor)?;
        let age_ms = (entry.received - at).millis();
        Some(What::Reading { series: series.0, age_ms, value })
    } else {
        Some(What::Other { system: entry.system.0, input: &entry.input })
    }
}

/// Reads a blob, entry by entry with its time of arrival.
pub(super) fn decode(blob: &[u8], mut each: impl FnMut(EventTime, Stored)) -> Result<(), JournalFault> {
    let Some((&FORMAT, mut rest)) = blob.split_first() else {
        return Err(JournalFault::Format(blob.first().copied()));
    };
    let mut received = EventTime::default();
    while !rest.is_empty() {
        let (line, after) = postcard::take_from_bytes::<Line<Input>>(rest)?;
        rest = after;
        received = received + Span::from_millis(line.later_ms);
        each(
            received,
            match line.what {
                What::Reading { series, age_ms, value } => {
                    let at = received - Span::from_millis(age_ms);
                    Stored::Reading { series: SeriesNo(series), at, value }
                }
                What::Other { system, input } => Stored::Other { system: SystemNo(system), input },
            },
        );
    }
    Ok(())
}
