//! A small orchard for the tests of this module.

use jiff::tz::TimeZone;

use crate::model::{
    Basin, Chip, Finding, FindingKind, Id, Mulch, Severity, Soil, Source, Splitter, Subject, System,
    SystemParts, Tree,
};

fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

pub(crate) fn basin(name: &str) -> Subject {
    Subject::Basin(id(name))
}

pub(crate) fn finding(kind: FindingKind, subject: Subject) -> Finding {
    Finding {
        kind,
        subject,
        severity: Severity::Warning,
        probability: 0.9,
        estimate: serde_json::Map::new(),
        evidence: Vec::new(),
    }
}

/// One splitter over `quince` (a quince tree) and `fig` (no plant named).
pub(crate) fn orchard() -> System {
    orchard_with(false)
}

/// The same, with a diverter or without.
pub(crate) fn orchard_with(diverter: bool) -> System {
    let dug = |name: &str, plant: Option<&str>| Basin {
        id: id(name),
        plant: plant.map(str::to_owned),
        area_m2: 1.0,
        depth_mm: 300.0,
        mulch: Mulch { depth_mm: 200.0, chip: Chip::Coarse, placed: None },
        air_gap_mm: 150.0,
        at: None,
        float_height_mm: Some(120.0),
        overflow_height_mm: None,
        moisture_depth_mm: None,
        flood_hold: None,
    };
    let split = [0.5, 0.5];
    let tree = Tree::build(&[(id("s1"), [id("quince"), id("fig")], split)], &[id("quince"), id("fig")]);
    System::new(
        SystemParts {
            id: id("orchard"),
            name: "Orchard".into(),
            property: id("farm"),
            zone: TimeZone::UTC,
            location: None,
            soil: Soil::Loam,
            commissioned: None,
            source: Source {
                people: 2,
                fixtures: Vec::new(),
                litres_per_count: None,
                meter_after_diverter: false,
            },
            diverter,
            rain_mm_per_count: None,
            splitters: vec![Splitter { id: id("s1"), split, at: None }],
            basins: vec![dug("quince", Some("quince tree")), dug("fig", None)],
            sensors: Vec::new(),
        },
        tree.unwrap(),
    )
}
