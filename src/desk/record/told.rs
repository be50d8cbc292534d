//! A record in words.

use crate::advice::place_title;
use crate::desk::sheet::{Moment, PastWork};
use crate::desk::units::Units;
use crate::desk::words;
use crate::ledger::StoredService;
use crate::model::{EventTime, LevelUnit, ServiceRecord, System, Work};

use super::form::obstruction_words;

/// One version of a record for people.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::desk) struct Told {
    /// Its key.
    pub(in crate::desk) key: String,
    /// Which version.
    pub(in crate::desk) version: u32,
    /// The system's id and name.
    pub(in crate::desk) system: (String, String),
    /// The part.
    pub(in crate::desk) place: String,
    /// When the work was finished.
    pub(in crate::desk) at: Moment,
    /// What was done, in one line.
    pub(in crate::desk) work: String,
    /// What was found and measured: name and value.
    pub(in crate::desk) found: Vec<(&'static str, String)>,
    /// Anything else.
    pub(in crate::desk) note: String,
    /// Who wrote this version.
    pub(in crate::desk) by: String,
    /// When.
    pub(in crate::desk) written: Moment,
    /// Why it replaced the one before.
    pub(in crate::desk) reason: String,
    /// It should not have been written.
    pub(in crate::desk) withdrawn: bool,
    /// Photographs.
    pub(in crate::desk) photos: u32,
}

/// `stored` in words, seen from `now`.
pub(in crate::desk) fn told(system: &System, stored: &StoredService, units: Units, now: EventTime) -> Told {
    let record = &stored.record;
    Told {
        key: stored.key.to_string(),
        version: stored.version,
        system: (system.id.to_string(), system.name.clone()),
        place: place_title(system, &record.subject),
        at: words::moment(record.at, now, &system.zone),
        work: work(&record.work),
        found: found(record, units),
        note: record.note.clone(),
        by: stored.by.clone(),
        written: words::moment(stored.written_at, now, &system.zone),
        reason: stored.reason.clone(),
        withdrawn: stored.withdrawn,
        photos: stored.photos,
    }
}

/// `stored` in one sentence.
pub(in crate::desk) fn in_short(
    system: &System,
    stored: &StoredService,
    units: Units,
    now: EventTime,
) -> PastWork {
    let told = told(system, stored, units, now);
    let found: Vec<_> =
        told.found.iter().map(|(name, value)| format!("{} {value}", name.to_lowercase())).collect();
    let parts = [found.join(", "), told.note].into_iter().filter(|part| !part.is_empty());
    let says = std::iter::once(told.work).chain(parts).collect::<Vec<_>>().join("; ");
    PastWork { page: format!("/services/{}", told.key), at: told.at, says, by: told.by }
}

/// `Outlet cleared, mulch renewed`
pub(super) fn work(work: &[Work]) -> String {
    if work.is_empty() {
        return "Looked at".to_owned();
    }
    words::capitalised(&work.iter().map(|work| work.words()).collect::<Vec<_>>().join(", "))
}

fn found(record: &ServiceRecord, units: Units) -> Vec<(&'static str, String)> {
    let mut found = Vec::new();
    let depths = [
        ("Air gap", record.air_gap_mm),
        ("Mulch found", record.mulch_found_mm),
        ("Mulch afterwards", record.mulch_left_mm),
    ];
    found.extend(depths.into_iter().filter_map(|(name, mm)| Some((name, units.depth(mm?)))));
    if let Some(obstruction) = &record.obstruction {
        let kind = words::capitalised(obstruction_words(obstruction.kind));
        let more =
            if obstruction.words.is_empty() { String::new() } else { format!(": {}", obstruction.words) };
        found.push(("Held the water back", kind + &more));
    }
    if let Some(level) = record.level {
        let reading = |value: f64| match level.unit {
            LevelUnit::Degrees => format!("{}{value:.1}°", if value > 0.0 { "+" } else { "" }),
            LevelUnit::BubbleMarks => format!("{}{value} marks", if value > 0.0 { "+" } else { "" }),
        };
        found.extend(level.found.map(|value| ("Level found", reading(value))));
        found.extend(level.left.map(|value| ("Level afterwards", reading(value))));
    }
    found
}
