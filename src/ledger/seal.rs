//! A checksum over the readings of each hour, from their roll-up until they are packed and get that of their block.
//!
//! SQLite keeps none of its own, so a bit that flips inside a number would go unnoticed. The seal of an hour is the
//! CRC-32 of time and value of each of its readings, all combined by exclusive or, so that their order is of no
//! matter: one reading that is changed, lost or added always shows. An hour that is to be rolled up again has no
//! valid seal.

use flate2::Crc;
use rusqlite::functions::{Aggregate, Context, FunctionFlags};
use rusqlite::{Connection, OptionalExtension, params};

/// `seal(at, value)` in SQL: the seal of the rows; null for none.
struct Seal;

impl Aggregate<u32, Option<u32>> for Seal {
    fn init(&self, _: &mut Context<'_>) -> rusqlite::Result<u32> {
        Ok(0)
    }

    fn step(&self, row: &mut Context<'_>, seal: &mut u32) -> rusqlite::Result<()> {
        *seal ^= checksum(row.get(0)?, row.get(1)?);
        Ok(())
    }

    fn finalize(&self, _: &mut Context<'_>, seal: Option<u32>) -> rusqlite::Result<Option<u32>> {
        Ok(seal)
    }
}

fn checksum(at: i64, value: f64) -> u32 {
    let mut crc = Crc::new();
    crc.update(&at.to_le_bytes());
    crc.update(&value.to_le_bytes());
    crc.sum()
}

/// Teaches `db` to work out seals.
pub(super) fn teach(db: &Connection) -> rusqlite::Result<()> {
    let flags = FunctionFlags::SQLITE_UTF8 | FunctionFlags::SQLITE_DETERMINISTIC;
    db.create_aggregate_function("seal", 2, flags, Seal)
}

/// Whether an hour `h` has lost its readings' agreement.
const BROKEN: &str = "h.seal IS NOT NULL
     AND h.seal IS NOT (SELECT seal(at, value) FROM readings r
                        WHERE r.series = h.series AND r.at >= h.at AND r.at < h.at + 3600000)
     AND NOT EXISTS (SELECT 1 FROM stale s WHERE s.grain = 'hour' AND s.at = h.at AND s.series = h.series)";

/// Whether the readings of `series` in `from..until` agree with the seals of their hours, as far as these have one.
pub(super) fn holds(db: &Connection, series: u32, from: i64, until: i64) -> rusqlite::Result<bool> {
    let broken: bool = db
        .prepare_cached(&format!(
            "SELECT EXISTS (SELECT 1 FROM hours h WHERE h.series = ?1 AND h.at >= ?2 AND h.at < ?3 AND {BROKEN})"
        ))?
        .query_row(params![series, from, until], |row| row.get(0))?;
    Ok(!broken)
}

/// The first hour whose readings do not agree with its seal, in words; before the horizon there are none to agree.
pub(super) fn broken(db: &Connection) -> rusqlite::Result<Option<String>> {
    db.query_row(
        &format!(
            "SELECT sensor, systems.id, strftime('%Y-%m-%dT%H:%MZ', h.at / 1000, 'unixepoch')
             FROM hours h JOIN series ON series.no = h.series JOIN systems ON systems.no = series.system
             LEFT JOIN horizons z ON z.grain = 'hour'
             WHERE (z.grain IS NULL OR h.at >= iif(h.series <= z.swept, z.going_to, z.gone_to)) AND {BROKEN} LIMIT 1"
        ),
        [],
        |row| {
            let (sensor, system, hour): (String, String, String) = (row.get(0)?, row.get(1)?, row.get(2)?);
            Ok(format!("the readings of {sensor} of {system} in the hour from {hour} have changed"))
        },
    )
    .optional()
}
