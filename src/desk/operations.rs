//! For whoever runs the daemon: is it alive, is it ready, and figures in the text format of Prometheus.
//!
//! `/healthz` and `/readyz` are answered to everybody and give nothing away; `/metrics` needs a key like every
//! other page. `deploy/README.md` explains each figure.

use std::fmt::{Display, Write};
use std::sync::Arc;

use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use axum::{Json, Router};
use serde::Serialize;

use super::learning::LearningNote;
use super::office::Office;
use super::people::Visitor;
use super::problem::Problem;
use super::visit::ask;
use crate::export::{ExportState, Standing};
use crate::ledger::{LedgerFault, StoredFinding, Totals};
use crate::model::{EventTime, FindingKind};
use crate::systemfile::FaultyFile;

/// Version 0.0.4 of the text format.
const TEXT: &str = "text/plain; version=0.0.4; charset=utf-8";

/// What everybody may ask.
pub(super) fn open_routes() -> Router<Arc<Office>> {
    Router::new().route("/healthz", get(healthz)).route("/readyz", get(readyz))
}

/// What needs a key.
pub(super) fn routes() -> Router<Arc<Office>> {
    Router::new().route("/metrics", get(metrics)).route("/operations/export", get(export))
}

/// `GET /healthz`: it answers, so it is alive.
async fn healthz() -> &'static str {
    "ok\n"
}

/// `GET /readyz`: whether readings can come in and be shown; if not, one reason a line.
async fn readyz(State(office): State<Arc<Office>>) -> Response {
    let mut reasons = Vec::new();
    if ask(&office, crate::ledger::View::totals).await.is_err() {
        reasons.push("the ledger cannot be read");
    }
    if !office.desk.link.borrow().up {
        reasons.push("no connection to the broker");
    }
    if reasons.is_empty() {
        // How many is nobody's business here.
        let mut says = "ready\n".to_owned();
        if !office.desk.learning.borrow().is_over() {
            says.push_str("some systems are learning anew\n");
        }
        if !office.desk.faulty.borrow().is_empty() {
            says.push_str("some system files cannot be read\n");
        }
        return says.into_response();
    }
    (StatusCode::SERVICE_UNAVAILABLE, reasons.join("\n") + "\n").into_response()
}

/// `GET /metrics`
async fn metrics(visitor: Visitor, State(office): State<Arc<Office>>) -> Response {
    if !visitor.sees_everything() {
        return beyond();
    }
    let asked = ask(&office, |view| Ok((view.totals()?, view.findings_open()?))).await;
    match asked {
        Ok((totals, open)) => {
            let mut page = Page::default();
            page.process(office.desk.systems.borrow().len(), office.desk.link.borrow().up);
            page.faulty(&office.desk.faulty.borrow());
            page.learning(&office.desk.learning.borrow());
            page.ledger(&totals);
            page.findings(&open);
            if let Some(health) = &office.desk.export {
                page.export(&health.borrow(), &totals);
            }
            ([(header::CONTENT_TYPE, TEXT)], page.0).into_response()
        }
        Err(fault) => unreadable(&fault),
    }
}

fn beyond() -> Response {
    Problem::forbidden("this is about all properties; ask somebody who sees them all").into_response()
}

fn unreadable(fault: &LedgerFault) -> Response {
    tracing::error!(error = %crate::telemetry::chain(fault), "cannot answer about the ledger");
    (StatusCode::SERVICE_UNAVAILABLE, "the ledger cannot be read just now\n").into_response()
}

/// How passing on goes, and what could not be passed on.
#[derive(Serialize)]
struct ExportWire {
    destination: String,
    taking: bool,
    why_not: Option<String>,
    past: f64,
    rejected: Vec<RejectedWire>,
}

#[derive(Serialize)]
struct RejectedWire {
    at: EventTime,
    line: String,
    why: String,
}

/// `GET /operations/export`
async fn export(visitor: Visitor, State(office): State<Arc<Office>>) -> Response {
    if !visitor.sees_everything() {
        return beyond();
    }
    let Some(state) = office.desk.export.as_ref().map(|health| health.borrow().clone()) else {
        let says = "nothing is passed on: set `url` under [influxdb]";
        return Problem::not_found(says).into_response();
    };
    match ask(&office, crate::ledger::View::rejected_lines).await {
        Ok(lines) => {
            let why_not = match &state.standing {
                Standing::Failing { why, .. } => Some(why.clone()),
                Standing::Beginning | Standing::Taking => None,
            };
            let rejected = lines.into_iter().map(|it| RejectedWire { at: it.at, line: it.line, why: it.why });
            Json(ExportWire {
                taking: state.standing == Standing::Taking,
                destination: state.destination,
                why_not,
                past: state.past,
                rejected: rejected.collect(),
            })
            .into_response()
        }
        Err(fault) => unreadable(&fault),
    }
}

/// A page of figures.
#[derive(Default)]
struct Page(String);

impl Page {
    fn process(&mut self, systems: usize, link_up: bool) {
        let version = [("version", env!("CARGO_PKG_VERSION"))];
        self.family("basinward_build_info", "gauge", "The version that runs; always 1.");
        self.sample("basinward_build_info", &version, 1);
        self.one("basinward_systems", "gauge", "Systems watched.", systems);
        let says = "Whether the broker is connected and subscribed.";
        self.one("basinward_link_up", "gauge", says, u8::from(link_up));
    }

    fn faulty(&mut self, files: &[FaultyFile]) {
        let says = "System files that cannot be read; systems without an earlier plan are not watched.";
        self.one("basinward_system_files_faulty", "gauge", says, files.len());
        let unwatched = files.iter().filter(|file| !file.watched).count();
        let says = "Systems that are not watched, since their files cannot be read.";
        self.one("basinward_systems_unwatched", "gauge", says, unwatched);
    }

