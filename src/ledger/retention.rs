//! What is kept for how long. Upkeep runs in small steps between commits, never for long.

use rusqlite::{Connection, OptionalExtension, Transaction, TransactionBehavior, params};

use crate::model::{EventTime, Span};

use super::rollup::{self, DAY, Grain, HOUR};
use super::{Ledger, LedgerFault, pack};

/// How long things are kept. Days without a limit: daily roll-ups, findings, doses, soak times.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RetentionPolicy {
    /// Days for which single readings are kept.
    pub raw_days: u32,
    /// Days for which hourly roll-ups are kept; never shorter than the readings.
    pub hour_days: u32,
    /// Days for which the journal waits for a reader outside that has fallen behind.
    pub journal_days: u32,
    /// Days for which messages about alerts that are over are kept.
    pub message_days: u32,
}

/// What one call of [`Ledger::retain`] did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Retained {
    /// Hours and days rolled up.
    pub rolled_up: u64,
    /// Readings packed.
    pub packed: u64,
    /// Readings and hours deleted.
    pub deleted: u64,
    /// Commits whose journal was deleted.
    pub trimmed: u64,
    /// Messages deleted.
    pub forgotten: u64,
    /// Whether there is more to do now.
    pub more: bool,
}

/// Steps that one call may take; one is about 10 µs of work.
const STEPS: usize = 2000;
/// Deleted rows that cost as much as a step.
const ROWS_A_STEP: usize = 20;
/// Packed readings that cost as much as a step, to take them out of their block.
const PACKED_A_STEP: usize = 10;
/// Time by which one sweep over all series moves on, so that a shortened policy is caught up with in pieces.
const SWEEP: Span = Span::from_days(31);
/// Commits whose journal one call may delete.
const JOURNAL_ROWS: usize = 64;
/// Messages that one call may delete.
const MESSAGES: usize = 64;

impl Default for RetentionPolicy {
    fn default() -> Self {
        Self { raw_days: 400, hour_days: 1830, journal_days: 30, message_days: 1830 }
    }
}

impl Ledger {
    /// Rolls up what is complete at `now`, packs what has settled and deletes what is past its time: one short
    /// transaction. Call it between commits, again at once while there is [`more`](Retained::more), else every minute or so.
    pub fn retain(&mut self, now: EventTime, policy: &RetentionPolicy) -> Result<Retained, LedgerFault> {
        let keep_journal_from = self.keep_journal_from();
        let held_from = self.held.values().copied().min();
        let mut packing = self.packing;
        let (retained, hours) =
            upkeep(&mut self.db, now, policy, (keep_journal_from, held_from), &mut packing)
                .map_err(LedgerFault::while_doing("roll up, pack and delete old readings", &self.path))?;
        self.packing = packing;
        // From now on a late reading has to mark these hours again.
        for (series, hour) in hours {
            self.marks.lift(series, hour);
        }
        Ok(retained)
    }

    /// The first commit whose inputs an engine would need after a restart.
    fn keep_journal_from(&self) -> u64 {
        if !self.replayed {
            return 0;
        }
        let needed = self.enrolment.iter().filter_map(|(_, system)| system.unsaved_from);
        needed.min().unwrap_or(self.seq + 1)
    }
}

