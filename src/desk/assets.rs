//! Style, script and icon, held in the program itself.

use std::hash::Hasher;
use std::sync::LazyLock;

use axum::extract::{Path, Query};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::{Markup, PreEscaped, html};
use rustc_hash::FxHasher;
use serde::Deserialize;

/// A file that pages refer to.
#[derive(Debug)]
pub(in crate::desk) struct Asset {
    name: &'static str,
    kind: &'static str,
    text: &'static str,
    print: LazyLock<String>,
}

macro_rules! asset {
    ($name:literal, $kind:literal) => {{
        const TEXT: &str = include_str!(concat!("../../dashboards/assets/", $name));
        Asset { name: $name, kind: $kind, text: TEXT, print: LazyLock::new(|| print(TEXT)) }
    }};
}

pub(super) static STYLE: Asset = asset!("desk.css", "text/css; charset=utf-8");
pub(super) static SCRIPT: Asset = asset!("live.js", "text/javascript; charset=utf-8");
pub(super) static FORMS: Asset = asset!("forms.css", "text/css; charset=utf-8");
pub(super) static TIMELINE: Asset = asset!("timeline.js", "text/javascript; charset=utf-8");
pub(super) static SCATTER: Asset = asset!("scatter.js", "text/javascript; charset=utf-8");
/// What sets a system up, in the order in which it runs: each uses what those before it made.
pub(super) static SETUP: [Asset; 7] = [
    asset!("setup-fields.js", "text/javascript; charset=utf-8"),
    asset!("setup-zones.js", "text/javascript; charset=utf-8"),
    asset!("setup-pipes.js", "text/javascript; charset=utf-8"),
    asset!("setup-plan.js", "text/javascript; charset=utf-8"),
    asset!("setup-sensors.js", "text/javascript; charset=utf-8"),
    asset!("setup-parts.js", "text/javascript; charset=utf-8"),
    asset!("setup.js", "text/javascript; charset=utf-8"),
];
pub(super) static SETUP_STYLE: Asset = asset!("setup.css", "text/css; charset=utf-8");
pub(super) static RECORD: Asset = asset!("record.js", "text/javascript; charset=utf-8");
pub(super) static RECORD_STYLE: Asset = asset!("record.css", "text/css; charset=utf-8");
pub(super) static SHEET: Asset = asset!("sheet.js", "text/javascript; charset=utf-8");
pub(super) static SHEET_STYLE: Asset = asset!("sheet.css", "text/css; charset=utf-8");
static WORKER: Asset = asset!("worker.js", "text/javascript; charset=utf-8");
pub(super) static PRINTS: Asset = asset!("prints.js", "text/javascript; charset=utf-8");
pub(super) static UPKEEP_STYLE: Asset = asset!("upkeep.css", "text/css; charset=utf-8");
pub(super) static ICON: Asset = asset!("icon.svg", "image/svg+xml");

fn print(text: &str) -> String {
    let mut hasher = FxHasher::default();
    hasher.write(text.as_bytes());
    format!("{:016x}", hasher.finish())
}

impl Asset {
    /// Its address, which changes with its content.
    pub(super) fn address(&self) -> String {
        format!("/assets/{}?v={}", self.name, *self.print)
    }

    /// What makes a page use it, in its head.
    pub(super) fn markup(&self) -> Markup {
        html! {
            @if self.kind.starts_with("text/css") { link rel="stylesheet" href=(self.address()); }
            @else { script src=(self.address()) defer {} }
        }
    }

    /// Its text, to be part of a page.
    pub(super) fn inline(&self) -> PreEscaped<&'static str> {
        PreEscaped(self.text)
    }
}

/// The script that answers where there is no signal. It lies beside the pages, since it may answer for no others.
pub(super) fn worker() -> Response {
    ([(header::CONTENT_TYPE, WORKER.kind), (header::CACHE_CONTROL, "no-cache")], WORKER.text).into_response()
}

/// Which content a page asks for.
#[derive(Debug, Deserialize)]
pub(super) struct Version {
    v: Option<String>,
}

/// `GET /assets/{name}`
pub(super) async fn asset(
    Path(name): Path<String>,
    Query(version): Query<Version>,
    headers: HeaderMap,
) -> Response {
    let Some(asset) = [
        &STYLE,
        &SCRIPT,
        &FORMS,
        &TIMELINE,
        &SCATTER,
        &SETUP_STYLE,
        &RECORD,
        &RECORD_STYLE,
        &SHEET,
        &SHEET_STYLE,
        &UPKEEP_STYLE,
        &PRINTS,
        &ICON,
    ]
    .into_iter()
    .chain(&SETUP)
    .find(|asset| asset.name == name) else {
        return (StatusCode::NOT_FOUND, "There is no such file.\n").into_response();
    };
    let tag = format!("\"{}\"", *asset.print);
    // An address with the right version can never mean another content.
    let keep = if version.v.as_deref() == Some(asset.print.as_str()) {
        "public, max-age=31536000, immutable"
    } else {
        "no-cache"
    };
    let about = [(header::ETAG, tag.as_str()), (header::CACHE_CONTROL, keep)];
    if headers.get(header::IF_NONE_MATCH).is_some_and(|known| known.as_bytes() == tag.as_bytes()) {
        return (StatusCode::NOT_MODIFIED, about).into_response();
    }
    (about, [(header::CONTENT_TYPE, asset.kind)], asset.text).into_response()
}
