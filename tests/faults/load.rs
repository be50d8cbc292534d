//! Readings whose fate is known.

use std::collections::BTreeMap;
use std::time::UNIX_EPOCH;

use basinward::model::EventTime;

use crate::rig::Yard;

/// What was sent and acknowledged, by system and sensor.
#[derive(Default)]
pub(crate) struct Sent(BTreeMap<(String, String), BTreeMap<EventTime, f64>>);

/// One message.
#[derive(Clone)]
pub(crate) struct Message {
    pub(crate) system: String,
    pub(crate) sensor: &'static str,
    /// Unix seconds.
    pub(crate) at: i64,
    pub(crate) value: f64,
}

impl Message {
    /// Number `n` of a calm course: every minute one probe of one of `systems` reports.
    pub(crate) fn calm(start: i64, systems: usize, n: usize) -> Self {
        let sensor = if (n / systems).is_multiple_of(2) { "quince/moisture" } else { "fig/moisture" };
        let value = 0.2 + 0.001 * (n % 97) as f64;
        Self { system: format!("yard-{}", n % systems), sensor, at: start + n as i64 * 60, value }
    }

    pub(crate) fn topic(&self) -> String {
        format!("greywater/{}/{}", self.system, self.sensor)
    }

    pub(crate) fn payload(&self) -> String {
        format!("{{\"value\":{},\"time\":{}}}", self.value, self.at)
    }
}

impl Sent {
    pub(crate) fn note(&mut self, message: &Message) {
        let of = self.0.entry((message.system.clone(), message.sensor.to_owned())).or_default();
        of.insert(EventTime::from_secs(message.at), message.value);
    }

    pub(crate) fn note_all(&mut self, messages: &[Message]) {
        for message in messages {
            self.note(message);
        }
    }

    pub(crate) fn count(&self) -> usize {
        self.0.values().map(BTreeMap::len).sum()
    }

    /// How many of them the ledger does not have as they were sent.
    pub(crate) fn missing(&self, yard: &Yard) -> usize {
        let missing = |((system, sensor), sent): (&(String, String), &BTreeMap<EventTime, f64>)| {
            let stored = yard.readings(system, sensor);
            sent.iter().filter(|(at, value)| stored.get(at) != Some(value)).count()
        };
        self.0.iter().map(missing).sum()
    }

    /// Prints the count, and fails unless nothing is missing.
    pub(crate) fn assert_nothing_is_missing(&self, yard: &Yard, fault: &str) {
        let missing = self.missing(yard);
        println!("{fault}: {} acknowledged, {missing} lost", self.count());
        assert_eq!(missing, 0, "{fault}");
    }
}

/// Unix seconds of now, asked of the file system.
pub(crate) fn now() -> i64 {
    let file = tempfile::NamedTempFile::new().unwrap();
    let modified = file.as_file().metadata().unwrap().modified().unwrap();
    modified.duration_since(UNIX_EPOCH).unwrap().as_secs() as i64
}
