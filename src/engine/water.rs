//! How the state machine hands water to its doses.

use super::Effect;
use super::basin_watch::BasinView;
use super::board::Spot;
use super::dose::{DRIP_LITRES, DoseView, Shown};
use super::layout::Layout;
use super::machine::Engine;
use super::sewer_watch::SewerWatch;
use super::signal::{Noted, ProbeSignal, Rise};
use crate::model::{BasinIx, EventTime, FindingKind, Place, SensorIx, Span, System};

/// Readings further apart than this do not stretch the joining of doses.
const LONGEST_USUAL_GAP: Span = Span::from_hours(2);
/// A smaller rise of a probe may be noise, m³/m³.
const RISES_FROM: f64 = 0.006;
/// While no probe has risen by this, m³/m³, the water is still on its way through the soil.
const SHOWN_FROM: f64 = 0.02;
/// Water that others have shown for so long is missed where it does not show.
const LONG_SHOWN: Span = Span::from_mins(60);

fn dose_view<'a>(
    system: &'a System,
    layout: &Layout,
    sewer: &SewerWatch,
    shown: &'a [Shown],
) -> DoseView<'a> {
    DoseView { system, shown, has_gauge: layout.rain.is_some(), to_landscape: !sewer.says_sewer() }
}

impl Engine {
    /// A probe showed water, or a wetting was over.
    pub(super) fn on_water(&mut self, sensor: SensorIx, at: EventTime, noted: &Noted, out: &mut Vec<Effect>) {
        let Place::Basin(basin) = self.system.sensor(sensor).place else { return };
        if let Some(began) = noted.began {
            self.on_activity(began);
            self.soil_wetted(basin, began, out);
        }
        if let Some(wetting) = &noted.ended {
            self.state.doses.wetted(basin, wetting);
        }
        let doubts = [FindingKind::SensorStuck, FindingKind::SensorImplausible];
        let (system, state) = (&*self.system, &mut self.state);
        if doubts.iter().any(|&kind| state.board.stands(kind, Spot::Sensor(sensor))) {
            return;
        }
        let layout = self.layout.basins[basin.0 as usize];
        if let Some(wetting) = noted.ended.as_ref().filter(|_| layout.floor.is_some()) {
            state.soak.wetted(basin, wetting);
        }
        let view =
            BasinView { system, basin, layout, sensors: &state.sensors, last_rain: state.sewer.last_rain() };
        state.basins[basin.0 as usize].soil_shows(&view, at, noted.ended.as_ref(), &mut state.board, out);
    }

    /// Water moves somewhere in the system: an episode goes on, or begins for all probes at once.
    pub(super) fn on_activity(&mut self, at: EventTime) {
        let gap = self.usual_gap();
        if !self.state.doses.active(at, gap) {
            return;
        }
        for (basin, layout) in (0..).map(BasinIx).zip(&self.layout.basins) {
            let watch = |sensor: SensorIx| &self.state.sensors[sensor.0 as usize];
            let up_since = layout.float.and_then(|float| watch(float).float()?.wet_since());
            if up_since.is_some_and(|since| since < at) {
                self.state.doses.stood_before(basin);
            }
            if let Some(signal) =
                layout.moisture.and_then(|probe| self.state.sensors[probe.0 as usize].probe_mut())
            {
                signal.open_episode(at);
            }
        }
    }

    /// The meter was read.
    pub(super) fn on_meter(&mut self, at: EventTime, count: f64) {
        let litres = self.state.doses.passed(&self.system, count);
        if litres >= DRIP_LITRES {
            self.on_activity(at);
        }
        self.state.doses.metered(at, litres);
    }

    /// When the episode under way may be finished.
    pub(super) fn dose_due(&self) -> Option<EventTime> {
        self.state.doses.due()
    }

    /// Looks at the episode under way while it goes on, and finishes it when its time has come.
    pub(super) fn see_dose(&mut self, now: EventTime, out: &mut Vec<Effect>) {
        if !self.state.doses.goes_on(now) {
            self.finish_dose(now, out);
        } else if let Some(since) = self.missed_since() {
            let shown = self.all_shown(Some(since));
            let view = dose_view(&self.system, &self.layout, &self.state.sewer, &shown);
            self.state.doses.glance(&view, now, &mut self.state.board, out);
        } else {
            self.state.doses.nothing_to_see(now);
        }
    }

    /// Since when water that other probes have long shown is missed at one that has been heard since then.
    fn missed_since(&self) -> Option<EventTime> {
        let since = self.risen_at()? + LONG_SHOWN;
        let is_missed = |rise: &Rise| rise.amplitude < SHOWN_FROM / 2.0 && rise.heard_at() >= since;
        self.rises().any(is_missed).then_some(since)
    }

