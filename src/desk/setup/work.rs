//! What the page and the interface for programs do about system files, said once.

use std::sync::Arc;
use std::time::Duration;

use serde_json::{Map, Value as Json};

use super::store::{Checked, File};
use crate::alerts::Act;
use crate::desk::office::Office;
use crate::desk::people::{Visitor, only_if_may};
use crate::desk::problem::{FieldFault, Problem};
use crate::desk::visit::ask;
use crate::ledger::{AlertFilter, AlertOrder, AlertWork, Order};
use crate::model::{Action, Id, System};
use crate::systemfile::FaultyFile;

/// Longest wait until a change is in force.
const IN_FORCE: Duration = Duration::from_secs(3);
/// Why alerts of a retired system are closed.
const REASON: &str = "the system was retired";
/// Alerts that one system can have standing: no more than kinds of findings times its parts.
const STANDING: usize = 10_000;

fn checked_id(id: &str) -> Result<Id, Problem> {
    Id::new(id).map_err(|fault| {
        let pointer = "/id".to_owned();
        Problem::wrong_fields(
            "the id cannot be used",
            vec![FieldFault { pointer, detail: fault.to_string() }],
        )
    })
}

/// The id, if the visitor may plan there: a system in force must be within their reach.
fn within_reach(office: &Office, visitor: &Visitor, id: &str) -> Result<Id, Problem> {
    only_if_may(visitor, Action::Plan)?;
    let id = checked_id(id)?;
    let in_force = office.desk.systems.borrow().iter().find(|system| system.id == id).cloned();
    let is_of = |file: &FaultyFile| file.is_of(id.as_str());
    let may = if let Some(system) = in_force {
        visitor.may_see(&system.property)
    } else {
        // Of a file that cannot be taken, somebody has to know whose it is.
        !office.desk.faulty.borrow().iter().any(is_of) || office.faulty(visitor).iter().any(is_of)
    };
    if may { Ok(id) } else { Err(beyond()) }
}

fn beyond() -> Problem {
    Problem::not_found("no system in your reach has this id")
}

fn of_reach(visitor: &Visitor, checked: Checked) -> Result<Checked, Problem> {
    if visitor.may_see(&checked.system.property) {
        return Ok(checked);
    }
    let detail = "this property is not one of those that you look after".to_owned();
    let fault = FieldFault { pointer: "/property".to_owned(), detail };
    Err(Problem::wrong_fields("some fields need another look", vec![fault]))
}

/// The file of a system.
pub(in crate::desk) fn read(office: &Office, visitor: &Visitor, id: &str) -> Result<File, Problem> {
    let id = within_reach(office, visitor, id)?;
    let file = office.desk.files.read(&id)?.ok_or_else(beyond)?;
    // A file that is not in force yet belongs to whom it says.
    let property = file.content.get("property").and_then(Json::as_str).unwrap_or(id.as_str());
    let may =
        Id::new(property).map_or_else(|_| visitor.sees_everything(), |property| visitor.may_see(&property));
    if may { Ok(file) } else { Err(beyond()) }
}

/// What a change would make of a system.
pub(in crate::desk) async fn check(
    office: &Office,
    visitor: &Visitor,
    id: &str,
    change: &Map<String, Json>,
) -> Result<Checked, Problem> {
    let id = within_reach(office, visitor, id)?;
    let checked = office.desk.files.check(&id, change, visitor.sees_everything()).await?;
    of_reach(visitor, checked)
}

/// Changes a system, or makes one where `version` is none, and waits until it is in force.
pub(in crate::desk) async fn save(
    office: &Arc<Office>,
    visitor: &Visitor,
    id: &str,
    version: Option<&str>,
    change: Map<String, Json>,
) -> Result<System, Problem> {
    let known = within_reach(office, visitor, id)?;
    let mut systems = office.desk.systems.clone();
    systems.mark_unchanged();
    let checked = check(office, visitor, id, &change);
    let system = office.desk.files.save(&office.turn, &known, version, checked).await?;
    // Longer only if the writer is behind; the change is on the disk either way.
    let _ = tokio::time::timeout(IN_FORCE, systems.changed()).await;
    Ok(system)
}

/// Goes back to the version before, or brings a retired system back.
pub(in crate::desk) async fn undo(
    office: &Arc<Office>,
    visitor: &Visitor,
    id: &str,
) -> Result<System, Problem> {
    let id = within_reach(office, visitor, id)?;
    let may = |system: &System| visitor.may_see(&system.property);
    let mut systems = office.desk.systems.clone();
    systems.mark_unchanged();
    let system = if retired(office, visitor, id.as_str()).is_some() {
        office.desk.files.bring_back(&office.turn, &id, may).await?
    } else {
        read(office, visitor, id.as_str())?;
        office.desk.files.undo(&office.turn, &id, may).await?
    };
    let _ = tokio::time::timeout(IN_FORCE, systems.changed()).await;
    Ok(system)
}

/// The retired system called `id`, if there is one that the visitor may see.
pub(in crate::desk) fn retired(office: &Office, visitor: &Visitor, id: &str) -> Option<System> {
    let id = Id::new(id).ok()?;
    office.desk.files.retired(&id).filter(|system| visitor.may_see(&system.property))
}

/// Every retired system that the visitor may see, in the order of their ids.
pub(in crate::desk) fn all_retired(office: &Office, visitor: &Visitor) -> Vec<System> {
    let mut found = office.desk.files.all_retired();
    found.retain(|system| visitor.may_see(&system.property));
    found
}

/// Retires a system: its file is laid aside, its alerts are closed in the visitor's name, and nothing watches it any
/// more. `version` is the one that the visitor looked at.
pub(in crate::desk) async fn retire(
    office: &Arc<Office>,
    visitor: &Visitor,
    id: &str,
    version: Option<&str>,
) -> Result<(), Problem> {
    let known = within_reach(office, visitor, id)?;
    if retired(office, visitor, id).is_none() {
        read(office, visitor, id)?;
    }
    let mut systems = office.desk.systems.clone();
    systems.mark_unchanged();
    let end = close_alerts(office, visitor, &known);
    office.desk.files.retire(&office.turn, &known, version, end).await?;
    let _ = tokio::time::timeout(IN_FORCE, systems.changed()).await;
    Ok(())
}

/// Closes every alert of a system that stands, saying why. What cannot be closed now is so when its engine ends.
async fn close_alerts(office: &Office, visitor: &Visitor, id: &Id) {
    let filter = AlertFilter { system: Some(id.clone()), standing: Some(true), ..AlertFilter::default() };
    let standing = ask(office, move |view| view.alerts(&filter, STANDING)).await.unwrap_or_default();
    for alert in standing {
        let act = Act::Close { reason: REASON.to_owned() };
        let work = AlertWork::Step { alert: alert.no, act };
        let order = AlertOrder { at: office.now(), by: Some(visitor.name().to_owned()), work };
        // One that was folded under another is closed with it.
        let _ = office.desk.orders.place(Order::Alert(order)).await;
    }
}
