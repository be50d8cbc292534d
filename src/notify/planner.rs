//! From what the ledger holds to what people are to be told.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use jiff::tz::TimeZone;

use super::body::Body;
use crate::alerts::{Act, Facts, Notice, Plan, Routing, plan};
use crate::ledger::{AlertOrder, AlertWork, LedgerFault, NewNotice, NoticeOrder, Order, PlanningFacts, View};
use crate::model::{EventTime, Id, System};

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
        let notices = notices.into_iter().map(|notice| written(view, routing, notice));
        let notices = notices.collect::<Result<Vec<_>, _>>()?;
        orders.push(Order::Notice(NoticeOrder::Tell { at: now, notices, let_rest }));
    }
    Ok(orders)
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

fn written(view: &View, routing: &Routing, notice: Notice) -> Result<NewNotice, LedgerFault> {
    let numbers: Vec<_> = notice.tells.iter().map(|(no, _)| *no).chain(notice.over.iter().copied()).collect();
    let body = Body::of(&notice, &view.alerts_numbered(&numbers)?);
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
