//! Alerts as the pages show them.

use super::explanation::{check, explanations};
use super::finding::{beside, sheet};
use super::rival;
use super::timeline::timeline;
use super::{Readings, TimelineRecord};
use crate::advice::{headline, headline_past, place_title};
use crate::alerts::{Closing, Deed, Stage, Why};
use crate::desk::sheet::{AlertRow, AlertSheet, FindingSheet, Moment, Stretch, Urgency};
use crate::desk::units::Units;
use crate::desk::words;
use crate::ledger::{
    AlertStory, DeliveryState, Latest, StoredAlert, StoredDelivery, StoredFinding, StoredStep,
};
use crate::model::{EventTime, Severity, Subject, System};

/// An alert in a list, with what its finding is known as now, if that is open.
pub fn alert_row(
    system: &System,
    alert: &StoredAlert,
    finding: Option<&FindingSheet>,
    now: EventTime,
) -> AlertRow {
    let finding = finding.filter(|_| !alert.stage.is_closed());
    AlertRow {
        no: alert.no,
        headline: match finding {
            Some(finding) => finding.headline.clone(),
            None if alert.stage.is_closed() => headline_past(&alert.finding, system),
            None => headline(&alert.finding, system),
        },
        urgency: finding.map_or(Urgency::of(alert.finding.severity), |finding| finding.urgency),
        system: (system.id.to_string(), system.name.clone()),
        opened: words::moment(alert.opened_at, now, &system.zone),
        again: finding.filter(|finding| finding.since.at > alert.opened_at).map(|it| it.since.clone()),
        stage: stage_words(system, alert.opened_at, &alert.stage, now),
        is_open: alert.stage.is_open(),
        is_closed: alert.stage.is_closed(),
        folded: alert.folded,
    }
}

fn stage_words(system: &System, opened: EventTime, stage: &Stage, now: EventTime) -> String {
    let when = |at| words::moment(at, now, &system.zone).words;
    match stage {
        Stage::Open { since } if *since == opened => "not acknowledged yet".to_owned(),
        Stage::Open { since } => format!("open again since {}", when(*since)),
        Stage::Acknowledged { at, by } => format!("acknowledged by {by}, {}", when(*at)),
        Stage::Snoozed { until, by } => format!("snoozed by {by} until {}", when(*until)),
        Stage::Closed { at, how: Closing::Cleared } => format!("cleared {}", when(*at)),
        Stage::Closed { at, how: Closing::Dismissed { by, reason } } => {
            format!("closed by {by}, {}: {reason}", when(*at))
        }
    }
}

/// The finding of `alert` as it is told now, while it stands.
fn standing<'o>(open: &'o [StoredFinding], alert: &StoredAlert) -> Option<&'o StoredFinding> {
    let is_it = |it: &&StoredFinding| {
        (it.finding.kind, &it.finding.subject) == (alert.finding.kind, &alert.finding.subject)
    };
    open.iter().find(is_it).filter(|_| !alert.stage.is_closed())
}

/// When the finding of an alert was raised last: it may have returned after it was over.
fn raised(story: &AlertStory) -> EventTime {
    let raises = story.steps.iter().filter(|step| matches!(step.deed, Deed::Opened | Deed::Returned));
    raises.map(|step| step.at).max().unwrap_or(story.alert.opened_at)
}

/// The present state of a system, beside an alert.
#[derive(Clone, Debug)]
pub struct Present {
    /// Open findings.
    pub open: Vec<StoredFinding>,
    /// Last readings.
    pub latest: Vec<Latest>,
    /// The newest alerts.
    pub alerts: Vec<StoredAlert>,
}

