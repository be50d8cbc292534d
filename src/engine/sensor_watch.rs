//! Watches over single sensors: silence, quality, battery.

use serde::{Deserialize, Serialize};

use super::board::{Board, Conclusion, Spot};
use super::signal::{Cadence, Doubt, FloatEvent, FloatSignal, Noted, ProbeQuality, ProbeSignal};
use super::{Effect, words};
use crate::model::{
    EventTime, Evidence, FindingKind, Quantity, Reading, SensorIx, Severity, Span, System, Value,
};

/// A declared sensor that was never heard is missed this long after the system's first reading.
const NEVER_HEARD: Span = Span::from_hours(26);
/// Battery charge that calls for a new battery at the next visit, percent.
const BATTERY_LOW: f64 = 20.0;
/// Battery charge that calls for a visit, percent.
const BATTERY_NEARLY_EMPTY: f64 = 10.0;
/// Battery charge above which a battery counts as changed, percent.
const BATTERY_FRESH: f64 = 30.0;

/// What is known of one sensor.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct SensorWatch {
    pub(crate) cadence: Cadence,
    last: Option<(EventTime, f64)>,
    /// Its own signal called it implausible; what doses say of it is theirs to take back.
    doubted: bool,
    pub(crate) signal: Signal,
}

/// What a sensor's readings are made into.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) enum Signal {
    Plain,
    Float(Box<FloatSignal>),
    Probe(Box<Probe>),
    /// Low readings in a row.
    Battery(u8),
}

/// A moisture probe: whether to believe it, and what it shows.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Probe {
    quality: ProbeQuality,
    pub(crate) signal: ProbeSignal,
}

/// What a reading meant beyond its own sensor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Meaning {
    Nothing,
    Float(FloatEvent),
    /// A probe showed water, or a wetting was over.
    Water(Noted),
    /// A cumulative count went up.
    Counted,
}

impl SensorWatch {
    pub(crate) fn new(quantity: Quantity) -> Self {
        let signal = match quantity {
            Quantity::Float | Quantity::Overflow => Signal::Float(Box::default()),
            Quantity::Moisture => Signal::Probe(Box::default()),
            Quantity::Battery => Signal::Battery(0),
            Quantity::Temperature | Quantity::Meter | Quantity::Diverter | Quantity::Rain => Signal::Plain,
        };
        Self { cadence: Cadence::default(), last: None, doubted: false, signal }
    }

    /// The watch over a sensor that took the place of another at `at`: from then on it is waited for.
    pub(crate) fn replaced(quantity: Quantity, at: EventTime) -> Self {
        let mut watch = Self::new(quantity);
        watch.cadence.note(at, at, false, false);
        watch
    }

    /// Nobody listened until `at`. A float that `is_stuck` is not believed to have moved.
    pub(crate) fn unheard_until(&mut self, quantity: Quantity, at: EventTime, is_stuck: bool) {
        self.cadence.unheard_until(at);
        match &mut self.signal {
            Signal::Float(float) => float.unheard_until(at, is_stuck),
            Signal::Probe(probe) => {
                probe.quality.unheard();
                probe.signal.unheard();
            }
            Signal::Plain | Signal::Battery(_) => {}
        }
        // What a meter counted meanwhile came at no known time. Rain is held to have fallen now: that excuses, and accuses
        // nobody.
        if let Some((_, count)) = self.last.as_mut().filter(|_| quantity == Quantity::Meter) {
            *count = f64::NAN;
        }
    }

    /// Whether `at` is not newer than what was already taken.
    pub(crate) fn is_old(&self, at: EventTime) -> bool {
        self.last.is_some_and(|(last, _)| at <= last)
    }

    /// The float of this sensor, to be told that time went by.
    pub(crate) fn float_mut(&mut self) -> Option<&mut FloatSignal> {
        match &mut self.signal {
            Signal::Float(float) => Some(float),
            Signal::Plain | Signal::Probe(_) | Signal::Battery(_) => None,
        }
    }

