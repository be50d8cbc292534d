//! The pages about alerts, and what people do on them.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::http::Uri;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::{Shared, ask};
use crate::alerts::{Act, AlertNo, Stage};
use crate::desk::answer::{Fault, html};
use crate::desk::gather::Present;
use crate::desk::office::Office;
use crate::desk::people::{Fields, Visitor, only_if_may};
use crate::desk::problem::Problem;
use crate::desk::sheet::{
    AlertChoice, AlertRow, AlertSheet, AlertSieve, AlertsAsked, AlertsSheet, StageCounts, Stretch, TAKE_BACK,
};
use crate::desk::shelf::Drawn;
use crate::desk::units::Units;
use crate::desk::{fetch, gather, pages, upkeep, words};
use crate::ledger::{AlertFilter, AlertOrder, AlertStory, AlertWork, LedgerFault, Order, StoredAlert};
use crate::model::{Action, BasinIx, EventTime, Span, Subject, System};

/// Alerts that a list shows at most.
const LISTED: usize = 300;
/// Alerts that stand are counted up to so many: a storm is not read whole for each look at the list.
const COUNTED: usize = 2_000;
/// What the picture shows before an alert, and at most after it.
const BEFORE: Span = Span::from_days(5);
const AFTER: Span = Span::from_days(40);
/// Alerts that one form acts upon at most.
const AT_ONCE: usize = 300;

/// What was done with alerts of a list a moment ago.
#[derive(Debug, Default, Deserialize)]
pub(in crate::desk) struct Done {
    /// The act.
    #[serde(default)]
    did: String,
    /// With how many.
    #[serde(default)]
    with: usize,
}

impl Done {
    fn words(&self) -> Option<String> {
        let alerts = match self.with {
            0 => return None,
            1 => "One alert".to_owned(),
            many => format!("{} alerts", words::capitalised(&words::count(many))),
        };
        let done = match self.did.as_str() {
            "acknowledge" => "acknowledged",
            "snooze" => "snoozed",
            "close" => "closed",
            TAKE_BACK => "taken back",
            _ => return None,
        };
        Some(format!("{alerts} {done}."))
    }
}

/// `GET /alerts`
pub(in crate::desk) async fn alerts(
    visitor: Visitor,
    State(office): Shared,
    Query(asked): Query<AlertsAsked>,
    Query(done): Query<Done>,
) -> Response {
    match listed(&office, &visitor, asked).await {
        Ok((stamp, mut sheet)) => {
            sheet.done = done.words();
            html(pages::alerts(&office.chrome(&visitor, stamp), &sheet))
        }
        Err(fault) => fault.page(&office, &visitor),
    }
}

/// `GET /fragments/alerts`
pub(in crate::desk) async fn alerts_fragment(
    visitor: Visitor,
    State(office): Shared,
    Query(asked): Query<AlertsAsked>,
) -> Response {
    match listed(&office, &visitor, asked).await {
        Ok((stamp, sheet)) => html(pages::alerts_main(&office.chrome(&visitor, stamp), &sheet).into_string()),
        Err(fault) => fault.page(&office, &visitor),
    }
}

async fn listed(office: &Office, visitor: &Visitor, asked: AlertsAsked) -> Result<(u64, AlertsSheet), Fault> {
    let board = office.shelf.recent(visitor.reach()).await?;
    let (sieve, puzzle) = match asked.understood(&office.zone(visitor)) {
        Ok(sieve) => (Some(sieve), None),
        Err(puzzle) => (None, Some(puzzle)),
    };
    let choice = sieve.as_ref().map_or(AlertChoice::Standing, |sieve| sieve.choice);
    let (found, counts) = match sieve {
        Some(mut sieve) => {
            sieve.filter.causes_only = true;
            found(office, visitor, &sieve).await?
        }
        None => (Vec::new(), None),
    };
    let more = found.len() == LISTED;
    let now = office.now();
    let mut rows = rows_by(&board, &found, now);
    if rows.iter().any(|row| row.is_over) {
        // A board that is a moment old may not know of a finding that has just come back.
        let latest = office.shelf.latest(visitor.reach()).await?;
        rows = rows_by(&latest, &found, now);
    }
    if !matches!(choice, AlertChoice::Closed | AlertChoice::All) {
        rows.sort_by_key(|row| row.urgency);
    }
    let choices = board.choices.clone();
    Ok((
        board.stamp,
        AlertsSheet {
            asked,
            choice,
            puzzle,
            choices,
            counts,
            rows,
            more,
            problem: None,
            ticked: Vec::new(),
            done: None,
        },
    ))
}

