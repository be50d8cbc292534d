//! One sensor as fitted in the yard: its instrument, how it writes, and what is wrong with it.

use super::battery::Battery;
use super::counter::Counter;
use super::float::Float;
use super::probe::{Probe, quantise};
use super::profile::{Exception, Profiles, Writing};
use super::topp;
use super::trouble::{Ailment, Window};
use crate::fault::Diverter;
use crate::payload::{Foreign, Format, Style, TimeForm, Unit, Value};
use crate::rng::Rng;
use crate::span::Span;
use crate::wiring::{Conversion, Quantity, Sensor};
use crate::world::World;

/// What measures.
#[derive(Debug, Clone)]
pub(super) enum Instrument {
    Probe(Probe),
    Float(Float),
    Thermometer { noise: f64, step: f64 },
    Battery(Battery),
    Meter(Counter),
    Rain(Counter),
    Diverter { reported_sewer: bool },
}

/// A sensor with all that decides what is heard of it.
#[derive(Debug, Clone)]
pub(super) struct Fitted {
    pub(super) sensor: Sensor,
    pub(super) instrument: Instrument,
    pub(super) format: Format,
    pub(super) every: Span,
    pub(super) percent: bool,
    pub(super) troubles: Vec<Window>,
}

/// What a sensor needs to know of its surroundings when it is fitted.
pub(super) struct Fitting<'a> {
    pub(super) profiles: &'a Profiles,
    pub(super) exception: Option<&'a Exception>,
    pub(super) troubles: Vec<Window>,
    pub(super) start_ms: i64,
    pub(super) seed: u64,
}

impl Fitted {
    /// Fits a sensor, drawing its hidden errors; none if the scenario leaves it out.
    pub(super) fn new(sensor: &Sensor, fitting: Fitting<'_>) -> Option<Self> {
        let mut rng = Rng::stream(fitting.seed, &format!("fit {}", sensor.name), 0);
        if fitting.exception.is_some_and(|exception| exception.absent) {
            return None;
        }
        let (instrument, every, writing) = instrument(sensor, &fitting, &mut rng)?;
        let exception = fitting.exception;
        let writing = exception.and_then(|it| it.write).unwrap_or(writing);
        Some(Self {
            format: format_of(sensor, writing),
            every: exception.and_then(|it| it.every).unwrap_or(every),
            percent: writing.percent || sensor.unit.as_deref() == Some("%"),
            sensor: sensor.clone(),
            instrument,
            troubles: fitting.troubles,
        })
    }

    /// Whether it says nothing at all now.
    pub(super) fn is_dead(&self, at_ms: i64) -> bool {
        self.troubles.iter().any(|window| window.what == Ailment::Dead && window.covers(at_ms))
    }

    /// What it says when asked now.
    pub(super) fn read(&mut self, world: &World, at_ms: i64, rng: &mut Rng) -> Value {
        let basin = self.sensor.basin.map(|index| world.basin(index));
        let soil_c = basin.as_ref().map_or(20.0, |basin| basin.soil_temperature_c);
        match &mut self.instrument {
            Instrument::Probe(probe) => {
                let content = basin.map_or(0.0, |basin| basin.water_content);
                let said = probe.read(content, soil_c, at_ms, &self.troubles, rng);
                self.moisture(said)
            }
            Instrument::Float(float) => contact(&self.sensor, float.reported),
            Instrument::Thermometer { noise, step } => {
                let said = quantise(soil_c + *noise * rng.normal(), *step);
                self.number(said, Unit::Celsius)
            }
            Instrument::Battery(battery) => {
                let charge = battery.charge(at_ms, &self.troubles).round();
                self.number(charge, Unit::BatteryPercent)
            }
            Instrument::Meter(counter) => {
                let count = counter.read(self.sensor.metered_litres(world));
                self.number(count as f64, Unit::Count)
            }
            Instrument::Rain(counter) => {
                let count = counter.read(world.system().rain_mm);
                self.number(count as f64, Unit::Count)
            }
            Instrument::Diverter { reported_sewer } => {
                *reported_sewer = world.system().diverter == Diverter::Sewer;
                Value::Diverter { sewer: *reported_sewer }
            }
        }
    }

    /// Watches a float or the diverter between wakes: changes to report at once.
    pub(super) fn follow(&mut self, world: &World, at_ms: i64, rng: &mut Rng) -> Vec<(i64, Value)> {
        match &mut self.instrument {
            Instrument::Float(float) => {
                let level_mm = self.sensor.basin.map_or(0.0, |index| world.basin(index).standing_mm);
                let changes = float.follow(level_mm, at_ms, &self.troubles, rng);
                changes.into_iter().map(|(at_ms, wet)| (at_ms, contact(&self.sensor, wet))).collect()
            }
            Instrument::Diverter { reported_sewer } => {
                let sewer = world.system().diverter == Diverter::Sewer;
                if sewer == *reported_sewer {
                    return Vec::new();
                }
                *reported_sewer = sewer;
                vec![(at_ms, Value::Diverter { sewer })]
            }
            Instrument::Probe(_)
            | Instrument::Thermometer { .. }
            | Instrument::Battery(_)
            | Instrument::Meter(_)
            | Instrument::Rain(_) => Vec::new(),
        }
    }

