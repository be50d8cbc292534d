//! One transaction for everything that a batch brought.

use rusqlite::{Connection, Transaction, TransactionBehavior, params};

use crate::engine::Input;
use crate::model::{Command, EventTime, RecordKey, Span};

use super::alerts::Touched;
use super::arrivals::{self, Arrived};
use super::batch::{Batch, JournalEntry, Position, REFUSAL_SAMPLES, UNASSIGNED_TOPICS};
use super::enrol::Enrolment;
use super::pack::{self, unless_damaged};
use super::{
    Answer, Ledger, LedgerFault, Refused, ServiceOrder, TestOrder, alerts, effects, journal, orders,
};

/// What a commit did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Commit {
    /// Its number; one more than that of the commit before.
    pub seq: u64,
    /// Readings that were new.
    pub new_readings: u64,
    /// Readings that the ledger had already, by series and time.
    pub duplicates: u64,
    /// Number of the newest effect in the log, 0 while there is none.
    pub last_effect: u64,
    /// What came of each order, in their order.
    pub answers: Vec<Answer>,
}

/// The readings and inputs of a batch in the form in which they are written. Reused.
#[derive(Debug, Default)]
pub(super) struct Rows {
    /// By series and time, each once, so that neighbours go to the same page.
    readings: Vec<Row>,
    /// Readings before those at one time became one, and those of them that did not stay.
    sent: usize,
    merged: Vec<u32>,
    /// How they arrived, by series.
    arrived: Vec<Arrived>,
    /// Hours that these readings touch and that are not marked stale yet.
    hours: Vec<(u32, i64)>,
    journal: Vec<u8>,
    /// Readings before this may be in a block.
    packed_before: i64,
}

#[derive(Debug)]
struct Row {
    series: u32,
    at: i64,
    arrival: u32,
    value: f64,
}

/// The hour of each series that is marked stale already; spares a write for each reading.
#[derive(Debug, Default)]
pub(super) struct Marks {
    hours: Vec<i64>,
}

impl Ledger {
    /// Writes `batch` in one transaction. Afterwards it is on the disk.
    ///
    /// # Errors
    /// Nothing was written, and the same batch can be committed again: see [`LedgerFault::may_pass`].
    pub fn commit(&mut self, batch: &Batch) -> Result<Commit, LedgerFault> {
        let seq = self.seq + 1;
        self.rows.packed_before = self.packing.before;
        self.rows.fill(batch, &self.enrolment, &self.marks).map_err(|error| LedgerFault::Sqlite {
            doing: "write the journal",
            source: rusqlite::Error::ToSqlConversionFailure(error.into()),
        })?;
        let commit =
            write(&mut self.db, seq, batch, &self.rows, &self.enrolment, Touched::none(self.returns_within))
                .map_err(LedgerFault::while_doing("commit a batch", &self.path))?;
        // Memory follows the disk, so that a failed commit can be tried again.
        self.seq = seq;
        self.rows.hours.iter().for_each(|(series, hour)| self.marks.set(*series, *hour));
        self.owe_snapshots(batch, seq);
        Ok(commit)
    }

    /// What the engine of its system has to hear of `order`, as the ledger stands.
    ///
    /// # Errors
    /// The order cannot be carried out, or not just now.
    pub fn service_news(&self, order: &ServiceOrder) -> Result<Vec<Command>, Refused> {
        orders::service::news(&self.db, order).unwrap_or_else(|_| Err(unread()))
    }

    /// Whether `run`, in which water was caught for the test that `order` is about, is still to be told to its engine:
    /// a phone may send it again, days later.
    ///
    /// # Errors
    /// Not just now.
    pub fn is_new_run(&self, order: &TestOrder, run: &RecordKey) -> Result<bool, Refused> {
        orders::flowtest::is_new_run(&self.db, order, run).map_err(|_| unread())
    }

