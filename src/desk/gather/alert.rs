//! Alerts as the pages show them.

use super::explanation::{check, explanations};
use super::finding::{about, anchor, beside, sheet};
use super::rival;
use super::timeline::timeline;
use super::{Readings, TimelineRecord};
use crate::advice::{headline, headline_past};
use crate::alerts::{Closing, Deed, Stage, Why};
use crate::desk::sheet::{
    AlertMark, AlertRow, AlertSheet, At, FindingSheet, Moment, Reopened, Stretch, Urgency,
};
use crate::desk::units::Units;
use crate::desk::words;
use crate::ledger::{
    AlertStory, DeliveryState, Latest, StoredAlert, StoredDelivery, StoredFinding, StoredStep,
};
use crate::model::{EventTime, Severity, System};

/// An alert in a list, with what its finding is known as now, if that is open.
pub fn alert_row(
    system: &System,
    alert: &StoredAlert,
    finding: Option<&FindingSheet>,
    now: EventTime,
) -> AlertRow {
    let finding = finding.filter(|finding| may_stand(&alert.stage, finding.since.at));
    let still_stands = finding.is_some() && alert.stage.is_closed();
    let is_over = finding.is_none() && !alert.stage.is_closed() && !is_fresh(alert);
    let stage = stage_words(system, alert.opened_at, &alert.stage, now);
    AlertRow {
        no: alert.no,
        headline: match finding {
            Some(finding) => finding.headline.clone(),
            None if is_over || alert.stage.is_closed() => headline_past(&alert.finding, system),
            None => headline(&alert.finding, system),
        },
        urgency: match finding {
            Some(finding) => finding.urgency,
            None if is_over => Urgency::Fine,
            None => Urgency::of(alert.finding.severity),
        },
        system: (system.id.to_string(), system.name.clone()),
        opened: words::moment(alert.opened_at, now, &system.zone),
        again: finding.filter(|finding| finding.since.at > alert.opened_at).map(|it| it.since.clone()),
        stage: if is_over { format!("over, but somebody reopened it: {stage}") } else { stage },
        at: At::of(&alert.stage),
        is_over,
        still_stands,
        folded: alert.folded,
    }
}

/// Whether a finding that was raised at `raised` can be that of an alert at `stage`: somebody may have closed it although
/// the finding goes on.
fn may_stand(stage: &Stage, raised: EventTime) -> bool {
    match stage {
        Stage::Open { .. } | Stage::Acknowledged { .. } | Stage::Snoozed { .. } => true,
        Stage::Closed { at, how: Closing::Dismissed { .. } } => *at >= raised,
        Stage::Closed { how: Closing::Cleared, .. } => false,
    }
}

/// Names beside each of `findings` its alert, and what somebody did with it.
pub(in crate::desk) fn name_alerts(
    findings: &mut [FindingSheet],
    system: &System,
    alerts: &[StoredAlert],
    now: EventTime,
) {
    for alert in alerts.iter().filter(|alert| alert.system == system.id) {
        let anchor = anchor(&system.id, alert.finding.kind, &alert.finding.subject);
        let of_it = findings.iter_mut().find(|finding| finding.anchor == anchor);
        let Some(finding) = of_it.filter(|it| may_stand(&alert.stage, it.since.at)) else { continue };
        let stage = (!alert.stage.is_open()).then(|| stage_words(system, alert.opened_at, &alert.stage, now));
        finding.alert = Some(AlertMark { no: alert.no, stage });
    }
}

/// Whether nothing happened to it yet, so that a board drawn a moment before may not know its finding.
fn is_fresh(alert: &StoredAlert) -> bool {
    matches!(alert.stage, Stage::Open { since } if since == alert.opened_at)
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
    open.iter().find(is_it).filter(|stored| may_stand(&alert.stage, stored.raised_at))
}

/// When the finding of an alert was raised last: it may have returned after it was over.
fn raised(story: &AlertStory) -> EventTime {
    let raises = story.steps.iter().filter(|step| matches!(step.deed, Deed::Opened | Deed::Returned));
    raises.map(|step| step.at).max().unwrap_or(story.alert.opened_at)
}

