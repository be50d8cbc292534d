//! The account of a year.

use std::collections::BTreeMap;

use serde::Serialize;
use utoipa::ToSchema;

use super::deviations;
use super::read::{Rows, Span};
use crate::advice::{headline, place_words, sensor_words};
use crate::desk::words;
use crate::flowtest::{Method, Outcome, Verdict};
use crate::ledger::DoseRecord;
use crate::model::{EventTime, FindingKind, Id, Place, Quantity, Severity, Span as Length, System, Work};

/// One system in one calendar year of its own time zone.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub(in crate::desk) struct Account {
    /// The system's id.
    pub(in crate::desk) system: String,
    pub(in crate::desk) name: String,
    pub(in crate::desk) property: String,
    /// What it is and where, in one sentence.
    pub(in crate::desk) about: String,
    pub(in crate::desk) year: i16,
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) from: EventTime,
    /// The end of the year, or the time of the account if it is not over.
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) to: EventTime,
    pub(in crate::desk) is_over: bool,
    /// When the system was heard first, if that was in this year.
    #[schema(value_type = Option<String>, format = DateTime)]
    pub(in crate::desk) first_heard: Option<EventTime>,
    pub(in crate::desk) water: Water,
    pub(in crate::desk) basins: Vec<BasinYear>,
    /// Oldest first.
    pub(in crate::desk) findings: Vec<FindingYear>,
    pub(in crate::desk) services: Vec<ServiceYear>,
    pub(in crate::desk) tests: Vec<TestYear>,
    /// None where there is no diverter that tells its position.
    pub(in crate::desk) diverter: Option<DiverterYear>,
    pub(in crate::desk) gaps: Vec<Gap>,
    /// What an inspector should know, in sentences.
    pub(in crate::desk) deviations: Vec<String>,
}

/// Water through the system.
#[derive(Clone, Debug, Default, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct Water {
    pub(in crate::desk) doses: usize,
    /// Doses whose litres are known.
    pub(in crate::desk) metered_doses: usize,
    /// Litres of those.
    pub(in crate::desk) litres: f64,
    /// Litres of doses of which it is not known what every basin got: rain, silent probes, or too little to tell.
    pub(in crate::desk) unattributed_litres: f64,
}

/// Water into one basin.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct BasinYear {
    pub(in crate::desk) id: String,
    pub(in crate::desk) label: String,
    /// Litres of the doses of which the volume and every basin's share is known; none where there is no such dose.
    pub(in crate::desk) litres: Option<f64>,
    /// Mean share of the doses of which every basin's is known, without those that rain touched.
    pub(in crate::desk) share: Option<f64>,
    /// The share that it should have.
    pub(in crate::desk) design_share: f64,
    /// Times that somebody wrote down that they were there.
    pub(in crate::desk) services: usize,
}

/// Something that was wrong.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct FindingYear {
    #[schema(value_type = String)]
    pub(in crate::desk) finding: FindingKind,
    /// A key such as `basin:quince`.
    pub(in crate::desk) subject: String,
    pub(in crate::desk) headline: String,
    #[schema(value_type = String)]
    pub(in crate::desk) severity: Severity,
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) raised_at: EventTime,
    /// When it was over; none if it still stood at the end.
    #[schema(value_type = Option<String>, format = DateTime)]
    pub(in crate::desk) cleared_at: Option<EventTime>,
    /// Days of this year on which it stood.
    pub(in crate::desk) days: f64,
}

/// Something that was done.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct ServiceYear {
    pub(in crate::desk) key: String,
    pub(in crate::desk) subject: String,
    pub(in crate::desk) place: String,
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) at: EventTime,
    /// Names of what was done; empty if it was looked at.
    pub(in crate::desk) work: Vec<String>,
    pub(in crate::desk) note: String,
    pub(in crate::desk) by: String,
    /// Where mulch was renewed: what was last foretold before.
    pub(in crate::desk) foretold: Option<Foretold>,
}

/// When a basin would first have flooded, as it was foretold.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct Foretold {
    /// When that was thought.
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) made: EventTime,
    /// The best estimate.
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) due: EventTime,
    /// With 80 % probability not before this.
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) earliest: EventTime,
    /// And not after this.
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) latest: EventTime,
}

