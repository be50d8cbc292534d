//! Blocks in their table, and reading across them.

use rusqlite::{Connection, OptionalExtension, Row, params};

use super::block::{self, Sample};
use crate::ledger::record::unreadable;

/// A block, read.
#[derive(Debug)]
pub(super) struct Block {
    pub(super) no: i64,
    /// Beginning, a whole hour.
    pub(super) at: i64,
    /// End, a whole hour.
    pub(super) until: i64,
    /// By time, each time once.
    pub(super) samples: Vec<Sample>,
}

/// What was read, unless its block is damaged. Upkeep and commits go round damage; whoever reads is told of it.
pub(in crate::ledger) fn unless_damaged<T>(read: rusqlite::Result<T>) -> rusqlite::Result<Option<T>> {
    match read {
        Err(rusqlite::Error::FromSqlConversionFailure(..)) => Ok(None),
        read => read.map(Some),
    }
}

/// The block that was looked at last; readings that come late come in runs.
#[derive(Debug, Default)]
pub(in crate::ledger) struct Cache {
    series: u32,
    block: Option<Block>,
}

impl Block {
    fn read(row: &Row<'_>) -> rusqlite::Result<Self> {
        let samples = block::decode(row.get_ref(4)?.as_blob()?, row.get(3)?);
        let samples = samples.map_err(|fault| unreadable(4, fault))?;
        Ok(Self { no: row.get(0)?, at: row.get(1)?, until: row.get(2)?, samples })
    }

    /// What it says of the time `at`.
    fn value_at(&self, at: i64) -> Option<f64> {
        let found = self.samples.binary_search_by_key(&at, |sample| sample.at);
        found.ok().map(|index| self.samples[index].value)
    }
}

impl Cache {
    /// What the block around `at` says of that time.
    ///
    /// # Errors
    /// Among others, the block is damaged.
    pub(in crate::ledger) fn value_at(
        &mut self,
        db: &Connection,
        series: u32,
        at: i64,
    ) -> rusqlite::Result<Option<f64>> {
        let holds = |block: &Block| (block.at..block.until).contains(&at);
        if self.series != series || !self.block.as_ref().is_some_and(holds) {
            (self.series, self.block) = (series, covering(db, series, at)?);
        }
        Ok(self.block.as_ref().and_then(|block| block.value_at(at)))
    }
}

/// The block around `at`.
pub(super) fn covering(db: &Connection, series: u32, at: i64) -> rusqlite::Result<Option<Block>> {
    db.prepare_cached(
        "SELECT no, at, until, count, body FROM packed WHERE series = ?1 AND at <= ?2 ORDER BY at DESC LIMIT 1",
    )?
    .query_and_then(params![series, at], |row| {
        let around = at < row.get(2)?;
        around.then(|| Block::read(row)).transpose()
    })?
    .next()
    .transpose()
    .map(Option::flatten)
}

