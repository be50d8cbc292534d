//! One system as the first page shows it.

use super::Readings;
use super::finding::{concerns_basin, findings, has_diverter, urgency};
use super::water::water;
use crate::advice::kind_words_now;
use crate::desk::sheet::{BasinSheet, FloatSheet, PipeRow, SystemCard, Urgency};
use crate::desk::units::Units;
use crate::ledger::{Latest, StoredFinding};
use crate::model::{Basin, BasinIx, EventTime, FindingKind, Quantity, Subject, System};

/// The card of `system`, from its own open findings and last readings.
pub fn card(
    system: &System,
    open: &[StoredFinding],
    latest: &[Latest],
    now: EventTime,
    units: Units,
) -> SystemCard {
    let readings = Readings::new(system, latest, now);
    let findings = findings(system, open, readings, units);
    let last_heard = readings.last_heard();
    let heard = readings.heard();
    let worst = findings.iter().map(|finding| finding.urgency).min();
    let urgency = match (worst, &last_heard) {
        (Some(Urgency::Now), _) => Urgency::Now,
        // Whatever else is told of what was never heard is that it is silent.
        (_, None) => Urgency::Unheard,
        (Some(worst), Some(_)) => worst,
        (None, Some(_)) if heard.0 < heard.1 => Urgency::Unheard,
        (None, Some(_)) => Urgency::Fine,
    };
    SystemCard {
        id: system.id.clone(),
        name: system.name.clone(),
        property: system.property.clone(),
        urgency,
        basins: basins(system, open, readings),
        findings,
        due: None,
        diverter: readings.diverter(),
        has_diverter: has_diverter(system),
        last_heard,
        heard,
        muted: None,
    }
}

/// Basins from the top of the drawing to its bottom.
fn basins(system: &System, open: &[StoredFinding], readings: Readings<'_>) -> Vec<BasinSheet> {
    let is_troubled = |splitter| {
        let id = &system.splitter(splitter).id;
        open.iter().any(|stored| matches!(&stored.finding.subject, Subject::Splitter(of) if of == id))
    };
    let rows = PipeRow::draw(system, is_troubled);
    rows.into_iter().map(|(at, pipes)| basin(system, BasinIx(at as u16), pipes, open, readings)).collect()
}

fn basin(
    system: &System,
    ix: BasinIx,
    pipes: PipeRow,
    open: &[StoredFinding],
    readings: Readings<'_>,
) -> BasinSheet {
    let basin = system.basin(ix);
    let float = readings.float(ix, Quantity::Float);
    let overflow = readings.float(ix, Quantity::Overflow);
    BasinSheet {
        id: basin.id.to_string(),
        label: basin.label().to_owned(),
        share: system.tree().design_share(ix),
        pipes,
        trouble: trouble(system, basin, open, readings),
        soil: readings.soil(ix),
        has_probe: basin.moisture_depth_mm.is_some(),
        water_level: water_level(basin, float.as_ref(), overflow.as_ref()),
        float,
        overflow,
    }
}

/// The most urgent finding about `basin`.
fn trouble(
    system: &System,
    basin: &Basin,
    open: &[StoredFinding],
    readings: Readings<'_>,
) -> Option<(Urgency, &'static str)> {
    let about = open.iter().filter(|stored| concerns_basin(&stored.finding.subject, basin.id.as_str()));
    let told = about.map(|stored| {
        let now = water(system, stored, readings).map(|water| water.now);
        let kind: FindingKind = stored.finding.kind;
        (urgency(&stored.finding, now), kind, kind_words_now(kind, now))
    });
    told.min_by_key(|(urgency, kind, _)| (*urgency, *kind)).map(|(urgency, _, says)| (urgency, says))
}

/// How high water stands at least, as a fraction of the basin's depth: up to the highest wet float.
fn water_level(basin: &Basin, float: Option<&FloatSheet>, overflow: Option<&FloatSheet>) -> Option<f64> {
    let wet = |float: Option<&FloatSheet>| float.is_some_and(FloatSheet::is_wet);
    let height_mm = match (wet(overflow), wet(float)) {
        (true, _) => basin.overflow_height_mm,
        (false, true) => basin.float_height_mm,
        (false, false) => None,
    }?;
    Some((height_mm / basin.depth_mm).clamp(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;

    #[test]
    fn what_was_heard_in_part_is_neither_fine_nor_unheard_without_a_word() {
        let system = samples::terrace();
        let now: EventTime = "2026-11-20T18:00:00Z".parse().unwrap();
        let heard = |names: &[&str]| {
            let latest: Vec<Latest> = names
                .iter()
                .map(|name| Latest {
                    system: system.id.clone(),
                    sensor: (*name).into(),
                    quantity: Quantity::named(name.rsplit('/').next().unwrap()).unwrap(),
                    at: now,
                    value: 0.0,
                })
                .collect();
            let card = card(&system, &[], &latest, now, Units::Metric);
            (card.urgency, card.partly_heard())
        };
        assert_eq!(heard(&[]), (Urgency::Unheard, None));
        assert_eq!(heard(&["quince/float"]), (Urgency::Unheard, Some((1, 6))));
        let all =
            ["quince/float", "quince/overflow", "quince/moisture", "fig/float", "plum/moisture", "diverter"];
        assert_eq!(heard(&all), (Urgency::Fine, None));
    }
}
