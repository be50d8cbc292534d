//! The state machine of one system.

use std::sync::Arc;

use super::allowance::OVERFLOW_HOLD;
use super::basin_watch::{BasinView, BasinWatch, StandingDue, flood_by_float, flood_by_overflow};
use super::board::{Board, Spot};
use super::day::Day;
use super::dose::DoseWatch;
use super::layout::Layout;
use super::reorder::Reorder;
use super::sensor_watch::{Meaning, SensorWatch, Signal};
use super::sewer_watch::SewerWatch;
use super::signal::FloatEvent;
use super::soak::SoakWatch;
use super::use_watch::UseWatch;
use super::{Effect, Input};
use crate::model::{
    BasinIx, EventTime, FindingKind, Place, Quantity, Reading, SensorIx, Span, System, Value,
};
use serde::{Deserialize, Serialize};

/// How far event time runs behind arrival: readings that late still come into order.
pub const WATERMARK: Span = Span::from_mins(5);

/// The state machine of one system: readings in, effects out. No clock, no I/O.
///
/// Readings wait until the watermark ([`WATERMARK`] behind their arrival) passes them and are then
/// applied in event order, interleaved with deadlines in order of their due times; so delays,
/// repeats and reordering within the watermark change nothing. A reading that arrives later still
/// counts if it is the newest of its sensor. Floods are judged on arrival as well.
#[derive(Clone, Debug)]
pub struct Engine {
    pub(super) system: Arc<System>,
    pub(super) layout: Layout,
    pub(super) state: State,
    /// Whether forecasts are worked out when they are due.
    pub(super) foretells: bool,
}

/// Everything an engine remembers.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct State {
    /// Event time that has passed.
    pub(super) now: EventTime,
    /// When the first reading was taken, or since when it has been listened to again.
    pub(super) first_heard: Option<EventTime>,
    /// Not after the earliest deadline; only an alarm, reckoned anew after a restore.
    #[serde(skip)]
    pub(super) wake: EventTime,
    pub(super) reorder: Reorder,
    pub(super) sensors: Vec<SensorWatch>,
    pub(super) basins: Vec<BasinWatch>,
    pub(super) sewer: SewerWatch,
    pub(super) doses: DoseWatch,
    /// The day under way, once anything was heard.
    pub(super) day: Option<Day>,
    /// Somebody worked on the system today.
    pub(super) worked_on: bool,
    pub(super) usage: UseWatch,
    pub(super) soak: SoakWatch,
    pub(super) board: Board,
}

/// Why an engine wants to be woken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Due {
    /// A float's fall is believed.
    FloatSettles(SensorIx),
    /// A basin's standing water is judged.
    Standing(BasinIx),
    /// A sensor counts as silent.
    Silence(SensorIx),
    /// Water against the diverter has ceased.
    SewerQuiet,
    /// A dose is finished.
    Dose,
    /// A day is over.
    Day,
}

impl Engine {
    /// A new engine that has heard nothing yet.
    pub fn new(system: Arc<System>) -> Self {
        let state = State {
            now: EventTime::MIN,
            first_heard: None,
            wake: EventTime::MAX,
            reorder: Reorder::default(),
            sensors: system.sensors.iter().map(|sensor| SensorWatch::new(sensor.quantity)).collect(),
            basins: vec![BasinWatch::default(); system.basins.len()],
            sewer: SewerWatch::default(),
            doses: DoseWatch::new(&system),
            day: None,
            worked_on: false,
            usage: UseWatch::default(),
            soak: SoakWatch::new(&system),
            board: Board::default(),
        };
        Self { layout: Layout::of(&system), system, state, foretells: true }
    }

    /// The plan that this engine watches.
    pub fn system(&self) -> &Arc<System> {
        &self.system
    }

    /// Event time that has passed for this engine.
    pub fn passed(&self) -> EventTime {
        self.state.now
    }

