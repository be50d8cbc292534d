//! The page on which a system is retired, and brought back.

use std::sync::Arc;

use axum::Router;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;
use maud::{Markup, html};

use super::work;
use crate::desk::answer::{Fault, html as page_of};
use crate::desk::assets;
use crate::desk::office::Office;
use crate::desk::pages::{Page, layout_with};
use crate::desk::people::{Fields, Visitor};
use crate::desk::words;
use crate::model::Action;

type Shared = State<Arc<Office>>;

pub(super) fn routes() -> Router<Arc<Office>> {
    Router::new().route("/setup/{id}/retire", get(look).post(act))
}

/// Where a system stands.
enum Standing {
    /// It is watched, or will be once the files are read; this is the version of its file.
    InUse {
        name: String,
        version: String,
    },
    Retired {
        name: String,
    },
}

/// `GET /setup/{id}/retire`
async fn look(visitor: Visitor, State(office): Shared, Path(id): Path<String>) -> Response {
    page(&office, &visitor, &id, None)
}

/// `POST /setup/{id}/retire`
async fn act(visitor: Visitor, State(office): Shared, Path(id): Path<String>, fields: Fields) -> Response {
    let (to, done) = match fields.get("act") {
        "retire" => {
            let done = work::retire(&office, &visitor, &id, Some(fields.get("version"))).await;
            (format!("/setup/{id}/retire"), done)
        }
        "return" => {
            let done = work::undo(&office, &visitor, &id).await;
            (format!("/systems/{id}"), done.map(|_| ()))
        }
        _ => return page(&office, &visitor, &id, Some((StatusCode::BAD_REQUEST, "there is no such step"))),
    };
    match done {
        Ok(()) => Redirect::to(&to).into_response(),
        Err(problem) => page(&office, &visitor, &id, Some((problem.status(), problem.detail()))),
    }
}

fn standing(office: &Office, visitor: &Visitor, id: &str) -> Option<Standing> {
    if let Some(system) = work::retired(office, visitor, id) {
        return Some(Standing::Retired { name: system.name.clone() });
    }
    let file = work::read(office, visitor, id).ok()?;
    let name = file.content.get("name").and_then(|name| name.as_str()).unwrap_or(id).to_owned();
    Some(Standing::InUse { name, version: file.version })
}

fn page(office: &Office, visitor: &Visitor, id: &str, problem: Option<(StatusCode, &str)>) -> Response {
    if !visitor.may(Action::Plan) {
        return Fault::Beyond.page(office, visitor);
    }
    let Some(standing) = standing(office, visitor, id) else {
        return Fault::NoSystem(id.to_owned()).page(office, visitor);
    };
    let here = format!("/setup/{id}/retire");
    let csrf = visitor.csrf();
    let form = |act: &str, version: Option<&str>, says: &str| {
        html! {
            form class="form" method="post" action=(here) {
                @if let Some(csrf) = &csrf { input type="hidden" name="csrf" value=(csrf); }
                @if let Some(version) = version { input type="hidden" name="version" value=(version); }
                p { button type="submit" name="act" value=(act) { (says) } }
            }
        }
    };
    let (title, said) = match &standing {
        Standing::InUse { name, version } => {
            let says = format!("Retire {name}");
            (
                "Retire a system",
                html! {
                    p class="trail" { a href={ "/systems/" (id) } { (name) } }
                    h1 { (says) "?" }
                    (problem_said(problem))
                    (what_ends())
                    (form("retire", Some(version), &says))
                },
            )
        }
        Standing::Retired { name } => (
            "A retired system",
            html! {
                h1 { (name) " is retired" }
                (problem_said(problem))
                (what_is_kept())
                (form("return", None, &format!("Bring {name} back")))
                p { a class="target" href="/" { "All systems" } }
            },
        ),
    };
    let page = Page { title, here: &here, fragment: "", live: false };
    let text = layout_with(&office.chrome(visitor, 0), &page, &[&assets::FORMS], &said).into_string();
    (problem.map_or(StatusCode::OK, |(status, _)| status), page_of(text)).into_response()
}

fn problem_said(problem: Option<(StatusCode, &str)>) -> Markup {
    html! { @if let Some((_, detail)) = problem { p class="problem" role="alert" { (words::capitalised(detail)) "." } } }
}

fn what_ends() -> Markup {
    html! {
        section {
            h2 { "What ends" }
            ul {
                li { "Nothing is watched there any more. Nobody is told of a flood: turn the diverter to sewer, or see to it that no greywater is sent there." }
                li { "Its open alerts are closed in your name, because the system was retired." }
                li { "Its tasks fall away, and so does a visit that was planned for them alone." }
                li { "Its pages, labels and links lead nowhere. What its sensors go on sending is listed under Sensor messages, as of no system." }
            }
        }
        section {
            h2 { "What is kept" }
            ul {
                li { "How it is set up, to the letter." }
                li { "Its readings, findings, alerts, service records and flow tests, as long as those of other systems; its pages show them again once it is brought back." }
                li { "What was learnt of its basins and splitters." }
            }
        }
        section { p { "It can be brought back at any time." } }
    }
}

fn what_is_kept() -> Markup {
    html! {
        p { "It is watched no more, and nobody is told of anything there." }
        section {
            p { "Its set-up, its readings and its records are kept. Brought back, it goes on with what was learnt; what its sensors sent in the meantime is missing." }
        }
    }
}
