//! Packing what has settled, and unpacking what has to go.
//!
//! Once a day all series are gone through, in pieces that fit between commits. Readings younger than [`SETTLED`] stay
//! rows, because most of what comes late comes by then.

use rusqlite::{Connection, OptionalExtension, Transaction, params};

use super::block::Sample;
use super::hours::{hour_of, keep, whole};
use super::shelf::{self, Block, unless_damaged};
use crate::ledger::seal;
use crate::model::{EventTime, Span};

/// Whole days that readings stay rows in any case.
const SETTLED: Span = Span::from_days(3);
/// Readings at which a block ends, at the next full hour: more hardly gains, and a page holds two or three such blocks.
const FULL: usize = 1024;
/// A block that is not full is made once its first reading is this old, if it has [`WORTHWHILE`] readings.
const WEEK: Span = Span::from_days(7);
const WORTHWHILE: usize = 96;
/// A block is made of whatever there is once its first reading is this old.
const MONTH: Span = Span::from_days(31);
/// A run up to the full hour that holds more stays as it is; to pack it would keep commits waiting.
const MOST: usize = 16_384;
/// Packed readings that cost as much as a step of upkeep.
const READINGS_A_STEP: usize = 4;

/// How far packing has come.
#[derive(Clone, Copy, Debug)]
pub(in crate::ledger) struct Progress {
    /// Nothing at or after this is packed.
    pub(in crate::ledger) before: i64,
    /// The last series of this sweep; none when it is complete.
    swept: Option<u32>,
}

impl Progress {
    pub(in crate::ledger) fn load(db: &Connection) -> rusqlite::Result<Self> {
        db.prepare_cached("SELECT before, swept FROM packing")?
            .query_row([], |row| Ok(Self { before: row.get(0)?, swept: row.get(1)? }))
    }

    fn store(self, db: &Connection) -> rusqlite::Result<()> {
        db.prepare_cached("UPDATE packing SET before = ?1, swept = ?2")?
            .execute(params![self.before, self.swept])?;
        Ok(())
    }
}

/// Goes on packing until done or out of `steps`; returns how many readings were packed. `gone_to` says before when
/// the readings of a series are gone.
pub(in crate::ledger) fn sweep(
    tx: &Transaction<'_>,
    progress: &mut Progress,
    now: EventTime,
    gone_to: impl Fn(u32) -> i64,
    steps: &mut usize,
) -> rusqlite::Result<u64> {
    let day = Span::DAY.millis();
    let settled = (now - SETTLED).millis().div_euclid(day) * day;
    if progress.swept.is_none() && progress.before < settled {
        *progress = Progress { before: settled, swept: Some(0) };
    }
    let mut packed = 0;
    while let (Some(swept), true) = (progress.swept, *steps > 0) {
        let next: Option<u32> = tx
            .prepare_cached("SELECT no FROM series WHERE no > ?1 ORDER BY no LIMIT 1")?
            .query_row([swept], |row| row.get(0))
            .optional()?;
        let Some(series) = next else {
            progress.swept = None;
            break;
        };
        let mut run = Run { tx, series, from: gone_to(series), to: progress.before, now };
        let (count, done) = run.pack(steps)?;
        packed += count;
        if done {
            progress.swept = Some(series);
        }
    }
    progress.store(tx)?;
    Ok(packed)
}

/// The readings of one series that have settled.
struct Run<'t> {
    tx: &'t Transaction<'t>,
    series: u32,
    from: i64,
    to: i64,
    now: EventTime,
}

