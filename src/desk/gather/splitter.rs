//! One splitter's own page.

use super::Readings;
use super::balance::{level, measures, part_to_a};
use super::finding::{findings, node_words, shown_at};
use super::marks::Marks;
use super::off_design::off_now;
use super::system::Lately;
use super::timeline::ticks;
use crate::advice::headline;
use crate::desk::sheet::{Level, LevelBasis, Mark, Scatter, SplitterPage, Stretch};
use crate::desk::units::Units;
use crate::desk::words;
use crate::ledger::{DoseRecord, StoredFinding, StoredService, StoredTest};
use crate::model::{
    BasinIx, EventTime, Finding, FindingKind, Place, Quantity, Span, SplitterIx, Subject, System,
};

/// What the ledger knows of one splitter.
#[derive(Clone, Debug)]
pub struct SplitterRecord {
    /// The half year that is shown.
    pub half_year: Stretch,
    /// Open findings of its system.
    pub open: Vec<StoredFinding>,
    /// Doses of that half year.
    pub doses: Vec<DoseRecord>,
    /// Findings of its system that stood within that half year, also those that are over.
    pub past: Vec<StoredFinding>,
    /// What was written down about it.
    pub services: Vec<StoredService>,
    /// Flow tests of its system.
    pub tests: Vec<StoredTest>,
}

/// The page of a splitter.
pub fn splitter_page(
    system: &System,
    ix: SplitterIx,
    record: &SplitterRecord,
    now: EventTime,
    units: Units,
) -> SplitterPage {
    let (open, doses) = (&record.open, &record.doses);
    let splitter = system.splitter(ix);
    let is_about = |stored: &&StoredFinding| stored.finding.subject == Subject::Splitter(splitter.id.clone());
    let about: Vec<StoredFinding> = open.iter().filter(is_about).cloned().collect();
    let now_level = level_now(system, ix, open, doses, now);
    let shifted_by = if about.is_empty() { shifted_by(system, ix, open) } else { Vec::new() };
    let page = format!("/systems/{}/splitters/{}", system.id, splitter.id);
    SplitterPage {
        system: (system.id.to_string(), system.name.clone()),
        today: words::today(now, &system.zone),
        id: splitter.id.to_string(),
        sides: system.tree().feeds(ix).map(|node| node_words(system, node)),
        unknown: now_level.is_none().then(|| why_unknown(system, ix, doses, now)),
        level: now_level,
        findings: shown_at(&page, findings(system, &about, Readings::new(system, &[], now), units)),
        shifted_by,
        off: off_now(system, ix, &Lately { open, over: &record.past, doses, now }),
        balance: balance(system, ix, record, now),
    }
}

/// Why nothing tells how a splitter divides the water.
fn why_unknown(system: &System, ix: SplitterIx, doses: &[DoseRecord], now: EventTime) -> String {
    if !measures(system) {
        return "No basin has a moisture probe, so nothing tells how it divides the water: a float shows that water \
                stands, not how much came."
            .to_owned();
    }
    let is_sensed = |basin: &BasinIx| {
        let place = Place::Basin(*basin);
        [Quantity::Moisture, Quantity::Float].into_iter().any(|q| system.find_sensor(place, q).is_some())
    };
    let blind = [(0, "a"), (1, "b")].into_iter().find(|(side, _)| {
        let mut below = system.basin_ixs().filter(|basin| system.tree().side_of(ix, *basin) == Some(*side));
        !below.any(|basin| is_sensed(&basin))
    });
    let month = doses.iter().filter(|dose| dose.at >= now - Span::from_days(30));
    let (all, told) = month.fold((0, 0), |(all, told), dose| {
        (all + 1, told + usize::from(part_to_a(system, ix, dose).is_some()))
    });
    match (blind, all, told) {
        (Some((_, side)), ..) => {
            format!(
                "No basin on side {side} has a probe or a float, so nothing tells how it divides the water."
            )
        }
        (None, 0, _) => "No dose was seen in 30 days, so nothing tells how it divides the water.".to_owned(),
        (None, all, told) => format!(
            "Too few doses tell how it divides the water: {told} of {all} in 30 days were measured on both sides, \
             without rain."
        ),
    }
}

/// Outlets below a splitter that are found to let too little through: they shift its split, however level it is.
pub(super) fn shifted_by(system: &System, ix: SplitterIx, open: &[StoredFinding]) -> Vec<(String, String)> {
    let shifts = |finding: &Finding| {
        let Subject::Basin(id) = &finding.subject else { return None };
        let basin = system.find_basin(id.as_str())?;
        let shifts = finding.kind == FindingKind::BlockedOutlet && system.tree().side_of(ix, basin).is_some();
        shifts.then(|| (headline(finding, system), format!("/systems/{}/basins/{id}", system.id)))
    };
    open.iter().filter_map(|stored| shifts(&stored.finding)).collect()
}

