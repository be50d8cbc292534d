//! Records what a broker sends, in the form that `replay` reads.

use std::future::Future;
use std::io::Write;
use std::pin::pin;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde::Serialize;
use tracing::warn;

use super::health::Fault;
use super::link::backoff;
use super::settings::{LinkSettings, SetupError};
use super::wire::{Arrival, Dialer, Granted, Publish, Role};
use crate::clock::Clock;

/// Why a recording ended early.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// Settings or files that cannot work.
    #[error("cannot set up the connection")]
    Setup(#[from] SetupError),
    /// The first attempt to connect failed.
    #[error("cannot record")]
    Broker(#[from] Fault),
    /// The recording cannot be written.
    #[error("cannot write the recording")]
    Write(#[from] std::io::Error),
}

#[derive(Serialize)]
struct Line<'a> {
    received: String,
    topic: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    payload: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    payload_base64: Option<String>,
}

/// Writes one JSON line a message until `stop` is done, then flushes; returns how many were written.
///
/// It listens beside the daemon, in a session of its own that the broker forgets afterwards, and
/// never takes a message from it. A connection lost on the way is made again; what was published
/// meanwhile is missing from the recording.
///
/// # Errors
/// See [`RecordError`]. What was written before is kept.
pub async fn record(
    settings: &LinkSettings,
    clock: Clock,
    mut to: impl Write,
    stop: impl Future<Output = ()>,
) -> Result<u64, RecordError> {
    settings.check()?;
    let role = Role {
        client_id: format!("{}-record-{}", settings.client_id, std::process::id()),
        persistent: false,
        will: None,
    };
    let dialer = Dialer::new(settings, role)?;
    let mut recorder = Recorder { dialer, settings, clock, listening: false, written: 0 };
    let mut stop = pin!(stop);
    let outcome = tokio::select! {
        () = &mut stop => Ok(()),
        failed = recorder.run(&mut to) => failed,
    };
    to.flush()?;
    outcome.map(|()| recorder.written)
}

struct Recorder<'a> {
    dialer: Dialer,
    settings: &'a LinkSettings,
    clock: Clock,
    /// It has worked at least once, so a fault is worth waiting out.
    listening: bool,
    written: u64,
}

impl Recorder<'_> {
    /// Runs until something cannot be mended; the caller ends it by dropping it.
    async fn run(&mut self, to: &mut impl Write) -> Result<(), RecordError> {
        let mut backoff = backoff(self.settings);
        loop {
            match self.listen(to).await {
                Err(RecordError::Broker(fault)) if self.listening => {
                    warn!(%fault, "recording interrupted; connecting again");
                }
                ended => return ended,
            }
            tokio::time::sleep(backoff.pause()).await;
        }
    }

    async fn listen(&mut self, to: &mut impl Write) -> Result<(), RecordError> {
        let (mut connection, _welcome) = self.dialer.connect().await?;
        connection.subscribe(&self.settings.filters);
        loop {
            let mut arrival = Some(connection.next(true).await?);
            while let Some(one) = arrival {
                connection.acknowledge(self.arrived(one, to)?);
                arrival = connection.buffered()?;
            }
            // A quiet line is the time to let a reader see what there is.
            to.flush()?;
        }
    }

    /// Writes what is worth writing; returns what to acknowledge.
    fn arrived(&mut self, arrival: Arrival, to: &mut impl Write) -> Result<Option<u16>, RecordError> {
        let packet_id = match arrival {
            Arrival::Subscribed(Granted::Refused) => {
                return Err(Fault::SubscriptionRefused(self.settings.filters.join(", ")).into());
            }
            Arrival::Subscribed(_) => {
                self.listening = true;
                0
            }
            Arrival::Publish(publish) => {
                write_line(to, self.clock.now_ms(), &publish)?;
                self.written += 1;
                publish.packet_id
            }
            Arrival::Oversized { packet_id, bytes } => {
                warn!(bytes, "left out a message larger than we take");
                packet_id
            }
            Arrival::Welcome(_) | Arrival::Confirmed { .. } | Arrival::Other => 0,
        };
        Ok((packet_id != 0).then_some(packet_id))
    }
}

fn write_line(to: &mut impl Write, received_ms: i64, publish: &Publish) -> std::io::Result<()> {
    let received = jiff::Timestamp::from_millisecond(received_ms).map_err(std::io::Error::other)?.to_string();
    let text = std::str::from_utf8(&publish.payload).ok();
    let line = Line {
        received,
        topic: &publish.topic,
        payload: text,
        payload_base64: text.is_none().then(|| STANDARD.encode(&publish.payload)),
    };
    serde_json::to_writer(&mut *to, &line)?;
    to.write_all(b"\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use bytes::Bytes;

    fn line(payload: &'static [u8]) -> String {
        let publish = Publish {
            topic: "greywater/alder/quince/moisture".into(),
            payload: Bytes::from_static(payload),
            retain: false,
            dup: false,
            packet_id: 0,
        };
        let mut to = Vec::new();
        write_line(&mut to, 1_772_352_900_000, &publish).unwrap();
        String::from_utf8(to).unwrap()
    }

    #[test]
    fn text_is_written_as_it_came() {
        assert_eq!(
            line(br#"{"value":0.21}"#),
            concat!(
                r#"{"received":"2026-03-01T08:15:00Z","topic":"greywater/alder/quince/moisture","#,
                r#""payload":"{\"value\":0.21}"}"#,
                "\n"
            )
        );
    }

    #[test]
    fn bytes_that_are_no_text_are_written_in_base64() {
        // RFC 4648, section 10 gives the encoding of "foobar"; the first byte here makes it no UTF-8.
        assert!(line(b"\xfffoobar").contains(r#""payload_base64":"/2Zvb2Jhcg=="}"#));
    }
}
