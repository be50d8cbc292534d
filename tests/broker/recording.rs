//! `record` writes what `replay` reads.

use std::io::Write;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use basinward::clock::Clock;
use basinward::link::{Fault, LinkSettings, Protocol, RecordError, record};
use support::{Mosquitto, until};

use crate::rig::{BOTH, LIMIT, Rig, runtime, settings};

/// A file in memory that the test can look into while it is written.
#[derive(Clone, Default)]
struct Page(Arc<Mutex<Vec<u8>>>);

impl Page {
    fn lines(&self) -> Vec<serde_json::Value> {
        let text = self.0.lock().expect("no panic").clone();
        text.split(|byte| *byte == b'\n').filter_map(|line| serde_json::from_slice(line).ok()).collect()
    }
}

impl Write for Page {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().expect("no panic").extend(bytes);
        Ok(bytes.len())
    }
    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

#[test]
fn a_recording_holds_text_and_bytes_and_takes_nothing_from_the_daemon() {
    for protocol in BOTH {
        let mut broker = Mosquitto::start();
        let settings = settings(broker.port(), protocol);
        let mut daemon = Rig::up(&settings);
        let runtime = runtime();
        let page = Page::default();
        let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
        let recording = {
            let (settings, page) = (settings.clone(), page.clone());
            runtime.spawn(async move {
                record(&settings, Clock::wall(), page, async { drop(stopped.await) }).await
            })
        };
        until(LIMIT, "it listens", || {
            broker.publish("greywater/alder/meter", "probe");
            !page.lines().is_empty()
        });
        broker.publish("greywater/alder/quince/moisture", r#"{"value":0.21}"#);
        broker.publish("greywater/alder/quince/float", [0xFF, 0x00]);
        broker.restart(); // a recording goes on after an outage
        until(LIMIT, "it listens again", || {
            broker.publish("greywater/alder/diverter", "sewer");
            page.lines().last().is_some_and(|line| line["payload"] == "sewer")
        });
        stop.send(()).expect("it still records");
        let written = runtime.block_on(recording).expect("no panic").expect("records");
        let lines = page.lines();
        assert_eq!(written, lines.len() as u64);
        let text = lines.iter().find(|l| l["topic"] == "greywater/alder/quince/moisture").expect("recorded");
        assert_eq!(text["payload"], r#"{"value":0.21}"#);
        assert!(text["received"].as_str().is_some_and(|at| at.starts_with("20") && at.ends_with('Z')));
        let bytes = lines.iter().find(|l| l["topic"] == "greywater/alder/quince/float").expect("recorded");
        assert_eq!(bytes["payload_base64"], "/wA=");
        assert!(bytes.get("payload").is_none());
        let heard = daemon
            .writer
            .take_until(LIMIT, |taken| taken.iter().any(|m| m.topic.as_ref() == "greywater/alder/diverter"));
        assert!(heard.len() as u64 >= written, "{protocol:?}: the daemon heard everything as well");
    }
}

#[test]
fn a_recording_that_cannot_begin_says_why() {
    let runtime = runtime();
    let settings = LinkSettings { port: support::free_port(), ..settings(0, Protocol::V311) };
    let never = std::future::pending();
    let outcome = runtime.block_on(record(&settings, Clock::wall(), std::io::sink(), never));
    assert!(matches!(outcome, Err(RecordError::Broker(Fault::Unreachable(_)))), "{outcome:?}");
}

#[test]
fn a_recording_of_silence_ends_when_asked() {
    let broker = Mosquitto::start();
    let outcome = runtime().block_on(async {
        let stop = tokio::time::sleep(Duration::from_millis(100));
        record(&settings(broker.port(), Protocol::V311), Clock::wall(), std::io::sink(), stop).await
    });
    assert!(matches!(outcome, Ok(0)), "{outcome:?}");
}
