//! The page on which a system is set up. Its form is made by the scripts `setup*.js` from the file's
//! content.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use axum::Router;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;
use jiff::tz::TimeZone;
use maud::html;
use serde_json::{Map, Value, json};

use super::faulty::{self, Trouble};
use super::work;
use crate::desk::answer::{Fault, html as page_of};
use crate::desk::assets;
use crate::desk::office::Office;
use crate::desk::pages::{Page, layout_with};
use crate::desk::people::Visitor;
use crate::desk::units::Units;
use crate::desk::visit::ask;
use crate::desk::words;
use crate::ledger::{LedgerFault, View};
use crate::model::{Action, Id, Soil};

/// Topics offered for assigning.
const OFFERED: usize = 200;

pub(super) fn routes() -> Router<Arc<Office>> {
    Router::new().route("/setup", get(new)).route("/setup/{id}", get(change))
}

/// `GET /setup`
async fn new(visitor: Visitor, State(office): State<Arc<Office>>, units: Units) -> Response {
    page(&office, &visitor, None, units).await
}

/// `GET /setup/{id}`
async fn change(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(id): Path<String>,
    units: Units,
) -> Response {
    page(&office, &visitor, Some(&id), units).await
}

async fn page(office: &Arc<Office>, visitor: &Visitor, id: Option<&str>, units: Units) -> Response {
    if !visitor.may(Action::Plan) {
        return Fault::Beyond.page(office, visitor);
    }
    let troubles = match faulty::troubles(office, visitor, id).await {
        Ok(troubles) => troubles,
        Err(fault) => return Fault::from(fault).page(office, visitor),
    };
    let file = match id.map(|id| work::read(office, visitor, id)).transpose() {
        Ok(Some(file)) if !has_form(&file.content) => return unreadable(office, visitor, &troubles),
        Ok(file) => file,
        Err(_) if id.is_some() && !troubles.is_empty() => return unreadable(office, visitor, &troubles),
        Err(_) if id.is_some_and(|id| work::retired(office, visitor, id).is_some()) => {
            return Redirect::to(&format!("/setup/{}/retire", id.unwrap_or_default())).into_response();
        }
        Err(problem) => return problem.into_response(),
    };
    let retired = if id.is_none() { work::all_retired(office, visitor) } else { Vec::new() };
    let strays = match strays(office, visitor).await {
        Ok(strays) => strays,
        Err(fault) => return Fault::from(fault).page(office, visitor),
    };
    let given = json!({
        "id": id,
        "content": file.as_ref().map(|file| &file.content),
        "version": file.as_ref().map(|file| &file.version),
        "strays": strays,
        "units": units.name(),
        "prefix": office.desk.files.prefix,
        "properties": properties(office, visitor),
        "everywhere": visitor.sees_everything(),
        "zone": likely_zone(office, visitor),
    });
    let title = if id.is_some() { "Change a system" } else { "A new system" };
    let main = html! {
        @if let Some(id) = id { p class="trail" { a href={ "/systems/" (id) } { "Back to the system" } } }
        h1 id="title" tabindex="-1" { (title) }
        p class="hint" id="intro" {
            @if id.is_some() { "What is not filled in has a usual value." }
            @else { "Fill in what you know: four outlets lie ready, and what is not filled in has a usual value." }
            " Nothing is kept until you save."
        }
        @if id.is_some() { @for trouble in &troubles { (faulty::notice(visitor, trouble, true)) } }
        noscript { p class="problem" { "This page needs scripts. Without them, write the system file by hand: see the guide." } }
        @if file.as_ref().is_some_and(|file| file.can_undo) {
            p { button type="button" class="plain" id="undo" { "Undo the last change" } }
        }
        @if id.is_none() && !troubles.is_empty() { (faulty::list(visitor, &troubles)) }
        div id="setup" data-given=(given) {}
        @if let Some(id) = id {
            section { p { a class="target" href={ "/setup/" (id) "/retire" } { "Retire this system" } ", if it is no longer in use." } }
        }
        @if !retired.is_empty() {
            section {
                h2 { "Retired systems" }
                p { "They are watched no more, and can be brought back." }
                ul { @for system in &retired { li { a class="target" href={ "/setup/" (system.id) "/retire" } { (system.name) } } } }
            }
        }
        datalist id="zones" { @for zone in jiff::tz::db().available() { option value=(zone.to_string()) label=(words::city_named(zone.as_str())) {} } }
        template id="soils" { @for soil in Soil::ALL { option value=(soil.name()) { (soil.name().replace('-', " ")) } } }
    };
    let here = if id.is_some() { "" } else { "/setup" };
    let page = Page { title, here, fragment: "", live: false };
    let assets: Vec<_> = [&assets::FORMS, &assets::SETUP_STYLE].into_iter().chain(&assets::SETUP).collect();
    page_of(layout_with(&office.chrome(visitor, 0), &page, &assets, &main).into_string())
}

