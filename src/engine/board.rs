//! The findings that stand at present; turns conclusions into changes, without repeating itself.

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use super::{Change, Effect, FindingChange};
use crate::model::{
    BasinIx, EventTime, Evidence, Finding, FindingKind, SensorIx, Severity, Span, SplitterIx, Subject, System,
};

/// A subject by index: cheap to compare.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub(crate) enum Spot {
    Splitter(SplitterIx),
    Basin(BasinIx),
    Sensor(SensorIx),
    Source,
    Diverter,
}

/// A date in a finding is reported anew once it is past, or when it has moved by more than this.
const DATE_MOVES: Span = Span::from_days(14);
/// Probabilities at which a standing finding is reported anew when it crosses one.
const STEPS: [f64; 4] = [0.5, 0.8, 0.95, 0.99];

/// All standing findings of one system.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Board {
    standing: Vec<Standing>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Standing {
    kind: FindingKind,
    spot: Spot,
    since: EventTime,
    #[serde(with = "as_json")]
    finding: Finding,
}

impl Standing {
    /// The end of it, which never lies before its beginning: a stored reading may tell late that all was well.
    fn cleared(self, at: EventTime) -> Effect {
        let at = at.max(self.since);
        Effect::Finding(FindingChange { change: Change::Cleared, at, finding: self.finding })
    }
}

/// A conclusion on its way to the board.
pub(crate) struct Conclusion {
    pub(crate) kind: FindingKind,
    pub(crate) spot: Spot,
    pub(crate) severity: Severity,
    pub(crate) probability: f64,
    pub(crate) estimate: Vec<(&'static str, Value)>,
    pub(crate) evidence: Vec<Evidence>,
}

impl Board {
    /// Whether a finding stands.
    pub(crate) fn stands(&self, kind: FindingKind, spot: Spot) -> bool {
        self.since(kind, spot).is_some()
    }

    /// Whether a sensor is silent, stuck or implausible, so that nothing may rest on it.
    pub(crate) fn distrusts(&self, sensor: SensorIx) -> bool {
        let doubts = [FindingKind::SensorStuck, FindingKind::SensorImplausible, FindingKind::SensorSilent];
        doubts.iter().any(|&kind| self.stands(kind, Spot::Sensor(sensor)))
    }

    /// Since when a finding stands.
    pub(crate) fn since(&self, kind: FindingKind, spot: Spot) -> Option<EventTime> {
        self.standing.iter().find(|s| s.kind == kind && s.spot == spot).map(|s| s.since)
    }

    /// Whether a finding stands that asks somebody to do something.
    pub(crate) fn warns(&self, kind: FindingKind, spot: Spot) -> bool {
        let of = |standing: &&Standing| standing.kind == kind && standing.spot == spot;
        self.standing.iter().find(of).is_some_and(|standing| standing.finding.severity != Severity::Info)
    }

    /// The findings that stand.
    pub(crate) fn findings(&self) -> impl Iterator<Item = &Finding> {
        self.standing.iter().map(|standing| &standing.finding)
    }

    /// Raises a finding, or updates it if its severity changed, its probability crossed a step or its due date moved.
    pub(crate) fn conclude(
        &mut self,
        system: &System,
        at: EventTime,
        conclusion: Conclusion,
        out: &mut Vec<Effect>,
    ) {
        let Conclusion { kind, spot, severity, probability, estimate, evidence } = conclusion;
        let known = self.standing.iter().position(|s| s.kind == kind && s.spot == spot);
        let estimate = estimate.into_iter().map(|(name, value)| (name.to_owned(), value)).collect();
        let is_known = |finding: &Finding| {
            !differs(finding, severity, probability) && !moved(&finding.estimate, &estimate, at)
        };
        if known.is_some_and(|i| is_known(&self.standing[i].finding)) {
            return;
        }
        let subject = spot.subject(system);
        let finding = Finding { kind, subject, severity, probability, estimate, evidence };
        let change = if known.is_some() { Change::Updated } else { Change::Raised };
        out.push(Effect::Finding(FindingChange { change, at, finding: finding.clone() }));
        match known {
            Some(i) => self.standing[i].finding = finding,
            None => self.standing.push(Standing { kind, spot, since: at, finding }),
        }
    }

    /// Clears a finding, if it stands.
    pub(crate) fn clear(&mut self, at: EventTime, kind: FindingKind, spot: Spot, out: &mut Vec<Effect>) {
        if let Some(i) = self.standing.iter().position(|s| s.kind == kind && s.spot == spot) {
            out.push(self.standing.remove(i).cleared(at));
        }
    }

    /// Clears every finding.
    pub(crate) fn clear_all(&mut self, at: EventTime, out: &mut Vec<Effect>) {
        let cleared = std::mem::take(&mut self.standing).into_iter().map(|standing| standing.cleared(at));
        out.extend(cleared);
    }

