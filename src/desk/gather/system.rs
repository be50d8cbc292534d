//! One system's own page.

use std::f64::consts::PI;

use super::{Readings, card};
use crate::advice::{headline, sensor_words};
use crate::desk::sheet::{
    BasinSheet, PastSheet, PlanBasin, PlanSheet, PlanSplitter, SensorRow, Spark, SparkBin, SystemSheet,
};
use crate::desk::words;
use crate::ledger::{Bin, Latest, StoredFinding};
use crate::model::{BasinIx, EventTime, Node, Point, Span, SplitterIx, System};

/// What the ledger knows of one system.
#[derive(Clone, Debug, Default)]
pub struct SystemRecord {
    /// Its open findings.
    pub open: Vec<StoredFinding>,
    /// Its findings, open or over, newest first.
    pub history: Vec<StoredFinding>,
    /// Its last readings.
    pub latest: Vec<Latest>,
    /// Hours of moisture since `week_began`, by basin in the file's order.
    pub moisture: Vec<Vec<Bin>>,
    /// When the week shown began.
    pub week_began: EventTime,
}

/// The page of `system`.
pub fn system(system: &System, record: &SystemRecord, now: EventTime) -> SystemSheet {
    let card = card(system, &record.open, &record.latest, now);
    SystemSheet {
        property: words::title(system.property.as_str()),
        facts: facts(system),
        plan: plan(system, &card.basins),
        sparks: card.basins.iter().map(|basin| spark(system, record, basin)).collect(),
        sensors: sensors(system, Readings::new(system, &record.latest, now)),
        past: past(system, &record.history, now),
        card,
    }
}

fn facts(system: &System) -> Vec<(&'static str, String)> {
    let mut facts = vec![
        ("Soil", system.soil.name().replace('-', " ")),
        (
            "Household",
            match system.source.people {
                1 => "one person".to_owned(),
                people => format!("{} people", words::count(usize::from(people))),
            },
        ),
    ];
    if !system.source.fixtures.is_empty() {
        facts.push(("Fixtures", system.source.fixtures.join(", ")));
    }
    if let Some(date) = system.commissioned {
        facts.push(("In service since", date.strftime("%-d %B %Y").to_string()));
    }
    if let Some(zone) = system.zone.iana_name() {
        facts.push(("Time zone", zone.replace('_', " ")));
    }
    facts
}

/// The site plan, if every splitter and basin has a place on it.
pub fn plan(system: &System, basins: &[BasinSheet]) -> Option<PlanSheet> {
    let xy = |point: Point| (point.x_m, point.y_m);
    let place = |node: Node| match node {
        Node::Basin(basin) => system.basin(basin).at,
        Node::Splitter(splitter) => system.splitter(splitter).at,
    };
    let splitters = (0..system.splitters.len() as u16).map(SplitterIx);
    let mut pipes = Vec::new();
    for splitter in splitters {
        for fed in system.tree().feeds(splitter) {
            pipes.push([xy(place(Node::Splitter(splitter))?), xy(place(fed)?)]);
        }
    }
    let troubled = |id: &str| {
        basins.iter().flat_map(|row| &row.pipes.splitters).any(|mark| mark.trouble && mark.id == id)
    };
    Some(PlanSheet {
        inlet: xy(place(system.tree().root())?),
        basins: basins.iter().map(|sheet| plan_basin(system, sheet)).collect::<Option<_>>()?,
        splitters: system
            .splitters
            .iter()
            .map(|s| {
                Some(PlanSplitter { id: s.id.to_string(), at: xy(s.at?), trouble: troubled(s.id.as_str()) })
            })
            .collect::<Option<_>>()?,
        pipes,
    })
}

fn plan_basin(system: &System, sheet: &BasinSheet) -> Option<PlanBasin> {
    let basin = system.basin(system.find_basin(&sheet.id)?);
    let at = basin.at?;
    Some(PlanBasin {
        id: sheet.id.clone(),
        label: sheet.label.clone(),
        at: (at.x_m, at.y_m),
        radius_m: (basin.area_m2 / PI).sqrt(),
        wet: sheet.water_level.is_some(),
        trouble: sheet.trouble.map(|(urgency, _)| urgency),
    })
}

fn spark(system: &System, record: &SystemRecord, sheet: &BasinSheet) -> Option<Spark> {
    let BasinIx(at) = system.find_basin(&sheet.id)?;
    let bins = record.moisture.get(usize::from(at)).filter(|bins| !bins.is_empty())?;
    let soil = system.soil.properties();
    let low = bins.iter().map(|bin| bin.min).fold(f64::INFINITY, f64::min);
    let high = bins.iter().map(|bin| bin.max).fold(0.0, f64::max);
    let hour = |at: EventTime| (at - record.week_began).millis().div_euclid(Span::HOUR.millis());
    Some(Spark {
        low,
        high,
        field_capacity: soil.field_capacity,
        top: soil.porosity.max(high),
        bins: bins
            .iter()
            .filter_map(|bin| {
                let hour = u16::try_from(hour(bin.at)).ok()?;
                Some(SparkBin { hour, min: bin.min, mean: bin.mean, max: bin.max })
            })
            .collect(),
    })
}

/// Sensors that the file names or that were heard.
fn sensors(system: &System, readings: Readings<'_>) -> Vec<SensorRow> {
    let row = |ix| {
        let name = system.sensor_name(ix);
        let sensor = system.sensor(ix);
        let last =
            readings.of(ix).map(|last| (words::value(sensor.quantity, last.value), readings.moment(last.at)));
        SensorRow {
            words: words::capitalised(sensor_words(system, &name).trim_start_matches("the ")),
            name,
            last,
            declared: sensor.declared,
        }
    };
    system.sensor_ixs().map(row).filter(|row| row.declared || row.last.is_some()).collect()
}

fn past(system: &System, history: &[StoredFinding], now: EventTime) -> Vec<PastSheet> {
    let moment = |at| words::moment(at, now, &system.zone);
    let sheet = |stored: &StoredFinding| {
        let cleared = stored.cleared_at?;
        Some(PastSheet {
            kind: stored.finding.kind,
            headline: headline(&stored.finding, system),
            raised: moment(stored.raised_at),
            cleared: moment(cleared),
            lasted: words::span(cleared - stored.raised_at),
        })
    };
    history.iter().filter_map(sheet).collect()
}