/// Water run on purpose.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct TestYear {
    pub(in crate::desk) key: String,
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) began: EventTime,
    pub(in crate::desk) by: String,
    /// `probes` or `buckets`.
    #[schema(value_type = String)]
    pub(in crate::desk) method: Method,
    /// As under `/systems/{id}/tests`.
    #[schema(value_type = Object)]
    pub(in crate::desk) outcome: Outcome,
}

/// The diverter.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct DiverterYear {
    /// How often its position changed, as far as it was told by the hour.
    pub(in crate::desk) turns: usize,
    /// When it changed last.
    #[schema(value_type = Option<String>, format = DateTime)]
    pub(in crate::desk) last_turn: Option<EventTime>,
    /// Times that somebody wrote down that it was turned to the sewer and back.
    pub(in crate::desk) exercises: usize,
}

/// Days on which something was not heard.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct Gap {
    /// A sensor in words, or the whole system.
    pub(in crate::desk) of: String,
    /// Days of UTC without a reading.
    pub(in crate::desk) days: usize,
    /// Out of so many.
    pub(in crate::desk) out_of: usize,
}

pub(super) fn account(system: &System, span: Span, rows: &Rows) -> Account {
    let (water, basins) = water(system, rows);
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
        services: services(system, rows),
        tests: tests(rows),
        diverter: diverter(system, rows),
        gaps: gaps(system, span, rows),
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

fn water(system: &System, rows: &Rows) -> (Water, Vec<BasinYear>) {
    let mut water = Water { doses: rows.doses.len(), ..Water::default() };
    let mut litres: BTreeMap<&Id, f64> = BTreeMap::new();
    for dose in &rows.doses {
        let Some(volume) = dose.litres else { continue };
        water.metered_doses += 1;
        water.litres += volume;
        if !is_whole(dose, system) {
            water.unattributed_litres += volume;
            continue;
        }
        for (basin, share) in &dose.shares {
            *litres.entry(basin).or_default() += volume * share;
        }
    }
    let dry: Vec<&DoseRecord> =
        rows.doses.iter().filter(|dose| dose.quality > 0.0 && is_whole(dose, system)).collect();
    let basins = system.basin_ixs().map(|ix| {
        let basin = system.basin(ix);
        let shares: Vec<f64> = dry.iter().filter_map(|dose| dose.shares.get(&basin.id).copied()).collect();
        let here = |service: &&crate::ledger::StoredService| {
            matches!(&service.record.subject, crate::model::Subject::Basin(id) if *id == basin.id)
        };
        BasinYear {
            id: basin.id.to_string(),
            label: basin.label().to_owned(),
            litres: litres.get(&basin.id).map(|litres| round(*litres, 1)),
            share: (!shares.is_empty())
                .then(|| round(shares.iter().sum::<f64>() / shares.len() as f64, 4)),
            design_share: round(system.tree().design_share(ix), 4),
            services: rows.services.iter().filter(here).count(),
        }
    });
    let basins = basins.collect();
    water.litres = round(water.litres, 1);
    water.unattributed_litres = round(water.unattributed_litres, 1);
    (water, basins)
}

/// Whether it is known what every basin got of a dose.
fn is_whole(dose: &DoseRecord, system: &System) -> bool {
    system.basins.iter().all(|basin| dose.shares.contains_key(&basin.id))
}

fn findings(system: &System, span: Span, rows: &Rows) -> Vec<FindingYear> {
    let one = |stored: &crate::ledger::StoredFinding| {
        let cleared_at = stored.cleared_at.filter(|at| *at <= span.to);
        let stood = cleared_at.unwrap_or(span.to) - stored.raised_at.max(span.from);
        FindingYear {
            finding: stored.finding.kind,
            subject: stored.finding.subject.key(),
            headline: headline(&stored.finding, system),
            severity: stored.finding.severity,
            raised_at: stored.raised_at,
            cleared_at,
            days: round(stood.days_f64().max(0.0), 1),
        }
    };
    rows.findings.iter().rev().map(one).collect()
}

fn services(system: &System, rows: &Rows) -> Vec<ServiceYear> {
    let one = |stored: &crate::ledger::StoredService| ServiceYear {
        key: stored.key.to_string(),
        subject: stored.record.subject.key(),
        place: words::capitalised(place_words(system, &stored.record.subject).trim_start_matches("the ")),
        at: stored.record.at,
        work: stored.record.work.iter().map(|work| work.name().to_owned()).collect(),
        note: stored.record.note.clone(),
        by: stored.by.clone(),
        foretold: rows.foretold.get(&stored.key).map(|it| Foretold {
            made: it.made,
            due: it.due,
            earliest: it.earliest,
            latest: it.latest,
        }),
    };
    rows.services.iter().rev().map(one).collect()
}

fn tests(rows: &Rows) -> Vec<TestYear> {
    let one = |test: &crate::ledger::StoredTest| {
        let outcome = test.outcome.clone()?;
        let (key, by) = (test.key.to_string(), test.by.clone());
        Some(TestYear { key, began: test.began, by, method: test.method, outcome })
    };
    rows.tests.iter().rev().filter_map(one).collect()
}

fn diverter(system: &System, rows: &Rows) -> Option<DiverterYear> {
    system.find_sensor(Place::System, Quantity::Diverter)?;
    let mut last = None;
    let mut year = DiverterYear { turns: 0, last_turn: None, exercises: 0 };
    for &(at, position) in &rows.diverter {
        let is_sewer = position >= 0.5;
        if last.is_some_and(|was| was != is_sewer) {
            year.turns += 1;
            year.last_turn = Some(at);
        }
        last = Some(is_sewer);
    }
    let exercised =
        |service: &&crate::ledger::StoredService| service.record.work.contains(&Work::DiverterExercised);
    year.exercises = rows.services.iter().filter(exercised).count();
    Some(year)
}

/// Days without readings: of each moisture probe, which tells of itself all the time, and of everything together.
/// Floats and meters may rightly be silent for days.
fn gaps(system: &System, span: Span, rows: &Rows) -> Vec<Gap> {
    let day = Length::DAY.millis();
    // Days of UTC that lie wholly within the stretch.
    let from = rows.heard_since.unwrap_or(span.from).max(span.from).millis();
    let first = from.div_euclid(day) + i64::from(from.rem_euclid(day) > 0);
    let out_of = usize::try_from(span.to.millis().div_euclid(day) - first).unwrap_or(0);
    let heard = |bins: &[crate::ledger::Bin]| -> Vec<i64> {
        let days = bins.iter().map(|bin| bin.at.millis().div_euclid(day));
        days.filter(|at| (first..first + out_of as i64).contains(at)).collect()
    };
    let mut any: Vec<i64> = rows.days.iter().flat_map(|(_, bins)| heard(bins)).collect();
    any.sort_unstable();
    any.dedup();
    let mut gaps = Vec::new();
    let mut note = |of: String, heard: usize| {
        if heard < out_of {
            gaps.push(Gap { of, days: out_of - heard, out_of });
        }
    };
    note("the whole system".to_owned(), any.len());
    for (ix, bins) in rows.days.iter().filter(|(ix, _)| system.sensor(*ix).quantity == Quantity::Moisture) {
        // What is silent with everything else is told once.
        if heard(bins).len() < any.len() {
            note(sensor_words(system, &system.sensor_name(*ix)), heard(bins).len());
        }
    }
    gaps
}

impl Account {
    /// Whether a flow test of this year proved `splitter`.
    pub(super) fn proved(&self, splitter: &Id) -> bool {
        let splits = self.tests.iter().flat_map(|test| &test.outcome.splits);
        splits.filter(|split| split.splitter == *splitter).any(|split| split.verdict == Verdict::Even)
    }
}

pub(super) fn round(value: f64, digits: i32) -> f64 {
    let scale = 10f64.powi(digits);
    (value * scale).round() / scale
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;
    use crate::ledger::{Bin, StoredFinding};
    use crate::model::{Finding, Subject};

    fn at(text: &str) -> EventTime {
        text.parse().unwrap()
    }

    fn empty() -> Rows {
        Rows {
            heard_since: None,
            doses: Vec::new(),
            findings: Vec::new(),
            services: Vec::new(),
            foretold: BTreeMap::new(),
            tests: Vec::new(),
            days: Vec::new(),
            diverter: Vec::new(),
        }
    }

    fn dose(litres: Option<f64>, shares: &[(&str, f64)], quality: f64) -> DoseRecord {
        let shares = shares.iter().map(|(id, share)| (Id::new(id).unwrap(), *share)).collect();
        DoseRecord { at: at("2025-03-01T12:00:00Z"), litres, shares, quality }
    }

    fn year_of(rows: &Rows) -> Account {
        let system = samples::terrace();
        let span = Span::of(&system, 2025, at("2026-02-01T00:00:00Z")).unwrap();
        account(&system, span, rows)
    }

    #[test]
    fn a_year_begins_and_ends_with_the_calendar_of_the_yard() {
        let system = samples::terrace();
        let span = |year, now| Span::of(&system, year, at(now));
        let whole = span(2025, "2026-02-01T00:00:00Z").unwrap();
        // Denver lies 7 h behind UTC in winter.
        assert_eq!((whole.from, whole.to), (at("2025-01-01T07:00:00Z"), at("2026-01-01T07:00:00Z")));
        assert!(whole.is_over);
        let part = span(2026, "2026-02-01T00:00:00Z").unwrap();
        assert_eq!((part.to, part.is_over), (at("2026-02-01T00:00:00Z"), false));
        assert_eq!(span(2027, "2026-02-01T00:00:00Z"), None);
        assert_eq!(span(9_999, "2026-02-01T00:00:00Z"), None);
    }

    #[test]
    fn every_litre_is_told_of_a_basin_or_told_to_be_unattributed() {
        let rows = Rows {
            doses: vec![
                dose(Some(100.0), &[("quince", 0.3), ("fig", 0.2), ("plum", 0.25), ("pear", 0.25)], 0.9),
                dose(Some(50.0), &[], 0.0),
                dose(None, &[("quince", 0.5), ("fig", 0.1), ("plum", 0.2), ("pear", 0.2)], 0.4),
                dose(Some(7.0), &[("quince", 1.0)], 0.2),
            ],
            ..empty()
        };
        let year = year_of(&rows);
        let told: f64 = year.basins.iter().filter_map(|basin| basin.litres).sum();
        assert!((told + year.water.unattributed_litres - year.water.litres).abs() < 1e-6, "{year:?}");
        assert_eq!((year.water.doses, year.water.metered_doses, year.water.litres), (4, 3, 157.0));
        assert_eq!(year.basins[0].litres, Some(30.0));
        assert_eq!(year.basins[0].share, Some(0.4), "rain-touched doses do not count for shares");
        let says = year.deviations.join(" ");
        assert!(says.contains("57 L of 157 L could not be attributed"), "{says}");
        assert!(says.contains("volume of 1 of 4 doses is not known"), "{says}");
    }

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

    #[test]
    fn silence_is_counted_in_days_and_what_was_not_done_is_said() {
        let system = samples::terrace();
        let probe = system.find_sensor(Place::Basin(crate::model::BasinIx(0)), Quantity::Moisture).unwrap();
        // Heard on every day of the year but 73.
        let day = |n: i64| Bin {
            at: at("2025-01-02T00:00:00Z") + Length::from_days(n),
            min: 0.2,
            mean: 0.2,
            max: 0.2,
            count: 9,
        };
        let bins = (0..364).filter(|n| n % 5 != 0).map(day).collect();
        let float = system.find_sensor(Place::Basin(crate::model::BasinIx(0)), Quantity::Float).unwrap();
        let days = vec![(probe, bins), (float, (0..364).map(day).collect())];
        let year = year_of(&Rows { days, ..empty() });
        let gaps: Vec<_> = year.gaps.iter().map(|gap| (gap.days, gap.out_of)).collect();
        assert_eq!(gaps, [(73, 364)], "{:?}", year.gaps);
        let says = year.deviations.join(" ");
        for expected in [
            "Nothing was heard from the moisture probe in the quince tree basin on 73 of 364 days",
            "The diverter was neither seen",
            "No flow test proved splitters s1, s2, s3",
            "Nobody wrote down having been at basins quince, fig, plum, pear",
            "No dose was recognised",
        ] {
            assert!(says.contains(expected), "{expected}: {says}");
        }
    }

    #[test]
    fn turns_of_the_diverter_are_counted_where_it_changed() {
        let hours =
            ["2025-05-01T00:00:00Z", "2025-05-02T00:00:00Z", "2025-05-03T00:00:00Z", "2025-05-04T00:00:00Z"];
        let positions =
            hours.into_iter().zip([0.0, 1.0, 1.0, 0.0]).map(|(text, position)| (at(text), position));
        let year = year_of(&Rows { diverter: positions.collect(), ..empty() });
        let diverter = year.diverter.unwrap();
        assert_eq!((diverter.turns, diverter.last_turn), (2, Some(at("2025-05-04T00:00:00Z"))));
    }
}