    /// Whether anything was ever heard.
    pub fn has_heard(&self) -> bool {
        self.state.first_heard.is_some()
    }

    /// Takes in what arrived at `received`, and appends what follows from it to `out`.
    pub fn apply(&mut self, received: EventTime, input: &Input, out: &mut Vec<Effect>) {
        self.advance(received - WATERMARK, out);
        match input {
            Input::Reading(reading) => self.receive(*reading, out),
            Input::Command(command) => self.obey(command, out),
            Input::SiblingUsed(at) => self.state.usage.sibling_used(*at),
            Input::Tick => {}
        }
    }

    /// Brings everything up to `end` to its conclusion, as if the watermark had passed it.
    pub fn finish(&mut self, end: EventTime, out: &mut Vec<Effect>) {
        self.advance(end, out);
    }

    /// When this engine next has something to do if no reading comes, and what.
    pub fn next_due(&self) -> Option<(EventTime, Due)> {
        let floats = self.system.sensor_ixs().filter_map(|ix| {
            let due = self.state.sensors[ix.0 as usize].float()?.due()?;
            Some((due, Due::FloatSettles(ix)))
        });
        let standing = self.system.basin_ixs().filter_map(|ix| {
            let (due, _) = self.standing_due(ix)?;
            Some((due, Due::Standing(ix)))
        });
        let silences =
            self.system.sensor_ixs().filter_map(|ix| Some((self.silence_due(ix)?, Due::Silence(ix))));
        let sewer = self.state.sewer.due(&self.state.board).map(|due| (due, Due::SewerQuiet));
        let dose = self.dose_due().map(|due| (due, Due::Dose));
        let day = self.day_due().map(|due| (due, Due::Day));
        floats.chain(standing).chain(silences).chain(sewer).chain(dose).chain(day).min()
    }

    fn advance(&mut self, to: EventTime, out: &mut Vec<Effect>) {
        let bound = 64 + 32 * self.state.sensors.len();
        while let Some(reading) = self.state.reorder.pop(to, bound) {
            self.run_deadlines(reading.at, out);
            self.absorb(&reading, reading.at, out);
        }
        self.run_deadlines(to, out);
    }

    fn receive(&mut self, reading: Reading, out: &mut Vec<Effect>) {
        if self.state.sensors[reading.sensor.0 as usize].is_old(reading.at) {
            return;
        }
        if reading.at <= self.state.now {
            self.absorb(&reading, self.state.now, out);
            return;
        }
        self.state.reorder.insert(reading);
        self.judge_flood_on_arrival(&reading, out);
    }

    /// Raises a flood as soon as the reading that completes it arrives, without the watermark.
    fn judge_flood_on_arrival(&mut self, reading: &Reading, out: &mut Vec<Effect>) {
        let sensor = self.system.sensor(reading.sensor);
        let (Place::Basin(basin), Value::Wet(true)) = (sensor.place, reading.value) else { return };
        if self.state.board.stands(FindingKind::Flooding, Spot::Basin(basin)) {
            return;
        }
        let Some(float) = self.state.sensors[reading.sensor.0 as usize].float() else { return };
        let waiting = self.state.reorder.iter().filter(|r| r.sensor == reading.sensor);
        let further = waiting.map(|r| (r.at, r.value == Value::Wet(true)));
        let Some(since) = float.wet_since_with(further) else { return };
        let (system, layout, state) = (&*self.system, self.layout.basins[basin.0 as usize], &mut self.state);
        let view =
            BasinView { system, basin, layout, sensors: &state.sensors, last_rain: state.sewer.last_rain() };
        let watch = &mut state.basins[basin.0 as usize];
        if sensor.quantity == Quantity::Overflow && reading.at - since >= OVERFLOW_HOLD {
            watch.told(since);
            flood_by_overflow(&view, since, &mut state.board, out);
        } else if sensor.quantity == Quantity::Float
            && reading.at - since >= layout.allowance.flood_hold
            && !watch.is_in_doubt()
        {
            watch.told(since);
            flood_by_float(&view, since, &mut state.board, out);
        }
    }