    /// The moisture probe of this sensor, to be told of an episode.
    pub(crate) fn probe_mut(&mut self) -> Option<&mut ProbeSignal> {
        match &mut self.signal {
            Signal::Probe(probe) => Some(&mut probe.signal),
            Signal::Plain | Signal::Float(_) | Signal::Battery(_) => None,
        }
    }

    /// The float of this sensor.
    pub(crate) fn float(&self) -> Option<&FloatSignal> {
        match &self.signal {
            Signal::Float(float) => Some(float),
            Signal::Plain | Signal::Probe(_) | Signal::Battery(_) => None,
        }
    }

    /// The moisture probe of this sensor.
    pub(crate) fn probe(&self) -> Option<&ProbeSignal> {
        match &self.signal {
            Signal::Probe(probe) => Some(&probe.signal),
            Signal::Plain | Signal::Float(_) | Signal::Battery(_) => None,
        }
    }

    /// Since when a probe has said the same for longer than ever before.
    pub(crate) fn unmoved_since(&self) -> Option<EventTime> {
        match &self.signal {
            Signal::Probe(probe) => probe.quality.unmoved_since(),
            Signal::Plain | Signal::Float(_) | Signal::Battery(_) => None,
        }
    }

    /// Takes a reading in event order, heard by `now`, and says what it means for others.
    pub(crate) fn take(
        &mut self,
        system: &System,
        reading: &Reading,
        now: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) -> Meaning {
        let spot = Spot::Sensor(reading.sensor);
        let number = reading.value.to_number();
        let before = self.last.map(|(_, value)| value);
        let silent = board.stands(FindingKind::SensorSilent, spot);
        if self.last.is_some_and(|(last, _)| self.cadence.last() > Some(last)) {
            self.cadence.unheard_until(reading.at);
        } else {
            let repeated = before.is_some_and(|before| before.to_bits() == number.to_bits());
            self.cadence.note(reading.at, now, repeated, silent);
        }
        self.last = Some((reading.at, number));
        // What a gateway stored while it was cut off ends the silence only once it has caught up with the present.
        let quantity = system.sensor(reading.sensor).quantity;
        if silent && self.silent_from(quantity, None).is_none_or(|due| due > now) {
            board.clear(reading.at, FindingKind::SensorSilent, spot, out);
        }
        match (&mut self.signal, reading.value) {
            (Signal::Float(float), Value::Wet(wet)) => {
                let event = float.note(reading.at, wet);
                float.heard(now);
                self.doubted = judge_chatter(system, reading, float, self.doubted, board, out);
                event.map_or(Meaning::Nothing, Meaning::Float)
            }
            (Signal::Probe(probe), Value::Number(value)) => {
                probe.quality.note(reading.at, value);
                let quality = &probe.quality;
                self.doubted = judge_probe(system, reading, quality, self.doubted, board, out);
                Meaning::Water(probe.signal.note(reading.at, value))
            }
            (Signal::Battery(low), Value::Number(percent)) => {
                *low = if percent <= BATTERY_LOW { low.saturating_add(1) } else { 0 };
                judge_battery(system, reading, percent, *low, board, out);
                Meaning::Nothing
            }
            (Signal::Plain, Value::Number(count)) if before.is_some_and(|before| count > before) => {
                Meaning::Counted
            }
            _ => Meaning::Nothing,
        }
    }

    /// When this sensor, if declared, will have been silent for too long.
    pub(crate) fn silent_from(
        &self,
        quantity: Quantity,
        first_heard: Option<EventTime>,
    ) -> Option<EventTime> {
        let on_change = matches!(quantity, Quantity::Float | Quantity::Overflow | Quantity::Diverter);
        if self.cadence.last().is_none() {
            return first_heard.map(|first| first + NEVER_HEARD);
        }
        self.cadence.silent_from(on_change)
    }