    fn learning(&mut self, note: &LearningNote) {
        let says =
            "Systems that learn anew from their stored readings; no new flood in them is told meanwhile.";
        self.one("basinward_systems_learning", "gauge", says, note.left());
        let says =
            "Readings, records and the like that are stored and not judged yet, since their systems learn.";
        self.one("basinward_inputs_waiting", "gauge", says, note.waiting);
    }

    fn ledger(&mut self, totals: &Totals) {
        let Totals { messages, readings, duplicates, unassigned, last_commit, bytes, .. } = totals;
        self.one(
            "basinward_messages_total",
            "counter",
            "Messages taken in since the ledger was created.",
            messages,
        );
        self.one("basinward_readings_total", "counter", "Readings stored.", readings);
        self.one("basinward_readings_repeated_total", "counter", "Readings that came again.", duplicates);
        let says = "Messages on topics that no system claims.";
        self.one("basinward_messages_unassigned_total", "counter", says, unassigned);
        self.one("basinward_commits_total", "counter", "Commits of the ledger.", last_commit);
        self.one("basinward_ledger_size_bytes", "gauge", "Size of the ledger's files.", bytes);
        if let Some(at) = totals.last_received {
            let says = "When the newest stored message arrived, in Unix time.";
            self.one("basinward_last_message_timestamp_seconds", "gauge", says, at.millis() as f64 / 1000.0);
        }
        self.family("basinward_records_refused_total", "counter", "Records refused, by reason.");
        for (reason, count) in &totals.refused {
            self.sample("basinward_records_refused_total", &[("reason", reason)], count);
        }
    }

    fn findings(&mut self, open: &[StoredFinding]) {
        self.family("basinward_findings_open", "gauge", "Findings that are open, by kind.");
        for kind in FindingKind::ALL {
            let count = open.iter().filter(|stored| stored.finding.kind == kind).count();
            self.sample("basinward_findings_open", &[("finding", kind.name())], count);
        }
    }

    fn export(&mut self, state: &ExportState, totals: &Totals) {
        let failing = matches!(state.standing, Standing::Failing { .. });
        let says = "Whether the time-series server takes what we send.";
        self.one("basinward_export_up", "gauge", says, u8::from(!failing));
        self.one("basinward_export_lines_total", "counter", "Lines that it took.", state.lines);
        let says = "Lines that it refused for good.";
        self.one("basinward_export_lines_refused_total", "counter", says, state.refused);
        self.one("basinward_export_failures_total", "counter", "Writes that failed.", state.failures);
        let behind = totals.last_commit.saturating_sub(state.commit);
        self.one(
            "basinward_export_commits_behind",
            "gauge",
            "Commits that it has not been asked to take yet.",
            behind,
        );
        self.one("basinward_export_past_ratio", "gauge", "How much of the past it has.", state.past);
    }

    fn one(&mut self, name: &str, kind: &str, help: &str, value: impl Display) {
        self.family(name, kind, help);
        self.sample(name, &[], value);
    }

    fn family(&mut self, name: &str, kind: &str, help: &str) {
        let _ = writeln!(self.0, "# HELP {name} {help}\n# TYPE {name} {kind}");
    }

    /// Label values here are our own words, none of which needs escaping.
    fn sample(&mut self, name: &str, labels: &[(&str, &str)], value: impl Display) {
        let labels: Vec<String> = labels.iter().map(|(key, label)| format!("{key}=\"{label}\"")).collect();
        let labels = if labels.is_empty() { String::new() } else { format!("{{{}}}", labels.join(",")) };
        let _ = writeln!(self.0, "{name}{labels} {value}");
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;
    use std::io::Write as _;
    use std::process::{Command, Stdio};

    use super::*;
    use crate::model::Id;

    /// Judged by `promtool check metrics` of Debian's package prometheus.
    #[test]
    fn the_page_keeps_to_the_conventions_of_prometheus() {
        let totals = Totals {
            messages: 9,
            readings: 8,
            duplicates: 1,
            refused: BTreeMap::from([("out-of-range".to_owned(), 2)]),
            unassigned: 3,
            last_commit: 4,
            last_received: Some(EventTime::from_millis(1_772_323_200_500)),
            bytes: 4096,
        };
        let state = ExportState {
            destination: "http://127.0.0.1:8086 yards greywater".to_owned(),
            standing: Standing::Taking,
            lines: 1,
            refused: 0,
            failures: 0,
            commit: 3,
            effect: 0,
            past: 0.5,
        };
        let mut page = Page::default();
        page.process(2, true);
        let systems = [("east", true), ("west", false)].map(|(id, done)| (Id::new(id).unwrap(), done));
        page.faulty(&[]);
        page.learning(&LearningNote { days: 400, systems: systems.into(), waiting: 7 });
        page.ledger(&totals);
        page.findings(&[]);
        page.export(&state, &totals);
        assert!(page.0.contains("basinward_systems_learning 1\n"), "{}", page.0);
        assert!(page.0.contains("basinward_inputs_waiting 7\n"), "{}", page.0);
        assert!(page.0.contains("basinward_last_message_timestamp_seconds 1772323200.5\n"), "{}", page.0);
        let mut promtool = Command::new("promtool")
            .args(["check", "metrics"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("promtool is installed by tests/run");
        promtool.stdin.take().expect("it is piped").write_all(page.0.as_bytes()).expect("it reads");
        let judged = promtool.wait_with_output().expect("it ends");
        let says =
            String::from_utf8_lossy(&judged.stderr).into_owned() + &String::from_utf8_lossy(&judged.stdout);
        assert!(judged.status.success() && says.is_empty(), "{says}");
    }
}