    fn owe_snapshots(&mut self, batch: &Batch, seq: u64) {
        for JournalEntry { system, .. } in &batch.inputs {
            if let Some(enrolled) = self.enrolment.get_mut(*system) {
                enrolled.unsaved_from.get_or_insert(seq);
            }
        }
        for (system, _) in &batch.snapshots {
            if let Some(enrolled) = self.enrolment.get_mut(*system) {
                enrolled.unsaved_from = None;
            }
        }
    }
}

fn unread() -> Refused {
    Refused("the ledger cannot be read just now: try again in a moment".to_owned())
}

impl Rows {
    fn fill(&mut self, batch: &Batch, enrolment: &Enrolment, marks: &Marks) -> Result<(), postcard::Error> {
        self.readings.clear();
        for (arrival, entry) in (0..).zip(&batch.inputs) {
            self.readings.extend(Row::of(entry, arrival, enrolment));
        }
        self.readings.sort_unstable_by_key(|row| (row.series, row.at, row.arrival));
        self.sent = self.readings.len();
        let told = self.readings.iter().map(|row| (row.series, row.at, row.arrival));
        Arrived::gather(told, batch, &mut self.arrived);
        let merged = &mut self.merged;
        merged.clear();
        self.readings.dedup_by(|row, kept| {
            let same = (row.series, row.at) == (kept.series, kept.at);
            merged.extend(same.then_some(row.series));
            same
        });
        self.hours.clear();
        for row in &self.readings {
            let touched = (row.series, hour_of(row.at));
            if self.hours.last() != Some(&touched) && !marks.has(touched.0, touched.1) {
                self.hours.push(touched);
            }
        }
        journal::encode(&batch.inputs, enrolment, &mut self.journal)
    }

    /// The newest reading of each series.
    fn newest(&self) -> impl Iterator<Item = &Row> {
        self.readings.chunk_by(|a, b| a.series == b.series).filter_map(|rows| rows.last())
    }
}

impl Row {
    fn of(entry: &JournalEntry, arrival: u32, enrolment: &Enrolment) -> Option<Self> {
        let Input::Reading(reading) = entry.input else { return None };
        let series = enrolment.get(entry.system)?.series(reading.sensor)?;
        let value = reading.value.to_number();
        // SQLite would take a NaN for "no value" and refuse the whole batch.
        value.is_finite().then_some(Self { series: series.0, at: reading.at.millis(), arrival, value })
    }
}

impl Marks {
    fn has(&self, series: u32, hour: i64) -> bool {
        self.hours.get(series as usize) == Some(&hour)
    }

    /// Forgets that `hour` is marked.
    pub(super) fn lift(&mut self, series: u32, hour: i64) {
        if self.has(series, hour) {
            self.set(series, i64::MIN);
        }
    }

    fn set(&mut self, series: u32, hour: i64) {
        let slot = series as usize;
        if self.hours.len() <= slot {
            self.hours.resize(slot + 1, i64::MIN);
        }
        self.hours[slot] = hour;
    }
}

/// The beginning of the hour of `at`, both in milliseconds.
fn hour_of(at: i64) -> i64 {
    let hour = Span::HOUR.millis();
    at.div_euclid(hour) * hour
}

fn write(
    db: &mut Connection,
    seq: u64,
    batch: &Batch,
    rows: &Rows,
    enrolment: &Enrolment,
    mut touched: Touched,
) -> rusqlite::Result<Commit> {
    let mut tx = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let repeated = readings(&tx, rows)?;
    let duplicates = repeated.len() as u64;
    let new_readings = rows.sent as u64 - duplicates;
    arrivals::write(&tx, batch, &rows.arrived, &repeated)?;
    inputs(&tx, seq, batch, rows)?;
    for (system, effect) in &batch.effects {
        effects::write(&tx, enrolment, *system, effect, &mut touched)?;
    }
    refusals(&tx, batch)?;
    unassigned(&tx, batch)?;
    for (name, position) in &batch.cursors {
        reach(&tx, name, *position)?;
    }
    let answers = orders::carry_out(&mut tx, &batch.orders, &mut touched)?;
    alerts::refold(&tx, enrolment, &touched)?;
    totals(&tx, seq, batch, new_readings, duplicates)?;
    let last_effect =
        tx.prepare_cached("SELECT coalesce(max(seq), 0) FROM effects")?.query_row([], |row| row.get(0))?;
    tx.commit()?;
    Ok(Commit { seq, new_readings, duplicates, last_effect, answers })
}

