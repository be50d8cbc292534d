//! Our own retained status, for whoever watches the watcher.

use bytes::Bytes;
use serde::Serialize;

/// The two payloads of the status topic.
///
/// `{"status":"online","since":"2026-03-01T08:15:00Z","version":"1.2.3"}`, and
/// `{"status":"offline"}`, which the broker itself publishes when we vanish.
#[derive(Clone, Debug)]
pub(super) struct Status {
    pub(super) topic: String,
    pub(super) online: Bytes,
    pub(super) offline: Bytes,
}

#[derive(Serialize)]
struct Payload<'a> {
    status: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    since: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    version: Option<&'a str>,
}

impl Status {
    pub(super) fn new(topic: String, now_ms: i64) -> Self {
        let online = Payload {
            status: "online",
            since: jiff::Timestamp::from_millisecond(now_ms).ok().map(|t| t.to_string()),
            version: Some(env!("CARGO_PKG_VERSION")),
        };
        let offline = Payload { status: "offline", since: None, version: None };
        Self { topic, online: json(&online), offline: json(&offline) }
    }
}

fn json(payload: &Payload<'_>) -> Bytes {
    serde_json::to_vec(payload).expect("strings always serialise").into()
}
