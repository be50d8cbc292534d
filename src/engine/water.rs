//! How the state machine hands water to its doses.

use super::Effect;
use super::board::{Board, Spot};
use super::dose::{DoseView, DoseWatch, ProbeView};
use super::machine::Engine;
use super::signal::Noted;
use crate::model::{EventTime, FindingKind, Place, SensorIx, Span};

/// Readings further apart than this do not stretch the joining of doses.
const LONGEST_USUAL_GAP: Span = Span::from_hours(2);

impl Engine {
    /// A probe showed water, or a wetting was over.
    pub(super) fn on_water(&mut self, sensor: SensorIx, noted: &Noted, out: &mut Vec<Effect>) {
        let Place::Basin(basin) = self.system.sensor(sensor).place else { return };
        if let Some(wetting) = &noted.ended {
            self.state.doses.wetted(basin, wetting);
        }
        if let Some(began) = noted.began {
            self.with_doses(|doses, view, _, _| doses.shown(view, began), &mut Vec::new());
            self.soil_wetted(basin, began, out);
        }
    }

    /// When the first dose under way may be finished.
    pub(super) fn dose_due(&self) -> Option<EventTime> {
        let probes = || self.layout.basins.iter().filter_map(|basin| basin.moisture);
        let open = |sensor: SensorIx| self.state.sensors[sensor.0 as usize].probe()?.open_since();
        self.state.doses.due(|| probes().filter_map(open))
    }

    /// Lets doses look at the rest of the engine.
    pub(super) fn with_doses(
        &mut self,
        act: impl FnOnce(&mut DoseWatch, &DoseView<'_>, &mut Board, &mut Vec<Effect>),
        out: &mut Vec<Effect>,
    ) {
        let probes = self.probes();
        let view = DoseView {
            system: &self.system,
            probes: &probes,
            usual_gap: self.usual_gap(),
            has_gauge: self.layout.rain.is_some(),
        };
        act(&mut self.state.doses, &view, &mut self.state.board, out);
    }

    fn probes(&self) -> Vec<Option<ProbeView>> {
        let probe = |sensor: SensorIx| {
            let signal = self.state.sensors[sensor.0 as usize].probe()?;
            let doubts =
                [FindingKind::SensorStuck, FindingKind::SensorImplausible, FindingKind::SensorSilent];
            let doubted = doubts.iter().any(|&kind| self.state.board.stands(kind, Spot::Sensor(sensor)));
            Some(ProbeView {
                usable: !doubted && signal.content().is_some(),
                resolution: signal.resolution(),
                open_since: signal.open_since(),
            })
        };
        self.layout.basins.iter().map(|basin| basin.moisture.and_then(probe)).collect()
    }

    fn usual_gap(&self) -> Span {
        let gaps = self.layout.basins.iter().filter_map(|basin| basin.moisture);
        let gaps = gaps.map(|sensor| self.state.sensors[sensor.0 as usize].cadence.usual_gap());
        gaps.max().unwrap_or_default().min(LONGEST_USUAL_GAP)
    }
}
