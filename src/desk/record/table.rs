//! Records as a table for other programs.

use crate::desk::csv;
use crate::ledger::StoredService;
use crate::model::System;

/// One line a record, newest work first; times in the zone of the record's system, metric units. `system` finds the
/// system of a record.
pub(super) fn csv<'s>(
    records: &[StoredService],
    system: impl Fn(&StoredService) -> Option<&'s System>,
) -> String {
    const NAMES: [&str; 19] = [
        "key",
        "version",
        "system",
        "subject",
        "finished",
        "work",
        "air gap found (mm)",
        "mulch found (mm)",
        "mulch afterwards (mm)",
        "obstruction",
        "obstruction in words",
        "level unit",
        "level found",
        "level left",
        "note",
        "photographs",
        "written by",
        "written",
        "withdrawn",
    ];
    let mut text = csv::line(&NAMES);
    for stored in records {
        let Some(system) = system(stored) else { continue };
        let record = &stored.record;
        let number = |value: Option<f64>| value.map_or_else(String::new, |value| format!("{value:.1}"));
        let (level, obstruction) = (record.level, record.obstruction.as_ref());
        let fields = [
            stored.key.to_string(),
            stored.version.to_string(),
            stored.system.to_string(),
            record.subject.key(),
            csv::time(record.at, &system.zone),
            record.work.iter().map(|work| work.name()).collect::<Vec<_>>().join(" "),
            number(record.air_gap_mm),
            number(record.mulch_found_mm),
            number(record.mulch_left_mm),
            obstruction.map_or_else(String::new, |found| found.kind.name().to_owned()),
            obstruction.map_or_else(String::new, |found| found.words.clone()),
            level.map_or_else(String::new, |level| level.unit.name().to_owned()),
            number(level.and_then(|level| level.found)),
            number(level.and_then(|level| level.left)),
            record.note.clone(),
            stored.photos.to_string(),
            stored.by.clone(),
            csv::time(stored.written_at, &system.zone),
            if stored.withdrawn { "yes" } else { "no" }.to_owned(),
        ];
        text.push_str(&csv::line(&fields));
    }
    text
}
