//! What a timeline needs.

use std::collections::BTreeSet;

use crate::desk::gather::{self, TimelineRecord};
use crate::desk::sheet::Stretch;
use crate::ledger::{Bin, LedgerFault, Resolution, View};
use crate::model::{BasinIx, EventTime, Id, Place, Quantity, SensorIx, Span, System, Value};

/// Water that stands longer than this began before what is looked through for its beginning.
const STANDING: Span = Span::from_days(14);
/// Findings that one timeline shows at most.
const FINDINGS: usize = 300;

/// The record of `basins` over `stretch`, as known at `now`.
pub(in crate::desk) fn timeline(
    view: &View,
    system: &System,
    basins: Vec<BasinIx>,
    stretch: &Stretch,
    now: EventTime,
) -> Result<TimelineRecord, LedgerFault> {
    let probes: Vec<Option<SensorIx>> =
        basins.iter().map(|ix| system.find_sensor(Place::Basin(*ix), Quantity::Moisture)).collect();
    let course = |sensor, from, resolution| {
        view.history(&system.id, &system.sensor_name(sensor), from, stretch.to, resolution)
    };
    let mut resolution = stretch.resolution();
    let moisture = loop {
        let bins = |probe: &Option<SensorIx>| {
            probe.map_or(Ok(Vec::new()), |sensor| course(sensor, stretch.from, resolution))
        };
        let moisture: Vec<Vec<Bin>> = probes.iter().map(bins).collect::<Result<_, _>>()?;
        // Single readings and hours are deleted after some time; what they were rolled up into is not.
        match coarser(resolution).filter(|_| moisture.iter().all(Vec::is_empty)) {
            Some(next) if probes.iter().any(Option::is_some) => resolution = next,
            Some(_) | None => break moisture,
        }
    };
    let bin_width = width(resolution);
    let before = bin_width.max(Span::from_hours(2));
    let counter = |quantity| {
        let sensor = system.find_sensor(Place::System, quantity);
        sensor.map(|sensor| course(sensor, stretch.from - before, resolution)).transpose()
    };
    let mut findings = view.findings_within(&system.id, stretch.from, stretch.to, FINDINGS)?;
    let looked_at: BTreeSet<BasinIx> = basins.iter().copied().collect();
    findings.retain(|stored| !gather::below(system, &stored.finding.subject).is_disjoint(&looked_at));
    Ok(TimelineRecord {
        now,
        bin_width,
        moisture,
        doses: view.doses(&system.id, stretch.from, stretch.to)?,
        soaks: view.soaks(&system.id, stretch.from - STANDING, stretch.to)?,
        standing: standing(view, system, &basins, now)?,
        meter: counter(Quantity::Meter)?.unwrap_or_default(),
        rain: counter(Quantity::Rain)?,
        findings,
        basins,
    })
}

fn coarser(resolution: Resolution) -> Option<Resolution> {
    match resolution {
        Resolution::Raw => Some(Resolution::Hour),
        Resolution::Hour => Some(Resolution::Day),
        Resolution::Day => None,
    }
}

fn width(resolution: Resolution) -> Span {
    match resolution {
        Resolution::Raw => Span::ZERO,
        Resolution::Hour => Span::HOUR,
        Resolution::Day => Span::DAY,
    }
}

/// Basins whose float is up, and since when.
fn standing(
    view: &View,
    system: &System,
    basins: &[BasinIx],
    now: EventTime,
) -> Result<Vec<(BasinIx, EventTime)>, LedgerFault> {
    let wet = |value| Value::from_number(Quantity::Float, value) == Value::Wet(true);
    let latest = view.latest(Some(&system.id))?;
    let mut standing = Vec::new();
    for &basin in basins {
        let Some(sensor) = system.find_sensor(Place::Basin(basin), Quantity::Float) else { continue };
        let name = system.sensor_name(sensor);
        if latest.iter().any(|reading| *reading.sensor == *name && wet(reading.value)) {
            let began = wet_since(view, &system.id, &name, now, wet)?;
            standing.extend(began.map(|began| (basin, began)));
        }
    }
    Ok(standing)
}

/// When the float, which is up, rose.
fn wet_since(
    view: &View,
    system: &Id,
    sensor: &str,
    now: EventTime,
    wet: impl Fn(f64) -> bool,
) -> Result<Option<EventTime>, LedgerFault> {
    let readings = view.history(system, sensor, now - STANDING, EventTime::MAX, Resolution::Raw)?;
    Ok(readings.iter().rev().take_while(|reading| wet(reading.max)).last().map(|reading| reading.at))
}
