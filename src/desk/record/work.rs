//! What people may do with service records, said once.

use std::sync::Arc;

use crate::desk::office::Office;
use crate::desk::people::{Visitor, only_if_may};
use crate::desk::problem::{FieldFault, Problem};
use crate::desk::visit::ask;
use crate::ledger::{
    NewPhoto, Order, PhotoKind, Reply, ServiceDeed, ServiceFilter, ServiceOrder, ServiceStory, StoredService,
};
use crate::model::{Action, Id, RecordKey, ServiceRecord, System};

use super::photo;

/// How a record is changed.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::desk) enum Change {
    /// It says something else from now on.
    Correct(ServiceRecord),
    /// It should not have been written.
    Withdraw,
}

/// Writes a record about `system`; the same one again changes nothing.
pub(in crate::desk) async fn write(
    office: &Office,
    visitor: &Visitor,
    system: &System,
    key: RecordKey,
    record: ServiceRecord,
) -> Result<(), Problem> {
    only_if_may(visitor, Action::Attend)?;
    right(office, system, &record)?;
    place(office, visitor, &system.id, key, ServiceDeed::Record(Box::new(record))).await.map(drop)
}

/// Changes the version `replaces` of a record, for a reason.
pub(in crate::desk) async fn change(
    office: &Office,
    visitor: &Visitor,
    key: RecordKey,
    (replaces, reason): (u32, String),
    change: Change,
) -> Result<(), Problem> {
    only_if_may(visitor, Action::Attend)?;
    let (story, system) = story(office, visitor, &key).await?;
    let deed = match change {
        Change::Correct(record) => {
            if story.versions.last().is_some_and(|last| last.record.subject != record.subject) {
                let detail = "a record stays with its part: withdraw this one and write another";
                return Err(fault("subject", detail));
            }
            right(office, &system, &record)?;
            ServiceDeed::Correct { replaces, record: Box::new(record), reason }
        }
        Change::Withdraw => ServiceDeed::Withdraw { replaces, reason },
    };
    place(office, visitor, &system.id, key, deed).await.map(drop)
}

/// Adds a photograph to a record, without what says where it was taken; answers with its number.
pub(in crate::desk) async fn add_photo(
    office: &Office,
    visitor: &Visitor,
    key: RecordKey,
    bytes: &[u8],
) -> Result<u64, Problem> {
    only_if_may(visitor, Action::Attend)?;
    let (_, system) = story(office, visitor, &key).await?;
    let (kind, bytes) = photo::stripped(bytes).map_err(|fault| Problem::wrong(fault.to_string()))?;
    let print = crate::secrets::digest_text(&bytes);
    let photo = NewPhoto { kind, print, bytes: bytes.into() };
    match place(office, visitor, &system.id, key, ServiceDeed::Photo(photo)).await? {
        Reply::Number(number) => Ok(number),
        Reply::Done => Err(Problem::failed("the photograph was not numbered")),
    }
}

/// The record of that key with its past, and its system, if the visitor may see it.
pub(in crate::desk) async fn story(
    office: &Office,
    visitor: &Visitor,
    key: &RecordKey,
) -> Result<(ServiceStory, Arc<System>), Problem> {
    let asked = key.clone();
    let story = ask(office, move |view| view.service(&asked)).await?;
    let seen = story.and_then(|story| {
        let system = office.system(visitor, story.versions.first()?.system.as_str())?;
        Some((story, system))
    });
    seen.ok_or_else(|| Problem::not_found("no record in your reach has this key"))
}

/// One photograph of a record that the visitor may see.
pub(in crate::desk) async fn photograph(
    office: &Office,
    visitor: &Visitor,
    key: RecordKey,
    no: u32,
) -> Result<(PhotoKind, Vec<u8>), Problem> {
    story(office, visitor, &key).await?;
    let found = ask(office, move |view| view.service_photo(&key, no)).await?;
    found.ok_or_else(|| Problem::not_found("the record has no such photograph"))
}

/// Records of `systems`, which the visitor may see, newest work first.
pub(in crate::desk) async fn listed(
    office: &Office,
    systems: &[Arc<System>],
    filter: ServiceFilter,
    limit: usize,
) -> Result<Vec<StoredService>, Problem> {
    let systems = Some(systems.iter().map(|system| system.id.clone()).collect());
    Ok(ask(office, move |view| view.services(&ServiceFilter { systems, ..filter }, limit)).await?)
}

fn right(office: &Office, system: &System, record: &ServiceRecord) -> Result<(), Problem> {
    let faults = record.faults(system, office.now());
    if faults.is_empty() {
        return Ok(());
    }
    let told: Vec<_> = faults.iter().map(|fault| fault.says.clone()).collect();
    let fields = faults
        .into_iter()
        .map(|fault| FieldFault { pointer: format!("/{}", fault.field), detail: fault.says })
        .collect();
    Err(Problem::wrong_fields(told.join("; "), fields))
}

pub(super) fn fault(field: &str, detail: &str) -> Problem {
    let fault = FieldFault { pointer: format!("/{field}"), detail: detail.to_owned() };
    Problem::wrong_fields(detail, vec![fault])
}

async fn place(
    office: &Office,
    visitor: &Visitor,
    system: &Id,
    key: RecordKey,
    deed: ServiceDeed,
) -> Result<Reply, Problem> {
    let by = visitor.name().to_owned();
    let order = ServiceOrder { at: office.now(), by, system: system.clone(), key, deed };
    Ok(office.desk.orders.place(Order::Service(order)).await?)
}
