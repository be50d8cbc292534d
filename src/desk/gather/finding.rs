//! One open finding.

use std::collections::BTreeSet;

use super::Readings;
use super::explanation::doubt;
use super::marks::onset;
use super::water::water;
use crate::advice::{
    Advice, BATTERY_EMPTY, DUE_WEEK_AGO, WaterNow, advice, advice_in_flood, advice_on_empty, flood_days,
    flood_due, headline_now, is_for_want_of_battery, place_title, quoted,
};
use crate::desk::sheet::{FindingSheet, Urgency};
use crate::desk::units::Units;
use crate::desk::words;
use crate::ledger::StoredFinding;
use crate::model::{BasinIx, Evidence, Finding, FindingKind, Id, Node, Place, Quantity, Subject, System};

/// Numbers that the gist, or what explains a finding, tells in words.
const TOLD_OTHERWISE: [&str; 13] = [
    "explanations",
    "no_fault",
    "share_a",
    "share_b",
    "share_a_low",
    "share_a_high",
    "design_a",
    "share",
    "design",
    "due",
    "earliest",
    "latest",
    DUE_WEEK_AGO,
];

/// Open findings in the order in which people should read them: most urgent, then surest, then oldest.
pub(super) fn findings(
    system: &System,
    stored: &[StoredFinding],
    readings: Readings<'_>,
    units: Units,
) -> Vec<FindingSheet> {
    let told = |finding| sheet(system, finding, beside(stored, finding), readings, units);
    let mut sheets: Vec<FindingSheet> = stored.iter().map(told).collect();
    sheets.sort_by(|a, b| {
        let key = |f: &FindingSheet| (f.urgency, f.kind);
        key(a).cmp(&key(b)).then(b.probability.total_cmp(&a.probability)).then(a.since.at.cmp(&b.since.at))
    });
    sheets
}

/// What stands beside a finding and changes what is told of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::desk) enum Beside {
    /// Nothing.
    Nothing,
    /// A flood at the same place, so that nothing is foretold of one to come.
    Flood,
    /// The battery that feeds the same device is nearly empty.
    EmptyBattery,
}

impl Beside {
    /// What to do about a finding that this stands beside.
    pub(in crate::desk) fn advice(self) -> fn(FindingKind, Option<&System>) -> Advice {
        match self {
            Self::Nothing => advice,
            Self::Flood => advice_in_flood,
            Self::EmptyBattery => advice_on_empty,
        }
    }
}

/// What stands beside `stored`, by the findings that are open.
pub(in crate::desk) fn beside(open: &[StoredFinding], stored: &StoredFinding) -> Beside {
    let finding = &stored.finding;
    let mut others = open.iter().map(|other| &other.finding);
    if others.clone().any(|other| other.kind == FindingKind::Flooding && other.subject == finding.subject) {
        return Beside::Flood;
    }
    let empty = others.any(|other| is_for_want_of_battery(finding, other));
    if empty { Beside::EmptyBattery } else { Beside::Nothing }
}

