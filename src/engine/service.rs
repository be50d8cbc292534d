//! What work on a system changes in its engine's memory.
//!
//! After work the readings mean something new, so what was learnt about the part begins again and the
//! findings that the work was to mend are cleared. Both are seen: the clearing is an effect.

use super::board::Spot;
use super::{Effect, Engine};
use crate::model::{Command, EventTime, FindingKind, Id, Quantity, Work};

impl Engine {
    /// Takes to heart what somebody did. What happened before the watermark counts from now on.
    pub(super) fn obey(&mut self, command: &Command, out: &mut Vec<Effect>) {
        let at = command.at().max(self.state.now);
        match command {
            Command::Serviced(service) => {
                let Some(spot) = Spot::find(&service.subject, &self.system) else { return };
                for work in &service.work {
                    self.worked(at, spot, *work, out);
                }
                self.serviced_basin(service, at, out);
                self.state.worked_on = true;
            }
            Command::Corrected(depths) => self.corrected_basin(depths),
            Command::RunEnded { .. } => {
                self.state.doses.run_ended(at);
                self.state.worked_on = true;
            }
            Command::Caught(caught) => {
                let basin = |(id, litres): &(Id, f64)| Some((self.system.find_basin(id.as_str())?, *litres));
                let litres: Vec<_> = caught.litres.iter().filter_map(basin).collect();
                self.state.doses.caught(&self.system, &litres);
                self.state.worked_on = true;
            }
        }
        self.state.wake = EventTime::MIN;
    }

    fn worked(&mut self, at: EventTime, spot: Spot, work: Work, out: &mut Vec<Effect>) {
        let board = &mut self.state.board;
        match (work, spot) {
            (Work::OutletCleared, Spot::Basin(basin)) => {
                self.state.doses.outlet_cleared(&self.system, basin, at, board, out);
            }
            (Work::SplitterLevelled, Spot::Splitter(splitter)) => {
                self.state.doses.levelled(&self.system, splitter, at, board, out);
            }
            (Work::MulchRenewed | Work::BasinLoosened, Spot::Basin(basin)) => {
                self.state.basins[basin.0 as usize].relearn();
                self.state.doses.floor_renewed(basin);
                board.clear(at, FindingKind::SlowSoak, spot, out);
            }
            (Work::SensorReplaced(quantity), Spot::Basin(basin)) => {
                if quantity == Quantity::Moisture {
                    self.state.doses.probe_replaced(basin);
                }
                let sensor = self.system.find_sensor(crate::model::Place::Basin(basin), quantity);
                if let Some(sensor) = sensor {
                    self.forget_sensor(sensor, at, out);
                }
            }
            (Work::SensorReplaced(_), Spot::Sensor(sensor)) => self.forget_sensor(sensor, at, out),
            (Work::BatteryChanged, spot) => board.clear(at, FindingKind::BatteryLow, spot, out),
            (Work::LineCleared, _) => board.clear(at, FindingKind::NoWater, Spot::Source, out),
            // Nothing that was learnt depends on these, or the part is of another kind.
            (
                Work::OutletCleared
                | Work::SplitterLevelled
                | Work::MulchRenewed
                | Work::BasinLoosened
                | Work::SensorReplaced(_)
                | Work::DiverterExercised,
                _,
            ) => {}
        }
    }

    fn forget_sensor(&mut self, sensor: crate::model::SensorIx, at: EventTime, out: &mut Vec<Effect>) {
        let quantity = self.system.sensor(sensor).quantity;
        self.state.sensors[sensor.0 as usize] = super::sensor_watch::SensorWatch::replaced(quantity, at);
        for kind in [FindingKind::SensorSilent, FindingKind::SensorStuck, FindingKind::SensorImplausible] {
            self.state.board.clear(at, kind, Spot::Sensor(sensor), out);
        }
    }
}
