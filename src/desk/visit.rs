//! The pages' addresses and their fragments.

pub(super) mod alerts;
pub(super) mod place;
pub(super) mod preference;
pub(super) mod received;
pub(super) mod sensor;
pub(super) mod sensors;
pub(super) mod timeline;

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::response::Response;
use maud::Markup;
use serde::Deserialize;

use super::answer::{Fault, html};
use super::fetch;
use super::gather::{self, SystemRecord};
use super::mute;
use super::office::Office;
use super::pages;
use super::people::Visitor;
use super::sheet::{Filter, SystemSheet};
use super::units::Units;
use super::upkeep;
use crate::ledger::{LedgerFault, View};
use crate::model::{Action, BasinIx, EventTime, Id, System};
use timeline::Asked;

/// Past findings on a system's page.
const PAST: usize = 50;

type Shared = State<Arc<Office>>;

/// Which parts of the first page to send.
#[derive(Debug, Deserialize)]
pub(super) struct Parts {
    /// Names with commas between them; all of `main` without.
    parts: Option<String>,
}

/// Whether the system was set up a moment ago.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Saved {
    saved: Option<String>,
}

impl Saved {
    fn words(&self) -> Option<&'static str> {
        match self.saved.as_deref()? {
            "new" => Some("Saved. It is watched from now on, and waits for its first reading."),
            _ => Some("Saved: the change is in force."),
        }
    }
}

/// `GET /`
pub(super) async fn first(visitor: Visitor, State(office): Shared, Query(filter): Query<Filter>) -> Response {
    match office.shelf.recent(visitor.reach()).await {
        Ok(board) => {
            let main = board.main(&filter, unwatched(&office, &visitor));
            html(pages::first(&office.chrome(&visitor, board.stamp), &filter, &main))
        }
        Err(fault) => Fault::from(fault).page(&office, &visitor),
    }
}

/// How many systems in reach are not watched, since their files cannot be read.
fn unwatched(office: &Office, visitor: &Visitor) -> usize {
    office.faulty(visitor).iter().filter(|file| !file.watched).count()
}

/// `GET /fragments/first`
pub(super) async fn first_fragment(
    visitor: Visitor,
    State(office): Shared,
    Query(filter): Query<Filter>,
    Query(wanted): Query<Parts>,
) -> Response {
    match office.shelf.recent(visitor.reach()).await {
        Ok(board) => html(match &wanted.parts {
            Some(names) => board.parts(&filter, &names.split(',').collect::<Vec<_>>()),
            None => board.main(&filter, unwatched(&office, &visitor)).into_string(),
        }),
        Err(fault) => Fault::from(fault).page(&office, &visitor),
    }
}

/// `GET /systems/{id}`
pub(super) async fn system(
    visitor: Visitor,
    State(office): Shared,
    Path(id): Path<String>,
    Query(asked): Query<Asked>,
    Query(saved): Query<Saved>,
    units: Units,
) -> Response {
    let stamp = match office.shelf.recent(visitor.reach()).await {
        Ok(board) => board.stamp,
        Err(fault) => return Fault::from(fault).page(&office, &visitor),
    };
    match system_sheet(&office, &visitor, &id, asked, units).await {
        Ok(mut sheet) => {
            sheet.saved = saved.words();
            html(pages::system(&office.chrome(&visitor, stamp), &sheet, units))
        }
        Err(fault) => fault.page(&office, &visitor),
    }
}

/// `GET /fragments/systems/{id}`
pub(super) async fn system_fragment(
    visitor: Visitor,
    State(office): Shared,
    Path(id): Path<String>,
    Query(asked): Query<Asked>,
    units: Units,
) -> Response {
    match system_sheet(&office, &visitor, &id, asked, units).await {
        Ok(sheet) => html(pages::system_main(&sheet, units).into_string()),
        Err(fault) => fault.page(&office, &visitor),
    }
}

/// `GET /heard`
pub(super) async fn heard(visitor: Visitor, State(office): Shared) -> Response {
    let stamp = office.shelf.recent(visitor.reach()).await.map_or(0, |board| board.stamp);
    match heard_main(&office, &visitor).await {
        Ok(main) => html(pages::heard(&office.chrome(&visitor, stamp), &main)),
        Err(fault) => fault.page(&office, &visitor),
    }
}

/// `GET /fragments/heard`
pub(super) async fn heard_fragment(visitor: Visitor, State(office): Shared) -> Response {
    match heard_main(&office, &visitor).await {
        Ok(main) => html(main.into_string()),
        Err(fault) => fault.page(&office, &visitor),
    }
}

/// Everything else.
pub(super) async fn nowhere(visitor: Visitor, State(office): Shared) -> Response {
    Fault::NoPage.page(&office, &visitor)
}