/// Writes the readings and all that follows from them; returns the series of each that was there already, in order.
fn readings(tx: &Transaction<'_>, rows: &Rows) -> rusqlite::Result<Vec<u32>> {
    let mut repeated = rows.merged.clone();
    let mut insert = tx.prepare_cached(
        "INSERT INTO readings (series, at, value) VALUES (?1, ?2, ?3) ON CONFLICT DO NOTHING",
    )?;
    let mut cache = pack::Cache::default();
    for row in &rows.readings {
        if row.at < rows.packed_before
            && unless_damaged(cache.value_at(tx, row.series, row.at))?.flatten().is_some()
        {
            repeated.push(row.series);
            continue;
        }
        if insert.execute(params![row.series, row.at, row.value])? == 0 {
            repeated.push(row.series);
        }
    }
    let mut latest = tx.prepare_cached(
        "INSERT INTO latest (series, at, value) VALUES (?1, ?2, ?3) ON CONFLICT (series) DO UPDATE
         SET at = excluded.at, value = excluded.value WHERE excluded.at > latest.at",
    )?;
    for row in rows.newest() {
        latest.execute(params![row.series, row.at, row.value])?;
    }
    let mut stale = tx.prepare_cached(
        "INSERT INTO stale (grain, at, series) VALUES ('hour', ?1, ?2) ON CONFLICT DO NOTHING",
    )?;
    for (series, hour) in &rows.hours {
        stale.execute(params![hour, series])?;
    }
    repeated.sort_unstable();
    Ok(repeated)
}

fn inputs(tx: &Transaction<'_>, seq: u64, batch: &Batch, rows: &Rows) -> rusqlite::Result<()> {
    if let (false, Some(last)) = (rows.journal.is_empty(), batch.inputs.last()) {
        tx.prepare_cached("INSERT INTO journal (seq, received, entries) VALUES (?1, ?2, ?3)")?
            .execute(params![seq, last.received.millis(), rows.journal])?;
    }
    let mut snapshot =
        tx.prepare_cached("INSERT OR REPLACE INTO snapshots (system, seq, state) VALUES (?1, ?2, ?3)")?;
    for (system, state) in &batch.snapshots {
        snapshot.execute(params![system.0, seq, state])?;
    }
    Ok(())
}

fn refusals(tx: &Transaction<'_>, batch: &Batch) -> rusqlite::Result<()> {
    if batch.refused.is_empty() {
        return Ok(());
    }
    let mut count = tx.prepare_cached(
        "INSERT INTO refusals (reason, count) VALUES (?1, ?2)
         ON CONFLICT (reason) DO UPDATE SET count = count + excluded.count",
    )?;
    for (reason, refused) in &batch.refused {
        count.execute(params![reason, refused])?;
    }
    let mut keep = tx.prepare_cached(
        "INSERT INTO refusal_samples (at, reason, topic, sample, detail) VALUES (?1, ?2, ?3, ?4, ?5)",
    )?;
    for it in &batch.refusal_samples {
        keep.execute(params![it.at.millis(), it.reason, it.topic, it.sample, it.detail])?;
    }
    tx.prepare_cached("DELETE FROM refusal_samples WHERE no <= (SELECT max(no) FROM refusal_samples) - ?1")?
        .execute([REFUSAL_SAMPLES])?;
    Ok(())
}