    /// Applies a reading whose turn has come at `now`.
    pub(super) fn absorb(&mut self, reading: &Reading, now: EventTime, out: &mut Vec<Effect>) {
        let index = reading.sensor.0 as usize;
        let state = &mut self.state;
        if state.sensors[index].is_old(reading.at) {
            return;
        }
        if state.first_heard.is_none() {
            state.first_heard = Some(reading.at);
            state.wake = EventTime::MIN;
            self.begin_days(reading.at);
        }
        let state = &mut self.state;
        let meaning = state.sensors[index].take(&self.system, reading, now, &mut state.board, out);
        if let Value::Course(course) = reading.value {
            state.sewer.turned(reading.at, course, &mut state.board, out);
            state.usage.turned(reading.at, course);
        }
        if reading.value == Value::Wet(true)
            && let Place::Basin(basin) = self.system.sensor(reading.sensor).place
            && self.layout.basins[basin.0 as usize].float == Some(reading.sensor)
        {
            let fell_unheard = state.basins[basin.0 as usize].is_up(reading.at);
            if let Signal::Float(float) = &mut state.sensors[index].signal
                && fell_unheard
            {
                float.rose_again(reading.at);
            }
        }
        match meaning {
            Meaning::Counted if self.layout.rain == Some(reading.sensor) => {
                state.sewer.rained(reading.at);
                state.doses.rained(reading.at);
            }
            Meaning::Counted if self.layout.meter_after_diverter == Some(reading.sensor) => {
                self.arrived(reading.at, None, out);
            }
            Meaning::Counted | Meaning::Nothing => {}
            Meaning::Water(noted) => self.on_water(reading.sensor, reading.at, &noted, out),
            Meaning::Float(event) => self.on_float(reading.sensor, event, reading.at, out),
        }
        self.read_slowly(reading);
        if self.layout.meter == Some(reading.sensor) {
            self.read_meter(reading.at, reading.value.to_number(), out);
            self.on_meter(reading.at, reading.value.to_number());
        }
        self.wake_for(reading.sensor);
    }

    pub(super) fn on_float(
        &mut self,
        sensor: SensorIx,
        event: FloatEvent,
        now: EventTime,
        out: &mut Vec<Effect>,
    ) {
        let Place::Basin(basin) = self.system.sensor(sensor).place else { return };
        match event {
            FloatEvent::Rose => {
                if self.system.sensor(sensor).quantity == Quantity::Float {
                    // A float that rises is not jammed, whatever was told of it.
                    self.state.board.clear(now, FindingKind::SensorStuck, Spot::Sensor(sensor), out);
                    self.on_activity(now);
                    self.state.doses.rose(basin, now);
                }
                self.arrived(now, Some(basin), out);
                self.rose(now, out);
            }
            FloatEvent::Fell { began, at } => {
                let is_overflow = self.system.sensor(sensor).quantity == Quantity::Overflow;
                let spot = Spot::Sensor(sensor);
                if !is_overflow && self.state.board.stands(FindingKind::SensorStuck, spot) {
                    self.state.board.clear(at, FindingKind::SensorStuck, spot, out);
                    self.state.basins[basin.0 as usize].freed(at);
                    return;
                }
                if !is_overflow {
                    self.state.doses.fell(basin, began, at);
                }
                self.state.basins[basin.0 as usize].fell(basin, is_overflow, began, at, out);
                if !is_overflow {
                    // What a floor does that somebody has to see to is no habit.
                    if !self.state.board.warns(FindingKind::SlowSoak, Spot::Basin(basin)) {
                        self.state.basins[basin.0 as usize].learn(at - began);
                    }
                    self.stood(basin, began, at);
                }
            }
            FloatEvent::Down => self.is_down(basin, now),
        }
    }