    /// The device restarts.
    pub(super) fn restart(&mut self, world: &World) {
        match &mut self.instrument {
            Instrument::Meter(counter) => counter.restart(self.sensor.metered_litres(world)),
            Instrument::Rain(counter) => counter.restart(world.system().rain_mm),
            Instrument::Probe(_)
            | Instrument::Float(_)
            | Instrument::Thermometer { .. }
            | Instrument::Battery(_)
            | Instrument::Diverter { .. } => {}
        }
    }

    /// Whether it reports between wakes.
    pub(super) fn is_switch(&self) -> bool {
        matches!(self.instrument, Instrument::Float(_) | Instrument::Diverter { .. })
    }

    /// Water content in the form this device speaks.
    fn moisture(&self, content: f64) -> Value {
        if self.sensor.conversion == Conversion::Topp {
            return self.number(thousandths(topp::permittivity(content)), Unit::Foreign);
        }
        if self.percent {
            return self.number(thousandths(content * 100.0), Unit::Percent);
        }
        self.number(content, Unit::Ratio)
    }

    /// A number, turned back through the receiver's scale and offset if there are any.
    fn number(&self, value: f64, unit: Unit) -> Value {
        let in_unit = match self.sensor.unit.as_deref() {
            Some("degF") => value * 1.8 + 32.0,
            _ => value,
        };
        match self.sensor.conversion {
            Conversion::Linear { scale, offset } => {
                Value::Number { value: thousandths((in_unit - offset) / scale), unit: Unit::Foreign }
            }
            Conversion::None | Conversion::Topp => Value::Number { value: in_unit, unit },
        }
    }
}

fn thousandths(value: f64) -> f64 {
    quantise(value, 0.001)
}

fn contact(sensor: &Sensor, wet: bool) -> Value {
    Value::Float { wet, closed: wet != sensor.wet_is_open }
}

/// How a sensor writes: pointers in the system file decide, else the scenario.
fn format_of(sensor: &Sensor, writing: Writing) -> Format {
    let wording = writing.words;
    if let Some(value) = &sensor.value {
        let form = match writing.time {
            TimeForm::None => TimeForm::Rfc3339,
            TimeForm::Rfc3339 | TimeForm::Seconds | TimeForm::Millis => writing.time,
        };
        let time = sensor.time.clone().map(|pointer| (pointer, form));
        return Format::Foreign(Foreign { value: value.clone(), time, wording });
    }
    match writing.style {
        Style::SenmlJson => Format::Senml { cbor: false },
        Style::SenmlCbor => Format::Senml { cbor: true },
        Style::Json => Format::Json { time: writing.time, wording },
        Style::Text => Format::Text { wording },
    }
}

/// The instrument for a sensor, with its interval and its kind's way of writing; none if the kind is not fitted.
fn instrument(sensor: &Sensor, fitting: &Fitting<'_>, rng: &mut Rng) -> Option<(Instrument, Span, Writing)> {
    let profiles = fitting.profiles;
    let exception = fitting.exception;
    match sensor.quantity {
        Quantity::Moisture => {
            let kind = &profiles.moisture;
            let (gain, offset) = (1.0 + kind.gain_spread * rng.normal(), kind.offset_spread * rng.normal());
            let probe = Probe {
                gain: exception.and_then(|it| it.gain).unwrap_or(gain),
                offset: exception.and_then(|it| it.offset).unwrap_or(offset),
                noise: exception.and_then(|it| it.noise).unwrap_or(kind.noise),
                step: kind.step,
                ripple_per_c: kind.ripple_per_c,
                last: None,
            };
            Some((Instrument::Probe(probe), kind.every, kind.write))
        }
        Quantity::Float | Quantity::Overflow => {
            let kind = &profiles.float;
            let float = Float {
                height_mm: sensor.height_mm,
                hysteresis_mm: kind.hysteresis_mm,
                ripple_mm: kind.ripple_mm,
                chatter: kind.chatter,
                lifted: false,
                reported: false,
            };
            Some((Instrument::Float(float), kind.heartbeat, kind.write))
        }
        Quantity::Temperature => {
            let kind = profiles.temperature.fitted.then_some(&profiles.temperature)?;
            let thermometer = Instrument::Thermometer { noise: kind.noise, step: kind.step };
            Some((thermometer, kind.every, kind.write))
        }
        Quantity::Battery => {
            let kind = profiles.battery.fitted.then_some(&profiles.battery)?;
            let battery = Battery {
                first_charge: rng.between(kind.least_charge, 100.0),
                start_ms: fitting.start_ms,
                per_year: kind.per_year,
            };
            Some((Instrument::Battery(battery), kind.every, kind.write))
        }
        Quantity::Meter | Quantity::Rain => {
            let is_meter = sensor.quantity == Quantity::Meter;
            let kind = if is_meter { &profiles.meter } else { &profiles.rain };
            let counter = Counter {
                per_count: sensor.per_count,
                wraps_at: kind.wraps_at,
                resets: kind.resets,
                first: rng.between(0.0, 50_000.0) as u64,
                zeroed_at: 0.0,
            };
            let counter = if is_meter { Instrument::Meter(counter) } else { Instrument::Rain(counter) };
            Some((counter, kind.every, kind.write))
        }
        Quantity::Diverter => {
            let kind = &profiles.diverter;
            Some((Instrument::Diverter { reported_sewer: false }, kind.heartbeat, kind.write))
        }
    }
}
