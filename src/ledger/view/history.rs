//! The course of one sensor over time, raw or rolled up.

use rusqlite::{Connection, params};

use crate::ledger::{LedgerFault, pack};
use crate::model::{EventTime, Id, Span};

use super::{View, names};

/// How finely to look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Resolution {
    /// Every reading, as long as the retention policy keeps them.
    Raw,
    /// By hour of UTC.
    Hour,
    /// By day of UTC.
    Day,
}

/// One reading, or all readings of an hour or day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bin {
    /// Time of the reading, or beginning of the hour or day.
    pub at: EventTime,
    /// Lowest value.
    pub min: f64,
    /// Arithmetic mean.
    pub mean: f64,
    /// Highest value.
    pub max: f64,
    /// Number of readings.
    pub count: u64,
}

impl Bin {
    fn of(hour: &pack::Rolled) -> Self {
        let mean = hour.sum / hour.count as f64;
        Self { at: EventTime::from_millis(hour.at), min: hour.min, mean, max: hour.max, count: hour.count }
    }
}

impl View {
    /// Bins of one sensor that begin in `from..to`, in order; none for hours and days without readings.
    ///
    /// The newest hours and days, those not yet rolled up, are worked out on the spot. A late reading
    /// shows in an older bin after the next upkeep.
    pub fn history(
        &self,
        system: &Id,
        sensor: &str,
        from: EventTime,
        to: EventTime,
        resolution: Resolution,
    ) -> Result<Vec<Bin>, LedgerFault> {
        self.read("read history", |db| {
            let Some(series) = names::series_no(db, system, sensor)? else { return Ok(Vec::new()) };
            let mut bins = Vec::new();
            let (from, to) = (from.millis(), to.millis());
            match resolution {
                Resolution::Raw => raw(db, series, from, to, &mut bins)?,
                Resolution::Hour => hours(db, series, from, to, &mut bins)?,
                Resolution::Day => days(db, series, from, to, &mut bins)?,
            }
            Ok(bins)
        })
    }

    /// From when on single readings of a system are kept, to the hour.
    pub fn readings_kept_since(&self, system: &Id) -> Result<Option<EventTime>, LedgerFault> {
        self.read("read history", |db| {
            let first =
                "SELECT min(min((SELECT coalesce(min(at), 9e18) FROM readings WHERE series = series.no),
                                        (SELECT coalesce(min(at), 9e18) FROM packed WHERE series = series.no)))
                         FROM systems JOIN series ON series.system = systems.no WHERE id = ?1";
            first_at(db, first, system)
        })
    }

    /// Time of the first reading of a system that is still known, by hour or day where the reading itself is
    /// gone.
    pub fn heard_since(&self, system: &Id) -> Result<Option<EventTime>, LedgerFault> {
        self.read("read history", |db| {
            // Readings that are packed have their days.
            let first =
                "SELECT min(min((SELECT coalesce(min(at), 9e18) FROM readings WHERE series = series.no),
                                        (SELECT coalesce(min(at), 9e18) FROM hours WHERE series = series.no),
                                        (SELECT coalesce(min(at), 9e18) FROM days WHERE series = series.no)))
                         FROM systems JOIN series ON series.system = systems.no WHERE id = ?1";
            first_at(db, first, system)
        })
    }
}

/// The time that `query` finds for a system, 9e18 for none.
fn first_at(db: &Connection, query: &str, system: &Id) -> rusqlite::Result<Option<EventTime>> {
    let first: Option<f64> = db.prepare_cached(query)?.query_row([system.as_str()], |row| row.get(0))?;
    Ok(first.filter(|first| *first < 8e18).map(|first| EventTime::from_millis(first as i64)))
}

fn raw(db: &Connection, series: u32, from: i64, to: i64, bins: &mut Vec<Bin>) -> rusqlite::Result<()> {
    bins.extend(pack::between(db, series, from, to)?.into_iter().map(|sample| Bin {
        at: EventTime::from_millis(sample.at),
        min: sample.value,
        mean: sample.value,
        max: sample.value,
        count: 1,
    }));
    Ok(())
}