/// Whether the form can show a file: what it lists has to be a list.
fn has_form(content: &Map<String, Value>) -> bool {
    let entries = |key: &str| match content.get(key) {
        None => true,
        Some(Value::Array(entries)) => entries.iter().all(Value::is_object),
        Some(_) => false,
    };
    entries("splitter") && entries("basin") && content.get("source").is_none_or(Value::is_object)
}

/// The page about a file that cannot be shown as a form.
fn unreadable(office: &Office, visitor: &Visitor, troubles: &[Trouble]) -> Response {
    let main = html! {
        @for trouble in troubles {
            h1 { (trouble.file.title()) }
            (faulty::notice(visitor, trouble, false))
        }
    };
    let page = Page { title: "A system file that cannot be read", here: "", fragment: "", live: false };
    page_of(layout_with(&office.chrome(visitor, 0), &page, &[&assets::FORMS], &main).into_string())
}

/// Properties within reach, each with the zone of its systems where they share one.
fn properties(office: &Office, visitor: &Visitor) -> Vec<Value> {
    let systems = office.systems(visitor);
    let mut zones: BTreeMap<&Id, BTreeSet<Option<&str>>> = BTreeMap::new();
    for system in systems.iter() {
        zones.entry(&system.property).or_default().insert(system.zone.iana_name());
    }
    let one = |(id, zones): (&Id, BTreeSet<Option<&str>>)| {
        let zone = zones.first().copied().flatten().filter(|_| zones.len() == 1);
        json!({ "id": id, "title": words::title(id.as_str()), "zone": zone })
    };
    zones.into_iter().map(one).collect()
}

/// The zone of a new system where neither its property nor the browser tells one: that of all systems in sight, else
/// the server's own. UTC is nobody's yard, and so is not proposed.
fn likely_zone(office: &Office, visitor: &Visitor) -> Option<String> {
    let known = [office.zone(visitor), TimeZone::system()];
    let mut names = known.iter().filter_map(TimeZone::iana_name);
    names.find(|name| !matches!(*name, "UTC" | "Etc/UTC")).map(str::to_owned)
}

/// Topics that nobody claims, newest first, with a glimpse of their last payload. Those who do not see every
/// property are offered only what comes under the names of their systems.
async fn strays(office: &Office, visitor: &Visitor) -> Result<Vec<Value>, LedgerFault> {
    let mut strays = office.unclaimed(ask(office, View::unassigned).await?);
    if !visitor.sees_everything() {
        let systems = office.systems(visitor);
        let own: Vec<String> =
            systems.iter().map(|system| format!("{}/{}/", office.desk.files.prefix, system.id)).collect();
        strays.retain(|stray| own.iter().any(|begin| stray.topic.starts_with(begin)));
    }
    strays.sort_by_key(|stray| std::cmp::Reverse(stray.last_at));
    let one = |stray: crate::ledger::Unassigned| json!({ "topic": stray.topic, "sample": stray.sample, "messages": stray.count });
    Ok(strays.into_iter().take(OFFERED).map(one).collect())
}
