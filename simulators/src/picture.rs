//! What a picture of a scenario shows, gathered by running it.

use std::collections::BTreeMap;

use jiff::Timestamp;

use crate::field::Field;
use crate::plot::{BasinTrace, DoseBar, FaultBand, FindingSpan, PlotInput, Severity};
use crate::record::{Answer, answers};
use crate::run::Truth;
use crate::scenario::{Scenario, ScenarioError};
use crate::score::FindingSaid;
use crate::span::Span;

/// Points of a series, at most.
const POINTS: i64 = 6000;
/// A finer look shows nothing more.
const FINEST_MS: i64 = Span::minutes(5).ms();

/// The part of a scenario that a picture shows.
#[derive(Debug, Clone, Copy)]
pub struct Frame {
    /// Left edge (Unix ms).
    pub from_ms: i64,
    /// Right edge (Unix ms).
    pub until_ms: i64,
}

/// Runs a scenario up to the frame's right edge and gathers what happened within it.
pub fn picture(
    scenario: &Scenario,
    seed: u64,
    frame: Frame,
    findings: &[FindingSaid],
    passed: &mut dyn FnMut(u64),
) -> Result<PlotInput, ScenarioError> {
    let mut field = scenario.begin(seed)?;
    let mut truth = Truth::default();
    let mut basins = traces(scenario);
    let mut rain = Vec::new();
    let mut unread = Vec::new();
    let step_ms = ((frame.until_ms - frame.from_ms) / POINTS).max(FINEST_MS);
    let mut at_ms = scenario.start_ms;
    let mut rain_before = 0.0;
    while at_ms < frame.until_ms {
        at_ms +=
            if at_ms < frame.from_ms { (frame.from_ms - at_ms).min(Span::days(1).ms()) } else { step_ms };
        field.advance_to(at_ms, &mut unread);
        unread.clear();
        truth.doses.append(&mut field.world_mut().take_doses());
        let rained = field.world().system().rain_mm - rain_before;
        rain_before += rained;
        if at_ms >= frame.from_ms {
            look(&field, at_ms, &mut basins);
            rain.extend((rained > 0.0).then_some((at_ms, rained)));
        }
        passed(Span::from_ms(at_ms - scenario.start_ms).days_begun());
    }
    truth.faults = field.world().faults();
    Ok(PlotInput {
        title: scenario.name.clone(),
        subtitle: scenario.shows.clone(),
        start_ms: frame.from_ms,
        end_ms: frame.until_ms,
        timezone: scenario.site.timezone.clone(),
        basins,
        doses: truth.doses.iter().filter(|dose| dose.start_ms >= frame.from_ms).map(bar).collect(),
        rain,
        faults: bands(scenario, seed, &truth),
        findings: spans(findings, scenario),
    })
}

fn traces(scenario: &Scenario) -> Vec<BasinTrace> {
    let trace = |basin: &crate::site::Basin| BasinTrace {
        name: basin.id.clone(),
        float_height_mm: basin.float_height_mm,
        ..BasinTrace::default()
    };
    scenario.site.basins.iter().map(trace).collect()
}

/// Adds the present to the traces: readings and changes that are new, and the true level.
fn look(field: &Field, at_ms: i64, basins: &mut [BasinTrace]) {
    for (index, trace) in basins.iter_mut().enumerate() {
        let glance = field.glance(index);
        if let Some(said) = glance.moisture
            && trace.moisture.last().is_none_or(|last| last.0 < said.0)
        {
            trace.moisture.push(said);
        }
        trace.standing.push((at_ms, field.world().basin(index).standing_mm));
        note(&mut trace.float, at_ms, glance.float);
        note(&mut trace.overflow, at_ms, glance.overflow);
    }
}

fn note(changes: &mut Vec<(i64, bool)>, at_ms: i64, state: Option<bool>) {
    if let Some(wet) = state
        && changes.last().is_none_or(|last| last.1 != wet)
    {
        changes.push((at_ms, wet));
    }
}

fn bar(dose: &crate::truth::TrueDose) -> DoseBar {
    DoseBar {
        start_ms: dose.start_ms,
        basin_litres: dose.basin_litres.clone(),
        sewer_litres: dose.sewer_litres,
    }
}

/// The faults of the truth file, each over the rows of its basin or over all.
fn bands(scenario: &Scenario, seed: u64, truth: &Truth) -> Vec<FaultBand> {
    let band = |answer: Answer| {
        let Answer::Fault { kind, subject, onset, full, end, .. } = answer else {
            return None;
        };
        let named = ["basin", "sensor"].iter().find_map(|key| subject[key].as_str());
        let basin = named.and_then(|name| scenario.site.basin_index(name.split('/').next().unwrap_or(name)));
        Some(FaultBand {
            label: subject["splitter"].as_str().map_or(kind.clone(), |splitter| format!("{kind} {splitter}")),
            basins: basin.into_iter().collect(),
            start_ms: onset.as_millisecond(),
            full_ms: full.as_millisecond(),
            end_ms: end.map(Timestamp::as_millisecond),
        })
    };
    answers(scenario, seed, truth).into_iter().filter_map(band).collect()
}

/// What was said of findings as the times for which they stood, at the severity at which each was raised.
fn spans(said: &[FindingSaid], scenario: &Scenario) -> Vec<FindingSpan> {
    let mut spans = Vec::new();
    let mut standing: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for said in said {
        let key = (said.finding.as_str(), said.subject());
        match said.change.as_str() {
            "raised" => {
                standing.insert(key, spans.len());
                spans.push(begun(said, scenario));
            }
            "cleared" => {
                if let Some(index) = standing.remove(&key) {
                    spans[index].until_ms = Some(said.at.as_millisecond());
                }
            }
            _ => {}
        }
    }
    spans
}

fn begun(said: &FindingSaid, scenario: &Scenario) -> FindingSpan {
    let subject = said.subject();
    let basin = scenario.site.basin_index(subject.split('/').next().unwrap_or(subject));
    let label = if basin.is_some() { said.finding.clone() } else { format!("{} {subject}", said.finding) };
    FindingSpan {
        from_ms: said.at.as_millisecond(),
        until_ms: None,
        label,
        basin,
        severity: match said.severity.as_str() {
            "critical" => Severity::Critical,
            "warning" => Severity::Warning,
            _ => Severity::Info,
        },
    }
}