/// Everything about one alert; `record` is of the time around it.
pub fn alert(
    system: &System,
    story: &AlertStory,
    present: &Present,
    record: &TimelineRecord,
    stretch: &Stretch,
    units: Units,
) -> AlertSheet {
    let (alert, now) = (&story.alert, record.now);
    let stored = StoredFinding {
        system: alert.system.clone(),
        raised_at: raised(story),
        changed_at: alert.changed_at,
        cleared_at: alert.stage.is_closed().then_some(alert.changed_at),
        finding: standing(&present.open, alert).map_or(&alert.finding, |it| &it.finding).clone(),
    };
    let explained = explanations(&stored.finding);
    let rivals = rival::rivals(system, alert, &present.alerts, now);
    let readings = Readings::new(system, &present.latest, now);
    let told = |stored: &StoredFinding| sheet(system, stored, beside(&present.open, stored), readings, units);
    let finding = told(&stored);
    let folded = |folded: &StoredAlert| {
        alert_row(system, folded, standing(&present.open, folded).map(told).as_ref(), now)
    };
    AlertSheet {
        row: alert_row(system, alert, Some(&finding), now),
        today: words::today(now, &system.zone),
        about: about(system, &alert.finding.subject),
        explanations: explained.iter().map(|it| (it.words(system), it.probability)).collect(),
        check: check(&explained).or_else(|| rivals.iter().find_map(|rival| rival.check)),
        rivals: rivals.into_iter().map(|rival| rival.row).collect(),
        under: alert.under,
        folded: story.folded.iter().map(folded).collect(),
        steps: history(system, story, now),
        problem: None,
        picture: timeline(system, record, stretch, &format!("/systems/{}", system.id), units),
        finding,
    }
}

/// The page of what an alert is about, and its name.
fn about(system: &System, subject: &Subject) -> Option<(String, String)> {
    let page = match subject {
        Subject::Basin(id) => format!("/systems/{}/basins/{id}", system.id),
        Subject::Splitter(id) => format!("/systems/{}/splitters/{id}", system.id),
        Subject::Sensor(name) => format!("/systems/{}/sensors/{name}", system.id),
        Subject::Source | Subject::Diverter => return None,
    };
    Some((page, place_title(system, subject)))
}

/// What was done and who was told, in the order of time.
fn history(system: &System, story: &AlertStory, now: EventTime) -> Vec<(Moment, String, String)> {
    let author = |by: Option<&String>| by.cloned().unwrap_or_else(|| "Basinward".to_owned());
    let steps = story.steps.iter().map(|step| (step.at, author(step.by.as_ref()), did(system, step, now)));
    let sent = story.sent.iter().map(|sent| (sent.at, author(None), told(sent)));
    let mut history: Vec<_> = steps.chain(sent).collect();
    history.sort_by_key(|(at, ..)| *at); // stable: of one moment, what was done comes before who was told
    history.into_iter().map(|(at, by, says)| (words::moment(at, now, &system.zone), by, says)).collect()
}

fn told(sent: &StoredDelivery) -> String {
    let StoredDelivery { recipient, channel, .. } = sent;
    let told = match sent.why {
        Why::Opened => format!("told {recipient} by {channel}"),
        Why::Again => format!("told {recipient} again by {channel}"),
        Why::Escalated => format!("nobody answered: told {recipient} too, by {channel}"),
        Why::Reminder => format!("reminded {recipient} by {channel}"),
        Why::Over => format!("told {recipient} by {channel} that it is over"),
        Why::Summary => format!("told {recipient} by {channel}, together with others"),
        Why::Digest => format!("told {recipient} by {channel}, in a digest"),
    };
    match &sent.state {
        DeliveryState::Confirmed { .. } => told,
        DeliveryState::Waiting { trouble: None } => format!("{told}; on its way"),
        DeliveryState::Waiting { trouble: Some(trouble) } => format!("{told}; not through yet: {trouble}"),
        DeliveryState::Dead { trouble, .. } => format!("{told}; given up: {trouble}"),
    }
}

fn did(system: &System, step: &StoredStep, now: EventTime) -> String {
    let severity = |to: Severity| Urgency::of(to).words();
    match &step.deed {
        Deed::Opened => "raised".to_owned(),
        Deed::Returned => "raised again".to_owned(),
        Deed::Worsened { to } => format!("became worse: {}", severity(*to)),
        Deed::Eased { to } => format!("became less urgent: {}", severity(*to)),
        Deed::Cleared => "cleared".to_owned(),
        Deed::Acknowledged => "acknowledged".to_owned(),
        Deed::Snoozed { until } => {
            format!("snoozed until {}", words::moment(*until, now, &system.zone).words)
        }
        Deed::Woke => "woke from its snooze".to_owned(),
        Deed::Closed { reason } => format!("closed: {reason}"),
        Deed::Reopened { reason } if reason.is_empty() => "reopened".to_owned(),
        Deed::Reopened { reason } => format!("reopened: {reason}"),
        Deed::Noted { text } => format!("noted: {text}"),
        Deed::Folded { under } => format!("recognised as a consequence of alert {under}"),
        Deed::Unfolded => "stands on its own again".to_owned(),
    }
}
