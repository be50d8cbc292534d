//! A device: the sensors of one basin (or of the system itself) on one battery, one clock and one radio.
//!
//! It wakes at a steady interval with some jitter, asks the sensors that are due, and sends at once what its
//! switches notice in between. Its clock is a little wrong and set right once a day.

use super::battery::EMPTY;
use super::envelope::{Envelope, Outgoing};
use super::fitted::{Fitted, Fitting, Instrument};
use super::profile::{Exception, Pack, Profiles};
use super::trouble::{Ailment, Trouble, Window};
use crate::payload::{Sample, Value};
use crate::rng::Rng;
use crate::span::Span;
use crate::wiring::{Quantity, Wiring};
use crate::world::World;

const DAY_MS: i64 = Span::days(1).ms();

/// What all devices of a scenario have in common.
#[derive(Debug, Clone, Copy)]
pub struct Habits {
    /// Largest error of a device's clock after it was set.
    pub clock_error: Span,
    /// Largest deviation of a wake from its schedule.
    pub jitter: Span,
    /// Mean number of restarts in a year.
    pub reboots_per_year: f64,
}

/// What the sensors of a basin last said.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Glance {
    /// The moisture probe (m³/m³), with the time (Unix ms).
    pub moisture: Option<(i64, f64)>,
    /// The float; true is wet.
    pub float: Option<bool>,
    /// The overflow float.
    pub overflow: Option<bool>,
}

/// One device.
#[derive(Debug, Clone)]
pub struct Device {
    pack: Pack,
    batch: u64,
    habits: Habits,
    sensors: Vec<Fitted>,
    envelopes: Vec<Envelope>,
    tick: Span,
    phase_ms: i64,
    wakes: u64,
    next_wake_ms: i64,
    next_reboot_ms: i64,
    clock_error_ms: i64,
    clock_set_on: i64,
    rng: Rng,
}

/// What a device is made from.
pub struct Parts<'a> {
    /// The sensors of the system.
    pub wiring: &'a Wiring,
    /// How they measure.
    pub profiles: &'a Profiles,
    /// Settings of single sensors.
    pub exceptions: &'a [Exception],
    /// What goes wrong.
    pub troubles: &'a [Trouble],
    /// What all devices have in common.
    pub habits: Habits,
    /// Start of the scenario (Unix ms).
    pub start_ms: i64,
    /// Seed of all draws.
    pub seed: u64,
}

impl Device {
    /// The device of a basin, or of the system itself; none if no sensor of it reports.
    pub fn new(basin: Option<usize>, parts: &Parts<'_>) -> Option<Self> {
        let wiring = parts.wiring;
        let mut sensors: Vec<Fitted> = wiring
            .sensors
            .iter()
            .filter(|sensor| sensor.basin == basin)
            .filter_map(|sensor| Fitted::new(sensor, fitting(&sensor.name, basin, parts)))
            .collect();
        let place = basin.map_or("system", |index| &wiring.basins[index]);
        let mut rng = Rng::stream(parts.seed, &format!("device {}/{place}", wiring.system), 0);
        let envelopes = Envelope::all(&mut sensors, basin, wiring, parts.profiles.pack, &mut rng);
        let tick = sensors.iter().map(|fitted| fitted.every).min()?;
        let phase_ms = (rng.unit() * tick.ms() as f64) as i64;
        let mut device = Self {
            pack: parts.profiles.pack,
            batch: u64::from(parts.profiles.batch.unwrap_or(1).max(1)),
            habits: parts.habits,
            sensors,
            envelopes,
            tick,
            phase_ms: parts.start_ms + phase_ms,
            wakes: 0,
            next_wake_ms: parts.start_ms + phase_ms,
            next_reboot_ms: i64::MAX,
            clock_error_ms: 0,
            clock_set_on: i64::MIN,
            rng,
        };
        device.next_reboot_ms = device.draw_reboot(parts.start_ms);
        Some(device)
    }

    /// What its sensors last said of their basin.
    pub fn glance(&self) -> Glance {
        let mut glance = Glance::default();
        for fitted in &self.sensors {
            match (&fitted.instrument, fitted.sensor.quantity) {
                (Instrument::Probe(probe), _) => glance.moisture = probe.last,
                (Instrument::Float(float), Quantity::Overflow) => glance.overflow = Some(float.reported),
                (Instrument::Float(float), _) => glance.float = Some(float.reported),
                (
                    Instrument::Thermometer { .. }
                    | Instrument::Battery(_)
                    | Instrument::Meter(_)
                    | Instrument::Rain(_)
                    | Instrument::Diverter { .. },
                    _,
                ) => {}
            }
        }
        glance
    }

    /// The basin whose device it is; none for the system's own.
    pub fn basin(&self) -> Option<usize> {
        self.sensors.first().and_then(|fitted| fitted.sensor.basin)
    }

    /// When it next wakes by itself (Unix ms).
    pub fn next_wake_ms(&self) -> i64 {
        self.next_wake_ms
    }

