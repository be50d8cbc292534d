//! Which of a device's samples travel in one message, and the message they make.

use super::fitted::Fitted;
use super::profile::Pack;
use crate::payload::{Foreign, Format, Sample, encode, encode_together};
use crate::rng::Rng;
use crate::wiring::Wiring;

/// A message as it leaves a device.
#[derive(Debug, Clone, PartialEq)]
pub struct Outgoing {
    /// When it is sent (Unix ms, true time).
    pub sent_ms: i64,
    /// Where to.
    pub topic: String,
    /// What.
    pub payload: Vec<u8>,
    /// It says itself when its values were taken.
    pub timed: bool,
}

/// A message without the time of its sending.
pub(super) struct Sealed {
    topic: String,
    payload: Vec<u8>,
    timed: bool,
}

impl Sealed {
    pub(super) fn sent_at(self, sent_ms: i64) -> Outgoing {
        Outgoing { sent_ms, topic: self.topic, payload: self.payload, timed: self.timed }
    }
}

/// The sensors of a device whose samples may share a message, and the samples that wait for it.
#[derive(Debug, Clone)]
pub(super) struct Envelope {
    topic: String,
    base_name: String,
    members: Vec<usize>,
    waiting: Vec<(usize, Sample)>,
    is_senml: bool,
}

impl Envelope {
    /// Shares out a device's sensors: SenML sensors by the scenario's packing, foreign ones by their topic. Foreign
    /// sensors that share a topic are asked together, at the shortest of their intervals.
    pub(super) fn all(
        sensors: &mut [Fitted],
        basin: Option<usize>,
        wiring: &Wiring,
        pack: Pack,
        rng: &mut Rng,
    ) -> Vec<Self> {
        let serial = rng.bits() & 0xff_ffff;
        let mut all: Vec<(Format, Self)> = Vec::new();
        for (index, fitted) in sensors.iter().enumerate() {
            let is_senml = matches!(fitted.format, Format::Senml { .. });
            let topic = match (pack, basin) {
                (Pack::Basin, Some(basin)) if is_senml && !fitted.sensor.own_topic => {
                    format!("{}/{}/{}", wiring.prefix, wiring.system, wiring.basins[basin])
                }
                (Pack::Basin | Pack::System, _) if is_senml && !fitted.sensor.own_topic => {
                    format!("{}/{}", wiring.prefix, wiring.system)
                }
                (Pack::Basin | Pack::System | Pack::Sensor, _) => fitted.sensor.topic.clone(),
            };
            let fits = |format: &Format| match (format, &fitted.format) {
                (Format::Foreign(_), Format::Foreign(_)) => true,
                (Format::Senml { cbor: theirs }, Format::Senml { cbor: ours }) => theirs == ours,
                (
                    Format::Senml { .. } | Format::Foreign(_) | Format::Json { .. } | Format::Text { .. },
                    _,
                ) => false,
            };
            if let Some((_, envelope)) = all.iter_mut().find(|(format, it)| it.topic == topic && fits(format))
            {
                envelope.members.push(index);
                continue;
            }
            let base_name = match pack {
                Pack::System if !fitted.sensor.own_topic => format!("{}/", wiring.system),
                Pack::System | Pack::Basin | Pack::Sensor => format!("urn:dev:mac:0200fffe{serial:06x}:"),
            };
            let envelope = Self { topic, base_name, members: vec![index], waiting: Vec::new(), is_senml };
            all.push((fitted.format.clone(), envelope));
        }
        for (format, envelope) in &all {
            if matches!(format, Format::Foreign(_)) {
                let shortest = envelope.members.iter().map(|member| sensors[*member].every).min();
                for member in &envelope.members {
                    sensors[*member].every = shortest.unwrap_or(sensors[*member].every);
                }
            }
        }
        all.into_iter().map(|(_, envelope)| envelope).collect()
    }

    /// Whether a sensor's samples travel in it.
    pub(super) fn holds(&self, index: usize) -> bool {
        self.members.contains(&index)
    }

    /// Whether its samples keep their times when they wait.
    pub(super) fn may_wait(&self) -> bool {
        self.is_senml
    }

    /// Keeps a sample for the next uplink.
    pub(super) fn put(&mut self, index: usize, sample: Sample) {
        self.waiting.push((index, sample));
    }

    /// Takes what waits.
    pub(super) fn empty(&mut self) -> Vec<(usize, Sample)> {
        std::mem::take(&mut self.waiting)
    }

    /// Makes messages of samples: one for SenML, one a moment for a foreign device, else one a sample.
    pub(super) fn seal(&self, samples: &[(usize, Sample)], sensors: &[Fitted]) -> Vec<Sealed> {
        let Some((first, _)) = samples.first() else {
            return Vec::new();
        };
        let format = &sensors[*first].format;
        let payloads: Vec<Vec<u8>> = match format {
            Format::Senml { .. } => {
                let samples: Vec<Sample> = samples.iter().map(|(_, sample)| sample.clone()).collect();
                vec![encode(format, &self.base_name, &samples)]
            }
            Format::Foreign(_) => samples
                .chunk_by(|a, b| a.1.device_ms == b.1.device_ms)
                .map(|part| together(part, sensors))
                .collect(),
            Format::Json { .. } | Format::Text { .. } => {
                let one = |(_, sample): &(usize, Sample)| encode(format, "", std::slice::from_ref(sample));
                samples.iter().map(one).collect()
            }
        };
        let timed = format.carries_time();
        payloads.into_iter().map(|payload| Sealed { topic: self.topic.clone(), payload, timed }).collect()
    }
}

fn together(samples: &[(usize, Sample)], sensors: &[Fitted]) -> Vec<u8> {
    let parts: Vec<(&Foreign, &Sample)> = samples
        .iter()
        .filter_map(|(index, sample)| match &sensors[*index].format {
            Format::Foreign(foreign) => Some((foreign, sample)),
            Format::Senml { .. } | Format::Json { .. } | Format::Text { .. } => None,
        })
        .collect();
    encode_together(&parts)
}
