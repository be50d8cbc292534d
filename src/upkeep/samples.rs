//! A system and findings for the tests of this module.

use jiff::civil::Date;

use crate::model::{
    Basin, Chip, Finding, FindingKind, Id, Mulch, Severity, Soil, Source, Splitter, Subject, System,
    SystemParts, Tree,
};

pub(super) fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

/// One splitter over two basins, with a diverter and six people.
pub(super) fn yard() -> System {
    yard_since(None)
}

/// The same, with the first day of its service.
pub(super) fn yard_since(commissioned: Option<Date>) -> System {
    let basin = |name: &str| Basin {
        id: id(name),
        plant: None,
        area_m2: 1.2,
        depth_mm: 300.0,
        mulch: Mulch { depth_mm: 200.0, chip: Chip::Coarse, placed: None },
        air_gap_mm: 150.0,
        at: None,
        float_height_mm: Some(120.0),
        overflow_height_mm: None,
        moisture_depth_mm: None,
        flood_hold: None,
    };
    let splits = [(id("s1"), [id("quince"), id("fig")], [0.5, 0.5])];
    let tree = Tree::build(&splits, &[id("quince"), id("fig")]).unwrap();
    let parts = SystemParts {
        id: id("yard"),
        name: "Yard".to_owned(),
        property: id("alder-court"),
        zone: jiff::tz::TimeZone::get("America/Denver").unwrap(),
        location: None,
        soil: Soil::SandyLoam,
        commissioned,
        source: Source {
            people: 6,
            fixtures: Vec::new(),
            litres_per_count: None,
            meter_after_diverter: false,
        },
        diverter: true,
        rain_mm_per_count: None,
        splitters: vec![Splitter { id: id("s1"), split: [0.5, 0.5], at: None }],
        basins: vec![basin("quince"), basin("fig")],
        sensors: Vec::new(),
    };
    System::new(parts, tree)
}

pub(super) fn finding(kind: FindingKind, subject: Subject) -> Finding {
    let severity = if kind == FindingKind::Flooding { Severity::Critical } else { Severity::Warning };
    Finding {
        kind,
        subject,
        severity,
        probability: 0.97,
        estimate: serde_json::Map::new(),
        evidence: Vec::new(),
    }
}