    /// Water arrived in a basin, or at the meter.
    fn arrived(&mut self, at: EventTime, basin: Option<BasinIx>, out: &mut Vec<Effect>) {
        let rain_known = self.layout.rain.is_some();
        let state = &mut self.state;
        state.sewer.arrived(&self.system, at, basin, rain_known, &mut state.board, out);
    }

    /// Brings the alarm forward to whatever a reading of `sensor` may have made due.
    fn wake_for(&mut self, sensor: SensorIx) {
        let mut wake = self.state.wake;
        let mut consider = |due: Option<EventTime>| wake = due.map_or(wake, |due| wake.min(due));
        consider(self.silence_due(sensor));
        if let Place::Basin(basin) = self.system.sensor(sensor).place
            && let Signal::Float(float) = &self.state.sensors[sensor.0 as usize].signal
        {
            consider(float.due());
            consider(self.standing_due(basin).map(|(due, _)| due));
        }
        consider(self.state.sewer.due(&self.state.board));
        consider(self.dose_due());
        self.state.wake = wake;
    }

    /// Does everything due up to `until`, in order.
    pub(super) fn run_deadlines(&mut self, until: EventTime, out: &mut Vec<Effect>) {
        while self.state.wake <= until {
            let next = self.next_due();
            self.state.wake = next.map_or(EventTime::MAX, |(due, _)| due);
            let Some((due, what)) = next.filter(|(due, _)| *due <= until) else { break };
            self.fire(due, what, out);
            self.state.wake = EventTime::MIN;
        }
        self.state.now = self.state.now.max(until);
    }

    fn fire(&mut self, due: EventTime, what: Due, out: &mut Vec<Effect>) {
        match what {
            Due::FloatSettles(sensor) => {
                let Signal::Float(float) = &mut self.state.sensors[sensor.0 as usize].signal else { return };
                if let Some(event) = float.settle(due) {
                    self.on_float(sensor, event, due, out);
                }
            }
            Due::Standing(basin) => {
                if let Some((_, what)) = self.standing_due(basin) {
                    self.fire_standing(basin, what, due, out);
                }
            }
            Due::Silence(sensor) => {
                let state = &mut self.state;
                let first = state.first_heard.unwrap_or(due);
                let watch = &state.sensors[sensor.0 as usize];
                watch.conclude_silence(&self.system, sensor, due, first, &mut state.board, out);
            }
            Due::SewerQuiet => {
                self.state.board.clear(due, FindingKind::UnexpectedWater, Spot::Diverter, out);
            }
            Due::Dose => {
                let from = out.len();
                self.see_dose(due, out);
                self.load(due, from, out);
            }
            Due::Day => self.close_day(out),
        }
    }

    fn fire_standing(&mut self, basin: BasinIx, what: StandingDue, due: EventTime, out: &mut Vec<Effect>) {
        let (system, layout, state) = (&*self.system, self.layout.basins[basin.0 as usize], &mut self.state);
        let view =
            BasinView { system, basin, layout, sensors: &state.sensors, last_rain: state.sewer.last_rain() };
        state.basins[basin.0 as usize].fire(&view, what, due, &mut state.board, out);
    }

    fn standing_due(&self, basin: BasinIx) -> Option<(EventTime, StandingDue)> {
        let layout = self.layout.basins[basin.0 as usize];
        let (sensors, last_rain) = (&self.state.sensors, self.state.sewer.last_rain());
        let view = BasinView { system: &self.system, basin, layout, sensors, last_rain };
        self.state.basins[basin.0 as usize].due(&view, &self.state.board)
    }

    fn silence_due(&self, ix: SensorIx) -> Option<EventTime> {
        let sensor = self.system.sensor(ix);
        if !sensor.declared || self.state.board.stands(FindingKind::SensorSilent, Spot::Sensor(ix)) {
            return None;
        }
        self.state.sensors[ix.0 as usize].silent_from(sensor.quantity, self.state.first_heard)
    }
}
