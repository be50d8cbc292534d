//! One open finding.

use crate::advice::{advice, headline};
use crate::desk::sheet::{FindingSheet, Urgency};
use crate::desk::units::Units;
use crate::desk::words;
use crate::ledger::StoredFinding;
use crate::model::{EventTime, Finding, FindingKind, Node, Place, Quantity, Subject, System};

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

/// Open findings in the order in which people should read them: most urgent, then surest, then oldest.
pub(super) fn findings(
    system: &System,
    stored: &[StoredFinding],
    now: EventTime,
    units: Units,
) -> Vec<FindingSheet> {
    let mut sheets: Vec<FindingSheet> =
        stored.iter().map(|finding| sheet(system, finding, now, units)).collect();
    sheets.sort_by(|a, b| {
        let key = |f: &FindingSheet| (f.urgency, f.kind);
        key(a).cmp(&key(b)).then(b.probability.total_cmp(&a.probability)).then(a.since.at.cmp(&b.since.at))
    });
    sheets
}

pub(in crate::desk) fn sheet(
    system: &System,
    stored: &StoredFinding,
    now: EventTime,
    units: Units,
) -> FindingSheet {
    let finding = &stored.finding;
    let moment = |at| words::moment(at, now, &system.zone);
    FindingSheet {
        kind: finding.kind,
        anchor: anchor(stored),
        headline: headline(finding, system),
        gist: gist(system, finding, now),
        urgency: Urgency::of(finding.severity),
        since: moment(stored.raised_at),
        probability: finding.probability,
        estimates: finding
            .estimate
            .iter()
            .filter(|(name, value)| !value.is_null() && !TOLD_OTHERWISE.contains(&name.as_str()))
            .map(|(name, value)| words::estimate(name, value, now, &system.zone))
            .map(|(name, value)| (name, units.retold(&value)))
            .collect(),
        evidence: finding.evidence.iter().map(|e| (e.at.map(moment), units.retold(&e.says))).collect(),
        advice: advice(finding.kind, Some(system)),
    }
}

/// How much is wrong, for those findings that measure it.
fn gist(system: &System, finding: &Finding, now: EventTime) -> Option<String> {
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
            let due: EventTime = finding.estimate.get("due")?.as_str()?.parse().ok()?;
            // A day that is past says nothing of the present; the basin's own page has the newest forecast.
            let due = (due > now).then_some(due)?;
            let day =
                due.timestamp().to_zoned_datetime(system.zone.clone()).strftime("%-d %B %Y").to_string();
            Some(format!("At this rate it floods about {day}."))
        }
        (_, _) => None,
    }
}

/// What a side of a splitter feeds.
pub(super) fn node_words(system: &System, node: Node) -> String {
    match node {
        Node::Basin(basin) => system.basin(basin).label().to_owned(),
        Node::Splitter(other) => format!("splitter {}", system.splitter(other).id),
    }
}

/// A name that serves as the id of an element: the kind and the subject, in `a-z`, `0-9` and `-`.
pub(super) fn anchor(stored: &StoredFinding) -> String {
    let subject = stored.finding.subject.key().replace([':', '/'], "-");
    format!("{}-{}-{subject}", stored.system, stored.finding.kind)
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
