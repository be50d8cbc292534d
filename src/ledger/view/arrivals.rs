//! How the readings of each sensor arrived.

use std::sync::Arc;

use crate::ledger::LedgerFault;
use crate::ledger::arrivals::{AFTER_TIME, LINE_END};
use crate::model::{EventTime, Id, Span};

use super::{View, names};

/// How the readings of one sensor arrived since they were first counted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Arrivals {
    /// Its name inside the system.
    pub sensor: Arc<str>,
    /// First arrival counted.
    pub since: EventTime,
    /// Newest arrival.
    pub last: EventTime,
    /// Readings that arrived, repeated ones among them.
    pub readings: u64,
    /// Those that the ledger had already, by their time.
    pub repeated: u64,
    /// Those that came more than 10 minutes after they were measured.
    pub late: u64,
    /// The longest that one was under way.
    pub longest: Span,
    /// Beginnings of the last payloads with their arrival, newest first.
    pub payloads: Vec<(EventTime, String)>,
}

impl View {
    /// How the readings of each sensor of `system` arrived, by name; none of sensors that were never heard.
    pub fn arrivals(&self, system: &Id) -> Result<Vec<Arrivals>, LedgerFault> {
        self.read("read how readings arrived", |db| {
            let Some(no) = names::system_no(db, system)? else { return Ok(Vec::new()) };
            let mut query = db.prepare_cached(
                "SELECT sensor, since, last, readings, repeated, late, longest_ms, payloads
                 FROM series JOIN arrivals ON arrivals.series = series.no WHERE system = ?1 ORDER BY sensor",
            )?;
            let rows = query.query_map([no], |row| {
                Ok(Arrivals {
                    sensor: row.get_ref(0)?.as_str()?.into(),
                    since: EventTime::from_millis(row.get(1)?),
                    last: EventTime::from_millis(row.get(2)?),
                    readings: row.get(3)?,
                    repeated: row.get(4)?,
                    late: row.get(5)?,
                    longest: Span::from_millis(row.get(6)?),
                    payloads: payloads(row.get_ref(7)?.as_str()?),
                })
            })?;
            rows.collect()
        })
    }
}

/// Whole lines only: the last one may have been cut.
fn payloads(lines: &str) -> Vec<(EventTime, String)> {
    let whole = lines.rsplit_once(LINE_END).map_or("", |(whole, _)| whole);
    let line = |line: &str| {
        let (at, payload) = line.split_once(AFTER_TIME)?;
        Some((EventTime::from_millis(at.parse().ok()?), payload.to_owned()))
    };
    whole.split(LINE_END).filter_map(line).collect()
}
