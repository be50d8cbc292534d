//! Visits as a calendar.

use super::ical::{Calendar, Event};
use super::rows::{VisitRow, material_words};
use crate::desk::units::Units;
use crate::model::{EventTime, Span};

/// The evening before a visit that begins in the morning.
const REMIND: Span = Span::from_hours(15);

/// The visits as a calendar; `pages` is the address of the pages, `identity` tells installations apart.
pub(super) fn calendar(rows: &[VisitRow], (made, pages, identity): (EventTime, &str, &str)) -> String {
    let mut calendar = Calendar::new("Basinward visits");
    for row in rows {
        calendar.add(&Event {
            uid: &format!("visit-{}@{identity}", row.visit.no),
            sequence: row.visit.moved,
            stamp: made,
            begins: row.begins,
            lasts: Span::from_mins(i64::from(row.visit.minutes.max(5))),
            summary: &format!("Greywater visit: {}", row.property),
            description: &description(row),
            location: &row.property,
            url: &format!("{pages}/visits"),
            remind: REMIND,
        });
    }
    calendar.finish()
}

fn description(row: &VisitRow) -> String {
    let mut lines: Vec<String> =
        row.tasks.iter().map(|task| format!("- {} ({})", task.title, task.system.1)).collect();
    lines.insert(0, row.why.clone());
    lines.push(format!("Skipping it: {}", row.risk));
    if !row.materials.is_empty() {
        let materials: Vec<_> = row.materials.iter().map(|it| material_words(it, Units::Metric)).collect();
        lines.push(format!("Bring: {}.", materials.join("; ")));
    }
    lines.push(format!("Tools: {}.", row.tools.join(", ")));
    lines.join("\n")
}
