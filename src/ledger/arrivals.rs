//! How the readings of each sensor arrive: how many, how late, how often twice, and the last payloads.
//!
//! One row a sensor, written once a commit, so that it costs little beside the readings themselves.

use std::fmt::Write;

use rusqlite::{Connection, params};

use crate::model::Span;

use super::batch::Batch;
use super::legible::legible;

/// A reading that arrives so long after it was measured came late: a gateway stored it, or a clock is wrong.
pub(super) const LATE: Span = Span::from_mins(10);
/// Payloads of one sensor that one commit keeps.
const KEPT: usize = 4;
/// Length of all payloads kept of a sensor, characters.
const PAYLOADS_CHARS: usize = 900;
/// Ends the line of one payload, and parts it from its time of arrival.
pub(super) const LINE_END: char = '\n';
pub(super) const AFTER_TIME: char = '\t';

/// What one commit brought of one sensor.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Arrived {
    series: u32,
    sent: u64,
    late: u64,
    longest_ms: i64,
    first: i64,
    last: i64,
    /// Places in the batch of those that arrived last, newest first.
    newest: [Option<u32>; KEPT],
}

impl Arrived {
    /// Of readings told as series, time of measurement and place in the batch, neighbours by series.
    pub(super) fn gather(
        rows: impl Iterator<Item = (u32, i64, u32)>,
        batch: &Batch,
        arrived: &mut Vec<Self>,
    ) {
        arrived.clear();
        for (series, at, place) in rows {
            let received = batch.inputs[place as usize].received.millis();
            if arrived.last().is_none_or(|last| last.series != series) {
                arrived.push(Self {
                    series,
                    sent: 0,
                    late: 0,
                    longest_ms: 0,
                    first: received,
                    last: received,
                    newest: [None; KEPT],
                });
            }
            let of = arrived.last_mut().expect("one was added where there was none");
            of.note(received, received - at, place);
        }
    }

    fn note(&mut self, received: i64, delay_ms: i64, place: u32) {
        self.sent += 1;
        self.late += u64::from(delay_ms > LATE.millis());
        self.longest_ms = self.longest_ms.max(delay_ms);
        (self.first, self.last) = (self.first.min(received), self.last.max(received));
        let slot = self.newest.iter().position(|kept| kept.is_none_or(|kept| kept < place));
        if let Some(slot) = slot {
            self.newest[slot..].rotate_right(1);
            self.newest[slot] = Some(place);
        }
    }

    /// The newest payloads, one a line.
    fn payloads(&self, batch: &Batch) -> String {
        let mut lines = String::new();
        for &place in self.newest.iter().flatten() {
            let Some(payload) = batch.payload_of(place as usize) else { continue };
            let received = batch.inputs[place as usize].received.millis();
            let text = legible(payload).replace(char::is_control, " ");
            write!(lines, "{received}{AFTER_TIME}{text}{LINE_END}").expect("writing to a string cannot fail");
        }
        lines
    }
}

/// Adds what a commit brought; `repeated` names the series of each reading that was there already.
pub(super) fn write(
    db: &Connection,
    batch: &Batch,
    arrived: &[Arrived],
    repeated: &[u32],
) -> rusqlite::Result<()> {
    let mut add = db.prepare_cached(
        "INSERT INTO arrivals (series, since, last, readings, repeated, late, longest_ms, payloads)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8) ON CONFLICT (series) DO UPDATE SET
         last = max(last, excluded.last), readings = readings + excluded.readings,
         repeated = repeated + excluded.repeated, late = late + excluded.late,
         longest_ms = max(longest_ms, excluded.longest_ms),
         payloads = substr(excluded.payloads || payloads, 1, ?9)",
    )?;
    for of in arrived {
        let from = repeated.partition_point(|series| *series < of.series);
        let again = repeated[from..].iter().take_while(|series| **series == of.series).count();
        let payloads = of.payloads(batch);
        add.execute(params![
            of.series,
            of.first,
            of.last,
            of.sent,
            again,
            of.late,
            of.longest_ms,
            payloads,
            PAYLOADS_CHARS
        ])?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::Input;
    use crate::ledger::SystemNo;
    use crate::model::{EventTime, Reading, SensorIx, Value};

    #[test]
    fn the_payloads_kept_are_those_that_arrived_last() {
        let mut batch = Batch::default();
        for i in 0..6_i64 {
            let at = EventTime::from_secs(1000 - i * 700);
            let reading = Reading { sensor: SensorIx(0), at, value: Value::Number(0.3) };
            batch.take_in(SystemNo(0), EventTime::from_secs(1000 + i), Input::Reading(reading));
            batch.carried_by(format!("0.{i}\n").as_bytes());
        }
        // By time of measurement, as the rows of a commit are.
        let rows = (0..6_u32).rev().map(|place| (7, 1_000_000 - i64::from(place) * 700_000, place));
        let mut arrived = Vec::new();
        Arrived::gather(rows, &batch, &mut arrived);
        let [of] = &arrived[..] else { panic!("{arrived:?}") };
        assert_eq!((of.sent, of.late, of.longest_ms), (6, 5, 3_505_000));
        assert_eq!(of.payloads(&batch), "1005000\t0.5 \n1004000\t0.4 \n1003000\t0.3 \n1002000\t0.2 \n");
    }
}