fn unassigned(tx: &Transaction<'_>, batch: &Batch) -> rusqlite::Result<()> {
    if batch.topics.is_empty() {
        return Ok(());
    }
    let mut keep = tx.prepare_cached(
        "INSERT INTO unassigned (topic, first_at, last_at, count, sample) VALUES (?1, ?2, ?3, ?4, ?5)
         ON CONFLICT (topic) DO UPDATE
         SET last_at = max(last_at, excluded.last_at), count = count + excluded.count, sample = excluded.sample",
    )?;
    for (topic, heard) in &batch.topics {
        let (first_at, last_at) = (heard.first_at.millis(), heard.last_at.millis());
        keep.execute(params![topic, first_at, last_at, heard.count, heard.sample])?;
    }
    tx.prepare_cached(
        "DELETE FROM unassigned WHERE topic IN
         (SELECT topic FROM unassigned ORDER BY last_at DESC, topic LIMIT -1 OFFSET ?1)",
    )?
    .execute([UNASSIGNED_TOPICS])?;
    Ok(())
}

/// Moves a reader's mark forward.
pub(super) fn reach(db: &Connection, cursor: &str, position: Position) -> rusqlite::Result<()> {
    let (stream, seq) = match position {
        Position::Readings(seq) => ("readings", seq),
        Position::Effects(seq) => ("effects", seq),
        Position::AlertSteps(no) => ("alert-steps", no),
    };
    db.prepare_cached(
        "INSERT INTO cursors (name, stream, seq) VALUES (?1, ?2, ?3)
         ON CONFLICT (name, stream) DO UPDATE SET seq = max(seq, excluded.seq)",
    )?
    .execute(params![cursor, stream, seq])?;
    Ok(())
}

fn totals(tx: &Transaction<'_>, seq: u64, batch: &Batch, new: u64, duplicates: u64) -> rusqlite::Result<()> {
    let mut add = tx.prepare_cached(
        "UPDATE totals SET seq = ?1, received = coalesce(max(received, ?2), received, ?2), messages = messages + ?3,
         readings = readings + ?4, duplicates = duplicates + ?5, unassigned = unassigned + ?6",
    )?;
    let received = batch.received().map(EventTime::millis);
    add.execute(params![seq, received, batch.messages(), new, duplicates, batch.unassigned])?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noisy_batch() -> Batch {
        let mut batch = Batch::default();
        for i in 0..400 {
            batch.hear_unassigned(&format!("greywater/t{i}"), &[b'x'; 250], EventTime::from_secs(i));
        }
        batch
    }

    #[test]
    fn a_batch_without_room_changes_nothing_and_can_be_committed_later() {
        let folder = tempfile::tempdir().unwrap();
        let mut ledger = Ledger::open(folder.path()).unwrap();
        let batch = noisy_batch();
        let pages = |ledger: &Ledger, most: u32| {
            // SQLite does not go below the size that the file has.
            ledger.db.query_row(&format!("PRAGMA max_page_count = {most}"), [], |_| Ok(())).unwrap();
        };
        pages(&ledger, 1);
        for _ in 0..3 {
            let fault = ledger.commit(&batch).unwrap_err();
            assert!(matches!(fault, LedgerFault::Full { .. }) && fault.may_pass(), "{fault:?}");
            assert_eq!(ledger.last_commit(), 0);
        }
        pages(&ledger, 1 << 20);
        assert_eq!(ledger.commit(&batch).unwrap().seq, 1);
        let heard: u64 =
            ledger.db.query_row("SELECT sum(count) FROM unassigned", [], |row| row.get(0)).unwrap();
        assert_eq!(heard, 400);
    }

    #[test]
    fn marks_lift_only_the_hour_that_they_hold() {
        let mut marks = Marks::default();
        marks.set(3, 7);
        marks.lift(3, 6);
        marks.lift(9, 7);
        assert!(marks.has(3, 7) && !marks.has(2, 7));
        marks.lift(3, 7);
        assert!(!marks.has(3, 7));
    }

    #[test]
    fn hours_before_1970_begin_before_their_readings() {
        assert_eq!((hour_of(-1), hour_of(0), hour_of(3_599_999)), (-3_600_000, 0, 0));
    }
}
