//! A yard whose basins flood on demand, and settings that say who hears of it.

use std::cell::Cell;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

use basinward::alerts::{AlertNo, Deed};
use basinward::ledger::{AlertFilter, DeliveryState, StoredAlert};
use basinward::model::FindingKind;
use serde_json::{Value, json};
use support::{Mosquitto, Post, until};

use crate::rig::{Daemon, PATIENCE, Yard};

/// A broker, a yard and a daemon.
pub(crate) struct House {
    pub(crate) broker: Mosquitto,
    pub(crate) yard: Yard,
    pub(crate) daemon: Option<Daemon>,
    hours_ago: Cell<u64>,
}

impl House {
    /// A daemon with `settings` in its file.
    pub(crate) fn new(systems: usize, settings: &str) -> Self {
        let broker = Mosquitto::start();
        let yard = Yard::new(systems).listening_to(broker.port());
        yard.write("basinward.toml", settings);
        let mut house = Self { broker, yard, daemon: None, hours_ago: Cell::new(600) };
        house.start();
        house
    }

    pub(crate) fn start(&mut self) {
        let before = self.yard.times_logged("listening to the broker");
        self.daemon = Some(self.yard.start());
        until(PATIENCE, "the daemon listens", || self.yard.times_logged("listening to the broker") > before);
    }

    /// `kill -9`
    pub(crate) fn kill(&mut self) {
        self.daemon = None;
    }

    /// The overflow float of a basin was wet for five minutes and still is, or is dry again. Every call is an hour
    /// of the yards' past later, so that a flood that fell is calm by now.
    pub(crate) fn overflow(&self, system: usize, basin: &str, wet: bool) {
        let topic = format!("greywater/yard-{system}/{basin}/overflow");
        let hours_ago = self.hours_ago.get();
        self.hours_ago.set(hours_ago - 1);
        for minutes in [0, 5] {
            let time = now_s() - hours_ago * 3_600 + minutes * 60;
            let value = if wet { "wet" } else { "dry" };
            self.broker.publish(&topic, json!({ "value": value, "time": time }).to_string());
        }
    }

    /// Alerts of floods; sensors that are silent since then have theirs too.
    pub(crate) fn floods(&self) -> Vec<StoredAlert> {
        let mut alerts = self.yard.view().alerts(&AlertFilter::default(), 10_000).expect("the alerts");
        alerts.retain(|alert| alert.finding.kind == FindingKind::Flooding);
        alerts
    }

    /// Messages of an alert whose channel has confirmed them, as far as the daemon has written that down.
    pub(crate) fn delivered(&self, no: AlertNo) -> usize {
        let sent = self.yard.view().alert(no).expect("reads").expect("is there").sent;
        sent.iter().filter(|sent| matches!(sent.state, DeliveryState::Confirmed { .. })).count()
    }

    pub(crate) fn deeds(&self, no: AlertNo) -> Vec<(Option<String>, Deed)> {
        let story = self.yard.view().alert(no).expect("reads").expect("is there");
        story.steps.into_iter().map(|step| (step.by, step.deed)).collect()
    }

    /// Sends a request to the desk and returns its answer.
    pub(crate) fn ask(method: &str, url: &str) -> String {
        let rest = url.strip_prefix("http://").expect("plain HTTP");
        let (host, path) = rest.split_once('/').expect("a path");
        let mut desk = TcpStream::connect(host).expect("the desk listens");
        desk.set_read_timeout(Some(Duration::from_secs(20))).expect("a limit");
        write!(
            desk,
            "{method} /{path} HTTP/1.1\r\nHost: {host}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"
        )
        .expect("asks");
        let mut answer = String::new();
        desk.read_to_string(&mut answer).expect("an answer");
        answer
    }
}

/// The time, from a file's stamp.
pub(crate) fn now_s() -> u64 {
    let file = tempfile::NamedTempFile::new().expect("a temporary file");
    let modified = file.as_file().metadata().and_then(|m| m.modified()).expect("the time now");
    modified.duration_since(std::time::UNIX_EPOCH).expect("after 1970").as_secs()
}

/// The guide names every key of what machines are told.
pub(crate) fn assert_documented(told: &Value) {
    const GUIDE: &str = include_str!("../../deploy/alerts.md");
    /// Their insides differ by finding.
    const BY_FINDING: [&str; 3] = ["subject", "evidence", "estimate"];
    match told {
        Value::Object(map) => map.iter().for_each(|(key, inside)| {
            let named = GUIDE.contains(&format!("`{key}`")) || GUIDE.contains(&format!("\"{key}\":"));
            assert!(named, "deploy/alerts.md does not name `{key}`");
            if !BY_FINDING.contains(&key.as_str()) {
                assert_documented(inside);
            }
        }),
        Value::Array(list) => list.iter().for_each(assert_documented),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

pub(crate) fn event(post: &Post) -> Value {
    serde_json::from_str(&post.body).expect("an event is JSON")
}
