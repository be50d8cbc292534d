//! The stored form of engine inputs: one blob a commit.
//!
//! A blob is a format byte, the CRC-32 of what follows (little-endian, from format 2 on), then one postcard value
//! after the other. Times are kept as small differences, and a reading names its series, not an index into a plan
//! that may change.

use flate2::Crc;
use rusqlite::Connection;
use serde::{Deserialize, Serialize};

use crate::engine::Input;
use crate::model::{EventTime, Reading, Span, Value};

use super::batch::JournalEntry;
use super::enrol::{Enrolment, SeriesNo, SystemNo};
use super::record::unreadable;

/// Without a checksum; still read.
const PLAIN: u8 = 1;
/// With one.
const CHECKED: u8 = 2;
/// Bytes before the first input.
const HEAD: usize = 5;

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
    #[error("a journal entry does not agree with its checksum")]
    Checksum,
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
            blob.extend([CHECKED, 0, 0, 0, 0]);
        }
        let line = Line { later_ms: (entry.received - before).millis(), what };
        *blob = postcard::to_extend(&line, std::mem::take(blob))?;
        before = entry.received;
    }
    if !blob.is_empty() {
        let sum = checksum(&blob[HEAD..]);
        blob[1..HEAD].copy_from_slice(&sum);
    }
    Ok(())
}

fn checksum(bytes: &[u8]) -> [u8; 4] {
    let mut crc = Crc::new();
    crc.update(bytes);
    crc.sum().to_le_bytes()
}

/// The inputs in a blob, whose checksum holds if it has one.
fn inputs(blob: &[u8]) -> Result<&[u8], JournalFault> {
    match blob.split_first() {
        Some((&PLAIN, inputs)) => Ok(inputs),
        Some((&CHECKED, checked)) => match checked.split_at_checked(HEAD - 1) {
            Some((sum, inputs)) if checksum(inputs) == *sum => Ok(inputs),
            _ => Err(JournalFault::Checksum),
        },
        format => Err(JournalFault::Format(format.map(|(format, _)| *format))),
    }
}

/// Looks at the checksum of every blob.
pub(super) fn check(db: &Connection) -> rusqlite::Result<()> {
    let mut query = db.prepare("SELECT entries FROM journal")?;
    let mut rows = query.query([])?;
    while let Some(row) = rows.next()? {
        inputs(row.get_ref(0)?.as_blob()?).map_err(|error| unreadable(0, error))?;
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
    let mut rest = inputs(blob)?;
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
