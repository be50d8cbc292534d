//! What is done, for pages and programs alike.

use crate::alerts::LONGEST_MUTE;
use crate::desk::office::Office;
use crate::desk::people::{Visitor, only_if_may};
use crate::desk::problem::Problem;
use crate::desk::visit::ask;
use crate::desk::words;
use crate::ledger::{AlertOrder, AlertWork, LedgerFault, Muted, Muting, Order};
use crate::model::{Action, EventTime, Span, System};

/// Longest time, hours.
const LONGEST_H: i64 = LONGEST_MUTE.millis() / Span::HOUR.millis();
/// Longest reason, characters.
pub(super) const REASON_CHARS: usize = 200;

/// Who is at work at `system`, if anybody is.
pub(in crate::desk) async fn muted(office: &Office, system: &System) -> Result<Option<Muted>, LedgerFault> {
    let now = office.now();
    let all = ask(office, move |view| view.muted(now)).await?;
    Ok(all.into_iter().find(|muted| muted.system == system.id))
}

/// The same as a sentence.
pub(in crate::desk) async fn muted_words(
    office: &Office,
    system: &System,
) -> Result<Option<String>, LedgerFault> {
    let now = office.now();
    Ok(muted(office, system).await?.map(|muted| at_work(&muted, system, now)))
}

/// Who is at work at `system`, until when and what for.
pub(in crate::desk) fn at_work(muted: &Muted, system: &System, now: EventTime) -> String {
    let until = words::moment(muted.until, now, &system.zone).words;
    format!("{} is at work here until {until}: {}", muted.by, muted.reason)
}

/// Lets nobody be told of anything at `system` for `hours` from now.
pub(in crate::desk) async fn mute(
    office: &Office,
    visitor: &Visitor,
    system: &System,
    hours: i64,
    reason: &str,
) -> Result<(), Problem> {
    if !(1..=LONGEST_H).contains(&hours) {
        return Err(Problem::wrong(format!("Name from 1 to {LONGEST_H} hours.")));
    }
    let reason = reason.trim();
    if reason.is_empty() || reason.chars().count() > REASON_CHARS {
        return Err(Problem::wrong(format!(
            "Say in a few words what you do there, {REASON_CHARS} characters at most."
        )));
    }
    let until = office.now() + Span::from_hours(hours);
    let muting = Muting { system: system.id.clone(), until, reason: reason.to_owned() };
    place(office, visitor, AlertWork::Mute(muting)).await
}

/// The work at `system` is done.
pub(in crate::desk) async fn unmute(
    office: &Office,
    visitor: &Visitor,
    system: &System,
) -> Result<(), Problem> {
    place(office, visitor, AlertWork::Unmute { system: system.id.clone() }).await
}

async fn place(office: &Office, visitor: &Visitor, work: AlertWork) -> Result<(), Problem> {
    only_if_may(visitor, Action::Attend)?;
    let order = AlertOrder { at: office.now(), by: Some(visitor.name().to_owned()), work };
    office.desk.orders.place(Order::Alert(order)).await?;
    Ok(())
}
