//! Who knows what, and what is still on its way to them.

use std::collections::BTreeMap;

use rusqlite::{Connection, Row, params};

use crate::alerts::{AlertNo, Recent, Stage, Told, Why};
use crate::ledger::LedgerFault;
use crate::ledger::record::{from_json, unexpected};
use crate::model::{EventTime, FindingKind, Id, Severity, Span};

use super::View;

/// An alert as planning needs it: standing, or over without everybody knowing.
#[derive(Clone, Debug)]
pub struct PlanningFacts {
    /// Its number.
    pub no: AlertNo,
    /// Where.
    pub system: Id,
    /// What is wrong.
    pub kind: FindingKind,
    /// How severe it is.
    pub severity: Severity,
    /// Where it stands.
    pub stage: Stage,
    /// How often it called.
    pub calls: u32,
    /// Whether it is folded under another.
    pub folded: bool,
    /// Who knows what of it.
    pub told: BTreeMap<String, Told>,
}

/// A message that waits to be sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WaitingDelivery {
    /// Its number.
    pub no: u64,
    /// Who.
    pub recipient: String,
    /// The channel.
    pub channel: String,
    /// When it was decided upon.
    pub at: EventTime,
    /// How often it was tried.
    pub tries: u32,
    /// What messages are written from, as JSON.
    pub body: String,
}

/// A message, and what came of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredDelivery {
    /// Its number.
    pub no: u64,
    /// When it was decided upon.
    pub at: EventTime,
    /// Who.
    pub recipient: String,
    /// Why.
    pub why: Why,
    /// The channel.
    pub channel: String,
    /// How often it was tried.
    pub tries: u32,
    /// What came of it.
    pub state: DeliveryState,
}

/// What came of a message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DeliveryState {
    /// On its way; what was in the way last, if anything.
    Waiting {
        /// In words.
        trouble: Option<String>,
    },
    /// The other side has it.
    Confirmed {
        /// Since when.
        at: EventTime,
    },
    /// Given up.
    Dead {
        /// When.
        at: EventTime,
        /// Why, in words.
        trouble: String,
    },
}

const DELIVERY: &str = "d.no, n.at, n.recipient, n.why, d.channel, d.tries, d.state, d.settled_at, d.trouble";

impl View {
    /// What tells this ledger from every other.
    pub fn identity(&self) -> Result<String, LedgerFault> {
        self.read("read the ledger's name", |db| {
            db.query_row("SELECT id FROM identity", [], |row| row.get(0))
        })
    }

    /// Number of the newest step of any alert, 0 while there is none.
    pub fn last_alert_step(&self) -> Result<u64, LedgerFault> {
        self.read("read the steps of alerts", |db| {
            db.prepare_cached("SELECT coalesce(max(no), 0) FROM alert_steps")?.query_row([], |row| row.get(0))
        })
    }

    /// Everything that planning looks at besides the time and the settings.
    pub fn planning_facts(&self) -> Result<Vec<PlanningFacts>, LedgerFault> {
        self.read("read what people know", |db| {
            let names = self.names(db)?;
            let mut told = told(db)?;
            let mut query = db.prepare_cached(
                "SELECT no, system, kind, severity, stage, calls, under IS NOT NULL FROM alerts
                 WHERE closed_at IS NULL OR no IN (SELECT alert FROM told WHERE over = 0) ORDER BY no",
            )?;
            let facts = query.query_map([], |row| {
                let no = AlertNo(row.get(0)?);
                Ok(PlanningFacts {
                    no,
                    system: names.system(row.get(1)?)?,
                    kind: FindingKind::named(row.get_ref(2)?.as_str()?).ok_or_else(|| unexpected(2))?,
                    severity: Severity::named(row.get_ref(3)?.as_str()?).ok_or_else(|| unexpected(3))?,
                    stage: from_json(4, row.get_ref(4)?.as_str()?)?,
                    calls: row.get(5)?,
                    folded: row.get(6)?,
                    told: told.remove(&no).unwrap_or_default(),
                })
            })?;
            facts.collect()
        })
    }

    /// What everybody was told lately, as seen at `now`.
    pub fn recent_notices(&self, now: EventTime) -> Result<BTreeMap<String, Recent>, LedgerFault> {
        self.read("read the latest messages", |db| {
            let mut recent: BTreeMap<String, Recent> = BTreeMap::new();
            let mut query = db.prepare_cached(
                "SELECT recipient, count(*) FROM notices WHERE at > ?1 AND why <> 'digest' GROUP BY recipient",
            )?;
            let mut rows = query.query([(now - Span::HOUR).millis()])?;
            while let Some(row) = rows.next()? {
                recent.entry(row.get(0)?).or_default().within_the_hour = row.get(1)?;
            }
            let mut query = db
                .prepare_cached("SELECT recipient, max(at) FROM notices WHERE why = 'digest' GROUP BY recipient")?;
            let mut rows = query.query([])?;
            while let Some(row) = rows.next()? {
                recent.entry(row.get(0)?).or_default().digest = Some(EventTime::from_millis(row.get(1)?));
            }
            Ok(recent)
        })
    }

