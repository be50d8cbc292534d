//! One open finding.

use std::collections::BTreeSet;

use super::Readings;
use super::explanation::doubt;
use super::water::water;
use crate::advice::{WaterNow, advice, advice_in_flood, flood_due, headline_now, quoted};
use crate::desk::sheet::{FindingSheet, Urgency};
use crate::desk::units::Units;
use crate::desk::words;
use crate::ledger::StoredFinding;
use crate::model::{
    BasinIx, EventTime, Evidence, Finding, FindingKind, Id, Node, Place, Quantity, Subject, System,
};

/// Numbers that the gist, or what explains a finding, tells in words.
const TOLD_OTHERWISE: [&str; 9] = [
    "explanations",
    "no_fault",
    "share_a",
    "share_b",
    "share_a_low",
    "share_a_high",
    "design_a",
    "share",
    "design",
];

/// Numbers that foretell a flood: a day that is past, or a flood that stands, makes them void.
const FORETELLING: [&str; 3] = ["due", "earliest", "latest"];

/// Open findings in the order in which people should read them: most urgent, then surest, then oldest.
pub(super) fn findings(
    system: &System,
    stored: &[StoredFinding],
    readings: Readings<'_>,
    units: Units,
) -> Vec<FindingSheet> {
    let told = |finding| sheet(system, finding, floods(stored, finding), readings, units);
    let mut sheets: Vec<FindingSheet> = stored.iter().map(told).collect();
    sheets.sort_by(|a, b| {
        let key = |f: &FindingSheet| (f.urgency, f.kind);
        key(a).cmp(&key(b)).then(b.probability.total_cmp(&a.probability)).then(a.since.at.cmp(&b.since.at))
    });
    sheets
}

/// Whether a flood stands in the basin that `stored` is about, by the findings that are open.
pub(in crate::desk) fn floods(open: &[StoredFinding], stored: &StoredFinding) -> bool {
    let subject = &stored.finding.subject;
    open.iter().any(|other| other.finding.kind == FindingKind::Flooding && other.finding.subject == *subject)
}

/// An open finding; `in_flood` where a flood stands at the same place, so that nothing is foretold of one to come.
pub(in crate::desk) fn sheet(
    system: &System,
    stored: &StoredFinding,
    in_flood: bool,
    readings: Readings<'_>,
    units: Units,
) -> FindingSheet {
    let finding = &stored.finding;
    let moment = |at| readings.moment(at);
    let water = water(system, stored, readings);
    let stands = water.as_ref().map(|water| water.now);
    let ahead =
        flood_due(finding).filter(|due| !in_flood && stored.cleared_at.is_none() && *due > readings.now());
    let tell = |fact: &Evidence| water.as_ref().map_or_else(|| fact.says.clone(), |water| water.tell(fact));
    let is_told = |name: &str| ahead.is_some() || !FORETELLING.contains(&name);
    FindingSheet {
        kind: finding.kind,
        anchor: anchor(&stored.system, finding),
        basin: match &finding.subject {
            Subject::Basin(id) => {
                system.find_basin(id.as_str()).map(|ix| system.basin(ix).label().to_owned())
            }
            Subject::Splitter(_) | Subject::Sensor(_) | Subject::Source | Subject::Diverter => None,
        },
        headline: headline_now(finding, system, stands),
        water: stands,
        gist: water.as_ref().map(|water| water.says.clone()).or_else(|| gist(system, finding, ahead)),
        urgency: urgency(finding, stands),
        since: moment(stored.raised_at),
        probability: finding.probability,
        estimates: finding
            .estimate
            .iter()
            .filter(|(name, value)| {
                !value.is_null() && !TOLD_OTHERWISE.contains(&name.as_str()) && is_told(name)
            })
            .map(|(name, value)| words::estimate(name, value, readings.now(), &system.zone))
            .map(|(name, value)| (name, units.retold(&value)))
            .collect(),
        evidence: finding
            .evidence
            .iter()
            .map(|fact| (fact.at.map(moment), units.retold(&tell(fact))))
            .collect(),
        doubt: doubt(system, finding),
        advice: if in_flood { advice_in_flood } else { advice }(finding.kind, Some(system)),
    }
}

