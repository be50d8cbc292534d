//! What the engines conclude, as it happens: server-sent events (WHATWG HTML, section 9.2).

use std::collections::VecDeque;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::stream;
use serde::Deserialize;
use serde_json::{Value, json};
use tokio::sync::{OwnedSemaphorePermit, watch};
use tracing::error;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::asked::Asked;
use super::readings::dose_json;
use crate::desk::office::Office;
use crate::desk::people::{Visitor, is_still_welcome};
use crate::desk::problem::Problem;
use crate::desk::visit::ask;
use crate::ledger::{LedgerFault, LoggedEffect, Record, View};
use crate::telemetry::chain;

/// Effects read at a time.
const STRIDE: usize = 200;
/// How often it is checked that the listener may still listen, at the latest.
const PULSE: Duration = Duration::from_secs(15);

/// Where to begin.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Since {
    /// Id of the last event that was heard; what happens from now on without. The header `Last-Event-ID` wins.
    after: Option<u64>,
}

/// One listener.
struct Listener {
    visitor: Visitor,
    office: Arc<Office>,
    after: u64,
    waiting: VecDeque<LoggedEffect>,
    commits: watch::Receiver<u64>,
    ending: watch::Receiver<bool>,
    _seat: OwnedSemaphorePermit,
}

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new().routes(routes!(events))
}

/// Findings raised, updated and cleared, doses, and stays of standing water, as server-sent events `finding`,
/// `dose` and `soak`. Each has an id by which a listener goes on where it stopped.
#[utoipa::path(get, path = "/events", tag = "findings", params(Since),
    responses((status = 200, content_type = "text/event-stream", body = String)))]
async fn events(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Asked(since): Asked<Since>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let seat = Arc::clone(&office.viewers).try_acquire_owned();
    let seat = seat.map_err(|_| Problem::too_many("too many listeners: try again later"))?;
    let heard = headers.get("last-event-id").and_then(|id| id.to_str().ok()?.parse().ok());
    let after = match heard.or(since.after) {
        Some(after) => after,
        None => ask(&office, View::last_effect).await?,
    };
    let listener = Listener {
        visitor,
        after,
        waiting: VecDeque::new(),
        commits: office.desk.commits.clone(),
        ending: office.ending.clone(),
        office,
        _seat: seat,
    };
    let events = stream::unfold(listener, |mut listener| async {
        let event = listener.next().await?;
        Some((Ok::<_, Infallible>(event), listener))
    });
    Ok(Sse::new(events).keep_alive(KeepAlive::default()).into_response())
}

impl Listener {
    /// The next event; `None` when the daemon ends or the listener is no longer welcome.
    async fn next(&mut self) -> Option<Event> {
        loop {
            while let Some(effect) = self.waiting.pop_front() {
                self.after = effect.seq;
                // The reach is looked at each time: systems may move from one property to another.
                if self.office.system(&self.visitor, effect.system.as_str()).is_some() {
                    return Some(event(effect));
                }
            }
            self.commits.mark_unchanged();
            match self.read().await {
                Ok(effects) if effects.is_empty() => self.wait().await?,
                Ok(effects) => self.waiting.extend(effects),
                Err(fault) => {
                    error!(error = %chain(&fault), "cannot tell listeners what happens");
                    return None;
                }
            }
        }
    }

    async fn read(&self) -> Result<Vec<LoggedEffect>, LedgerFault> {
        let after = self.after;
        ask(&self.office, move |view| view.changes_since(after, STRIDE)).await
    }

    async fn wait(&mut self) -> Option<()> {
        tokio::select! {
            changed = self.commits.changed() => changed.ok()?,
            () = tokio::time::sleep(PULSE) => {}
            _ = self.ending.wait_for(|ending| *ending) => return None,
        }
        is_still_welcome(&self.office, &self.visitor).await.then_some(())
    }
}

fn event(effect: LoggedEffect) -> Event {
    let (kind, mut data) = match effect.record {
        Record::Finding(change) => (
            "finding",
            json!({
                "change": change.change,
                "at": change.at,
                "finding": change.finding.kind,
                "subject": change.finding.subject,
                "severity": change.finding.severity,
                "probability": change.finding.probability,
                "estimate": change.finding.estimate,
                "evidence": change.finding.evidence,
            }),
        ),
        Record::Dose(dose) => ("dose", dose_json(dose)),
        Record::Soak(soak) => (
            "soak",
            json!({ "basin": soak.basin, "began": soak.began, "lasted_s": soak.lasted.millis() as f64 / 1000.0 }),
        ),
    };
    if let Value::Object(fields) = &mut data {
        fields.insert("system".to_owned(), json!(effect.system));
    }
    let event = Event::default().event(kind).id(effect.seq.to_string());
    event.json_data(data).expect("numbers and text are JSON")
}