/// The alerts of a list, and how many stand that are otherwise like them, unless those are too many to count.
async fn found(
    office: &Office,
    visitor: &Visitor,
    sieve: &AlertSieve,
) -> Result<(Vec<(StoredAlert, Arc<System>)>, Option<StageCounts>), LedgerFault> {
    let filter = AlertFilter { standing: Some(true), ..sieve.filter.clone() };
    let all = AlertSieve { choice: AlertChoice::Standing, filter, ..sieve.clone() };
    let mut standing = in_reach(office, visitor, &all, COUNTED).await?;
    let counts = StageCounts::of(standing.iter().map(|(alert, _)| &alert.stage));
    let counts = (standing.len() < COUNTED).then_some(counts);
    if counts.is_none() || matches!(sieve.choice, AlertChoice::Closed | AlertChoice::All) {
        return Ok((in_reach(office, visitor, sieve, LISTED).await?, counts));
    }
    standing.retain(|(alert, _)| sieve.choice.lets_through(&alert.stage));
    standing.truncate(LISTED);
    Ok((standing, counts))
}

/// What the list says of each of `found`, by the findings that `board` knows.
fn rows_by(board: &Drawn, found: &[(StoredAlert, Arc<System>)], now: EventTime) -> Vec<AlertRow> {
    let open = board.findings(&found.iter().map(|(_, system)| &system.id).collect());
    let row = |(alert, system): &(StoredAlert, Arc<System>)| {
        let finding = open
            .get(gather::anchor(&system.id, alert.finding.kind, &alert.finding.subject).as_str())
            .copied();
        gather::alert_row(system, alert, finding, now)
    };
    found.iter().map(row).collect()
}

/// The newest alerts in the visitor's reach that `sieve` lets through, at most `limit`.
pub(in crate::desk) async fn in_reach(
    office: &Office,
    visitor: &Visitor,
    sieve: &AlertSieve,
    limit: usize,
) -> Result<Vec<(StoredAlert, Arc<System>)>, LedgerFault> {
    /// Alerts read at a time; those that are not wanted are passed over.
    const STRIDE: usize = 500;
    let mut filter = sieve.filter.clone();
    let mut found = Vec::new();
    while found.len() < limit {
        let asked = filter.clone();
        let read = ask(office, move |view| view.alerts(&asked, STRIDE)).await?;
        filter.before = read.last().map(|alert| alert.no);
        let is_last = read.len() < STRIDE;
        found.extend(read.into_iter().filter(|alert| sieve.choice.lets_through(&alert.stage)).filter_map(
            |alert| {
                let system = office.system(visitor, alert.system.as_str())?;
                let wanted =
                    sieve.property.as_ref().is_none_or(|property| system.property.as_str() == property);
                wanted.then_some((alert, system))
            },
        ));
        if is_last {
            break;
        }
    }
    found.truncate(limit);
    Ok(found)
}

/// `GET /alerts/{no}`
pub(in crate::desk) async fn alert(
    visitor: Visitor,
    State(office): Shared,
    Path(no): Path<u64>,
    units: Units,
) -> Response {
    match alert_sheet(&office, &visitor, AlertNo(no), units).await {
        Ok((stamp, sheet)) => html(pages::alert(&office.chrome(&visitor, stamp), &sheet)),
        Err(fault) => fault.page(&office, &visitor),
    }
}

