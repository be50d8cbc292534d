//! An engine that learns anew from stored readings: what it can be reminded of, and how what it then believes differs
//! from what was told before.

use super::board::differs;
use super::{Change, Effect, Engine, FindingChange, words};
use crate::model::{BasinIx, EventTime, Evidence, Finding, FindingKind, Span};

/// So long after the first reading what is usual is learnt: thirty doses at one a day, and a stretch for the floors.
const LEARNT_AFTER: Span = Span::from_days(45);

/// A finding that was told and not taken back.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// When it was raised.
    pub raised_at: EventTime,
    /// As it was told last.
    pub finding: Finding,
}

impl Engine {
    /// Reminds an engine that has heard nothing yet of a basin's mulch: the litres that had come, and the part that was
    /// left.
    pub fn recall_mulch(&mut self, basin: BasinIx, litres: f64, left: f64) {
        self.state.soak.recall_mulch(&self.system, basin, litres, left);
    }

    /// Whether forecasts are worked out when they are due. They change nothing that is remembered, and cost much time when
    /// a year goes by in a second.
    pub fn foretell(&mut self, does: bool) {
        self.foretells = does;
    }

    /// Brings what is told up to what stands, for an engine that has learnt anew, silently, from the readings since
    /// `from`, which are `all` there ever were or not.
    pub fn reconcile_learnt(&self, told: &[Told], from: EventTime, all: bool, out: &mut Vec<Effect>) {
        self.reconcile(told, out, |Told { raised_at, finding }| {
            let is_too_old = !all && rests_on_the_usual(finding.kind) && *raised_at < from + LEARNT_AFTER;
            let says = if is_too_old { words::too_old_to_judge } else { words::judged_anew };
            says(&self.system, from)
        });
    }

    /// Brings what is told up to what stands, for an engine that went silently through inputs that it took in before,
    /// perhaps by another plan.
    pub fn reconcile_repeated(&self, told: &[Told], out: &mut Vec<Effect>) {
        self.reconcile(told, out, |_| words::judged_by_changed_plan());
    }

    /// Takes back what of `told` does not stand, and why, and tells what stands and is not told.
    fn reconcile(&self, told: &[Told], out: &mut Vec<Effect>, why: impl Fn(&Told) -> String) {
        let at = self.state.now;
        let mut tell = |change, finding: &Finding| {
            out.push(Effect::Finding(FindingChange { change, at, finding: finding.clone() }));
        };
        let same = |a: &Finding, b: &Finding| (a.kind, &a.subject) == (b.kind, &b.subject);
        for standing in self.state.board.findings() {
            match told.iter().find(|told| same(&told.finding, standing)) {
                None => tell(Change::Raised, standing),
                Some(told) if differs(&told.finding, standing.severity, standing.probability) => {
                    tell(Change::Updated, standing);
                }
                Some(_) => {}
            }
        }
        for told in told {
            if !self.state.board.findings().any(|standing| same(&told.finding, standing)) {
                let mut finding = told.finding.clone();
                finding.evidence.push(Evidence { at: None, says: why(told) });
                tell(Change::Cleared, &finding);
            }
        }
    }
}

/// Whether such a finding says that something is not as usual, so that it cannot be seen by readings all of which are
/// younger.
fn rests_on_the_usual(kind: FindingKind) -> bool {
    match kind {
        FindingKind::SlowSoak | FindingKind::BlockedOutlet | FindingKind::UnevenSplit => true,
        FindingKind::Flooding
        | FindingKind::Ponding
        | FindingKind::NoWater
        | FindingKind::UnexpectedWater
        | FindingKind::SensorSilent
        | FindingKind::SensorStuck
        | FindingKind::SensorImplausible
        | FindingKind::BatteryLow => false,
    }
}
