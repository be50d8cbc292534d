//! From what the ledger holds to what people are to be told.

use std::cell::OnceCell;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use jiff::tz::TimeZone;

use super::body::Body;
use crate::alerts::{Act, Facts, Notice, Plan, Routing, Stage, plan};
use crate::ledger::{
    AlertOrder, AlertWork, LedgerFault, NewNotice, NoticeOrder, Order, PlanningFacts, StoredAlert, View,
};
use crate::model::{EventTime, FindingKind, Id, Subject, System};

/// The orders that bring people up to date at `now`.
///
/// # Errors
/// When the ledger cannot be read.
pub fn orders(
    view: &View,
    routing: &Routing,
    systems: &[Arc<System>],
    now: EventTime,
) -> Result<Vec<Order>, LedgerFault> {
    let muted: BTreeSet<Id> = view.muted(now)?.into_iter().map(|muted| muted.system).collect();
    let systems: BTreeMap<&Id, &System> = systems.iter().map(|system| (&system.id, &**system)).collect();
    let facts = view.planning_facts()?.into_iter().map(|alert| {
        let system = systems.get(&alert.system);
        facts(alert, system.copied(), &muted)
    });
    let facts: Vec<Facts> = facts.collect();
    let Plan { notices, let_rest, wake } = plan(now, routing, &facts, &view.recent_notices(now)?);
    let mut orders: Vec<Order> = wake
        .into_iter()
        .map(|alert| {
            let work = AlertWork::Step { alert, act: Act::Wake };
            Order::Alert(AlertOrder { at: now, by: None, work })
        })
        .collect();
    if !notices.is_empty() || !let_rest.is_empty() {
        let open = OnceCell::new();
        let notices = notices.into_iter().map(|notice| written(view, routing, notice, &open));
        let notices = notices.collect::<Result<Vec<_>, _>>()?;
        orders.push(Order::Notice(NoticeOrder::Tell { at: now, notices, let_rest }));
    }
    Ok(orders)
}

/// Whether nobody did anything about it yet.
fn is_as_raised(alert: &StoredAlert) -> bool {
    matches!(alert.stage, Stage::Open { since } if since == alert.opened_at)
}

fn facts(alert: PlanningFacts, system: Option<&System>, muted: &BTreeSet<Id>) -> Facts {
    Facts {
        no: alert.no,
        property: system.map(|system| system.property.clone()),
        zone: system.map_or(TimeZone::UTC, |system| system.zone.clone()),
        kind: alert.kind,
        severity: alert.severity,
        stage: alert.stage,
        calls: alert.calls,
        hushed: alert.folded || muted.contains(&alert.system),
        told: alert.told,
    }
}

/// What is wrong somewhere.
type Wrong = (Id, FindingKind, Subject);

/// The notice in facts; `open` keeps what is wrong just now, once somebody asked.
fn written(
    view: &View,
    routing: &Routing,
    notice: Notice,
    open: &OnceCell<BTreeSet<Wrong>>,
) -> Result<NewNotice, LedgerFault> {
    let numbers: Vec<_> = notice.tells.iter().map(|(no, _)| *no).chain(notice.over.iter().copied()).collect();
    let alerts = view.alerts_numbered(&numbers)?;
    // An alert that stands as it was raised stands with its finding.
    if open.get().is_none() && alerts.iter().any(|alert| !is_as_raised(alert)) {
        let found = view.findings_open()?.into_iter();
        // It is empty so far, as was asked above.
        let _ = open.set(found.map(|it| (it.system, it.finding.kind, it.finding.subject)).collect());
    }
    let is_open = |alert: &StoredAlert| {
        let wrong = (alert.system.clone(), alert.finding.kind, alert.finding.subject.clone());
        open.get().is_none_or(|open| open.contains(&wrong))
    };
    let body = Body::of(&notice, &alerts, |alert| is_as_raised(alert) || is_open(alert));
    let channels = routing.contacts.get(&notice.recipient).map(|contact| contact.channels.clone());
    Ok(NewNotice {
        channels: channels.unwrap_or_default(),
        body: serde_json::to_string(&body).expect("findings came from JSON and go back to it"),
        recipient: notice.recipient,
        why: notice.why,
        tells: notice.tells,
        over: notice.over,
    })
}