    /// Moves the board to a changed plan: findings whose subject is gone are cleared.
    pub(crate) fn move_to(&mut self, plan: &System, at: EventTime, out: &mut Vec<Effect>) {
        for mut standing in std::mem::take(&mut self.standing) {
            if let Some(spot) = Spot::find(&standing.finding.subject, plan) {
                standing.spot = spot;
                self.standing.push(standing);
            } else {
                out.push(standing.cleared(at));
            }
        }
    }
}

/// Whether a finding is to be told anew now that it is of that severity and probability.
pub(crate) fn differs(known: &Finding, severity: Severity, probability: f64) -> bool {
    let step = |p: f64| STEPS.iter().filter(|&&s| p >= s).count();
    known.severity != severity || step(known.probability) != step(probability)
}

/// Whether the due date that was told is past, or no longer the one that is told now.
fn moved(known: &Map<String, Value>, now: &Map<String, Value>, at: EventTime) -> bool {
    let due = |estimate: &Map<String, Value>| estimate.get("due")?.as_str()?.parse::<EventTime>().ok();
    match (due(known), due(now)) {
        (Some(known), Some(now)) => {
            known != now && (known <= at || known.max(now) - known.min(now) > DATE_MOVES)
        }
        (known, now) => known != now,
    }
}

impl Spot {
    pub(crate) fn subject(self, system: &System) -> Subject {
        match self {
            Self::Splitter(ix) => Subject::Splitter(system.splitter(ix).id.clone()),
            Self::Basin(ix) => Subject::Basin(system.basin(ix).id.clone()),
            Self::Sensor(ix) => Subject::Sensor(system.sensor_name(ix)),
            Self::Source => Subject::Source,
            Self::Diverter => Subject::Diverter,
        }
    }

    pub(crate) fn find(subject: &Subject, system: &System) -> Option<Self> {
        match subject {
            Subject::Splitter(id) => {
                let at = system.splitters.iter().position(|s| s.id == *id)?;
                Some(Self::Splitter(SplitterIx(at as u16)))
            }
            Subject::Basin(id) => system.find_basin(id.as_str()).map(Self::Basin),
            Subject::Sensor(name) => {
                system.sensor_ixs().find(|&ix| system.sensor_name(ix) == *name).map(Self::Sensor)
            }
            Subject::Source => Some(Self::Source),
            Subject::Diverter => Some(Self::Diverter),
        }
    }
}

/// Findings hold free-form JSON, which compact formats cannot read back; so they travel as text.
mod as_json {
    use serde::{Deserialize, Deserializer, Serializer, de::Error as _, ser::Error as _};

    use crate::model::Finding;

    pub(super) fn serialize<S: Serializer>(finding: &Finding, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&serde_json::to_string(finding).map_err(S::Error::custom)?)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Finding, D::Error> {
        serde_json::from_str(&String::deserialize(deserializer)?).map_err(D::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::stories::yard;

    #[test]
    fn a_finding_warns_from_when_it_asks_for_something_until_it_is_cleared() {
        let (system, at, mut out) = (yard(), EventTime::from_secs(0), Vec::new());
        let (kind, spot) = (FindingKind::BlockedOutlet, Spot::Basin(BasinIx(0)));
        let mut board = Board::default();
        let mut conclude = |board: &mut Board, severity| {
            let told =
                Conclusion { kind, spot, severity, probability: 0.7, estimate: vec![], evidence: vec![] };
            board.conclude(&system, at, told, &mut out);
        };
        conclude(&mut board, Severity::Info);
        assert!(board.stands(kind, spot) && !board.warns(kind, spot));
        conclude(&mut board, Severity::Warning);
        assert!(board.warns(kind, spot) && !board.warns(kind, Spot::Basin(BasinIx(1))));
        board.clear(at, kind, spot, &mut Vec::new());
        assert!(!board.warns(kind, spot));
    }

    #[test]
    fn nothing_is_over_before_it_began() {
        let (system, raised, mut out) = (yard(), EventTime::from_secs(86_400), Vec::new());
        let (kind, spot, severity) = (FindingKind::Ponding, Spot::Basin(BasinIx(0)), Severity::Warning);
        let mut board = Board::default();
        let told = Conclusion { kind, spot, severity, probability: 0.9, estimate: vec![], evidence: vec![] };
        board.conclude(&system, raised, told, &mut out);
        board.clear(EventTime::from_secs(0), kind, spot, &mut out);
        let [_, Effect::Finding(cleared)] = &out[..] else { panic!("{out:?}") };
        assert_eq!((cleared.change, cleared.at), (Change::Cleared, raised));
    }
}
