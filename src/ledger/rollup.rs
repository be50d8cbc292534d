//! Hours out of readings, days out of hours.
//!
//! A commit marks every hour that it touches as stale. Once such an hour is complete it is worked
//! out anew from its readings, and its day becomes stale in turn. So a late reading corrects the
//! roll-ups without special care, and working out twice changes nothing. Only where the source rows
//! have been deleted by retention, what came late is merged in and deleted with them.
//!
//! Hours inside a block of packed readings are not kept but worked out with the block; days are.

use rusqlite::{Connection, params};

use crate::model::{EventTime, Span};

use super::pack;
use super::retention::Horizon;

/// One step of rolling up.
pub(super) struct Grain {
    /// Its word in the tables.
    pub(super) name: &'static str,
    /// Where the rows come from.
    pub(super) source: &'static str,
    target: &'static str,
    width: Span,
    aggregates: &'static str,
}

/// Readings into hours.
pub(super) const HOUR: Grain = Grain {
    name: "hour",
    source: "readings",
    target: "hours",
    width: Span::HOUR,
    aggregates: "count(*), sum(value), min(value), max(value), seal(at, value)",
};

/// Hours into days.
pub(super) const DAY: Grain = Grain {
    name: "day",
    source: "hours",
    target: "days",
    width: Span::DAY,
    aggregates: "sum(count), sum(sum), min(min), max(max)",
};

/// What usually comes late comes within this time, and is not worth rolling up twice for.
const GRACE: Span = Span::from_mins(5);

/// Works out at most `limit` stale bins that were complete at `now`, oldest first; returns them as
/// (series, beginning). Nothing at or after `packed_before` is packed.
pub(super) fn roll_up(
    db: &Connection,
    grain: &Grain,
    horizon: &Horizon,
    packed_before: i64,
    now: EventTime,
    limit: usize,
) -> rusqlite::Result<Vec<(u32, i64)>> {
    let width = grain.width.millis();
    let complete = (now - GRACE - grain.width).millis();
    let stale: Vec<(u32, i64)> = db
        .prepare_cached(
            "SELECT series, at FROM stale WHERE grain = ?1 AND at <= ?2 ORDER BY at, series LIMIT ?3",
        )?
        .query_map(params![grain.name, complete, limit], |row| Ok((row.get(0)?, row.get(1)?)))?
        .collect::<Result<_, _>>()?;
    let Grain { source, target, aggregates, .. } = grain;
    let select = format!(
        "SELECT ?1, ?2, {aggregates} FROM {source} WHERE series = ?1 AND at >= ?2 AND at < ?3 HAVING count(*) > 0"
    );
    let mut replace = db.prepare_cached(&format!("INSERT OR REPLACE INTO {target} {select}"))?;
    let mut merge = db.prepare_cached(&format!(
        "INSERT INTO {target} {select} ON CONFLICT (series, at) DO UPDATE SET count = count + excluded.count,
         sum = sum + excluded.sum, min = min(min, excluded.min), max = max(max, excluded.max)"
    ))?;
    let mut discard =
        db.prepare_cached(&format!("DELETE FROM {source} WHERE series = ?1 AND at >= ?2 AND at < ?3"))?;
    let mut done = db.prepare_cached("DELETE FROM stale WHERE grain = ?1 AND at = ?2 AND series = ?3")?;
    for &(series, at) in &stale {
        let bin = params![series, at, at + width];
        if at < packed_before && pack::covers(db, series, at, at + width)? {
            if grain.name == DAY.name {
                replace_day(db, series, at)?;
            }
        } else if at < horizon.gone_to(series) {
            merge.execute(bin)?;
            discard.execute(bin)?;
        } else {
            replace.execute(bin)?;
        }
        done.execute(params![grain.name, at, series])?;
    }
    Ok(stale)
}

/// Works out a day some hours of which are packed.
fn replace_day(db: &Connection, series: u32, at: i64) -> rusqlite::Result<()> {
    let ends = at + DAY.width.millis();
    // With damage in it, the day stays as it was.
    let Some(mut hours) = pack::unless_damaged(pack::hours(db, series, at, ends))? else { return Ok(()) };
    let mut kept = db.prepare_cached(
        "SELECT at, count, sum, min, max FROM hours WHERE series = ?1 AND at >= ?2 AND at < ?3",
    )?;
    let mut rows = kept.query(params![series, at, ends])?;
    while let Some(row) = rows.next()? {
        hours.push(pack::Rolled::read(row)?);
    }
    let Some(day) = hours.into_iter().reduce(pack::Rolled::join) else { return Ok(()) };
    db.prepare_cached(
        "INSERT OR REPLACE INTO days (series, at, count, sum, min, max) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?
    .execute(params![series, at, day.count, day.sum, day.min, day.max])?;
    Ok(())
}

/// Marks the days of rolled-up hours as stale.
pub(super) fn mark_days(db: &Connection, hours: &[(u32, i64)]) -> rusqlite::Result<()> {
    let width = DAY.width.millis();
    let mut mark = db
        .prepare_cached("INSERT INTO stale (grain, at, series) VALUES (?1, ?2, ?3) ON CONFLICT DO NOTHING")?;
    for (series, at) in hours {
        mark.execute(params![DAY.name, at.div_euclid(width) * width, series])?;
    }
    Ok(())
}
