//! Tasks and visits as tables for other programs.

use super::rows::{TaskRow, VisitRow, material_words};
use crate::desk::csv;
use crate::desk::units::Units;
use crate::model::EventTime;
use crate::upkeep::{Day, Material};

fn date(day: Day) -> String {
    day.date().to_string()
}

fn materials(all: &[Material]) -> String {
    all.iter()
        .map(|material| material_words(material, Units::Metric).replace('\u{a0}', " "))
        .collect::<Vec<_>>()
        .join("; ")
}

/// One line a task, most urgent first; days of the yard's calendar.
pub(super) fn tasks(rows: &[TaskRow]) -> String {
    const NAMES: [&str; 15] = [
        "property",
        "system",
        "task",
        "subject",
        "what",
        "urgency",
        "earliest",
        "due",
        "latest",
        "minutes",
        "materials",
        "tools",
        "reason",
        "visit",
        "visit day",
    ];
    let mut text = csv::line(&NAMES);
    for row in rows {
        let (task, [earliest, due, latest]) = (&row.task, row.window.map(date));
        text.push_str(&csv::line(&[
            task.property.to_string(),
            row.system.0.clone(),
            task.key.kind.to_string(),
            task.key.subject.key(),
            row.title.clone(),
            task.urgency.name().to_owned(),
            earliest,
            due,
            latest,
            task.minutes.to_string(),
            materials(&task.materials),
            task.key.kind.tools().join("; "),
            task.reason.clone(),
            row.visit.map_or_else(String::new, |(no, _)| no.to_string()),
            row.visit.map_or_else(String::new, |(_, day)| date(day)),
        ]));
    }
    text
}

/// One line a visit, by day. `begins` gives a time in the yard's zone.
pub(super) fn visits(rows: &[VisitRow], begins: impl Fn(&VisitRow, EventTime) -> String) -> String {
    const NAMES: [&str; 10] = [
        "visit",
        "property",
        "begins",
        "minutes",
        "tasks",
        "done after their due day",
        "materials",
        "tools",
        "why",
        "skipping it risks",
    ];
    let mut text = csv::line(&NAMES);
    for row in rows {
        text.push_str(&csv::line(&[
            row.visit.no.to_string(),
            row.visit.property.to_string(),
            begins(row, row.begins),
            row.visit.minutes.to_string(),
            row.tasks.iter().map(|task| task.title.clone()).collect::<Vec<_>>().join("; "),
            row.late.to_string(),
            materials(&row.materials),
            row.tools.join("; "),
            row.why.clone(),
            row.risk.clone(),
        ]));
    }
    text
}