impl Run<'_> {
    /// Packs until out of steps; says how many readings, and whether that was all.
    fn pack(&mut self, steps: &mut usize) -> rusqlite::Result<(u64, bool)> {
        let mut packed = 0;
        loop {
            let Some(step) = self.next()? else {
                *steps = steps.saturating_sub(1);
                return Ok((packed, true));
            };
            packed += step as u64;
            *steps = steps.saturating_sub(1 + step / READINGS_A_STEP);
            if *steps == 0 {
                return Ok((packed, false));
            }
        }
    }

    /// Packs what comes first and moves `from` behind it; none when there is nothing more to pack.
    fn next(&mut self) -> rusqlite::Result<Option<usize>> {
        let first: Option<i64> = self
            .tx
            .prepare_cached("SELECT min(at) FROM readings WHERE series = ?1 AND at >= ?2 AND at < ?3")?
            .query_row(params![self.series, self.from, self.to], |row| row.get(0))?;
        let Some(first) = first else { return Ok(None) };
        match unless_damaged(shelf::covering(self.tx, self.series, first))? {
            Some(Some(block)) => self.add_late(block).map(Some),
            Some(None) => self.fill(first),
            None => {
                // The late readings of a damaged block stay rows.
                self.from = end_of_hour(first);
                Ok(Some(0))
            }
        }
    }

    /// Packs what came late for `block` together with it.
    fn add_late(&mut self, block: Block) -> rusqlite::Result<usize> {
        let Block { no, at, until, .. } = block;
        let samples = whole(self.tx, self.series, block)?;
        shelf::remove(self.tx, no)?;
        let mut rest = &samples[..];
        let mut begins = at;
        while !rest.is_empty() {
            let length = full_hours(rest);
            let (piece, after) = rest.split_at(length);
            let ends = after.first().map_or(until, |next| hour_of(next.at));
            shelf::put(self.tx, self.series, begins, ends, piece)?;
            (rest, begins) = (after, ends);
        }
        self.tx
            .prepare_cached("DELETE FROM readings WHERE series = ?1 AND at >= ?2 AND at < ?3")?
            .execute(params![self.series, at, until])?;
        self.from = until;
        Ok(samples.len())
    }

    /// Makes a block of the rows from `first` on, if they are enough or old enough.
    fn fill(&mut self, first: i64) -> rusqlite::Result<Option<usize>> {
        let at = hour_of(first);
        let bound = shelf::next_after(self.tx, self.series, at)?.map_or(self.to, |next| next.min(self.to));
        let last: Option<i64> = self
            .tx
            .prepare_cached(
                "SELECT at FROM readings WHERE series = ?1 AND at >= ?2 AND at < ?3 ORDER BY at LIMIT 1 OFFSET ?4",
            )?
            .query_row(params![self.series, at, bound, FULL - 1], |row| row.get(0))
            .optional()?;
        let until = last.map_or(bound, end_of_hour);
        let count: usize = self
            .tx
            .prepare_cached("SELECT count(*) FROM readings WHERE series = ?1 AND at >= ?2 AND at < ?3")?
            .query_row(params![self.series, at, until], |row| row.get(0))?;
        let old = |age: Span| first < (self.now - age).millis();
        if count > MOST {
            self.from = until;
            return Ok(Some(count / 10));
        }
        if last.is_none() && bound == self.to && !(old(MONTH) || old(WEEK) && count >= WORTHWHILE) {
            return Ok(None);
        }
        if !seal::holds(self.tx, self.series, at, until)? {
            // What has changed must not get a checksum that agrees with it.
            self.from = until;
            return Ok(Some(count));
        }
        let samples = shelf::loose(self.tx, self.series, at, until)?;
        // No longer than it has to be: what comes late beyond its last hour is no concern of this block.
        let until = samples.last().map_or(until, |sample| end_of_hour(sample.at));
        self.put_away(at, until, &samples)?;
        self.from = until;
        Ok(Some(count))
    }

    fn put_away(&self, at: i64, until: i64, samples: &[Sample]) -> rusqlite::Result<()> {
        shelf::put(self.tx, self.series, at, until, samples)?;
        for table in ["readings", "hours"] {
            self.tx
                .prepare_cached(&format!("DELETE FROM {table} WHERE series = ?1 AND at >= ?2 AND at < ?3"))?
                .execute(params![self.series, at, until])?;
        }
        Ok(())
    }
}

/// How many of `samples` make one block: up to the hour in which it gets full.
fn full_hours(samples: &[Sample]) -> usize {
    let Some(last) = samples.get(FULL - 1) else { return samples.len() };
    // What is left over by a few late readings is not worth a block of its own.
    if samples.len() < FULL + FULL / 2 {
        return samples.len();
    }
    let ends = end_of_hour(last.at);
    samples.partition_point(|sample| sample.at < ends)
}

fn end_of_hour(at: i64) -> i64 {
    hour_of(at) + Span::HOUR.millis()
}

/// Takes everything before `cutoff`, the beginning of a day, out of the blocks of a series, and keeps the hours from
/// `hours_from` on. Returns how many packed readings went.
pub(in crate::ledger) fn drop_before(
    tx: &Transaction<'_>,
    series: u32,
    cutoff: i64,
    hours_from: i64,
) -> rusqlite::Result<usize> {
    let mut dropped = 0;
    for (no, at, until) in shelf::spans_before(tx, series, cutoff)? {
        let Some(Some(block)) = unless_damaged(shelf::covering(tx, series, at))? else {
            // A damaged block is kept for as long as any of it would be.
            if until <= cutoff {
                shelf::remove(tx, no)?;
            }
            continue;
        };
        let stays = block.samples.partition_point(|sample| sample.at < cutoff);
        let kept = block.samples[stays..].to_vec();
        dropped += stays;
        let all = whole(tx, series, block)?;
        // Nothing is left of a block whose readings all go; what came late for it stays, with its hours.
        let hours = hours_from.max(at)..if kept.is_empty() { until } else { cutoff };
        let rolled: Vec<Sample> = all.into_iter().filter(|sample| hours.contains(&sample.at)).collect();
        keep(tx, series, &rolled)?;
        shelf::remove(tx, no)?;
        if !kept.is_empty() {
            shelf::put(tx, series, cutoff, until, &kept)?;
        }
    }
    Ok(dropped)
}