/// Anything but reading.
pub(super) async fn only_reading(visitor: Visitor, State(office): Shared) -> Response {
    Fault::Method.page(&office, &visitor)
}

/// Asks the ledger on a thread where waiting is allowed.
pub(super) async fn ask<T: Send + 'static>(
    office: &Office,
    question: impl FnOnce(&View) -> Result<T, LedgerFault> + Send + 'static,
) -> Result<T, LedgerFault> {
    let view = office.desk.view.clone();
    tokio::task::spawn_blocking(move || question(&view))
        .await
        .expect("reading the ledger does not panic and is not aborted")
}

/// The system called `id`.
fn found(office: &Office, visitor: &Visitor, id: &str) -> Result<Arc<System>, Fault> {
    office.system(visitor, id).ok_or_else(|| Fault::NoSystem(id.chars().take(Id::MAX_LEN).collect()))
}

async fn system_sheet(
    office: &Office,
    visitor: &Visitor,
    id: &str,
    asked: Asked,
    units: Units,
) -> Result<SystemSheet, Fault> {
    let system = found(office, visitor, id)?;
    let now = office.now();
    let seen = Arc::clone(&system);
    let upkeep = Arc::clone(&office.desk.upkeep.borrow());
    let coming = upkeep::coming_rows(&upkeep, &system, now);
    let due = upkeep::due_soon(&upkeep, std::slice::from_ref(&system), now).remove(&system.id);
    let basins = system.basin_ixs().collect();
    let (mut record, alerts) = ask(office, move |view| {
        let record = record(view, &seen, basins, &asked, now)?;
        let alerts = fetch::alerts(view, Some(&seen.id), &record.open)?;
        Ok((record, alerts))
    })
    .await?;
    (record.coming, record.due) = (coming, due);
    let mut sheet = gather::system(&system, &record, units);
    gather::name_alerts(&mut sheet.card.findings, &system, &alerts, now);
    let advice: Vec<_> = sheet.card.findings.iter().map(|finding| finding.advice).collect();
    upkeep::count_what_to_bring(&mut sheet.card.findings, &upkeep, &system, units);
    let tasks = upkeep::worth_doing(&upkeep, &system, now);
    sheet.bring = upkeep::bring(&advice, tasks.map(|task| (task.key.kind, task.materials.as_slice())), units);
    sheet.may_change = visitor.may(Action::Plan);
    sheet.muted = mute::muted_words(office, &system).await?;
    let link = (office.desk.broker.as_str(), office.desk.files.prefix.as_str());
    sheet.awaited = gather::awaited(&system, &record.latest, link, now);
    Ok(sheet)
}

fn record(
    view: &View,
    system: &System,
    basins: Vec<BasinIx>,
    asked: &Asked,
    now: EventTime,
) -> Result<SystemRecord, LedgerFault> {
    let stretch = asked.stretch(view, system, now)?;
    Ok(SystemRecord {
        open: fetch::open(view, system)?,
        history: view.findings_history(Some(&system.id), EventTime::MAX, PAST)?,
        coming: Vec::new(),
        due: None,
        latest: view.latest(Some(&system.id))?,
        timeline: fetch::timeline(view, system, basins, &stretch, now)?,
        doses: view.doses(&system.id, gather::received_from(system, now), now)?,
        stretch,
    })
}

/// Topics and payloads of every property lie here side by side, so only those who see all of them see it.
async fn heard_main(office: &Office, visitor: &Visitor) -> Result<Markup, Fault> {
    if !visitor.sees_everything() {
        return Err(Fault::Beyond);
    }
    let (now, zone) = (office.now(), office.zone(visitor));
    let read = |view: &View| Ok((view.totals()?, view.refusals()?, view.unassigned()?));
    let (totals, refusals, unassigned) = ask(office, read).await?;
    let systems = office.systems(visitor);
    let chosen: BTreeMap<&str, &System> = systems
        .iter()
        .flat_map(|system| {
            let topics = system.sensor_ixs().filter_map(|ix| system.sensor(ix).wiring.topic.as_deref());
            topics.map(move |topic| (topic, &**system))
        })
        .collect();
    // A topic that nobody chose has the system's id for its second part.
    let page_of = |topic: &str| {
        let named = || {
            let rest = topic.strip_prefix(office.desk.files.prefix.as_str())?.strip_prefix('/')?;
            let id = rest.split('/').next()?;
            systems.iter().find(|system| system.id.as_str() == id).map(|system| &**system)
        };
        let system = chosen.get(topic).copied().or_else(named)?;
        Some((format!("/systems/{}/sensors", system.id), system.name.clone()))
    };
    let mut sheet = gather::heard(&totals, refusals, office.unclaimed(unassigned), page_of, (now, &zone));
    sheet.published = (office.desk.broker.clone(), office.desk.files.prefix.clone());
    Ok(pages::heard_main(&sheet))
}
