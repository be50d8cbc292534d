//! The account of a year, drawn up from the rows.

use super::account::{Account, AlertYear, FindingYear, Foretold, ServiceYear, TestYear};
use super::read::{Rows, Span};
use super::{deviations, heard, water};
use crate::advice::{headline, headline_past, place_title};
use crate::alerts::{Closing, Stage};
use crate::desk::flood::handled;
use crate::ledger::{StoredAlert, StoredFinding, StoredService, StoredStep, StoredTest};
use crate::model::{EventTime, System};

/// The account of one year of `system`.
pub(super) fn account(system: &System, span: Span, rows: &Rows) -> Account {
    let (water, basins) = water::of(system, rows);
    let mut year = Account {
        system: system.id.to_string(),
        name: system.name.clone(),
        property: system.property.to_string(),
        about: about(system),
        year: span.year,
        from: span.from,
        to: span.to,
        is_over: span.is_over,
        first_heard: rows.heard_since.filter(|at| *at > span.from),
        water,
        basins,
        findings: findings(system, span, rows),
        alerts: alerts(system, rows),
        services: services(system, rows),
        tests: tests(rows),
        diverter: heard::diverter(system, rows),
        gaps: heard::gaps(system, span, rows),
        deviations: Vec::new(),
    };
    year.deviations = deviations::of(system, &year);
    year
}

/// `A branched drain of 3 splitters and 4 basins, 4.8 m² in all, in sandy loam, for 4 people with showers and laundry.`
fn about(system: &System) -> String {
    let number =
        |count: usize, one: &str, many: &str| format!("{count} {}", if count == 1 { one } else { many });
    let area: f64 = system.basins.iter().map(|basin| basin.area_m2).sum();
    let mut says = vec![format!(
        "A branched drain of {} and {}, {area:.1} m² in all, in {}, for {}",
        number(system.splitters.len(), "splitter", "splitters"),
        number(system.basins.len(), "basin", "basins"),
        system.soil.name().replace('-', " "),
        number(usize::from(system.source.people), "person", "people"),
    )];
    if !system.source.fixtures.is_empty() {
        says.push(format!(" with {}", system.source.fixtures.join(" and ")));
    }
    if let Some(place) = system.location {
        let side = |degrees: f64, [above, below]: [&str; 2]| {
            format!("{:.4}° {}", degrees.abs(), if degrees < 0.0 { below } else { above })
        };
        let (latitude, longitude) = (side(place.latitude, ["N", "S"]), side(place.longitude, ["E", "W"]));
        says.push(format!(", at {latitude}, {longitude}"));
    }
    if let Some(day) = system.commissioned {
        says.push(format!(", in service since {}", day.strftime("%-d %B %Y")));
    }
    format!("{}. Days are those of {}.", says.concat(), system.zone.iana_name().unwrap_or("UTC"))
}

fn findings(system: &System, span: Span, rows: &Rows) -> Vec<FindingYear> {
    let one = |stored: &StoredFinding| {
        let cleared_at = stored.cleared_at.filter(|at| *at <= span.to);
        let stood = cleared_at.unwrap_or(span.to) - stored.raised_at.max(span.from);
        FindingYear {
            finding: stored.finding.kind,
            subject: stored.finding.subject.key(),
            headline: if cleared_at.is_some() { headline_past } else { headline }(&stored.finding, system),
            severity: stored.finding.severity,
            raised_at: stored.raised_at,
            cleared_at,
            days: round(stood.days_f64().max(0.0), 1),
        }
    };
    rows.findings.iter().rev().map(one).collect()
}

fn alerts(system: &System, rows: &Rows) -> Vec<AlertYear> {
    let one = |(alert, steps): &(StoredAlert, Vec<StoredStep>)| {
        let Stage::Closed { at, how } = &alert.stage else { return None };
        let (closed_by, reason) = match how {
            Closing::Cleared => (None, None),
            Closing::Dismissed { by, reason } => (Some(by.clone()), Some(reason.clone())),
        };
        Some(AlertYear {
            alert: alert.no.0,
            finding: alert.finding.kind,
            subject: alert.finding.subject.key(),
            headline: headline_past(&alert.finding, system),
            opened_at: alert.opened_at,
            closed_at: *at,
            taken: handled(steps, EventTime::MIN, EventTime::MAX).0,
            closed_by,
            reason,
        })
    };
    rows.alerts.iter().filter_map(one).collect()
}

fn services(system: &System, rows: &Rows) -> Vec<ServiceYear> {
    let one = |stored: &StoredService| ServiceYear {
        key: stored.key.to_string(),
        subject: stored.record.subject.key(),
        place: place_title(system, &stored.record.subject),
        at: stored.record.at,
        work: stored.record.work.iter().map(|work| work.name().to_owned()).collect(),
        mulch_found_mm: stored.record.mulch_found_mm,
        mulch_left_mm: stored.record.mulch_left_mm,
        note: stored.record.note.clone(),
        by: stored.by.clone(),
        foretold: rows.foretold.get(&stored.key).map(|it| Foretold {
            made: it.made,
            due: it.due,
            earliest: it.earliest,
            latest: it.latest,
            mulch_left: round(it.mulch_left, 3),
        }),
    };
    rows.services.iter().rev().map(one).collect()
}

fn tests(rows: &Rows) -> Vec<TestYear> {
    let one = |test: &StoredTest| {
        let outcome = test.outcome.clone()?;
        let (key, by) = (test.key.to_string(), test.by.clone());
        Some(TestYear { key, began: test.began, by, method: test.method, outcome })
    };
    rows.tests.iter().rev().filter_map(one).collect()
}

pub(super) fn round(value: f64, digits: i32) -> f64 {
    let scale = 10f64.powi(digits);
    (value * scale).round() / scale
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::year::samples::{at, empty, year_of};
    use crate::model::{Finding, FindingKind, Id, Severity, Subject};

    #[test]
    fn what_stood_across_the_turn_of_the_year_counts_with_its_days_in_it() {
        let finding = |raised: &str, cleared: Option<&str>| StoredFinding {
            system: Id::new("terrace").unwrap(),
            raised_at: at(raised),
            changed_at: at(raised),
            cleared_at: cleared.map(at),
            finding: Finding {
                kind: FindingKind::Flooding,
                subject: Subject::Basin(Id::new("fig").unwrap()),
                severity: Severity::Critical,
                probability: 0.9,
                estimate: serde_json::Map::new(),
                evidence: Vec::new(),
            },
        };
        let rows = Rows {
            findings: vec![
                finding("2025-12-30T07:00:00Z", Some("2026-01-05T00:00:00Z")),
                finding("2024-12-30T07:00:00Z", Some("2025-01-03T07:00:00Z")),
            ],
            ..empty()
        };
        let year = year_of(&rows);
        let told: Vec<_> = year.findings.iter().map(|it| (it.days, it.cleared_at.is_some())).collect();
        assert_eq!(told, [(2.0, true), (2.0, false)]);
        let says = year.deviations.join(" ");
        assert!(
            says.contains("flooded twice, 4.0 days in all") && says.contains("Not over at the end"),
            "{says}"
        );
    }
}