    /// Messages of one channel whose time has come at `now`, oldest first, at most `limit`.
    pub fn deliveries_due(
        &self,
        channel: &str,
        now: EventTime,
        limit: usize,
    ) -> Result<Vec<WaitingDelivery>, LedgerFault> {
        self.read("read what has to be sent", |db| {
            let mut query = db.prepare_cached(
                "SELECT d.no, n.recipient, d.channel, n.at, d.tries, n.body
                 FROM deliveries d INDEXED BY deliveries_waiting JOIN notices n ON n.no = d.notice
                 WHERE d.state = 'waiting' AND d.next_at <= ?1 AND d.channel = ?2 ORDER BY d.no LIMIT ?3",
            )?;
            let due = query.query_map(params![now.millis(), channel, limit], |row| {
                Ok(WaitingDelivery {
                    no: row.get(0)?,
                    recipient: row.get(1)?,
                    channel: row.get(2)?,
                    at: EventTime::from_millis(row.get(3)?),
                    tries: row.get(4)?,
                    body: row.get(5)?,
                })
            })?;
            due.collect()
        })
    }

    /// Channels for which messages wait.
    pub fn channels_waited_for(&self) -> Result<Vec<String>, LedgerFault> {
        self.read("read what has to be sent", |db| {
            let mut query =
                db.prepare_cached("SELECT DISTINCT channel FROM deliveries WHERE state = 'waiting'")?;
            query.query_map([], |row| row.get(0))?.collect()
        })
    }

    /// Messages that are given up or meet with trouble, newest first, at most `limit`.
    pub fn deliveries_in_trouble(&self, limit: usize) -> Result<Vec<StoredDelivery>, LedgerFault> {
        self.read("read what could not be sent", |db| {
            let mut query = db.prepare_cached(&format!(
                "SELECT {DELIVERY} FROM deliveries d JOIN notices n ON n.no = d.notice
                 WHERE d.state = 'dead' OR (d.state = 'waiting' AND d.trouble IS NOT NULL) ORDER BY d.no DESC LIMIT ?1"
            ))?;
            query.query_map([limit], delivery)?.collect()
        })
    }
}

/// Everything that was sent about one alert, oldest first.
pub(super) fn deliveries_of(db: &Connection, alert: AlertNo) -> rusqlite::Result<Vec<StoredDelivery>> {
    let mut query = db.prepare_cached(&format!(
        "SELECT {DELIVERY} FROM notice_alerts a JOIN notices n ON n.no = a.notice
         JOIN deliveries d ON d.notice = n.no WHERE a.alert = ?1 ORDER BY d.no"
    ))?;
    query.query_map([alert.0], delivery)?.collect()
}

fn delivery(row: &Row<'_>) -> rusqlite::Result<StoredDelivery> {
    let settled_at = row.get::<_, Option<i64>>(7)?.map(EventTime::from_millis);
    let trouble: Option<String> = row.get(8)?;
    let state = match (row.get_ref(6)?.as_str()?, settled_at) {
        ("waiting", _) => DeliveryState::Waiting { trouble },
        ("confirmed", Some(at)) => DeliveryState::Confirmed { at },
        ("dead", Some(at)) => DeliveryState::Dead { at, trouble: trouble.unwrap_or_default() },
        _ => return Err(unexpected(6)),
    };
    Ok(StoredDelivery {
        no: row.get(0)?,
        at: EventTime::from_millis(row.get(1)?),
        recipient: row.get(2)?,
        why: Why::named(row.get_ref(3)?.as_str()?).ok_or_else(|| unexpected(3))?,
        channel: row.get(4)?,
        tries: row.get(5)?,
        state,
    })
}

fn told(db: &Connection) -> rusqlite::Result<BTreeMap<AlertNo, BTreeMap<String, Told>>> {
    let mut all: BTreeMap<AlertNo, BTreeMap<String, Told>> = BTreeMap::new();
    let mut query = db.prepare_cached(
        "SELECT alert, recipient, first_at, last_at, calls, at_once, over FROM told
         WHERE over = 0 OR alert IN (SELECT no FROM alerts WHERE closed_at IS NULL)",
    )?;
    let mut rows = query.query([])?;
    while let Some(row) = rows.next()? {
        let told = Told {
            first_at: EventTime::from_millis(row.get(2)?),
            last_at: EventTime::from_millis(row.get(3)?),
            calls: row.get(4)?,
            at_once: row.get(5)?,
            over: row.get(6)?,
        };
        all.entry(AlertNo(row.get(0)?)).or_default().insert(row.get(1)?, told);
    }
    Ok(all)
}
