//! Finds the sensors of a topic and hands them the payload.

use std::sync::Arc;

use rustc_hash::FxHashMap;

use super::convert::{Written, convert};
use super::decoded::{Decoded, Fault};
use super::json::{self, Document};
use super::senml::{Base, Name, Record, Resolved};
use super::time::WrittenTime;
use super::{Refusal, cbor, senml_json, text};
use crate::model::{EventTime, Place, Reading, SensorIx, System};

/// Largest payload that is looked into, bytes.
const LARGEST: usize = 64 * 1024;

/// Maps topics to the sensors that are heard there.
#[derive(Debug)]
pub struct Router {
    systems: Vec<Arc<System>>,
    topics: FxHashMap<Box<str>, Entry>,
}

/// What is heard on one topic.
#[derive(Debug, Default)]
struct Entry {
    /// Sensors that look where their system file points, and then those whose payloads are recognised by themselves.
    sensors: Vec<(usize, SensorIx)>,
    /// How many of the former there are.
    pointed: usize,
    /// The topic stops early: SenML names say the rest.
    rest: Option<(usize, Place)>,
}

/// A message on its way through.
struct Message<'m> {
    received: EventTime,
    topic: &'m str,
    payload: &'m [u8],
}

impl Entry {
    fn hear(&mut self, system: usize, sensor: SensorIx, is_pointed: bool) {
        // Most topics have one sensor, and there are many topics.
        self.sensors.reserve_exact(1);
        let place = if is_pointed { self.pointed } else { self.sensors.len() };
        self.sensors.insert(place, (system, sensor));
        self.pointed += usize::from(is_pointed);
    }
}

impl Router {
    /// A router for `systems`; default topics begin with `prefix`.
    pub fn new(systems: &[Arc<System>], prefix: &str) -> Self {
        let topics_of = |system: &Arc<System>| 1 + system.basins.len() + system.sensors.len();
        let mut topics: FxHashMap<Box<str>, Entry> = FxHashMap::default();
        topics.reserve(systems.iter().map(topics_of).sum());
        for (at, system) in systems.iter().enumerate() {
            let whole = format!("{prefix}/{}", system.id);
            for ix in system.basin_ixs() {
                let topic = format!("{whole}/{}", system.basin(ix).id);
                topics.entry(topic.into()).or_default().rest = Some((at, Place::Basin(ix)));
            }
            topics.entry(whole.as_str().into()).or_default().rest = Some((at, Place::System));
            for ix in system.sensor_ixs() {
                let wiring = &system.sensor(ix).wiring;
                let topic = match &wiring.topic {
                    Some(topic) => topic.clone(),
                    None => format!("{whole}/{}", system.sensor_name(ix)),
                };
                let entry = topics.entry(topic.into()).or_default();
                entry.hear(at, ix, wiring.value.is_some());
            }
        }
        Self { systems: systems.to_vec(), topics }
    }

    /// Decodes a message that arrived at `received` and appends what it holds to `out`.
    pub fn decode(&self, received: EventTime, topic: &str, payload: &[u8], out: &mut Decoded) {
        let message = Message { received, topic, payload };
        let Some(entry) = self.topics.get(topic) else {
            out.hear(topic.to_owned(), payload);
            return;
        };
        if payload.len() > LARGEST {
            let detail = format!("{} bytes", payload.len());
            out.refuse(topic, payload, (Refusal::TooLarge, detail));
            return;
        }
        let (pointed, plain) = entry.sensors.split_at(entry.pointed);
        if !pointed.is_empty() {
            self.decode_pointed(&message, pointed, out);
        }
        if !plain.is_empty() || (entry.rest.is_some() && pointed.is_empty()) {
            self.decode_plain(&message, plain, entry.rest, out);
        }
    }

    /// Foreign JSON: each sensor looks where its system file points.
    fn decode_pointed(&self, message: &Message<'_>, sensors: &[(usize, SensorIx)], out: &mut Decoded) {
        let document = match Document::read(message.payload) {
            Ok(document) => document,
            Err(fault) => return out.refuse(message.topic, message.payload, fault),
        };
        for &(system, sensor) in sensors {
            let wiring = &self.systems[system].sensor(sensor).wiring;
            let read = wiring.value.as_deref().map_or_else(
                || Err((Refusal::MissingPointer, "no pointer".to_owned())),
                |pointer| {
                    let time =
                        wiring.time.as_deref().map_or(Ok(WrittenTime::Arrival), |p| document.time(p))?;
                    Ok((document.value(pointer)?, time))
                },
            );
            self.finish(message, (system, sensor), read, None, out);
        }
    }

