//! One message as one line of a recording.

use std::io::{self, Write};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use jiff::Timestamp;
use serde::Serialize;

use crate::radio::Message;

#[derive(Serialize)]
struct Line<'a> {
    received: Timestamp,
    topic: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    payload: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    payload_base64: Option<String>,
}

/// Writes `{"received":…,"topic":…,"payload":…}`, or `payload_base64` for bytes that are no text.
pub fn recording_line(message: &Message, out: &mut dyn Write) -> io::Result<()> {
    let text = std::str::from_utf8(&message.payload).ok();
    let line = Line {
        received: timestamp(message.received_ms),
        topic: &message.topic,
        payload: text,
        payload_base64: text.is_none().then(|| STANDARD.encode(&message.payload)),
    };
    serde_json::to_writer(&mut *out, &line)?;
    out.write_all(b"\n")
}

/// A time that a scenario can hold; those lie within ten years of their starts.
pub(super) fn timestamp(ms: i64) -> Timestamp {
    Timestamp::from_millisecond(ms).unwrap_or(Timestamp::MAX)
}
