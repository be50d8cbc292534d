//! Systems for the tests of this module.

use super::gather::{self, Lately};
use super::sheet::{PlanSheet, Urgency};
use super::upkeep::TaskRow;
use crate::ledger::{DoseRecord, StoredFinding};
use crate::model::{EventTime, Evidence, Finding, FindingKind, Severity, Subject, System};
use crate::systemfile;
use crate::upkeep::{Day, Task, TaskKey, TaskKind, Window};

/// The plan that the tests of pages and their bench use as well.
const TERRACE: &str = include_str!("../../tests/yards/terrace.toml");

fn parsed(file: &str, text: &str) -> System {
    systemfile::parse(file, text).unwrap_or_else(|faults| panic!("{faults:?}"))
}

/// Two levels of splitters over four basins, all placed on the plan, with every kind of sensor.
pub(super) fn terrace() -> System {
    terrace_called("terrace", "Terrace", "alder-court")
}

/// The same by another name.
pub(super) fn terrace_called(id: &str, name: &str, property: &str) -> System {
    let names = format!("id = \"{id}\"\nname = \"{name}\"\nproperty = \"{property}\"\n");
    parsed(&format!("{id}.toml"), &(names + TERRACE))
}

/// One basin and no splitter, not placed on a plan.
pub(super) fn single() -> System {
    parsed(
        "single.toml",
        r#"
        id = "single"
        name = "Single"
        timezone = "UTC"
        soil = "clay"
        [[basin]]
        id = "fig"
        area_m2 = 1.2
        float = {}
        "#,
    )
}

/// Two basins with nothing but a float each.
pub(super) fn floats() -> System {
    parsed(
        "floats.toml",
        r#"
        id = "floats"
        name = "Floats"
        timezone = "UTC"
        soil = "loam"
        [[splitter]]
        id = "s1"
        feeds = ["fig", "plum"]
        [[basin]]
        id = "fig"
        area_m2 = 1.2
        float = {}
        [[basin]]
        id = "plum"
        area_m2 = 1.2
        float = {}
        "#,
    )
}

/// The plan of a system of which nothing was heard.
pub(super) fn plan(system: &System) -> PlanSheet {
    let now = EventTime::from_secs(1_772_323_200);
    let lately = Lately { open: &[], over: &[], doses: &[], now };
    gather::plan(system, &[], &lately).expect("every part has a place")
}

/// A dose at `time`, with the shares of the basins in their order.
pub(super) fn dose(system: &System, time: &str, litres: Option<f64>, shares: &[f64]) -> DoseRecord {
    let ids = system.basins.iter().map(|basin| basin.id.clone());
    let shares = ids.zip(shares.iter().copied()).collect();
    DoseRecord { at: time.parse().expect("a time"), litres, shares, quality: 1.0 }
}

/// A flood in `basin`, raised at `at` and known ever since.
pub(super) fn flood(system: &System, basin: &str, at: EventTime) -> StoredFinding {
    let ix = system.find_basin(basin).expect("the system has the basin");
    StoredFinding {
        system: system.id.clone(),
        raised_at: at,
        changed_at: at,
        cleared_at: None,
        finding: Finding {
            kind: FindingKind::Flooding,
            subject: Subject::Basin(system.basin(ix).id.clone()),
            severity: Severity::Critical,
            probability: 0.97,
            estimate: serde_json::Map::from_iter([("standing_h".to_owned(), 9.5.into())]),
            evidence: vec![Evidence { at: Some(at), says: "The float has been up for 9.5 h.".into() }],
        },
    }
}

/// A task of `system` that is due at `at`.
pub(super) fn task(system: &System, kind: TaskKind, subject: Subject, at: EventTime) -> Task {
    Task {
        key: TaskKey { system: system.id.clone(), kind, subject },
        property: system.property.clone(),
        window: Window { earliest: at, due: at, latest: at },
        urgency: Severity::Info,
        mends: false,
        reason: String::new(),
        materials: Vec::new(),
        minutes: 15,
    }
}

/// A task at the first basin of the terrace, due on `day`.
pub(super) fn task_row(kind: TaskKind, day: Day) -> TaskRow {
    let system = terrace();
    let at = "2026-09-01T12:00:00Z".parse().expect("a time");
    let task = task(&system, kind, Subject::Basin(system.basins[0].id.clone()), at);
    TaskRow {
        system: (system.id.to_string(), system.name.clone()),
        property: "Alder Court".to_owned(),
        title: task.key.title(&system),
        urgency: Urgency::NextVisit,
        window: [day; 3],
        over: false,
        visit: None,
        task,
    }
}