fn upkeep(
    db: &mut Connection,
    now: EventTime,
    policy: &RetentionPolicy,
    journal_needed_from: (u64, Option<u64>),
    packing: &mut pack::Progress,
) -> rusqlite::Result<(Retained, Vec<(u32, i64)>)> {
    let tx = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let mut steps = STEPS;
    let mut retained = Retained::default();
    let [mut raw, mut hourly] = [Horizon::load(&tx, &HOUR)?, Horizon::load(&tx, &DAY)?];
    let hours = rollup::roll_up(&tx, &HOUR, &raw, packing.before, now, steps)?;
    rollup::mark_days(&tx, &hours)?;
    steps -= hours.len();
    let days = rollup::roll_up(&tx, &DAY, &hourly, packing.before, now, steps)?;
    steps -= days.len();
    retained.rolled_up = (hours.len() + days.len()) as u64;
    // Nothing is deleted or packed before everything is rolled up.
    if steps > 0 {
        let unpack = |series, cutoff| pack::drop_before(&tx, series, cutoff, hourly.gone_to(series));
        retained.deleted += raw.sweep(&tx, &HOUR, cutoff(now, policy.raw_days), unpack, &mut steps)?;
        // An hour whose readings are still there could be worked out again and counted twice.
        let gone = cutoff(now, policy.hour_days).min(raw.gone_to);
        retained.deleted += hourly.sweep(&tx, &DAY, gone, |_, _| Ok(0), &mut steps)?;
        retained.packed = pack::sweep(&tx, packing, now, |series| raw.gone_to(series), &mut steps)?;
    }
    let waited_since = now - Span::from_days(i64::from(policy.journal_days));
    retained.trimmed = trim_journal(&tx, journal_needed_from, waited_since)?;
    retained.forgotten = forget_messages(&tx, EventTime::from_millis(cutoff(now, policy.message_days)))?;
    retained.more =
        steps == 0 || retained.trimmed == JOURNAL_ROWS as u64 || retained.forgotten == MESSAGES as u64;
    tx.commit()?;
    Ok((retained, hours))
}

/// Beginning of the UTC day `days` before `now`, in milliseconds.
fn cutoff(now: EventTime, days: u32) -> i64 {
    let day = Span::DAY.millis();
    (now.millis().div_euclid(day) - i64::from(days)) * day
}

/// Up to when the source rows of a grain have been deleted: everything before `gone_to`, and for
/// series up to `swept` everything before `going_to`.
pub(super) struct Horizon {
    gone_to: i64,
    going_to: i64,
    swept: u32,
}

impl Horizon {
    fn load(db: &Connection, grain: &Grain) -> rusqlite::Result<Self> {
        let mut find = db.prepare_cached("SELECT gone_to, going_to, swept FROM horizons WHERE grain = ?1")?;
        let found = find
            .query_row([grain.name], |row| {
                Ok(Self { gone_to: row.get(0)?, going_to: row.get(1)?, swept: row.get(2)? })
            })
            .optional()?;
        Ok(found.unwrap_or(Self { gone_to: i64::MIN, going_to: i64::MIN, swept: 0 }))
    }

    fn store(&self, db: &Connection, grain: &Grain) -> rusqlite::Result<()> {
        db.prepare_cached(
            "INSERT OR REPLACE INTO horizons (grain, gone_to, going_to, swept) VALUES (?1, ?2, ?3, ?4)",
        )?
        .execute(params![grain.name, self.gone_to, self.going_to, self.swept])?;
        Ok(())
    }

    /// The time before which the source rows of `series` are gone.
    pub(super) fn gone_to(&self, series: u32) -> i64 {
        if series <= self.swept { self.going_to } else { self.gone_to }
    }

    /// Goes on deleting rows before `cutoff`, series by series, until done or out of steps. First `unpack` takes what
    /// is packed of a series before a time, and says how many readings that was.
    fn sweep(
        &mut self,
        tx: &Transaction<'_>,
        grain: &Grain,
        cutoff: i64,
        unpack: impl Fn(u32, i64) -> rusqlite::Result<usize>,
        steps: &mut usize,
    ) -> rusqlite::Result<u64> {
        let mut deleted = 0;
        while *steps > 0 && self.aim(cutoff) {
            let next: Vec<u32> = tx
                .prepare_cached("SELECT no FROM series WHERE no > ?1 ORDER BY no LIMIT ?2")?
                .query_map(params![self.swept, *steps], |row| row.get(0))?
                .collect::<Result<_, _>>()?;
            let source = grain.source;
            let mut delete =
                tx.prepare_cached(&format!("DELETE FROM {source} WHERE series = ?1 AND at < ?2"))?;
            for series in &next {
                if *steps == 0 {
                    break;
                }
                let unpacked = unpack(*series, self.going_to)?;
                let rows = delete.execute(params![series, self.going_to])?;
                self.swept = *series;
                deleted += (unpacked + rows) as u64;
                *steps = steps.saturating_sub(1 + rows / ROWS_A_STEP + unpacked / PACKED_A_STEP);
            }
            // Every series costs a step, so with steps left over the list was complete.
            if *steps > 0 {
                (self.gone_to, self.swept) = (self.going_to, 0);
            }
        }
        self.store(tx, grain)?;
        Ok(deleted)
    }