/// How soon somebody has to do something: where the water of a flood has gone, it has become less urgent.
pub(super) fn urgency(finding: &Finding, water: Option<WaterNow>) -> Urgency {
    let urgency = Urgency::of(finding.severity);
    if water == Some(WaterNow::Gone) { urgency.max(Urgency::Soon) } else { urgency }
}

/// How much is wrong, for those findings that measure it.
fn gist(system: &System, finding: &Finding, ahead: Option<EventTime>) -> Option<String> {
    let number = |name: &str| finding.estimate.get(name).and_then(serde_json::Value::as_f64);
    match (finding.kind, &finding.subject) {
        (FindingKind::UnevenSplit, Subject::Splitter(id)) => {
            let ix = system.find_splitter(id.as_str())?;
            let [a, b] = system.tree().feeds(ix).map(|node| node_words(system, node));
            let (now_a, design_a) = (number("share_a")?, system.splitter(ix).split[0]);
            let [to_a, to_b] = [now_a, 1.0 - now_a].map(words::percent);
            let [due_a, due_b] = [design_a, 1.0 - design_a].map(|share| format!("{:.0}", share * 100.0));
            Some(format!("It sends {to_a} to {a} and {to_b} to {b}; by design {due_a} : {due_b}."))
        }
        (FindingKind::BlockedOutlet, Subject::Basin(_)) => {
            let (share, design) = (number("share")?, number("design")?);
            Some(format!(
                "It gets {} of the water instead of {}.",
                words::percent(share),
                words::percent(design)
            ))
        }
        (FindingKind::SlowSoak, Subject::Basin(_)) => {
            let due = ahead?;
            let day =
                due.timestamp().to_zoned_datetime(system.zone.clone()).strftime("%-d %B %Y").to_string();
            Some(format!("At this rate it floods about {day}."))
        }
        (_, _) => None,
    }
}

/// What a side of a splitter feeds.
pub(in crate::desk) fn node_words(system: &System, node: Node) -> String {
    match node {
        Node::Basin(basin) => quoted(system.basin(basin).label()),
        Node::Splitter(other) => format!("splitter {}", quoted(system.splitter(other).id.as_str())),
    }
}

/// A name that serves as the id of an element: the kind and the subject, in `a-z`, `0-9` and `-`.
pub(in crate::desk) fn anchor(system: &Id, finding: &Finding) -> String {
    let subject = finding.subject.key().replace([':', '/'], "-");
    format!("{system}-{}-{subject}", finding.kind)
}

/// Basins whose water a finding about `subject` shows in.
pub(in crate::desk) fn below(system: &System, subject: &Subject) -> BTreeSet<BasinIx> {
    let all = || system.basin_ixs();
    match subject {
        Subject::Basin(id) => system.find_basin(id.as_str()).into_iter().collect(),
        Subject::Sensor(name) => {
            // What is of no basin is of the whole system.
            let Some((basin, _)) = name.split_once('/') else { return all().collect() };
            system.find_basin(basin).into_iter().collect()
        }
        Subject::Splitter(id) => match system.find_splitter(id.as_str()) {
            Some(splitter) => all().filter(|ix| system.tree().side_of(splitter, *ix).is_some()).collect(),
            None => BTreeSet::new(),
        },
        Subject::Source | Subject::Diverter => all().collect(),
    }
}

/// Whether a finding is about `basin`, its outlet or one of its sensors other than a battery.
pub(super) fn concerns_basin(subject: &Subject, basin: &str) -> bool {
    match subject {
        Subject::Basin(id) => id.as_str() == basin,
        Subject::Sensor(name) => name
            .split_once('/')
            .is_some_and(|(of, quantity)| of == basin && quantity != Quantity::Battery.name()),
        Subject::Splitter(_) | Subject::Source | Subject::Diverter => false,
    }
}

/// Whether the system has a diverter whose position is reported.
pub(super) fn has_diverter(system: &System) -> bool {
    system.find_sensor(Place::System, Quantity::Diverter).is_some()
}
