// The pages and the interface for programs, asked without a socket.

use std::fs;
use std::sync::Arc;

use axum::body::{Body, to_bytes};
use axum::http::{Request, Response, StatusCode, header};
use basinward::clock::Clock;
use basinward::desk::{Desk, Entry, LinkNote, SystemFolder, router};
use basinward::engine::{Change, Effect, FindingChange, Input};
use basinward::ledger::{Batch, Ledger, Orders, View};
use basinward::model::{
    BasinIx, EventTime, Evidence, Finding, FindingKind, Place, Quantity, Reading, Severity, Subject, System,
    Value,
};
use basinward::schedule::Upkeep;
use tempfile::TempDir;
use tokio::runtime::{Builder, Runtime};
use tokio::sync::{mpsc, watch};
use tower::ServiceExt as _;

/// Largest answer, bytes.
const ANSWER: usize = 16 << 20;

thread_local! {
    /// Each thread has its own, so that its folder goes with it.
    static HOUSE: House = House::new();
}

/// A desk that lets everybody in, over a yard that has a flood. Nothing is written: the ledger's writer is away.
struct House {
    runtime: Runtime,
    routes: axum::Router,
    /// What our own forms bring along.
    csrf: String,
    _folder: TempDir,
}

/// Asks what `data` says; its first lines are `METHOD ADDRESS` and headers, and after an empty line comes the body.
pub(crate) fn ask(data: &[u8]) {
    HOUSE.with(|house| house.ask(data));
}

impl House {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let system = Arc::clone(&super::SYSTEM);
        fs::write(folder.path().join("yard.toml"), super::YARD).expect("a system file");
        let now = EventTime::from_secs(1_772_352_900);
        write_ledger(&folder, &system, now);
        let desk = Desk {
            systems: watch::channel(Arc::new(vec![system])).1,
            faulty: watch::channel(Arc::default()).1,
            view: View::open(folder.path()).expect("the ledger opens"),
            commits: watch::channel(1).1,
            orders: Orders::new(|| ()).0,
            clock: Clock::scaled(now, 0.0),
            banner: None,
            files: SystemFolder {
                folder: folder.path().to_owned(),
                prefix: "greywater".into(),
                changed: mpsc::channel(1).0,
            },
            entry: Entry::LetIn,
            seal: None,
            link: watch::channel(LinkNote::default()).1,
            learning: watch::channel(Arc::default()).1,
            broker: "mqtt://127.0.0.1:1883".to_owned(),
            pages: String::new(),
            export: None,
            upkeep: watch::channel(Arc::new(Upkeep::default())).1,
        };
        let runtime = Builder::new_multi_thread().worker_threads(1).enable_all().build().expect("a runtime");
        let mut house = Self {
            runtime,
            routes: router(desk).expect("random numbers"),
            csrf: String::new(),
            _folder: folder,
        };
        let first = house.answer(Request::get("/").body(Body::empty()).expect("a request"));
        let page = String::from_utf8(first.expect("the first page").into_body()).expect("UTF-8");
        let (_, after) = page.split_once("name=\"csrf\" content=\"").expect("forms bring something along");
        after.split('"').next().expect("an end").clone_into(&mut house.csrf);
        house
    }

    fn ask(&self, data: &[u8]) {
        let Some(request) = self.request(data) else { return };
        let told = format!("{} {}", request.method(), request.uri());
        if let Some(answer) = self.answer(request) {
            assert_ne!(answer.status(), StatusCode::INTERNAL_SERVER_ERROR, "{told}");
        }
    }

    /// The request in `data`, if HTTP allows it.
    fn request(&self, data: &[u8]) -> Option<Request<Body>> {
        let end = data.windows(2).position(|two| two == b"\n\n").unwrap_or(data.len());
        let (head, body) = (&data[..end], data.get(end + 2..).unwrap_or_default());
        let mut lines = head.split(|byte| *byte == b'\n');
        let (method, address) = std::str::from_utf8(lines.next()?).ok()?.split_once(' ')?;
        let mut request = Request::builder().method(method).uri(address).header("x-csrf-token", &self.csrf);
        for line in lines {
            let colon = line.iter().position(|byte| *byte == b':')?;
            request = request.header(&line[..colon], line[colon + 1..].trim_ascii());
        }
        request.body(Body::from(body.to_vec())).ok()
    }

    /// The answer with its whole body; none for a stream without an end.
    fn answer(&self, request: Request<Body>) -> Option<Response<Vec<u8>>> {
        self.runtime.block_on(async {
            let Ok(answer) = self.routes.clone().oneshot(request).await;
            let (head, body) = answer.into_parts();
            let kind = head.headers.get(header::CONTENT_TYPE).map(|kind| kind.as_bytes().to_vec());
            if kind.is_some_and(|kind| kind.starts_with(b"text/event-stream")) {
                return None;
            }
            let body = to_bytes(body, ANSWER).await.expect("an answer within bounds");
            Some(Response::from_parts(head, body.to_vec()))
        })
    }
}

/// A reading and a flood.
fn write_ledger(folder: &TempDir, system: &System, now: EventTime) {
    let mut ledger = Ledger::open(folder.path()).expect("a new ledger");
    let no = ledger.enrol([system]).expect("enrolled")[0];
    let mut batch = Batch::default();
    let sensor = system.find_sensor(Place::Basin(BasinIx(0)), Quantity::Moisture).expect("it has one");
    batch.take_in(no, now, Input::Reading(Reading { sensor, at: now, value: Value::Number(0.314) }));
    let finding = Finding {
        kind: FindingKind::Flooding,
        subject: Subject::Basin(system.basins[0].id.clone()),
        severity: Severity::Critical,
        probability: 0.97,
        estimate: serde_json::Map::new(),
        evidence: vec![Evidence { at: Some(now), says: "The float has been up for 10 h.".to_owned() }],
    };
    batch.conclude(no, Effect::Finding(FindingChange { change: Change::Raised, at: now, finding }));
    batch.hear_unassigned("greywater/node-7/soil", b"31.4", now);
    ledger.commit(&batch).expect("committed");
}