/// How a splitter divides the water now: as the open finding about it says, which the alert and the visit sheet say
/// too; while there is none, by the doses of 30 days.
pub(super) fn level_now(
    system: &System,
    ix: SplitterIx,
    open: &[StoredFinding],
    doses: &[DoseRecord],
    now: EventTime,
) -> Option<Level> {
    let found = uneven(system, ix, open).and_then(|stored| level_found(system, ix, &stored.finding));
    found.or_else(|| level(system, ix, doses, now - Span::from_days(30)))
}

fn uneven<'o>(system: &System, ix: SplitterIx, open: &'o [StoredFinding]) -> Option<&'o StoredFinding> {
    let id = &system.splitter(ix).id;
    open.iter().find(|stored| {
        stored.finding.kind == FindingKind::UnevenSplit
            && matches!(&stored.finding.subject, Subject::Splitter(of) if of == id)
    })
}

/// The split that a finding measured.
fn level_found(system: &System, ix: SplitterIx, finding: &Finding) -> Option<Level> {
    let number = |name: &str| finding.estimate.get(name).and_then(serde_json::Value::as_f64);
    Some(Level {
        share_a: number("share_a")?,
        interval: number("share_a_low").zip(number("share_a_high")),
        design_a: system.splitter(ix).split[0],
        basis: LevelBasis::Finding,
    })
}

/// What happened to a splitter: when it became uneven, what was done about it, and what proved it.
fn happened(
    system: &System,
    ix: SplitterIx,
    record: &SplitterRecord,
    stretch: &Stretch,
    now: EventTime,
) -> Vec<Mark> {
    let marks = Marks { system, stretch, now };
    let id = &system.splitter(ix).id;
    let subject = Subject::Splitter(id.clone());
    let is_of_it = |stored: &&StoredFinding| {
        stored.finding.kind == FindingKind::UnevenSplit && stored.finding.subject == subject
    };
    let faults = record.past.iter().filter(is_of_it);
    let all = faults
        .map(|stored| marks.fault(stored, "uneven"))
        .chain(record.services.iter().map(|stored| marks.service(stored)))
        .chain(record.tests.iter().filter_map(|stored| marks.test(stored, id)));
    marks.within(all.collect())
}

fn balance(system: &System, ix: SplitterIx, record: &SplitterRecord, now: EventTime) -> Scatter {
    let (doses, stretch) = (&record.doses, &record.half_year);
    let design = system.splitter(ix).split[0];
    let first = doses.iter().find(|dose| part_to_a(system, ix, dose).is_some());
    let stretch = &stretch.since(first.map(|dose| dose.at));
    let point = |dose: &DoseRecord| {
        let part = part_to_a(system, ix, dose)?;
        let when = words::moment(dose.at, now, &system.zone).words;
        Some((stretch.place(dose.at), part, format!("{} to side a, {when}", words::percent(part))))
    };
    let guide = |share: f64, is_limit| (share, words::percent(share), is_limit);
    Scatter {
        stretch: *stretch,
        words: format!(
            "Part of each dose to side a, {}",
            words::between(stretch.from, stretch.to, now, &system.zone)
        ),
        ticks: ticks(system, stretch),
        points: doses.iter().filter_map(point).collect(),
        guides: vec![
            guide(design, false),
            guide(design + Level::LIMIT, true),
            guide(design - Level::LIMIT, true),
        ],
        trend: None,
        marks: happened(system, ix, record, stretch, now),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples::{self, dose};

    #[test]
    fn what_is_not_known_of_a_split_says_why() {
        let system = samples::terrace();
        let now: EventTime = "2026-11-20T18:00:00Z".parse().unwrap();
        let why = |splitter: &str, doses: &[DoseRecord]| {
            why_unknown(&system, system.find_splitter(splitter).unwrap(), doses, now)
        };
        assert!(why("s1", &[]).starts_with("No dose was seen in 30 days"), "{}", why("s1", &[]));
        let few = [dose(&system, "2026-11-19T08:00:00Z", None, &[0.4, 0.1, 0.25, 0.25])];
        assert!(why("s1", &few).contains("1 of 1 in 30 days"), "{}", why("s1", &few));
        // The terrace has no sensor in its last basin.
        assert!(
            why("s3", &few).starts_with("No basin on side b has a probe or a float"),
            "{}",
            why("s3", &few)
        );
    }
}
