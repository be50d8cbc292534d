//! What work changes in a simulated yard.

use serde::{Deserialize, Serialize};
use simulators::fault::{Action, Diverter};

use crate::model::{Subject, Work};

/// Water of a flow test where nobody says how much, litres, and how fast it runs, litres a minute.
const LITRES: f64 = 120.0;
const LITRES_A_MINUTE: f64 = 10.0;

/// Something that somebody does in a yard.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) enum Deed {
    /// To the pipes and basins.
    Act(Action),
    /// A sensor, and the device that it belongs to, is mended.
    Mend(String),
}

/// Water run on purpose.
pub(super) fn water(litres: Option<f64>) -> Deed {
    let litres = litres.filter(|litres| *litres > 0.0).unwrap_or(LITRES);
    Deed::Act(Action::FlowTest { litres, l_min: LITRES_A_MINUTE })
}

/// What somebody did who writes this of `subject`. A look at a sensor sets it right, and one at the source finds leaks.
pub(super) fn of_record(subject: &Subject, work: &[Work]) -> Vec<Deed> {
    let mut deeds: Vec<Deed> = work.iter().flat_map(|work| of_work(subject, *work)).collect();
    match subject {
        Subject::Sensor(name) => deeds.push(Deed::Mend(name.clone())),
        Subject::Source if work.is_empty() => deeds.push(Deed::Act(Action::StopLeak)),
        Subject::Source | Subject::Diverter | Subject::Splitter(_) | Subject::Basin(_) => {}
    }
    deeds.dedup();
    deeds
}

fn of_work(subject: &Subject, work: Work) -> Vec<Deed> {
    let actions = match (work, subject) {
        (Work::SplitterLevelled, Subject::Splitter(id)) => vec![Action::LevelSplitter(id.to_string())],
        (Work::MulchRenewed | Work::BasinLoosened, Subject::Basin(id)) => {
            vec![Action::RenewMulch(id.to_string())]
        }
        (Work::OutletCleared, Subject::Basin(id)) => vec![Action::ClearOutlet(id.to_string())],
        (Work::LineCleared, _) => vec![Action::RestoreSource],
        (Work::DiverterExercised, _) => {
            vec![Action::TurnDiverter(Diverter::Sewer), Action::TurnDiverter(Diverter::Landscape)]
        }
        (Work::SensorReplaced(quantity), Subject::Basin(id)) => {
            return vec![Deed::Mend(format!("{id}/{}", quantity.name()))];
        }
        (Work::BatteryChanged, Subject::Basin(id)) => return vec![Deed::Mend(id.to_string())],
        _ => Vec::new(),
    };
    actions.into_iter().map(Deed::Act).collect()
}