/// `GET /fragments/alerts/{no}`
pub(in crate::desk) async fn alert_fragment(
    visitor: Visitor,
    State(office): Shared,
    Path(no): Path<u64>,
    units: Units,
) -> Response {
    match alert_sheet(&office, &visitor, AlertNo(no), units).await {
        Ok((stamp, sheet)) => html(pages::alert_main(&office.chrome(&visitor, stamp), &sheet).into_string()),
        Err(fault) => fault.page(&office, &visitor),
    }
}

/// The alert with its system, if the visitor may see it.
async fn seen(office: &Office, visitor: &Visitor, no: AlertNo) -> Result<(AlertStory, Arc<System>), Fault> {
    let story = ask(office, move |view| view.alert(no)).await?.ok_or(Fault::NoPage)?;
    let system = office.system(visitor, story.alert.system.as_str()).ok_or(Fault::NoPage)?;
    Ok((story, system))
}

async fn alert_sheet(
    office: &Office,
    visitor: &Visitor,
    no: AlertNo,
    units: Units,
) -> Result<(u64, AlertSheet), Fault> {
    let stamp = office.shelf.recent(visitor.reach()).await?.stamp;
    let (story, system) = seen(office, visitor, no).await?;
    let now = office.now();
    let stretch = around(&story.alert, now);
    let basins = concerned(&system, &story.alert.finding.subject);
    let asked = Arc::clone(&system);
    let of_system = AlertFilter { system: Some(system.id.clone()), ..AlertFilter::default() };
    let (present, record) = ask(office, move |view| {
        let present = Present {
            open: fetch::open(view, &asked)?,
            latest: view.latest(Some(&asked.id))?,
            alerts: view.alerts(&of_system, LISTED)?,
        };
        Ok((present, fetch::timeline(view, &asked, basins, &stretch, now)?))
    })
    .await?;
    let mut sheet = gather::alert(&system, &story, &present, &record, &stretch, units);
    let upkeep = Arc::clone(&office.desk.upkeep.borrow());
    upkeep::count_what_to_bring(std::slice::from_mut(&mut sheet.finding), &upkeep, &system, units);
    Ok((stamp, sheet))
}

/// The stretch of time in which an alert shows.
fn around(alert: &StoredAlert, now: EventTime) -> Stretch {
    let end = match alert.stage {
        Stage::Closed { at, .. } => at + Span::DAY,
        Stage::Open { .. } | Stage::Acknowledged { .. } | Stage::Snoozed { .. } => now,
    };
    Stretch::between(alert.opened_at - BEFORE, end.min(alert.opened_at + AFTER).min(now))
}

/// Basins that a finding about `subject` shows in: those that share water with it.
fn concerned(system: &System, subject: &Subject) -> Vec<BasinIx> {
    let basin = match subject {
        Subject::Basin(id) => system.find_basin(id.as_str()),
        Subject::Sensor(name) => name.split_once('/').and_then(|(basin, _)| system.find_basin(basin)),
        Subject::Splitter(_) | Subject::Source | Subject::Diverter => None,
    };
    let splitter = match subject {
        Subject::Splitter(id) => system.find_splitter(id.as_str()),
        Subject::Basin(_) | Subject::Sensor(_) | Subject::Source | Subject::Diverter => {
            basin.and_then(|basin| system.tree().parent(basin)).map(|step| step.splitter)
        }
    };
    let shares =
        |ix: &BasinIx| splitter.is_none_or(|splitter| system.tree().side_of(splitter, *ix).is_some());
    system.basin_ixs().filter(shares).collect()
}

/// `POST /alerts`: one act with one alert or several. What cannot be done brings the same page again, which says why.
pub(in crate::desk) async fn act(
    visitor: Visitor,
    State(office): Shared,
    units: Units,
    fields: Fields,
) -> Response {
    let back = fields.get("back");
    let back = if back.starts_with("/alerts") { back } else { "/alerts" };
    match acted(&office, &visitor, &fields).await {
        Ok(()) if is_list(back) => {
            let joint = if back.contains('?') { '&' } else { '?' };
            let with = ticked(&fields).len();
            Redirect::to(&format!("{back}{joint}did={}&with={with}", act_named(&fields))).into_response()
        }
        Ok(()) => Redirect::to(back).into_response(),
        Err(problem) => match again(&office, &visitor, back, (&fields, &problem), units).await {
            Ok(page) => (problem.status(), html(page)).into_response(),
            Err(fault) => fault.page(&office, &visitor),
        },
    }
}