    /// Payloads that are recognised by themselves.
    fn decode_plain(
        &self,
        message: &Message<'_>,
        sensors: &[(usize, SensorIx)],
        rest: Option<(usize, Place)>,
        out: &mut Decoded,
    ) {
        let payload = message.payload;
        if cbor::looks_like_pack(payload) {
            let records = cbor::pack(payload).map(Vec::into_iter);
            return self.decode_pack(message, sensors, rest, records, out);
        }
        let first = payload.iter().find(|byte| !byte.is_ascii_whitespace());
        if first == Some(&b'[') {
            let records = senml_json::pack(payload).map(|raws| raws.into_iter().map(senml_json::record));
            return self.decode_pack(message, sensors, rest, records, out);
        }
        let Some((&last, others)) = sensors.split_last() else {
            // A topic that stops early and no names to say the rest.
            return out.hear(message.topic.to_owned(), payload);
        };
        let read = |(system, ix): (usize, SensorIx)| {
            if first == Some(&b'{') {
                return json::read_plain(payload);
            }
            let quantity = self.systems[system].sensor(ix).quantity;
            text::read(payload, quantity).map(|value| (value, WrittenTime::Arrival))
        };
        for &sensor in others {
            self.finish(message, sensor, read(sensor), None, out);
        }
        self.finish(message, last, read(last), None, out);
    }

    fn decode_pack<'p>(
        &self,
        message: &Message<'p>,
        sensors: &[(usize, SensorIx)],
        rest: Option<(usize, Place)>,
        records: Result<impl Iterator<Item = Result<Record<'p>, Fault>>, Fault>,
        out: &mut Decoded,
    ) {
        let records = match records {
            Ok(records) => records,
            Err(fault) => return out.refuse(message.topic, message.payload, fault),
        };
        let mut base = Base::default();
        for record in records {
            match record.and_then(|record| base.resolve(record)) {
                Ok(Some(resolved)) => self.decode_record(message, sensors, rest, resolved, out),
                Ok(None) => {}
                Err(fault) => out.refuse(message.topic, message.payload, fault),
            }
        }
    }

    fn decode_record(
        &self,
        message: &Message<'_>,
        sensors: &[(usize, SensorIx)],
        rest: Option<(usize, Place)>,
        record: Resolved<'_>,
        out: &mut Decoded,
    ) {
        let Resolved { name, unit, value, time } = record;
        let read = |sensor, out: &mut Decoded| {
            let written = Ok((value.clone(), time.clone()));
            self.finish(message, sensor, written, unit.as_deref(), out);
        };
        for &(system, sensor) in sensors {
            let due = self.systems[system].sensor(sensor).quantity;
            match name.quantity() {
                Some(named) if named != due => {
                    let detail = format!("the record names {named}, its topic {due}");
                    out.refuse(message.topic, message.payload, (Refusal::WrongQuantity, detail));
                }
                Some(_) | None => read((system, sensor), out),
            }
        }
        if let (true, Some((system, place))) = (sensors.is_empty(), rest) {
            match self.named(system, place, &name) {
                Ok(Some(sensor)) => read((system, sensor), out),
                Ok(None) => out.hear(format!("{} {}", message.topic, name.0), message.payload),
                Err(fault) => out.refuse(message.topic, message.payload, fault),
            }
        }
    }

    /// The sensor that a record's name means below a topic that stops at `place`; none if the
    /// system has no such sensor.
    fn named(&self, system: usize, place: Place, name: &Name<'_>) -> Result<Option<SensorIx>, Fault> {
        let system = &self.systems[system];
        let Some(quantity) = name.quantity() else {
            let detail = format!("`{}` names no quantity", name.0);
            return Err((Refusal::WrongQuantity, detail));
        };
        let place = match place {
            Place::Basin(basin) if quantity.is_of_basin() => Place::Basin(basin),
            Place::Basin(_) => {
                return Err((Refusal::WrongQuantity, format!("{quantity} belongs to no basin")));
            }
            Place::System if quantity.is_of_basin() => {
                match name.basin().and_then(|id| system.find_basin(id)) {
                    Some(basin) => Place::Basin(basin),
                    None => return Ok(None),
                }
            }
            Place::System => Place::System,
        };
        Ok(system.find_sensor(place, quantity))
    }

    /// Makes a reading of what was read, or a refusal.
    fn finish(
        &self,
        message: &Message<'_>,
        (system, sensor): (usize, SensorIx),
        read: Result<(Written<'_>, WrittenTime<'_>), Fault>,
        unit: Option<&str>,
        out: &mut Decoded,
    ) {
        let reading = read.and_then(|(written, time)| {
            let value = convert(self.systems[system].sensor(sensor), &written, unit)?;
            Ok(Reading { sensor, at: time.resolve(message.received)?, value })
        });
        match reading {
            Ok(reading) => out.readings.push((system, reading)),
            Err(fault) => out.refuse(message.topic, message.payload, fault),
        }
    }
}