    /// Concludes that the sensor is silent.
    pub(crate) fn conclude_silence(
        &self,
        system: &System,
        sensor: SensorIx,
        at: EventTime,
        first_heard: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let (says, silent_since) = match self.cadence.last() {
            Some(last) => (words::silent(system, sensor, last, self.cadence.patience()), last),
            None => (words::never_heard(system, sensor, first_heard), first_heard),
        };
        let mut estimate = vec![("silent_since", silent_since.to_string().into())];
        if self.cadence.last().is_none() {
            estimate.push(("never_heard", true.into()));
        }
        let conclusion = Conclusion {
            kind: FindingKind::SensorSilent,
            spot: Spot::Sensor(sensor),
            severity: Severity::Warning,
            probability: 0.97,
            estimate,
            evidence: vec![Evidence { at: Some(silent_since), says }],
        };
        board.conclude(system, at, conclusion, out);
    }
}

/// Says whether the float is `doubted` from now on.
fn judge_chatter(
    system: &System,
    reading: &Reading,
    float: &FloatSignal,
    doubted: bool,
    board: &mut Board,
    out: &mut Vec<Effect>,
) -> bool {
    if float.chatters() {
        let says = words::chatter(system, reading.sensor);
        conclude_sensor(system, FindingKind::SensorImplausible, reading.sensor, reading.at, says, board, out);
        return true;
    }
    let over = doubted && float.is_calm();
    if over {
        board.clear(reading.at, FindingKind::SensorImplausible, Spot::Sensor(reading.sensor), out);
    }
    doubted && !over
}

/// Says whether the probe is `doubted`, for other reasons than being frozen, from now on.
fn judge_probe(
    system: &System,
    reading: &Reading,
    quality: &ProbeQuality,
    doubted: bool,
    board: &mut Board,
    out: &mut Vec<Effect>,
) -> bool {
    let (sensor, at) = (reading.sensor, reading.at);
    let spot = Spot::Sensor(sensor);
    let doubt = quality.doubt();
    if !matches!(doubt, Some(Doubt::Frozen { .. })) {
        board.clear(at, FindingKind::SensorStuck, spot, out);
    }
    let Some(doubt) = doubt else {
        let over = doubted && quality.is_steady();
        if over {
            board.clear(at, FindingKind::SensorImplausible, spot, out);
        }
        return doubted && !over;
    };
    let kind = match doubt {
        Doubt::Frozen { .. } => FindingKind::SensorStuck,
        Doubt::Spiking | Doubt::OutOfRange { .. } => FindingKind::SensorImplausible,
    };
    let doubted = doubted || kind == FindingKind::SensorImplausible;
    if board.stands(kind, spot) {
        return doubted;
    }
    let says = match doubt {
        Doubt::Frozen { since, value } => words::frozen(system, sensor, value, since),
        Doubt::Spiking => words::spiking(system, sensor),
        Doubt::OutOfRange { value } => words::out_of_range(system, sensor, value),
    };
    conclude_sensor(system, kind, sensor, at, says, board, out);
    doubted
}

fn judge_battery(
    system: &System,
    reading: &Reading,
    percent: f64,
    low: u8,
    board: &mut Board,
    out: &mut Vec<Effect>,
) {
    let spot = Spot::Sensor(reading.sensor);
    if percent >= BATTERY_FRESH {
        board.clear(reading.at, FindingKind::BatteryLow, spot, out);
    }
    if low < 2 {
        return;
    }
    let severity = if percent <= BATTERY_NEARLY_EMPTY { Severity::Warning } else { Severity::Info };
    let says = words::battery(system, reading.sensor, percent);
    let conclusion = Conclusion {
        kind: FindingKind::BatteryLow,
        spot,
        severity,
        probability: 0.95,
        estimate: vec![("battery_percent", percent.into())],
        evidence: vec![Evidence { at: Some(reading.at), says }],
    };
    board.conclude(system, reading.at, conclusion, out);
}

/// Concludes that a sensor is not to be believed.
pub(crate) fn conclude_sensor(
    system: &System,
    kind: FindingKind,
    sensor: SensorIx,
    at: EventTime,
    says: String,
    board: &mut Board,
    out: &mut Vec<Effect>,
) {
    let conclusion = Conclusion {
        kind,
        spot: Spot::Sensor(sensor),
        severity: Severity::Warning,
        probability: 0.95,
        estimate: Vec::new(),
        evidence: vec![Evidence { at: Some(at), says }],
    };
    board.conclude(system, at, conclusion, out);
}