/// Who reopened an alert, and since when its finding is over, as its steps tell.
fn reopened(system: &System, story: &AlertStory, now: EventTime) -> Option<Reopened> {
    let when = |at| words::moment(at, now, &system.zone);
    let last = story.steps.iter().rev();
    let cleared = last.clone().find(|step| matches!(step.deed, Deed::Cleared));
    last.into_iter().find_map(|step| {
        let Deed::Reopened { reason } = &step.deed else { return None };
        Some(Reopened {
            over_since: cleared.map(|step| when(step.at)),
            by: step.by.clone()?,
            at: when(step.at),
            reason: reason.clone(),
        })
    })
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
    let stands = standing(&present.open, alert);
    let stored = StoredFinding {
        system: alert.system.clone(),
        raised_at: raised(story),
        changed_at: alert.changed_at,
        cleared_at: stands.is_none().then_some(alert.changed_at),
        finding: stands.map_or(&alert.finding, |it| &it.finding).clone(),
    };
    let explained = explanations(&stored.finding);
    let rivals = rival::rivals(system, alert, &present.alerts, now);
    let readings = Readings::new(system, &present.latest, now);
    let told = |stored: &StoredFinding| sheet(system, stored, beside(&present.open, stored), readings, units);
    let finding = told(&stored);
    let folded = |folded: &StoredAlert| {
        alert_row(system, folded, standing(&present.open, folded).map(told).as_ref(), now)
    };
    let row = alert_row(system, alert, stands.map(|_| &finding), now);
    AlertSheet {
        reopened: row.is_over.then(|| reopened(system, story, now)).flatten(),
        row,
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
        Deed::Withdrawn => "took that back: it waits for somebody again".to_owned(),
        Deed::Closed { reason } => format!("closed: {reason}"),
        Deed::Reopened { reason } if reason.is_empty() => "reopened".to_owned(),
        Deed::Reopened { reason } => format!("reopened: {reason}"),
        Deed::Noted { text } => format!("noted: {text}"),
        Deed::Folded { under } => format!("recognised as a consequence of alert {under}"),
        Deed::Unfolded => "stands on its own again".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alerts::AlertNo;
    use crate::desk::pages;
    use crate::desk::samples;
    use crate::desk::sheet::{Chrome, Who};
    use crate::model::{Finding, FindingKind, Subject};
    use serde_json::json;

    fn at(time: &str) -> EventTime {
        format!("2026-03-02T{time}:00Z").parse().unwrap()
    }

    fn alert_of(finding: Finding, stage: Stage) -> StoredAlert {
        StoredAlert {
            no: AlertNo(7),
            system: samples::terrace().id.clone(),
            finding,
            opened_at: at("12:00"),
            changed_at: at("15:00"),
            stage,
            calls: 1,
            under: None,
            folded: 0,
        }
    }

    /// A flood of noon that was over at one and that Ana reopened at three, with what stands open now.
    fn reopened_flood(open: Vec<StoredFinding>) -> AlertSheet {
        let system = samples::terrace();
        let flood = samples::flood(&system, "quince", at("12:00"));
        let step =
            |time: &str, by: Option<&str>, deed| StoredStep { at: at(time), by: by.map(str::to_owned), deed };
        let story = AlertStory {
            alert: alert_of(flood.finding, Stage::Open { since: at("15:00") }),
            steps: vec![
                step("12:00", None, Deed::Opened),
                step("13:00", None, Deed::Cleared),
                step("15:00", Some("ana"), Deed::Reopened { reason: "the mulch still floats".to_owned() }),
            ],
            sent: Vec::new(),
            folded: Vec::new(),
        };
        let present = Present { open, latest: Vec::new(), alerts: Vec::new() };
        let record = TimelineRecord { now: at("18:00"), ..TimelineRecord::default() };
        alert(&system, &story, &present, &record, &Stretch::between(at("06:00"), at("18:00")), Units::Metric)
    }

    #[test]
    fn what_is_over_and_reopened_is_told_in_the_past_and_asks_for_nothing_at_once() {
        let sheet = reopened_flood(Vec::new());
        assert_eq!(sheet.row.headline, "The “quince tree” basin flooded");
        assert_eq!((sheet.row.urgency, sheet.row.is_over), (Urgency::Fine, true));
        assert!(
            sheet.row.stage.starts_with("over, but somebody reopened it: open again"),
            "{}",
            sheet.row.stage
        );
        let reopened = sheet.reopened.as_ref().unwrap();
        assert_eq!((reopened.by.as_str(), reopened.at.at), ("ana", at("15:00")));
        assert_eq!(reopened.over_since.as_ref().unwrap().at, at("13:00"));
        let page = pages::alert_main(&Chrome::default(), &sheet).into_string();
        assert!(page.contains("The water has gone since"), "{page}");
        assert!(page.contains("the mulch still floats"), "{page}");
        assert!(!page.contains("First: ") && !page.contains("is flooding"), "{page}");
        assert!(page.contains("<summary><h2>What to do</h2></summary>"), "it can still be read: {page}");
    }

    #[test]
    fn what_stands_again_calls_as_before() {
        let system = samples::terrace();
        let sheet = reopened_flood(vec![samples::flood(&system, "quince", at("17:00"))]);
        assert_eq!(sheet.row.headline, "The “quince tree” basin is flooding");
        assert_eq!((sheet.row.urgency, sheet.row.is_over), (Urgency::Now, false));
        assert_eq!(sheet.reopened, None);
        assert!(pages::alert_main(&Chrome::default(), &sheet).into_string().contains("First: "));
    }

    #[test]
    fn an_alert_that_has_just_opened_is_not_taken_to_be_over() {
        let system = samples::terrace();
        let flood = samples::flood(&system, "quince", at("12:00")).finding;
        let row = alert_row(&system, &alert_of(flood, Stage::Open { since: at("12:00") }), None, at("12:01"));
        assert_eq!((row.is_over, row.urgency), (false, Urgency::Now));
    }

    #[test]
    fn a_split_that_was_mended_is_told_in_the_past() {
        let system = samples::terrace();
        let mut finding = samples::flood(&system, "quince", at("12:00")).finding;
        finding.kind = FindingKind::UnevenSplit;
        finding.subject = Subject::Splitter(system.splitters[0].id.clone());
        finding.estimate = serde_json::Map::from_iter([("share_a".to_owned(), json!(0.69))]);
        let how = Closing::Cleared;
        let story = AlertStory {
            alert: alert_of(finding, Stage::Closed { at: at("15:00"), how }),
            steps: Vec::new(),
            sent: Vec::new(),
            folded: Vec::new(),
        };
        let present = Present { open: Vec::new(), latest: Vec::new(), alerts: Vec::new() };
        let record = TimelineRecord { now: at("18:00"), ..TimelineRecord::default() };
        let stretch = Stretch::between(at("06:00"), at("18:00"));
        let sheet = alert(&system, &story, &present, &record, &stretch, Units::Metric);
        let gist = sheet.finding.gist.unwrap();
        assert!(gist.starts_with("It sent 69\u{a0}% to "), "{gist}");
    }

    #[test]
    fn a_closed_alert_keeps_what_to_do_and_offers_to_be_reopened() {
        let mut sheet = reopened_flood(Vec::new());
        sheet.row.at = At::Closed;
        let who = Who {
            name: "ana".to_owned(),
            is_person: true,
            csrf: "c".to_owned(),
            sees_everything: true,
            attends: true,
            plans: false,
            governs: false,
        };
        let chrome = Chrome { who: Some(who), ..Chrome::default() };
        let page = pages::alert_main(&chrome, &sheet).into_string();
        assert!(page.contains("<summary><h2>What to do</h2></summary>"), "{page}");
        assert!(page.contains("<legend>Reopen this alert</legend>"), "{page}");
        assert!(!page.contains("What you do about it"), "{page}");
        let (verb, reason) = (page.find(">Reopen</button>").unwrap(), page.find("name=\"reason\"").unwrap());
        assert!(verb < reason, "the verb comes before its details: {page}");
    }

    #[test]
    fn what_somebody_closed_is_told_in_the_present_while_it_stands_and_shows_beside_its_finding() {
        let system = samples::terrace();
        let flood = samples::flood(&system, "quince", at("12:00"));
        let by = |time: &str| Stage::Closed {
            at: at(time),
            how: Closing::Dismissed { by: "ana".to_owned(), reason: "a contractor comes".to_owned() },
        };
        let readings = Readings::new(&system, &[], at("18:00"));
        let told =
            || sheet(&system, &flood, beside(std::slice::from_ref(&flood), &flood), readings, Units::Metric);
        let row = |stage: Stage| {
            alert_row(&system, &alert_of(flood.finding.clone(), stage), Some(&told()), at("18:00"))
        };
        let stands = row(by("15:00"));
        assert!(stands.still_stands && !stands.is_past(), "{stands:?}");
        assert!(!stands.headline.contains("flooded"), "{}", stands.headline);
        // What was closed before the finding was raised anew, or with the finding's end, is over.
        let cleared = Stage::Closed { at: at("15:00"), how: Closing::Cleared };
        for stage in [by("11:00"), cleared] {
            assert!(row(stage.clone()).is_past(), "{stage:?}");
        }
        let mut findings = [told()];
        name_alerts(&mut findings, &system, &[alert_of(flood.finding.clone(), by("15:00"))], at("18:00"));
        let mark = findings[0].alert.as_ref().unwrap();
        assert_eq!(mark.no, AlertNo(7));
        assert_eq!(mark.stage.as_deref(), Some("closed by ana, today 08:00: a contractor comes"));
    }
}
