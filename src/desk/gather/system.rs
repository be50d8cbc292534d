//! One system's own page.

use std::f64::consts::PI;

use super::off_design::off_design;
use super::received::{of_basin, received as received_sheet};
use super::sensors::doubt;
use super::splitter::level_now;
use super::{Readings, TimelineRecord, card, timeline};
use crate::advice::{headline_past, sensor_title};
use crate::desk::sheet::{
    Awaited, BasinSheet, ComingRow, FloatSheet, PastSheet, PlanBasin, PlanSheet, PlanSplitter, SensorRow,
    Stretch, SystemSheet,
};
use crate::desk::units::Units;
use crate::desk::words;
use crate::intake::payload;
use crate::ledger::{DoseRecord, Latest, StoredFinding};
use crate::model::{EventTime, Node, Point, Quantity, SensorIx, Span, SplitterIx, System};
use crate::upkeep::{design, design_words};

/// What the ledger knows of one system.
#[derive(Clone, Debug)]
pub struct SystemRecord {
    /// Its open findings.
    pub open: Vec<StoredFinding>,
    /// Its findings, open or over, newest first.
    pub history: Vec<StoredFinding>,
    /// What is to be done there.
    pub coming: Vec<ComingRow>,
    /// What of it is due first, if that is soon.
    pub due: Option<ComingRow>,
    /// Its last readings.
    pub latest: Vec<Latest>,
    /// What happened in the stretch looked at.
    pub timeline: TimelineRecord,
    /// Doses since the beginning of last month or for 30 days, whichever is longer, in order.
    pub doses: Vec<DoseRecord>,
    /// The stretch looked at.
    pub stretch: Stretch,
}

impl SystemRecord {
    /// Doses of the last 30 days.
    pub(super) fn month(&self) -> &[DoseRecord] {
        let from = self.timeline.now - Span::from_days(30);
        &self.doses[self.doses.partition_point(|dose| dose.at < from)..]
    }
}

/// The page of `system`.
pub fn system(system: &System, record: &SystemRecord, units: Units) -> SystemSheet {
    let now = record.timeline.now;
    let page = format!("/systems/{}", system.id);
    let card = card(system, &record.open, &record.latest, now, units).with_due(record.due.clone());
    let lately = Lately { open: &record.open, over: &record.history, doses: record.month(), now };
    let retold = |row: &ComingRow| ComingRow { reason: units.retold(&row.reason), ..row.clone() };
    SystemSheet {
        property: words::title(system.property.as_str()),
        today: words::today(now, &system.zone),
        facts: facts(system),
        plan: plan(system, &card.basins, &lately),
        timeline: timeline(system, &record.timeline, &record.stretch, &page, units),
        sensors: sensors(system, &record.open, Readings::new(system, &record.latest, now), units),
        coming: record.coming.iter().map(retold).collect(),
        bring: Vec::new(),
        received: received_sheet(system, &record.doses, now),
        design: design_words(system, &design(system)).iter().map(|says| units.retold(says)).collect(),
        past: past(system, &record.history, now),
        awaited: None,
        muted: None,
        may_change: false,
        saved: None,
        card,
    }
}

/// Where and what the sensors are to publish that were not heard yet; none where all were.
pub fn awaited(
    system: &System,
    latest: &[Latest],
    (broker, prefix): (&str, &str),
    now: EventTime,
) -> Option<Awaited> {
    let readings = Readings::new(system, latest, now);
    let is_awaited = |ix: &SensorIx| system.sensor(*ix).declared && readings.of(*ix).is_none();
    let mut sends = Vec::new();
    let mut first = None;
    for ix in system.sensor_ixs().filter(is_awaited) {
        let sensor = system.sensor(ix);
        first.get_or_insert(ix);
        let told = (words::capitalised(device(sensor.quantity)), payload(sensor));
        if !sends.contains(&told) {
            sends.push(told);
        }
    }
    Some(Awaited { broker: broker.to_owned(), topic: system.topic(first?, prefix), sends })
}

