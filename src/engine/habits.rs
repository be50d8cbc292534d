//! How the state machine hands water, warmth and days to what learns from them slowly.

use std::sync::Arc;

use super::board::Board;
use super::day::Day;
use super::machine::Engine;
use super::signal::Cadence;
use super::soak::{DayView, FloatNow};
use super::use_watch::{UseView, UseWatch};
use super::{Dose, Effect};
use crate::model::{BasinIx, Depths, EventTime, Place, Quantity, Reading, SensorIx, Service, Span, Subject};

/// Longer than this between two counts, and it is not known when the water came.
const COUNT_GAP: Span = Span::from_hours(6);

impl Engine {
    /// The system is heard for the first time.
    pub(super) fn begin_days(&mut self, at: EventTime) {
        self.state.day = Some(Day::beginning(at, &self.system.zone));
        let system = Arc::clone(&self.system);
        let placed = |ix: BasinIx| {
            let date = system.basin(ix).mulch.placed.or(system.commissioned)?;
            let midnight = system.zone.to_ambiguous_zoned_datetime(date.at(0, 0, 0, 0)).compatible().ok()?;
            Some(EventTime::from_millis(midnight.timestamp().as_millisecond()))
        };
        self.state.soak.begin(placed, at);
    }

    /// The meter was read.
    pub(super) fn read_meter(&mut self, at: EventTime, count: f64, out: &mut Vec<Effect>) {
        let to_landscape = self.is_to_landscape();
        let passed = self.with_use(|usage, view, board, out| usage.metered(view, at, count, board, out), out);
        // What a meter counted over many hours came at no known time.
        if let Some((_, litres)) = passed.filter(|(before, _)| to_landscape && at - *before <= COUNT_GAP) {
            self.state.soak.came(at, litres);
        }
    }

    /// Doses were concluded among these effects.
    pub(super) fn load(&mut self, now: EventTime, from: usize, out: &mut Vec<Effect>) {
        let doses: Vec<Dose> = out[from..]
            .iter()
            .filter_map(|effect| match effect {
                Effect::Dose(dose) => Some(dose.clone()),
                Effect::Finding(_) | Effect::Soak(_) | Effect::Forecast(_) => None,
            })
            .collect();
        for dose in &doses {
            self.state.soak.shared(&self.state.doses.shares(&self.system));
            if self.layout.meter.is_none() {
                self.state.soak.dosed(dose, self.state.doses.last_size());
            }
            self.with_use(|usage, view, board, out| usage.dosed(view, dose, now, board, out), out);
        }
    }

    /// A float rose.
    pub(super) fn rose(&mut self, at: EventTime, out: &mut Vec<Effect>) {
        self.with_use(|usage, _, board, out| usage.arrived_at(at, at, board, out), out);
    }

    /// The soil of a basin became wet.
    pub(super) fn soil_wetted(&mut self, basin: BasinIx, at: EventTime, out: &mut Vec<Effect>) {
        let rain_known = self.layout.rain.is_some();
        let state = &mut self.state;
        // Rain takes its time through the soil.
        if state.soak.rained_of_late() {
            return;
        }
        state.sewer.wetted(&self.system, at, basin, rain_known, &mut state.board, out);
    }

    /// Whether water is meant to come to the basins, by what the diverter says last.
    fn is_to_landscape(&self) -> bool {
        self.system.source.meter_after_diverter || !self.state.sewer.says_sewer()
    }

