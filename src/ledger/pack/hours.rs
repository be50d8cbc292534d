//! Hourly roll-ups of packed readings, worked out when they are asked for.

use rusqlite::{Connection, Row, params};

use super::block::Sample;
use super::shelf::{self, Block};
use crate::model::Span;

/// All readings of one hour.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::ledger) struct Rolled {
    /// Its beginning, in milliseconds since 1970.
    pub(in crate::ledger) at: i64,
    pub(in crate::ledger) count: u64,
    pub(in crate::ledger) sum: f64,
    pub(in crate::ledger) min: f64,
    pub(in crate::ledger) max: f64,
}

impl Rolled {
    /// A row of `at, count, sum, min, max`.
    pub(in crate::ledger) fn read(row: &Row<'_>) -> rusqlite::Result<Self> {
        Ok(Self { at: row.get(0)?, count: row.get(1)?, sum: row.get(2)?, min: row.get(3)?, max: row.get(4)? })
    }

    /// Both as one that begins with the earlier.
    pub(in crate::ledger) fn join(self, other: Self) -> Self {
        Self {
            at: self.at.min(other.at),
            count: self.count + other.count,
            sum: self.sum + other.sum,
            min: self.min.min(other.min),
            max: self.max.max(other.max),
        }
    }
}

/// The hours that begin in `from..to` and lie in a block, with what came late for them.
pub(in crate::ledger) fn hours(
    db: &Connection,
    series: u32,
    from: i64,
    to: i64,
) -> rusqlite::Result<Vec<Rolled>> {
    let mut hours = Vec::new();
    shelf::overlapping(db, series, from, to, |block| {
        let hour_in_reach = |hour: &Rolled| (from..to).contains(&hour.at);
        hours.extend(roll_up(&whole(db, series, block)?).filter(hour_in_reach));
        Ok(())
    })?;
    Ok(hours)
}

/// All readings of the span of a block.
pub(super) fn whole(db: &Connection, series: u32, block: Block) -> rusqlite::Result<Vec<Sample>> {
    let late = shelf::loose(db, series, block.at, block.until)?;
    Ok(shelf::merge(block.samples, late))
}

/// Samples by the hour.
pub(super) fn roll_up(samples: &[Sample]) -> impl Iterator<Item = Rolled> {
    samples.chunk_by(|a, b| hour_of(a.at) == hour_of(b.at)).map(|hour| Rolled {
        at: hour_of(hour[0].at),
        count: hour.len() as u64,
        sum: hour.iter().map(|sample| sample.value).sum(),
        min: hour.iter().map(|sample| sample.value).fold(f64::INFINITY, f64::min),
        max: hour.iter().map(|sample| sample.value).fold(f64::NEG_INFINITY, f64::max),
    })
}

/// Keeps the hours of `samples` as rows.
pub(super) fn keep(db: &Connection, series: u32, samples: &[Sample]) -> rusqlite::Result<()> {
    let mut insert = db.prepare_cached(
        "INSERT OR REPLACE INTO hours (series, at, count, sum, min, max) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?;
    for hour in roll_up(samples) {
        insert.execute(params![series, hour.at, hour.count, hour.sum, hour.min, hour.max])?;
    }
    Ok(())
}

/// The beginning of the hour of `at`.
pub(super) fn hour_of(at: i64) -> i64 {
    let hour = Span::HOUR.millis();
    at.div_euclid(hour) * hour
}