    /// Follows floats and the diverter; appends what is to be sent at once.
    pub fn follow(&mut self, world: &World, at_ms: i64, out: &mut Vec<Outgoing>) {
        for index in 0..self.sensors.len() {
            if !self.sensors[index].is_switch() {
                continue;
            }
            for (changed_ms, value) in self.sensors[index].follow(world, at_ms, &mut self.rng) {
                if self.can_speak(index, changed_ms) {
                    let sample = self.sample(index, changed_ms, value);
                    let envelope = self.envelopes.iter().find(|envelope| envelope.holds(index));
                    let sent = envelope.map(|envelope| envelope.seal(&[(index, sample)], &self.sensors));
                    out.extend(sent.into_iter().flatten().map(|sealed| sealed.sent_at(changed_ms)));
                }
            }
        }
    }

    /// Wakes: asks the sensors that are due and sends what is to be sent.
    pub fn wake(&mut self, world: &World, out: &mut Vec<Outgoing>) {
        let at_ms = self.next_wake_ms;
        let rebooted = at_ms >= self.next_reboot_ms;
        if rebooted {
            self.next_reboot_ms = self.draw_reboot(at_ms);
            self.envelopes.iter_mut().for_each(|envelope| drop(envelope.empty()));
            self.sensors.iter_mut().for_each(|fitted| fitted.restart(world));
        }
        for index in 0..self.sensors.len() {
            let rounds = (self.sensors[index].every.ms() / self.tick.ms()).max(1) as u64;
            if !(rebooted || self.wakes.is_multiple_of(rounds)) {
                continue;
            }
            if self.can_speak(index, at_ms) {
                let value = self.sensors[index].read(world, at_ms, &mut self.rng);
                let sample = self.sample(index, at_ms, value);
                if let Some(envelope) = self.envelopes.iter_mut().find(|it| it.holds(index)) {
                    envelope.put(index, sample);
                }
            }
        }
        self.wakes += 1;
        let jitter = self.habits.jitter.ms().min(self.tick.ms() / 3) as f64;
        let planned = self.phase_ms + self.wakes.cast_signed() * self.tick.ms();
        self.next_wake_ms = planned + self.rng.between(-jitter, jitter) as i64;
        let uplink = self.wakes.is_multiple_of(self.batch);
        for envelope in self.envelopes.iter_mut().filter(|envelope| uplink || !envelope.may_wait()) {
            let waiting = envelope.empty();
            out.extend(
                envelope.seal(&waiting, &self.sensors).into_iter().map(|sealed| sealed.sent_at(at_ms)),
            );
        }
    }

    /// A sample with its SenML name below the base name of the pack it travels in.
    fn sample(&mut self, index: usize, at_ms: i64, value: Value) -> Sample {
        let sensor = &self.sensors[index].sensor;
        let name = match self.pack {
            Pack::System if !sensor.own_topic => sensor.name.clone(),
            Pack::System | Pack::Basin | Pack::Sensor => sensor.quantity.word().to_owned(),
        };
        Sample { name, device_ms: at_ms + self.clock_error(at_ms), value }
    }

    /// Error of the clock now; it is set every day, never quite right.
    fn clock_error(&mut self, at_ms: i64) -> i64 {
        let today = at_ms.div_euclid(DAY_MS);
        if today != self.clock_set_on {
            let most = self.habits.clock_error.ms() as f64;
            self.clock_set_on = today;
            self.clock_error_ms = self.rng.between(-most, most) as i64;
        }
        self.clock_error_ms
    }

    /// A sensor speaks unless it or its device is dead.
    fn can_speak(&self, index: usize, at_ms: i64) -> bool {
        let empty = self.sensors.iter().any(|fitted| match &fitted.instrument {
            Instrument::Battery(battery) => battery.charge(at_ms, &fitted.troubles) <= EMPTY,
            Instrument::Probe(_)
            | Instrument::Float(_)
            | Instrument::Thermometer { .. }
            | Instrument::Meter(_)
            | Instrument::Rain(_)
            | Instrument::Diverter { .. } => false,
        });
        !empty && !self.sensors[index].is_dead(at_ms)
    }

    fn draw_reboot(&mut self, after_ms: i64) -> i64 {
        if self.habits.reboots_per_year <= 0.0 {
            return i64::MAX;
        }
        let mean_ms = 365.25 * DAY_MS as f64 / self.habits.reboots_per_year;
        after_ms + self.rng.exponential(mean_ms) as i64
    }
}

/// Collects what concerns one sensor. A battery's trouble is named by its basin.
fn fitting<'a>(name: &str, basin: Option<usize>, parts: &'a Parts<'_>) -> Fitting<'a> {
    let place = basin.map(|index| parts.wiring.basins[index].as_str());
    let concerns = |trouble: &&Trouble| match (&trouble.kind, trouble.on.as_deref()) {
        (Ailment::BatteryDying { .. }, on) => on == place && name.ends_with("/battery"),
        (_, on) => on == Some(name),
    };
    Fitting {
        profiles: parts.profiles,
        exception: parts.exceptions.iter().find(|exception| exception.name == name),
        troubles: parts
            .troubles
            .iter()
            .filter(concerns)
            .map(|trouble| Window {
                from_ms: trouble.from_ms(parts.start_ms),
                until_ms: trouble.until_ms(parts.start_ms),
                what: trouble.kind.clone(),
            })
            .collect(),
        start_ms: parts.start_ms,
        seed: parts.seed,
    }
}