    /// Sets the aim of the next sweep unless one is under way; false if there is nothing to do.
    fn aim(&mut self, cutoff: i64) -> bool {
        if self.going_to == self.gone_to {
            if cutoff <= self.gone_to {
                return false;
            }
            let first = self.gone_to == i64::MIN;
            self.going_to = if first { cutoff } else { cutoff.min(self.gone_to + SWEEP.millis()) };
        }
        true
    }
}

/// Deletes the oldest journal rows that neither an engine nor a reader outside needs; a reader is waited for no longer
/// than since `waited_since`, and so is a system that is held. The newest stays: it says which time the engines were
/// told last.
fn trim_journal(
    tx: &Transaction<'_>,
    (keep_from, held_from): (u64, Option<u64>),
    waited_since: EventTime,
) -> rusqlite::Result<u64> {
    let passed: Option<u64> = tx
        .prepare_cached("SELECT min(seq) FROM cursors WHERE stream = 'readings'")?
        .query_row([], |row| row.get(0))?;
    let mut trimmed = 0;
    let mut query = tx.prepare_cached(
        "SELECT seq, received FROM journal WHERE seq < (SELECT max(seq) FROM journal) ORDER BY seq LIMIT ?1",
    )?;
    let oldest: Vec<(u64, i64)> =
        query.query_map([JOURNAL_ROWS], |row| Ok((row.get(0)?, row.get(1)?)))?.collect::<Result<_, _>>()?;
    let mut delete = tx.prepare_cached("DELETE FROM journal WHERE seq = ?1")?;
    let mut forget = tx.prepare_cached("DELETE FROM cursors WHERE stream = 'readings' AND seq < ?1")?;
    for (seq, received) in oldest {
        let is_awaited =
            passed.is_some_and(|passed| passed < seq) || held_from.is_some_and(|held| held <= seq);
        let awaited = is_awaited && received >= waited_since.millis();
        if seq >= keep_from || awaited {
            break;
        }
        delete.execute([seq])?;
        trimmed += 1;
        // A reader that was waited for in vain is forgotten: it begins anew.
        forget.execute([seq])?;
    }
    Ok(trimmed)
}

/// Deletes the oldest messages from before `cutoff` that are settled and tell only of alerts that are over, and the
/// marks of links that are long worthless.
fn forget_messages(tx: &Transaction<'_>, cutoff: EventTime) -> rusqlite::Result<u64> {
    let mut query = tx.prepare_cached(
        "SELECT no FROM notices n WHERE at < ?1
         AND NOT EXISTS (SELECT 1 FROM deliveries d WHERE d.notice = n.no AND d.state = 'waiting')
         AND NOT EXISTS (SELECT 1 FROM notice_alerts a JOIN alerts ON alerts.no = a.alert
                         WHERE a.notice = n.no AND alerts.closed_at IS NULL)
         ORDER BY at LIMIT ?2",
    )?;
    let old: Vec<i64> =
        query.query_map(params![cutoff.millis(), MESSAGES], |row| row.get(0))?.collect::<Result<_, _>>()?;
    for notice in &old {
        tx.prepare_cached("DELETE FROM deliveries WHERE notice = ?1")?.execute([notice])?;
        tx.prepare_cached("DELETE FROM notice_alerts WHERE notice = ?1")?.execute([notice])?;
        tx.prepare_cached("DELETE FROM notices WHERE no = ?1")?.execute([notice])?;
    }
    tx.prepare_cached("DELETE FROM passes_used WHERE at < ?1")?.execute([cutoff.millis()])?;
    Ok(old.len() as u64)
}
