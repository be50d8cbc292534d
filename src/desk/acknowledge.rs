//! The page behind the link of a message: its button acknowledges the alert.
//!
//! Programs that look into mail follow links, so following one changes nothing; only the button does.
//! The link is signed, for one contact and one alert, good for a week and for one use. It opens no
//! other page.

use std::sync::Arc;

use axum::Router;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use maud::{Markup, html};

use super::answer::html as answer;
use super::assets;
use super::gather;
use super::office::Office;
use super::pages::{Page, layout_with};
use super::visit::ask;
use crate::advice::{Advice, advice};
use crate::ledger::{AlertOrder, AlertWork, LedgerFault, Order, StoredAlert};
use crate::model::{Reach, System};
use crate::notify::{Pass, read_pass};

pub(super) fn routes() -> Router<Arc<Office>> {
    Router::new().route("/acknowledge/{signed}", get(look).post(press))
}

/// `GET /acknowledge/{signed}`
async fn look(State(office): State<Arc<Office>>, Path(signed): Path<String>) -> Response {
    let (pass, alert) = match open(&office, &signed).await {
        Ok(opened) => opened,
        Err(refusal) => return refusal,
    };
    let Ok(Told { headline: what, is_over }) = told(&office, &alert).await else { return busy(&office) };
    let main = html! {
        h1 { (what) }
        @if alert.stage.is_closed() {
            p { "This is over. Nothing has to be done any more." }
        } @else {
            @if is_over { p { "This is over, but somebody opened it again." } }
            @else { p { strong { (advised(&office, &alert).first) } } }
            form class="form" method="post" action={ "/acknowledge/" (signed) } {
                p { button type="submit" { "Acknowledge" } }
            }
            p { "Nobody else is called then. Your name, " (pass.recipient) ", is written beside it." }
        }
    };
    page(&office, StatusCode::OK, &what, &main)
}

/// `POST /acknowledge/{signed}`
async fn press(State(office): State<Arc<Office>>, Path(signed): Path<String>) -> Response {
    let (pass, alert) = match open(&office, &signed).await {
        Ok(opened) => opened,
        Err(refusal) => return refusal,
    };
    let work = AlertWork::Follow { pass: pass.mark, alert: pass.alert };
    let order = AlertOrder { at: office.now(), by: Some(pass.recipient.clone()), work };
    let Ok(Told { headline: what, is_over }) = told(&office, &alert).await else { return busy(&office) };
    match office.desk.orders.place(Order::Alert(order)).await {
        Ok(_) => {
            let Advice { first, cautions, .. } = advised(&office, &alert);
            let main = html! {
                h1 { "Thank you, " (pass.recipient) }
                p { (what) ". You acknowledged it; nobody else is called." }
                @if is_over { p { "It is over already." } }
                @else {
                    p { strong { (first) } }
                    h2 { "Take care" }
                    ul { @for caution in cautions { li { (caution) } } }
                }
            };
            page(&office, StatusCode::OK, "Acknowledged", &main)
        }
        Err(refused) => said(&office, StatusCode::CONFLICT, &refused.0),
    }
}

/// What the link is for, or why it does not open.
async fn open(office: &Arc<Office>, signed: &str) -> Result<(Pass, StoredAlert), Response> {
    let wrong = "this link is not one of ours, or a mail program cut it: copy the whole address";
    let pass = office.desk.seal.as_ref().and_then(|seal| read_pass(seal, signed));
    let Some(pass) = pass else { return Err(said(office, StatusCode::NOT_FOUND, wrong)) };
    if pass.until < office.now() {
        let old = "this link is older than a week: sign in to acknowledge the alert";
        return Err(said(office, StatusCode::GONE, old));
    }
    let no = pass.alert;
    match ask(office, move |view| view.alerts_numbered(&[no])).await {
        Ok(mut found) if !found.is_empty() => Ok((pass, found.remove(0))),
        Ok(_) => Err(said(office, StatusCode::NOT_FOUND, "there is no such alert any more")),
        Err(_) => Err(busy(office)),
    }
}

fn busy(office: &Office) -> Response {
    let says = "the ledger cannot be read just now: try again in a moment";
    said(office, StatusCode::SERVICE_UNAVAILABLE, says)
}

/// What an alert is, as the pages tell it.
struct Told {
    headline: String,
    /// What it tells of is over, whatever became of the alert.
    is_over: bool,
}

async fn told(office: &Office, alert: &StoredAlert) -> Result<Told, LedgerFault> {
    let Some(system) = system(office, alert) else {
        return Ok(Told { headline: alert.finding.kind.to_string(), is_over: alert.stage.is_closed() });
    };
    let board = office.shelf.latest(&Reach::Everywhere).await?;
    let open = board.findings(&[&system.id].into());
    let anchor = gather::anchor(&system.id, alert.finding.kind, &alert.finding.subject);
    let row = gather::alert_row(&system, alert, open.get(anchor.as_str()).copied(), office.now());
    Ok(Told { is_over: row.is_over || row.is_closed(), headline: row.headline })
}

fn advised(office: &Office, alert: &StoredAlert) -> Advice {
    advice(alert.finding.kind, system(office, alert).as_deref())
}

fn system(office: &Office, alert: &StoredAlert) -> Option<Arc<System>> {
    office.desk.systems.borrow().iter().find(|system| system.id == alert.system).cloned()
}

fn said(office: &Office, status: StatusCode, what: &str) -> Response {
    let main = html! { h1 { "That did not work" } p class="problem" role="alert" { (super::words::capitalised(what)) "." } };
    page(office, status, "That did not work", &main)
}

fn page(office: &Office, status: StatusCode, title: &str, main: &Markup) -> Response {
    let chrome = office.chrome_outside();
    let page = Page { title, here: "", fragment: "", live: false };
    let text = layout_with(&chrome, &page, &[&assets::FORMS], main).into_string();
    (status, answer(text)).into_response()
}