/// Number, beginning and end of the blocks of a series that begin before `to`, in order.
pub(super) fn spans_before(db: &Connection, series: u32, to: i64) -> rusqlite::Result<Vec<(i64, i64, i64)>> {
    db.prepare_cached("SELECT no, at, until FROM packed WHERE series = ?1 AND at < ?2 ORDER BY at")?
        .query_map(params![series, to], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?
        .collect()
}

/// Looks into every block.
pub(in crate::ledger) fn check(db: &Connection) -> rusqlite::Result<()> {
    let mut query = db.prepare("SELECT no, at, until, count, body FROM packed")?;
    let mut rows = query.query([])?;
    while let Some(row) = rows.next()? {
        Block::read(row)?;
    }
    Ok(())
}

/// Whether a block reaches into `from..to`.
pub(in crate::ledger) fn covers(db: &Connection, series: u32, from: i64, to: i64) -> rusqlite::Result<bool> {
    let until: Option<i64> = db
        .prepare_cached("SELECT until FROM packed WHERE series = ?1 AND at < ?2 ORDER BY at DESC LIMIT 1")?
        .query_row(params![series, to], |row| row.get(0))
        .optional()?;
    Ok(until.is_some_and(|until| until > from))
}

/// End of the last block of a series.
pub(in crate::ledger) fn last_until(db: &Connection, series: u32) -> rusqlite::Result<Option<i64>> {
    db.prepare_cached("SELECT until FROM packed WHERE series = ?1 ORDER BY at DESC LIMIT 1")?
        .query_row([series], |row| row.get(0))
        .optional()
}

/// The packed readings after the place (series, time), in that order: at least `enough`, or all there are.
pub(in crate::ledger) fn run_after(
    db: &Connection,
    (series, at): (u32, i64),
    enough: usize,
) -> rusqlite::Result<Vec<(u32, Sample)>> {
    let mut query = db.prepare_cached(
        "SELECT no, at, until, count, body, series FROM packed
         WHERE (series, at) >= (?1, coalesce((SELECT max(at) FROM packed WHERE series = ?1 AND at <= ?2), ?2))
         ORDER BY series, at",
    )?;
    let mut rows = query.query(params![series, at])?;
    let mut run = Vec::new();
    while run.len() < enough {
        let Some(row) = rows.next()? else { break };
        let of: u32 = row.get(5)?;
        let samples = Block::read(row)?.samples.into_iter().map(|sample| (of, sample));
        run.extend(samples.filter(|(of, sample)| (*of, sample.at) > (series, at)));
    }
    Ok(run)
}

/// Beginning of the first block of a series that begins after `at`.
pub(super) fn next_after(db: &Connection, series: u32, at: i64) -> rusqlite::Result<Option<i64>> {
    db.prepare_cached("SELECT min(at) FROM packed WHERE series = ?1 AND at > ?2")?
        .query_row(params![series, at], |row| row.get(0))
}

/// Gives `each` every block of a series that reaches into `from..to`, in order.
pub(super) fn overlapping(
    db: &Connection,
    series: u32,
    from: i64,
    to: i64,
    mut each: impl FnMut(Block) -> rusqlite::Result<()>,
) -> rusqlite::Result<()> {
    let mut query = db.prepare_cached(
        "SELECT no, at, until, count, body FROM packed WHERE series = ?1 AND at < ?3
         AND at >= coalesce((SELECT max(at) FROM packed WHERE series = ?1 AND at <= ?2), ?2) ORDER BY at",
    )?;
    let mut rows = query.query(params![series, from, to])?;
    while let Some(row) = rows.next()? {
        if from < row.get(2)? {
            each(Block::read(row)?)?;
        }
    }
    Ok(())
}

/// All readings of a series in `from..to`, packed or not, by time.
pub(in crate::ledger) fn between(
    db: &Connection,
    series: u32,
    from: i64,
    to: i64,
) -> rusqlite::Result<Vec<Sample>> {
    let mut packed = Vec::new();
    overlapping(db, series, from, to, |block| {
        packed.extend(block.samples.iter().filter(|sample| (from..to).contains(&sample.at)));
        Ok(())
    })?;
    Ok(merge(packed, loose(db, series, from, to)?))
}

/// The readings of a series in `from..to` that are not packed.
pub(super) fn loose(db: &Connection, series: u32, from: i64, to: i64) -> rusqlite::Result<Vec<Sample>> {
    db.prepare_cached(
        "SELECT at, value FROM readings WHERE series = ?1 AND at >= ?2 AND at < ?3 ORDER BY at",
    )?
    .query_map(params![series, from, to], |row| Ok(Sample { at: row.get(0)?, value: row.get(1)? }))?
    .collect()
}

/// Two runs, each by time, as one. No time is in both: a commit looks into the block.
pub(super) fn merge(mut one: Vec<Sample>, other: Vec<Sample>) -> Vec<Sample> {
    if !other.is_empty() {
        one.extend(other);
        // Finds the two runs by itself and merges them.
        one.sort_by_key(|sample| sample.at);
    }
    one
}

/// Puts `samples` away as the block `at..until`.
pub(super) fn put(
    db: &Connection,
    series: u32,
    at: i64,
    until: i64,
    samples: &[Sample],
) -> rusqlite::Result<()> {
    let body =
        block::encode(samples).map_err(|fault| rusqlite::Error::ToSqlConversionFailure(Box::new(fault)))?;
    db.prepare_cached("INSERT INTO packed (series, at, until, count, body) VALUES (?1, ?2, ?3, ?4, ?5)")?
        .execute(params![series, at, until, samples.len(), body])?;
    Ok(())
}

pub(super) fn remove(db: &Connection, no: i64) -> rusqlite::Result<()> {
    db.prepare_cached("DELETE FROM packed WHERE no = ?1")?.execute([no])?;
    Ok(())
}