    /// How far each probe has risen in the episode under way.
    fn rises(&self) -> impl Iterator<Item = &Rise> {
        let probes = self.layout.basins.iter().filter_map(|basin| basin.moisture);
        probes.filter_map(|probe| self.state.sensors[probe.0 as usize].probe()?.episode())
    }

    /// By when the last of the probes that show water had risen, at the mean of its growth.
    fn risen_at(&self) -> Option<EventTime> {
        self.rises().filter(|rise| rise.amplitude >= SHOWN_FROM).map(|rise| rise.risen_at).max()
    }

    /// Finishes the episode whose time has come, unless a probe still rises.
    fn finish_dose(&mut self, now: EventTime, out: &mut Vec<Effect>) {
        let usual_gap = self.usual_gap();
        if self.rising(now).is_some_and(|grew_at| self.state.doses.waits(grew_at, usual_gap, now)) {
            return;
        }
        let shown = self.all_shown(self.risen_at());
        self.distrust_frozen(now, out);
        let view = dose_view(&self.system, &self.layout, &self.state.sewer, &shown);
        self.state.doses.finish(&view, now, &mut self.state.board, out);
        for probe in self.layout.basins.iter().filter_map(|basin| basin.moisture) {
            if let Some(signal) = self.state.sensors[probe.0 as usize].probe_mut() {
                signal.close_episode();
            }
        }
    }

    /// What was concluded from a probe that was frozen by then is taken back.
    fn distrust_frozen(&mut self, now: EventTime, out: &mut Vec<Effect>) {
        for (basin, layout) in (0..).map(BasinIx).zip(&self.layout.basins) {
            let Some(sensor) = layout.moisture else { continue };
            let is_stuck = self.state.board.stands(FindingKind::SensorStuck, Spot::Sensor(sensor));
            if let Some(since) = self.state.sensors[sensor.0 as usize].unmoved_since().filter(|_| is_stuck) {
                self.state.doses.distrust(&self.system, basin, since, now, &mut self.state.board, out);
            }
        }
    }

    /// When a probe last rose in the episode under way; `now` while none has shown anything yet.
    fn rising(&self, now: EventTime) -> Option<EventTime> {
        let highest = self.rises().map(|rise| rise.amplitude).reduce(f64::max)?;
        if highest < SHOWN_FROM {
            return Some(now);
        }
        self.rises().filter(|rise| rise.amplitude >= RISES_FROM).map(|rise| rise.grew_at).max()
    }

    /// What the sensor of each basin shows of the episode under way; nothing if it was not heard `since` others showed it.
    fn all_shown(&self, since: Option<EventTime>) -> Vec<Shown> {
        (0..self.layout.basins.len()).map(|basin| self.shown(basin, since)).collect()
    }

    /// What a basin's sensor shows of the episode under way: its probe, or its float where there is none.
    fn shown(&self, basin: usize, since: Option<EventTime>) -> Shown {
        let layout = &self.layout.basins[basin];
        let believed = |sensor: &SensorIx| !self.state.board.distrusts(*sensor);
        if let Some(sensor) = layout.moisture {
            let rise = |signal: &ProbeSignal| {
                let rise =
                    signal.episode().filter(|rise| rise.readings >= 2 && Some(rise.heard_at()) >= since)?;
                Some(Shown::Rise {
                    amplitude: rise.amplitude,
                    before: rise.before,
                    deviation: signal.deviation(),
                    at_ceiling: signal.is_at_ceiling(rise.peak),
                    resolution: signal.resolution(),
                })
            };
            let watch = &self.state.sensors[sensor.0 as usize];
            // What says the same all the time may be frozen: that is no water that failed to come.
            let moves = || watch.unmoved_since().is_none();
            let signal = watch.probe().filter(|_| believed(&sensor) && moves());
            return signal.and_then(rise).unwrap_or(Shown::Nothing);
        }
        match layout.float.filter(believed) {
            Some(_) => Shown::Float { minutes: self.state.doses.float_minutes(basin) },
            None => Shown::Nothing,
        }
    }

    fn usual_gap(&self) -> Span {
        let gaps = self.layout.basins.iter().filter_map(|basin| basin.moisture);
        let gaps = gaps.map(|sensor| self.state.sensors[sensor.0 as usize].cadence.usual_gap());
        gaps.max().unwrap_or_default().min(LONGEST_USUAL_GAP)
    }
}
