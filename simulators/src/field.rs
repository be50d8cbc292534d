//! One monitored system: the world, the devices that watch it, and the link they report over.

use crate::fault::Misfit;
use crate::radio::{Message, Radio};
use crate::scenario::Scenario;
use crate::sensor::{Device, Glance, Outgoing, Parts};
use crate::standing::{Spell, Standing};
use crate::world::World;

/// A scenario under way.
#[derive(Debug)]
pub struct Field {
    world: World,
    devices: Vec<Device>,
    radio: Radio,
    standing: Vec<Standing>,
    outbox: Vec<Outgoing>,
}

impl Field {
    /// Builds what the scenario describes. Fails if a fault or service names a part that the system lacks.
    pub fn new(scenario: &Scenario, seed: u64) -> Result<Self, Misfit> {
        let start_ms = scenario.start_ms;
        let parts = Parts {
            wiring: &scenario.wiring,
            profiles: &scenario.sensors,
            exceptions: &scenario.exceptions,
            troubles: &scenario.troubles,
            habits: scenario.radio.habits(),
            start_ms,
            seed,
        };
        let places = (0..scenario.wiring.basins.len()).map(Some).chain([None]);
        Ok(Self {
            world: World::new(
                &scenario.site,
                &scenario.household,
                &scenario.climate,
                &scenario.faults,
                &scenario.services,
                start_ms,
                seed,
            )?,
            devices: places.filter_map(|basin| Device::new(basin, &parts)).collect(),
            radio: Radio::new(&scenario.radio, &scenario.troubles, &scenario.wiring.system, start_ms, seed),
            standing: Standing::of_basins(&scenario.wiring),
            outbox: Vec::new(),
        })
    }

    /// Lets time pass up to `until_ms` and appends the messages that arrive by then, in order of arrival.
    pub fn advance_to(&mut self, until_ms: i64, arrived: &mut Vec<Message>) {
        while let Some(index) = self.next_to_wake(until_ms) {
            self.watch(self.devices[index].next_wake_ms());
            self.devices[index].wake(&self.world, &mut self.outbox);
        }
        self.watch(until_ms);
        for sent in self.outbox.drain(..) {
            self.radio.carry(sent);
        }
        self.radio.arrivals(until_ms, arrived);
    }

    /// What the sensors of a basin last said.
    pub fn glance(&self, basin: usize) -> Glance {
        let device = self.devices.iter().find(|device| device.basin() == Some(basin));
        device.map(Device::glance).unwrap_or_default()
    }

    /// The world as it truly is.
    pub fn world(&self) -> &World {
        &self.world
    }

    /// The world, for taking what it recorded.
    pub fn world_mut(&mut self) -> &mut World {
        &mut self.world
    }

    /// Spells of standing water that have ended since this was last asked, with the basin's index.
    pub fn take_spells(&mut self) -> Vec<(usize, Spell)> {
        let taken = self.standing.iter_mut().enumerate();
        taken
            .flat_map(|(basin, standing)| standing.take().into_iter().map(move |spell| (basin, spell)))
            .collect()
    }

    /// Ends the spells that last to the end of the scenario.
    pub fn close_spells(&mut self) {
        let now_ms = self.world.now_ms();
        self.standing.iter_mut().for_each(|standing| standing.close(now_ms));
    }

    fn next_to_wake(&self, until_ms: i64) -> Option<usize> {
        let waking = self.devices.iter().enumerate().map(|(index, device)| (device.next_wake_ms(), index));
        waking.min().filter(|(at_ms, _)| *at_ms <= until_ms).map(|(_, index)| index)
    }

    /// Lets the world run while floats, diverter and standing water are watched.
    fn watch(&mut self, until_ms: i64) {
        let Self { world, devices, standing, outbox, .. } = self;
        world.advance_watch(until_ms, &mut |at_ms, world| {
            for device in devices.iter_mut() {
                device.follow(world, at_ms, outbox);
            }
            for (basin, standing) in standing.iter_mut().enumerate() {
                standing.see(world.basin(basin).standing_mm, at_ms);
            }
        });
    }
}
