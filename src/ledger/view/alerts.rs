//! Alerts, their steps, and who was told of them.

use std::collections::BTreeMap;

use rusqlite::types::Value as SqlValue;
use rusqlite::{OptionalExtension, Row, params, params_from_iter};

use crate::alerts::{AlertNo, Deed, Stage};
use crate::ledger::LedgerFault;
use crate::ledger::record::from_json;
use crate::model::{EventTime, Finding, FindingKind, Id, Severity};

use super::View;
use super::names::{self, Names};
use super::notices::{StoredDelivery, deliveries_of};

/// Which alerts to list.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct AlertFilter {
    /// Of this system only.
    pub system: Option<Id>,
    /// Standing ones only (`true`), closed ones only (`false`), or both.
    pub standing: Option<bool>,
    /// Of this severity only.
    pub severity: Option<Severity>,
    /// Of this kind only.
    pub kind: Option<FindingKind>,
    /// Opened at this time or later.
    pub since: Option<EventTime>,
    /// Leave out those that are folded under another.
    pub causes_only: bool,
    /// Numbers below this one, to turn to the next page.
    pub before: Option<AlertNo>,
}

/// One alert.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredAlert {
    /// Its number.
    pub no: AlertNo,
    /// Where.
    pub system: Id,
    /// What is wrong, as it is now or was last.
    pub finding: Finding,
    /// When it was opened first.
    pub opened_at: EventTime,
    /// When it changed last.
    pub changed_at: EventTime,
    /// Where it stands.
    pub stage: Stage,
    /// How often it called for somebody.
    pub calls: u32,
    /// The alert that it is a consequence of.
    pub under: Option<AlertNo>,
    /// How many are folded under it.
    pub folded: u32,
}

/// One step of an alert.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredStep {
    /// When.
    pub at: EventTime,
    /// Who; none for the program.
    pub by: Option<String>,
    /// What was done.
    pub deed: Deed,
}

/// Everything about one alert.
#[derive(Clone, Debug, PartialEq)]
pub struct AlertStory {
    /// The alert.
    pub alert: StoredAlert,
    /// Its steps, oldest first.
    pub steps: Vec<StoredStep>,
    /// Alerts folded under it.
    pub folded: Vec<StoredAlert>,
    /// Messages about it, oldest first.
    pub sent: Vec<StoredDelivery>,
}

/// One step of an alert in the log of all steps.
#[derive(Clone, Debug, PartialEq)]
pub struct LoggedStep {
    /// Its number; later steps have higher ones.
    pub no: u64,
    /// The alert.
    pub alert: AlertNo,
    /// Where.
    pub system: Id,
    /// What is wrong, as it is now or was last.
    pub finding: Finding,
    /// When the alert was opened first.
    pub opened_at: EventTime,
    /// The step.
    pub step: StoredStep,
}

/// A system at which somebody is at work.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Muted {
    /// Which.
    pub system: Id,
    /// Since when.
    pub since: EventTime,
    /// When it ends by itself.
    pub until: EventTime,
    /// Who said so.
    pub by: String,
    /// What for.
    pub reason: String,
}

const COLUMNS: &str = "no, system, finding, opened_at, changed_at, stage, calls, under,
     (SELECT count(*) FROM alerts f WHERE f.under = alerts.no)";

impl View {
    /// Alerts that `filter` lets through, newest first, at most `limit`.
    pub fn alerts(&self, filter: &AlertFilter, limit: usize) -> Result<Vec<StoredAlert>, LedgerFault> {
        self.read("read the alerts", |db| {
            let names = self.names(db)?;
            let mut conditions = vec!["no < ?1".to_owned()];
            let mut values: Vec<SqlValue> =
                vec![filter.before.map_or(i64::MAX, |no| no.0 as i64).into(), (limit as i64).into()];
            let mut narrow = |condition: &str, value: SqlValue| {
                values.push(value);
                conditions.push(format!("{condition} ?{}", values.len()));
            };
            if let Some(system) = &filter.system {
                let Some(no) = names::system_no(db, system)? else { return Ok(Vec::new()) };
                narrow("system =", i64::from(no).into());
            }
            if let Some(severity) = filter.severity {
                narrow("severity =", severity.name().to_owned().into());
            }
            if let Some(kind) = filter.kind {
                narrow("kind =", kind.name().to_owned().into());
            }
            if let Some(since) = filter.since {
                narrow("opened_at >=", since.millis().into());
            }
            match filter.standing {
                Some(true) => conditions.push("closed_at IS NULL".to_owned()),
                Some(false) => conditions.push("closed_at IS NOT NULL".to_owned()),
                None => {}
            }
            if filter.causes_only {
                conditions.push("under IS NULL".to_owned());
            }
            let conditions = conditions.join(" AND ");
            let mut query = db.prepare_cached(&format!(
                "SELECT {COLUMNS} FROM alerts WHERE {conditions} ORDER BY no DESC LIMIT ?2"
            ))?;
            query.query_map(params_from_iter(values), |row| stored(row, &names))?.collect()
        })
    }

