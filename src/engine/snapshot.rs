//! Engines as bytes, and back.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::machine::State;
use super::{Effect, Engine};
use crate::model::{EventTime, System};

/// Format of the snapshot; raised with every change to what an engine remembers, or to what that means.
const VERSION: u16 = 17;

/// Why a snapshot cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum SnapshotFault {
    /// Another version of the program wrote it.
    #[error("the snapshot has format {found}, this program writes format {VERSION}")]
    Version {
        /// Format found.
        found: u16,
    },
    /// The bytes are not those that were written.
    #[error("the snapshot is damaged: its checksum is not that of what it holds")]
    Damaged,
    /// The bytes are no snapshot.
    #[error("the snapshot cannot be read")]
    Unreadable(#[source] postcard::Error),
}

/// A state with the names its indices stand for, so that it can be moved to a changed plan.
#[derive(Serialize, Deserialize)]
struct Named<S> {
    sensors: Vec<String>,
    basins: Vec<String>,
    state: S,
}

impl Engine {
    /// Everything the engine remembers: the format in two bytes, a checksum in four, and the memory.
    pub fn snapshot(&self) -> Vec<u8> {
        let named = Named {
            sensors: sensor_names(&self.system),
            basins: basin_names(&self.system),
            state: &self.state,
        };
        let head = [&VERSION.to_le_bytes()[..], &[0; 4]].concat();
        let mut bytes = postcard::to_extend(&named, head).expect("plain data always serialises");
        let sum = checksum(&bytes[6..]);
        bytes[2..6].copy_from_slice(&sum);
        bytes
    }

    /// The engine that wrote `bytes`, now watching `system`.
    ///
    /// If the plan has changed since, sensors and basins keep their memory by name, and findings
    /// about parts that are gone are cleared (the effects returned).
    ///
    /// # Errors
    /// When the bytes are of another version or damaged.
    pub fn restore(system: Arc<System>, bytes: &[u8]) -> Result<(Self, Vec<Effect>), SnapshotFault> {
        let (version, body) = bytes
            .split_first_chunk::<2>()
            .ok_or(SnapshotFault::Unreadable(postcard::Error::DeserializeUnexpectedEnd))?;
        let found = u16::from_le_bytes(*version);
        if found != VERSION {
            return Err(SnapshotFault::Version { found });
        }
        // Indices inside are trusted once they are known to be what an engine wrote.
        let (sum, body) = body
            .split_first_chunk::<4>()
            .ok_or(SnapshotFault::Unreadable(postcard::Error::DeserializeUnexpectedEnd))?;
        if *sum != checksum(body) {
            return Err(SnapshotFault::Damaged);
        }
        let named: Named<State> = postcard::from_bytes(body).map_err(SnapshotFault::Unreadable)?;
        let mut effects = Vec::new();
        Ok((Self::with_memory(system, named, &mut effects), effects))
    }

    /// This engine, now watching a changed plan; see [`Engine::restore`].
    pub fn moved_to(self, system: Arc<System>) -> (Self, Vec<Effect>) {
        let named = Named {
            sensors: sensor_names(&self.system),
            basins: basin_names(&self.system),
            state: self.state,
        };
        let mut effects = Vec::new();
        (Self::with_memory(system, named, &mut effects), effects)
    }

    /// Clears every finding: the system is no longer watched.
    pub fn retire(&mut self, at: EventTime, out: &mut Vec<Effect>) {
        self.state.board.clear_all(at, out);
    }

    fn with_memory(system: Arc<System>, memory: Named<State>, effects: &mut Vec<Effect>) -> Self {
        let mut engine = Self::new(system);
        if memory.sensors == sensor_names(&engine.system) && memory.basins == basin_names(&engine.system) {
            engine.state = memory.state;
            // Limits may have changed with the plan, so look at every deadline again.
            engine.state.wake = EventTime::MIN;
        } else {
            engine.adopt(memory, effects);
        }
        engine
    }

    /// Takes over by name what `old` remembers.
    fn adopt(&mut self, old: Named<State>, effects: &mut Vec<Effect>) {
        let names = sensor_names(&self.system);
        for (watch, name) in self.state.sensors.iter_mut().zip(&names) {
            if let Some(at) = old.sensors.iter().position(|n| n == name) {
                watch.clone_from(&old.state.sensors[at]);
            }
        }
        for (watch, name) in self.state.basins.iter_mut().zip(basin_names(&self.system)) {
            if let Some(at) = old.basins.iter().position(|n| *n == name) {
                watch.clone_from(&old.state.basins[at]);
            }
        }
        for (watch, name) in self.state.soak.basins.iter_mut().zip(basin_names(&self.system)) {
            if let Some(at) = old.basins.iter().position(|n| *n == name) {
                watch.clone_from(&old.state.soak.basins[at]);
            }
        }
        for reading in old.state.reorder.iter() {
            let name = &old.sensors[reading.sensor.0 as usize];
            if let Some(ix) = self.system.sensor_ixs().find(|ix| names[ix.0 as usize] == *name) {
                self.state.reorder.insert(crate::model::Reading { sensor: ix, ..*reading });
            }
        }
        self.state.now = old.state.now;
        self.state.first_heard = old.state.first_heard;
        self.state.day = old.state.day;
        self.state.sewer = old.state.sewer;
        self.state.usage = old.state.usage;
        self.state.soak.adopt(&old.state.soak);
        self.state.board = old.state.board;
        self.state.board.move_to(&self.system, self.state.now, effects);
        self.state.wake = EventTime::MIN;
    }
}

fn checksum(body: &[u8]) -> [u8; 4] {
    let mut crc = flate2::Crc::new();
    crc.update(body);
    crc.sum().to_le_bytes()
}

fn sensor_names(system: &System) -> Vec<String> {
    system.sensor_ixs().map(|ix| system.sensor_name(ix)).collect()
}

fn basin_names(system: &System) -> Vec<String> {
    system.basins.iter().map(|basin| basin.id.to_string()).collect()
}