const fn device(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Float => "float",
        Quantity::Overflow => "overflow float",
        Quantity::Moisture => "moisture probe",
        Quantity::Temperature => "temperature probe",
        Quantity::Battery => "battery",
        Quantity::Meter => "water meter",
        Quantity::Diverter => "diverter",
        Quantity::Rain => "rain gauge",
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

/// What a plan shows of late.
pub struct Lately<'a> {
    /// Open findings.
    pub open: &'a [StoredFinding],
    /// Findings that were over within a month, among others.
    pub over: &'a [StoredFinding],
    /// Doses of a month.
    pub doses: &'a [DoseRecord],
    /// The present.
    pub now: EventTime,
}

/// The site plan, if every splitter and basin has a place on it.
pub fn plan(system: &System, basins: &[BasinSheet], lately: &Lately<'_>) -> Option<PlanSheet> {
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
        name: system.name.clone(),
        inlet: xy(place(system.tree().root())?),
        basins: basins.iter().map(|sheet| plan_basin(system, sheet, lately)).collect::<Option<_>>()?,
        splitters: (0..system.splitters.len() as u16)
            .map(SplitterIx)
            .map(|ix| {
                let splitter = system.splitter(ix);
                Some(PlanSplitter {
                    id: splitter.id.to_string(),
                    at: xy(splitter.at?),
                    trouble: troubled(splitter.id.as_str()),
                    level: level_now(system, ix, lately.open, lately.doses, lately.now),
                    sides: system.tree().feeds(ix).map(|node| match node {
                        Node::Basin(basin) => system.basin(basin).label().to_owned(),
                        Node::Splitter(other) => system.splitter(other).id.to_string(),
                    }),
                    page: format!("/systems/{}/splitters/{}", system.id, splitter.id),
                })
            })
            .collect::<Option<_>>()?,
        pipes,
        notes: off_design(system, lately),
    })
}

fn plan_basin(system: &System, sheet: &BasinSheet, lately: &Lately<'_>) -> Option<PlanBasin> {
    let ix = system.find_basin(&sheet.id)?;
    let basin = system.basin(ix);
    let at = basin.at?;
    Some(PlanBasin {
        id: sheet.id.clone(),
        label: sheet.label.clone(),
        at: (at.x_m, at.y_m),
        radius_m: (basin.area_m2 / PI).sqrt(),
        wet: [&sheet.float, &sheet.overflow].into_iter().flatten().any(FloatSheet::is_wet),
        soil: sheet.soil.as_ref().map(|soil| soil.content),
        received: of_basin(system, ix, lately.doses).share,
        design: system.tree().design_share(ix),
        page: format!("/systems/{}/basins/{}", system.id, basin.id),
        trouble: sheet.trouble.map(|(urgency, _)| urgency),
    })
}

/// Sensors that the file names or that were heard.
pub(super) fn sensors(
    system: &System,
    open: &[StoredFinding],
    readings: Readings<'_>,
    units: Units,
) -> Vec<SensorRow> {
    let row = |ix| {
        let name = system.sensor_name(ix);
        let sensor = system.sensor(ix);
        let last =
            readings.of(ix).map(|last| (units.value(sensor.quantity, last.value), readings.moment(last.at)));
        SensorRow {
            words: sensor_title(system, &name),
            page: format!("/systems/{}/sensors/{name}", system.id),
            doubt: doubt(open, &name, readings),
            name,
            last,
            declared: sensor.declared,
        }
    };
    system.sensor_ixs().map(row).filter(|row| row.declared || row.last.is_some()).collect()
}

pub(super) fn past(system: &System, history: &[StoredFinding], now: EventTime) -> Vec<PastSheet> {
    let moment = |at| words::moment(at, now, &system.zone);
    let sheet = |stored: &StoredFinding| {
        let cleared = stored.cleared_at?;
        Some(PastSheet {
            kind: stored.finding.kind,
            headline: headline_past(&stored.finding, system),
            raised: moment(stored.raised_at),
            cleared: moment(cleared),
            lasted: words::span(cleared - stored.raised_at),
        })
    };
    history.iter().filter_map(sheet).collect()
}
