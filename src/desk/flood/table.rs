//! Floods as a table for other programs.

use std::sync::Arc;

use super::account::Flood;
use crate::desk::csv;
use crate::model::System;

/// One line a flood, newest first; times in the zone of its system with their offset.
pub(super) fn csv(floods: &[Flood], systems: &[Arc<System>]) -> String {
    const NAMES: [&str; 16] = [
        "system",
        "name",
        "property",
        "subject",
        "standing since",
        "found",
        "ended",
        "hours",
        "alert",
        "taken on",
        "taken on by",
        "closed",
        "closed by",
        "reason",
        "work",
        "work by",
    ];
    let mut text = csv::line(&NAMES);
    for flood in floods {
        let Some(system) = systems.iter().find(|system| system.id == flood.system) else { continue };
        let time = |at| csv::time(at, &system.zone);
        let (taken, closed) = (flood.taken.as_ref(), flood.closed.as_ref());
        let mut workers: Vec<&str> = flood.work.iter().map(|work| work.by.as_str()).collect();
        workers.dedup();
        let work: Vec<String> = flood
            .work
            .iter()
            .map(|it| format!("{}: {} {}", it.place, it.work.join(" "), it.note).trim_end().to_owned())
            .collect();
        text.push_str(&csv::line(&[
            flood.system.to_string(),
            flood.name.clone(),
            flood.property.to_string(),
            flood.subject.clone(),
            time(flood.began_at),
            time(flood.found_at),
            flood.ended_at.map_or_else(String::new, time),
            flood.hours.to_string(),
            flood.alert.map_or_else(String::new, |no| no.to_string()),
            taken.map_or_else(String::new, |it| time(it.at)),
            taken.map_or_else(String::new, |it| it.by.clone()),
            closed.map_or_else(String::new, |it| time(it.at)),
            closed.map_or_else(String::new, |it| it.by.clone()),
            closed.map_or_else(String::new, |it| it.reason.clone()),
            work.join("; "),
            workers.join(", "),
        ]));
    }
    text
}