fn hours(db: &Connection, series: u32, from: i64, to: i64, bins: &mut Vec<Bin>) -> rusqlite::Result<()> {
    let rolled = "SELECT at, min, sum / count, max, count FROM hours
                  WHERE series = ?1 AND at >= ?2 AND at < ?3 ORDER BY at";
    collect(db, rolled, series, from, to, bins)?;
    let packed = pack::hours(db, series, from, to)?;
    if !packed.is_empty() {
        bins.extend(packed.iter().map(Bin::of));
        bins.sort_by_key(|bin| bin.at);
    }
    // No hour of a block is in the table.
    let from = pack::last_until(db, series)?.map_or(from, |until| from.max(until));
    let from = unrolled_from(db, "hours", series, Span::HOUR, from)?;
    let fresh =
        "SELECT at - (at % 3600000 + 3600000) % 3600000 AS hour, min(value), avg(value), max(value), count(*)
                 FROM readings WHERE series = ?1 AND at >= ?2 AND at < ?3 GROUP BY hour ORDER BY hour";
    collect(db, fresh, series, from, ceil(to, Span::HOUR), bins)
}

fn days(db: &Connection, series: u32, from: i64, to: i64, bins: &mut Vec<Bin>) -> rusqlite::Result<()> {
    let rolled = "SELECT at, min, sum / count, max, count FROM days
                  WHERE series = ?1 AND at >= ?2 AND at < ?3 ORDER BY at";
    collect(db, rolled, series, from, to, bins)?;
    let from = unrolled_from(db, "days", series, Span::DAY, from)?;
    let mut fresh = Vec::new();
    hours(db, series, from, ceil(to, Span::DAY), &mut fresh)?;
    let day = |bin: &Bin| bin.at.millis().div_euclid(Span::DAY.millis());
    bins.extend(fresh.chunk_by(|a, b| day(a) == day(b)).map(|hours| join(hours, day(&hours[0]))));
    Ok(())
}

/// Beginning of the first bin at or after `from` that `table` does not have yet.
fn unrolled_from(db: &Connection, table: &str, series: u32, width: Span, from: i64) -> rusqlite::Result<i64> {
    let last: Option<i64> = db
        .prepare_cached(&format!("SELECT max(at) FROM {table} WHERE series = ?1"))?
        .query_row([series], |row| row.get(0))?;
    let from = ceil(from, width);
    Ok(last.map_or(from, |last| from.max(last + width.millis())))
}

/// The first multiple of `width` that is not before `at`.
fn ceil(at: i64, width: Span) -> i64 {
    let width = width.millis();
    at.saturating_add(width - 1).div_euclid(width) * width
}

/// The bin of one day out of the bins of its hours.
fn join(hours: &[Bin], day: i64) -> Bin {
    let count: u64 = hours.iter().map(|bin| bin.count).sum();
    let sum: f64 = hours.iter().map(|bin| bin.mean * bin.count as f64).sum();
    Bin {
        at: EventTime::from_millis(day * Span::DAY.millis()),
        min: hours.iter().map(|bin| bin.min).fold(f64::INFINITY, f64::min),
        mean: sum / count as f64,
        max: hours.iter().map(|bin| bin.max).fold(f64::NEG_INFINITY, f64::max),
        count,
    }
}

fn collect(
    db: &Connection,
    sql: &str,
    series: u32,
    from: i64,
    to: i64,
    bins: &mut Vec<Bin>,
) -> rusqlite::Result<()> {
    let mut query = db.prepare_cached(sql)?;
    let mut rows = query.query(params![series, from, to])?;
    while let Some(row) = rows.next()? {
        let at = EventTime::from_millis(row.get(0)?);
        bins.push(Bin { at, min: row.get(1)?, mean: row.get(2)?, max: row.get(3)?, count: row.get(4)? });
    }
    Ok(())
}
