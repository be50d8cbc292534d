//! Engines that go through their journal again after a restart: what that leads to is in the ledger already, unless
//! their plan was changed in between.

use crate::engine::{Effect, Engine, Told};
use crate::ledger::{LedgerFault, StoredFinding, View};
use crate::model::Span;

/// Water that began so close to a stored dose is the same, by another plan.
const SAME_DOSE: Span = Span::from_mins(100);

/// What of `repeated`, the effects of going through the journal again, is not in the ledger and belongs there: by
/// another plan a dose may be over earlier. What came and went by a plan that was not in force then is left out, and what
/// stands is told by [`differences`].
///
/// # Errors
/// When the ledger cannot be read.
pub(super) fn news(view: &View, engine: &Engine, repeated: Vec<Effect>) -> Result<Vec<Effect>, LedgerFault> {
    let mut news = Vec::new();
    for effect in repeated {
        let is_new = match &effect {
            Effect::Finding(_) => false,
            Effect::Dose(dose) => {
                let (from, to) = (dose.at - SAME_DOSE, dose.at + SAME_DOSE);
                view.doses(&engine.system().id, from, to)?.is_empty()
            }
            // Of one basin and time, the ledger keeps one.
            Effect::Soak(_) | Effect::Forecast(_) => true,
        };
        news.extend(is_new.then_some(effect));
    }
    Ok(news)
}

/// How what `engine` believes differs from the findings that are `open` in the ledger.
pub(super) fn differences(engine: &Engine, open: &[StoredFinding]) -> Vec<Effect> {
    let own = open.iter().filter(|open| open.system == engine.system().id);
    let told: Vec<_> =
        own.map(|open| Told { raised_at: open.raised_at, finding: open.finding.clone() }).collect();
    let mut changes = Vec::new();
    engine.reconcile_repeated(&told, &mut changes);
    changes
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::engine::Dose;
    use crate::ledger::{Batch, Ledger};
    use crate::model::EventTime;
    use crate::systemfile;

    const YARD: &str = r#"
        id = "east"
        name = "East"
        property = "home"
        timezone = "UTC"
        soil = "loam"
        [[basin]]
        id = "quince"
        area_m2 = 1.2
        float = { height_mm = 120 }
    "#;

    fn dose(minute: i64) -> Effect {
        let at = EventTime::from_secs(minute * 60);
        Effect::Dose(Dose { at, litres: Some(60.0), shares: Vec::new(), quality: 0.5 })
    }

    #[test]
    fn a_dose_that_the_ledger_has_by_another_plan_is_not_counted_twice() {
        let folder = tempfile::tempdir().unwrap();
        let system = Arc::new(systemfile::parse("east.toml", YARD).unwrap());
        let mut ledger = Ledger::open(folder.path()).unwrap();
        let number = ledger.enrol([&*system]).unwrap()[0];
        let mut batch = Batch::default();
        batch.conclude(number, dose(600));
        ledger.commit(&batch).unwrap();
        let engine = Engine::new(system);
        let repeated = vec![dose(600), dose(615), dose(1440)];
        let news = news(&ledger.view().unwrap(), &engine, repeated).unwrap();
        assert_eq!(news, [dose(1440)]);
    }
}