    /// One alert with all its steps; none if there is none of that number.
    pub fn alert(&self, no: AlertNo) -> Result<Option<AlertStory>, LedgerFault> {
        self.read("read an alert", |db| {
            let names = self.names(db)?;
            let mut query = db.prepare_cached(&format!("SELECT {COLUMNS} FROM alerts WHERE no = ?1"))?;
            let Some(alert) = query.query_row([no.0], |row| stored(row, &names)).optional()? else {
                return Ok(None);
            };
            let mut query =
                db.prepare_cached("SELECT at, by, deed FROM alert_steps WHERE alert = ?1 ORDER BY no")?;
            let steps = query.query_map([no.0], step)?.collect::<Result<_, _>>()?;
            let mut query =
                db.prepare_cached(&format!("SELECT {COLUMNS} FROM alerts WHERE under = ?1 ORDER BY no"))?;
            let folded = query.query_map([no.0], |row| stored(row, &names))?.collect::<Result<_, _>>()?;
            Ok(Some(AlertStory { alert, steps, folded, sent: deliveries_of(db, no)? }))
        })
    }

    /// The next steps of all alerts after `after`, at most `limit`. Nothing appears later below what was read.
    pub fn alert_steps_since(&self, after: u64, limit: usize) -> Result<Vec<LoggedStep>, LedgerFault> {
        self.read("read the steps of alerts", |db| {
            let names = self.names(db)?;
            let mut query = db.prepare_cached(
                "SELECT s.at, s.by, s.deed, s.no, a.no, a.system, a.finding, a.opened_at
                 FROM alert_steps s JOIN alerts a ON a.no = s.alert WHERE s.no > ?1 ORDER BY s.no LIMIT ?2",
            )?;
            let steps = query.query_map(params![after, limit], |row| {
                Ok(LoggedStep {
                    no: row.get(3)?,
                    alert: AlertNo(row.get(4)?),
                    system: names.system(row.get(5)?)?,
                    finding: from_json(6, row.get_ref(6)?.as_str()?)?,
                    opened_at: EventTime::from_millis(row.get(7)?),
                    step: step(row)?,
                })
            })?;
            steps.collect()
        })
    }

    /// The steps of the alerts of these numbers, oldest first.
    pub fn alert_steps(
        &self,
        numbers: &[AlertNo],
    ) -> Result<BTreeMap<AlertNo, Vec<StoredStep>>, LedgerFault> {
        self.read("read the steps of alerts", |db| {
            let mut query =
                db.prepare_cached("SELECT at, by, deed FROM alert_steps WHERE alert = ?1 ORDER BY no")?;
            let steps =
                numbers.iter().map(|no| Ok((*no, query.query_map([no.0], step)?.collect::<Result<_, _>>()?)));
            steps.collect()
        })
    }

    /// The alerts of these numbers, in their order; those that do not exist are left out.
    pub fn alerts_numbered(&self, numbers: &[AlertNo]) -> Result<Vec<StoredAlert>, LedgerFault> {
        self.read("read alerts", |db| {
            let names = self.names(db)?;
            let mut query = db.prepare_cached(&format!("SELECT {COLUMNS} FROM alerts WHERE no = ?1"))?;
            let found =
                numbers.iter().map(|no| query.query_row([no.0], |row| stored(row, &names)).optional());
            found.filter_map(Result::transpose).collect()
        })
    }

    /// Systems at which somebody is at work at `now`.
    pub fn muted(&self, now: EventTime) -> Result<Vec<Muted>, LedgerFault> {
        self.read("read who is at work", |db| {
            let names = self.names(db)?;
            let mut query = db.prepare_cached(
                "SELECT system, since, until, by, reason FROM muted WHERE until > ?1 ORDER BY system",
            )?;
            let muted = query.query_map(params![now.millis()], |row| {
                Ok(Muted {
                    system: names.system(row.get(0)?)?,
                    since: EventTime::from_millis(row.get(1)?),
                    until: EventTime::from_millis(row.get(2)?),
                    by: row.get(3)?,
                    reason: row.get(4)?,
                })
            })?;
            muted.collect()
        })
    }
}

fn stored(row: &Row<'_>, names: &Names) -> rusqlite::Result<StoredAlert> {
    Ok(StoredAlert {
        no: AlertNo(row.get(0)?),
        system: names.system(row.get(1)?)?,
        finding: from_json(2, row.get_ref(2)?.as_str()?)?,
        opened_at: EventTime::from_millis(row.get(3)?),
        changed_at: EventTime::from_millis(row.get(4)?),
        stage: from_json(5, row.get_ref(5)?.as_str()?)?,
        calls: row.get(6)?,
        under: row.get::<_, Option<u64>>(7)?.map(AlertNo),
        folded: row.get(8)?,
    })
}

fn step(row: &Row<'_>) -> rusqlite::Result<StoredStep> {
    Ok(StoredStep {
        at: EventTime::from_millis(row.get(0)?),
        by: row.get(1)?,
        deed: from_json(2, row.get_ref(2)?.as_str()?)?,
    })
}