/// An open finding, and what stands beside it.
pub(in crate::desk) fn sheet(
    system: &System,
    stored: &StoredFinding,
    beside: Beside,
    readings: Readings<'_>,
    units: Units,
) -> FindingSheet {
    let finding = &stored.finding;
    let is_over = stored.cleared_at.is_some();
    // What stands now says nothing of what is over.
    let beside = if is_over { Beside::Nothing } else { beside };
    let moment = |at| readings.moment(at);
    let water = water(system, stored, readings);
    let stands = water.as_ref().map(|water| water.now);
    let ahead = flood_due(finding).filter(|due| beside != Beside::Flood && !is_over && *due > readings.now());
    let tell = |fact: &Evidence| water.as_ref().map_or_else(|| fact.says.clone(), |water| water.tell(fact));
    let advice = beside.advice()(finding.kind, Some(system));
    FindingSheet {
        kind: finding.kind,
        anchor: anchor(&stored.system, finding.kind, &finding.subject),
        basin: match &finding.subject {
            Subject::Basin(id) => {
                system.find_basin(id.as_str()).map(|ix| system.basin(ix).label().to_owned())
            }
            Subject::Splitter(_) | Subject::Sensor(_) | Subject::Source | Subject::Diverter => None,
        },
        headline: headline_now(finding, system, stands),
        water: stands,
        gist: match (&water, beside) {
            (Some(water), _) => Some(water.says.clone()),
            (None, Beside::EmptyBattery) => Some(format!("It is silent, {BATTERY_EMPTY}.")),
            (None, Beside::Nothing | Beside::Flood) => gist(system, finding, ahead.is_some(), is_over),
        },
        urgency: urgency(finding, stands),
        since: moment(stored.raised_at),
        began: Some(onset(stored)).filter(|began| *began < stored.raised_at).map(moment),
        about: about(system, &finding.subject),
        alert: None,
        probability: finding.probability,
        estimates: finding
            .estimate
            .iter()
            .filter(|(name, value)| !value.is_null() && !TOLD_OTHERWISE.contains(&name.as_str()))
            .map(|(name, value)| words::estimate(name, value, readings.now(), &system.zone))
            .map(|(name, value)| (name, units.retold(&value)))
            .collect(),
        evidence: finding
            .evidence
            .iter()
            .map(|fact| (fact.at.map(moment), units.retold(&tell(fact))))
            .collect(),
        doubt: doubt(system, finding),
        bring: advice.bring.iter().map(|thing| (*thing).to_owned()).collect(),
        advice,
    }
}

/// How soon somebody has to do something: where the water of a flood has gone, it has become less urgent.
pub(super) fn urgency(finding: &Finding, water: Option<WaterNow>) -> Urgency {
    let urgency = Urgency::of(finding.severity);
    if water == Some(WaterNow::Gone) { urgency.max(Urgency::Soon) } else { urgency }
}

/// How much is wrong, for those findings that measure it.
fn gist(system: &System, finding: &Finding, foretells: bool, is_over: bool) -> Option<String> {
    let number = |name: &str| finding.estimate.get(name).and_then(serde_json::Value::as_f64);
    match (finding.kind, &finding.subject) {
        (FindingKind::UnevenSplit, Subject::Splitter(id)) => {
            let ix = system.find_splitter(id.as_str())?;
            let [a, b] = system.tree().feeds(ix).map(|node| node_words(system, node));
            let (now_a, design_a) = (number("share_a")?, system.splitter(ix).split[0]);
            let [to_a, to_b] = [now_a, 1.0 - now_a].map(words::percent);
            let [due_a, due_b] = [design_a, 1.0 - design_a].map(|share| format!("{:.0}", share * 100.0));
            let sends = if is_over { "sent" } else { "sends" };
            Some(format!("It {sends} {to_a} to {a} and {to_b} to {b}; by design {due_a} : {due_b}."))
        }
        (FindingKind::BlockedOutlet, Subject::Basin(_)) => {
            let (share, design) = (number("share")?, number("design")?);
            let gets = if is_over { "got" } else { "gets" };
            Some(format!(
                "It {gets} {} of the water instead of {}.",
                words::percent(share),
                words::percent(design)
            ))
        }
        (FindingKind::SlowSoak, Subject::Basin(_)) if foretells => {
            Some(format!("At this rate it floods {}.", flood_days(finding, system)?))
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

/// The page of what a finding is about, and its name.
pub(super) fn about(system: &System, subject: &Subject) -> Option<(String, String)> {
    let page = match subject {
        Subject::Basin(id) => format!("/systems/{}/basins/{id}", system.id),
        Subject::Splitter(id) => format!("/systems/{}/splitters/{id}", system.id),
        Subject::Sensor(name) => format!("/systems/{}/sensors/{name}", system.id),
        Subject::Source | Subject::Diverter => return None,
    };
    Some((page, place_title(system, subject)))
}

/// Takes the way to `page` away: they are shown there.
pub(super) fn shown_at(page: &str, mut findings: Vec<FindingSheet>) -> Vec<FindingSheet> {
    for finding in &mut findings {
        finding.about = finding.about.take().filter(|(about, _)| about != page);
    }
    findings
}

/// A name that serves as the id of an element: the kind and the subject, in `a-z`, `0-9` and `-`.
pub(in crate::desk) fn anchor(system: &Id, kind: FindingKind, subject: &Subject) -> String {
    format!("{system}-{kind}-{}", subject.key().replace([':', '/'], "-"))
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
