//! The plan of visits.

use rusqlite::{Connection, params};

use super::{Answer, Reply};
use crate::ledger::record::to_json;
use crate::model::EventTime;
use crate::upkeep::Plan;

/// Keeps `plan` as the one that stands.
pub(super) fn write(db: &Connection, made: EventTime, plan: &Plan) -> rusqlite::Result<Answer> {
    db.prepare_cached("INSERT OR REPLACE INTO plan (only, made, body) VALUES (1, ?1, ?2)")?
        .execute(params![made.millis(), to_json(plan)?])?;
    Ok(Ok(Reply::Done))
}
