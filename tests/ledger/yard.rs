//! Small systems to write about, and shorthand for what happens in them.

use basinward::engine::{Change, Effect, FindingChange, Input};
use basinward::ledger::{Batch, SystemNo};
use basinward::model::{
    Basin, BasinIx, Chip, EventTime, Finding, FindingKind, Id, Mulch, Place, Quantity, Reading, Sensor,
    SensorIx, Severity, Soil, Source, Span, Subject, System, SystemParts, Tree, Value, Wired,
};
use jiff::tz::TimeZone;

/// 2026-03-01T00:00:00Z.
pub(crate) const START: EventTime = EventTime::from_secs(1_772_323_200);

pub(crate) fn id(text: &str) -> Id {
    Id::new(text).expect("ids in tests are plain")
}

pub(crate) fn minute(minutes: i64) -> EventTime {
    START + Span::from_mins(minutes)
}

/// A system of one basin for each name, fed through no splitter unless there are two; a float and a
/// moisture probe in each basin.
pub(crate) fn system(name: &str, basins: &[&str]) -> System {
    let ids: Vec<Id> = basins.iter().map(|basin| id(basin)).collect();
    let splitters: Vec<(Id, [Id; 2], [f64; 2])> = match &ids[..] {
        [_] => vec![],
        [a, b] => vec![(id("s1"), [a.clone(), b.clone()], [0.5, 0.5])],
        _ => panic!("one basin or two"),
    };
    let tree = Tree::build(&splitters, &ids).expect("two leaves make a tree");
    let sensor = |basin, quantity| Sensor {
        place: Place::Basin(BasinIx(basin)),
        quantity,
        wiring: Wired::default(),
        declared: true,
    };
    let sensors = (0..ids.len() as u16)
        .flat_map(|basin| [sensor(basin, Quantity::Float), sensor(basin, Quantity::Moisture)])
        .collect();
    let parts = SystemParts {
        id: id(name),
        name: name.to_owned(),
        property: id("alder-court"),
        zone: TimeZone::UTC,
        location: None,
        soil: Soil::Loam,
        commissioned: None,
        source: Source { people: 2, fixtures: vec![], litres_per_count: None, meter_after_diverter: false },
        diverter: false,
        rain_mm_per_count: None,
        splitters: splitters
            .iter()
            .map(|(id, _, split)| basinward::model::Splitter { id: id.clone(), split: *split, at: None })
            .collect(),
        basins: ids.into_iter().map(basin).collect(),
        sensors,
    };
    System::new(parts, tree)
}

fn basin(id: Id) -> Basin {
    Basin {
        id,
        plant: None,
        area_m2: 1.2,
        depth_mm: 300.0,
        mulch: Mulch { depth_mm: 200.0, chip: Chip::Coarse, placed: None },
        air_gap_mm: 150.0,
        at: None,
        float_height_mm: Some(120.0),
        overflow_height_mm: None,
        moisture_depth_mm: Some(250.0),
        flood_hold: None,
    }
}

/// The moisture probe of the first basin.
pub(crate) const PROBE: SensorIx = SensorIx(1);

pub(crate) fn reading(sensor: SensorIx, at: EventTime, value: f64) -> Input {
    Input::Reading(Reading { sensor, at, value: Value::Number(value) })
}

/// Takes in a reading on its own message, as it is measured.
pub(crate) fn take(batch: &mut Batch, system: SystemNo, sensor: SensorIx, at: EventTime, value: f64) {
    batch.count_message(at);
    batch.take_in(system, at, reading(sensor, at, value));
}

pub(crate) fn flooding(change: Change, basin: &str, at: EventTime, probability: f64) -> Effect {
    let finding = Finding {
        kind: FindingKind::Flooding,
        subject: Subject::Basin(id(basin)),
        severity: Severity::Critical,
        probability,
        estimate: serde_json::Map::new(),
        evidence: vec![],
    };
    Effect::Finding(FindingChange { change, at, finding })
}