/// Whether the page at `back` is a list, which shows what was done no longer.
fn is_list(back: &str) -> bool {
    back == "/alerts" || back.starts_with("/alerts?")
}

/// The act that was asked for, if there is such a one.
fn act_named(fields: &Fields) -> &'static str {
    let acts = ["acknowledge", "snooze", "close", TAKE_BACK];
    acts.into_iter().find(|act| *act == fields.get("act")).unwrap_or_default()
}

/// The page at `back` with what is wrong beside the buttons.
async fn again(
    office: &Office,
    visitor: &Visitor,
    back: &str,
    (fields, problem): (&Fields, &Problem),
    units: Units,
) -> Result<String, Fault> {
    let says = Some(problem.detail().to_owned());
    if let Some(no) = back.strip_prefix("/alerts/").and_then(|no| no.parse().ok()) {
        let (stamp, mut sheet) = alert_sheet(office, visitor, AlertNo(no), units).await?;
        sheet.problem = says;
        return Ok(pages::alert(&office.chrome(visitor, stamp), &sheet));
    }
    let asked = back.parse::<Uri>().ok().and_then(|uri| Query::try_from_uri(&uri).ok());
    let (stamp, mut sheet) =
        listed(office, visitor, asked.map_or_else(AlertsAsked::default, |Query(asked)| asked)).await?;
    sheet.problem = says;
    sheet.ticked = ticked(fields);
    Ok(pages::alerts(&office.chrome(visitor, stamp), &sheet))
}

fn ticked(fields: &Fields) -> Vec<AlertNo> {
    fields.all("alert").filter_map(|no| no.parse().ok().map(AlertNo)).take(AT_ONCE).collect()
}

async fn acted(office: &Office, visitor: &Visitor, fields: &Fields) -> Result<(), Problem> {
    only_if_may(visitor, Action::Attend)?;
    let ticked = ticked(fields);
    let act = wanted(fields, office.now());
    if ticked.is_empty() {
        return Err(Problem::wrong("Tick at least one alert first."));
    }
    step_all(office, visitor, ticked, &act?).await
}

/// Takes `act` with every one of `alerts`; with none, if one of them is not there or beyond reach.
pub(in crate::desk) async fn step_all(
    office: &Office,
    visitor: &Visitor,
    alerts: Vec<AlertNo>,
    act: &Act,
) -> Result<(), Problem> {
    only_if_may(visitor, Action::Attend)?;
    if alerts.is_empty() || alerts.len() > AT_ONCE {
        return Err(Problem::wrong(format!("Name from 1 to {AT_ONCE} alerts.")));
    }
    for alert in &alerts {
        if seen(office, visitor, *alert).await.is_err() {
            return Err(Problem::not_found(format!("There is no alert {alert}.")));
        }
    }
    let at = office.now();
    for alert in alerts {
        let work = AlertWork::Step { alert, act: act.clone() };
        let order = AlertOrder { at, by: Some(visitor.name().to_owned()), work };
        office.desk.orders.place(Order::Alert(order)).await?;
    }
    Ok(())
}

fn wanted(fields: &Fields, at: EventTime) -> Result<Act, Problem> {
    let reason = fields.get("reason").trim().to_owned();
    match fields.get("act") {
        "acknowledge" => Ok(Act::Acknowledge),
        "snooze" => {
            let hours: i64 = fields.get("hours").parse().unwrap_or(24);
            Ok(Act::Snooze { until: at + Span::from_hours(hours.clamp(1, 24 * 90)) })
        }
        TAKE_BACK => Ok(Act::Withdraw),
        "close" if reason.is_empty() => {
            Err(Problem::wrong("Write after “Close because” why it is closed although it still stands."))
        }
        "close" => Ok(Act::Close { reason }),
        "reopen" => Ok(Act::Reopen { reason }),
        _ => Err(Problem::wrong("There is no such step.")),
    }
}