    fn with_use<T>(
        &mut self,
        act: impl FnOnce(&mut UseWatch, &UseView<'_>, &mut Board, &mut Vec<Effect>) -> T,
        out: &mut Vec<Effect>,
    ) -> T {
        let meter_gap = self.layout.meter.map(|meter| &self.state.sensors[meter.0 as usize].cadence);
        let view = UseView {
            system: &self.system,
            meter_gap: meter_gap.filter(|cadence| cadence.last().is_some()).map(Cadence::usual_gap),
            last_rain: self.state.sewer.last_rain(),
            to_landscape: !self.state.sewer.says_sewer(),
            can_see: self.can_see(),
        };
        act(&mut self.state.usage, &view, &mut self.state.board, out)
    }

    /// Whether sensors that would show more water in the basins are heard and believed. Where water stands, or soil can
    /// hold no more, nothing is shown of what else comes.
    fn can_see(&self) -> bool {
        let is_full = |sensor: SensorIx| {
            let probe = self.state.sensors[sensor.0 as usize].probe();
            probe.is_some_and(|probe| probe.content().is_some_and(|content| probe.is_at_ceiling(content)))
        };
        let believed = |sensor: SensorIx| {
            let heard = self.state.sensors[sensor.0 as usize].cadence.last().is_some();
            heard && !self.state.board.distrusts(sensor)
        };
        let sensors = self.layout.basins.iter().flat_map(|basin| [basin.moisture, basin.float]);
        let stands = |sensor: SensorIx| {
            self.state.sensors[sensor.0 as usize].float().is_some_and(|float| float.wet_since().is_some())
        };
        let mut sensors = sensors.flatten().filter(|&sensor| believed(sensor)).peekable();
        sensors.peek().is_some() && !sensors.any(|sensor| is_full(sensor) || stands(sensor))
    }

    /// A float fell and stayed down.
    pub(super) fn stood(&mut self, basin: BasinIx, began: EventTime, at: EventTime) {
        let today = self.state.day.map_or(EventTime::MIN, |day| day.from);
        self.state.soak.fell(basin, began, at, today);
    }

    /// A day is over.
    pub(super) fn close_day(&mut self, out: &mut Vec<Effect>) {
        let Some(day) = self.state.day else { return };
        let floats: Vec<FloatNow> =
            self.layout.basins.iter().map(|basin| self.float_now(basin.float)).collect();
        let may_get_more: Vec<bool> = (0..self.layout.basins.len())
            .map(|basin| self.state.doses.may_bring_more(&self.system, basin))
            .collect();
        let view = DayView {
            system: &self.system,
            layouts: &self.layout.basins,
            floats: &floats,
            may_get_more: &may_get_more,
            number: day.number,
            from: day.from,
            to: day.to,
            heard_since: self.state.first_heard.unwrap_or(day.from),
        };
        self.state.soak.close_day(&view, &mut self.state.board, out);
        self.with_use(|usage, view, board, out| usage.close_day(view, day.to, board, out), out);
        self.state.day = Some(day.next(&self.system.zone));
        self.tell_forecasts(out);
    }

    fn float_now(&self, float: Option<SensorIx>) -> FloatNow {
        let known = float.and_then(|sensor| Some((sensor, self.state.sensors[sensor.0 as usize].float()?)));
        let Some((sensor, signal)) = known else { return FloatNow { believed: false, wet_since: None } };
        // A float that reports changes alone may be long unheard, but not for days while water comes and goes.
        let heard = signal.last().is_some();
        FloatNow { believed: heard && !self.state.board.distrusts(sensor), wet_since: signal.wet_since() }
    }

    /// Somebody worked on a basin: what was learnt of its floor and mulch begins anew.
    pub(super) fn serviced_basin(&mut self, service: &Service, at: EventTime, out: &mut Vec<Effect>) {
        let Subject::Basin(id) = &service.subject else { return };
        let Some(ix) = self.system.find_basin(id.as_str()) else { return };
        let (system, state) = (&*self.system, &mut self.state);
        state.soak.serviced(system, ix, (service, at), &mut state.board, out);
    }

    /// What somebody measured in a basin was something else.
    pub(super) fn corrected_basin(&mut self, depths: &Depths) {
        if let Some(ix) = self.system.find_basin(depths.basin.as_str()) {
            self.state.soak.corrected(&self.system, ix, depths);
        }
    }

    /// A reading that matters only in the long run: of a soil thermometer or the gauge.
    pub(super) fn read_slowly(&mut self, reading: &Reading) {
        let (sensor, number) = (self.system.sensor(reading.sensor), reading.value.to_number());
        match (sensor.quantity, sensor.place) {
            (Quantity::Temperature, Place::Basin(basin)) => self.state.soak.warmed(basin, number),
            (Quantity::Rain, _) => {
                self.state.soak.read_gauge(number, self.system.rain_mm_per_count.unwrap_or(0.0));
            }
            _ => {}
        }
    }

    /// When the day is over.
    pub(super) fn day_due(&self) -> Option<EventTime> {
        self.state.day.map(|day| day.to)
    }
}
