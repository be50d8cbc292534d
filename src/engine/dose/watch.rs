//! Watches a system's doses: shares, balances, and what to conclude when they change.

use serde::{Deserialize, Serialize};

use super::balance::{Balance, balance_of};
use super::diagnose::{Cause, Explanation, explain};
use super::gather::{Gathered, Gathering};
use super::habit::Habit;
use super::measure::{Measured, PartState, ProbeNow, measure};
use super::recent::Recent;
use crate::engine::board::{Board, Conclusion, Spot};
use crate::engine::signal::Wetting;
use crate::engine::{Dose, Effect, words};
use crate::model::{BasinIx, EventTime, Evidence, FindingKind, Severity, Span, SplitterIx, System};

/// Doses at the least before a change is explained.
const EXPLAINED_FROM: u32 = 2;
/// Doses in a row that must be nearly as ever before a finding about shares is over.
const CALM_DOSES: usize = 5;
/// Nearly as ever: balances below this part of the change, or below this much.
const CALM_PART: f64 = 0.35;
const CALM_BALANCE: f64 = 0.15;
/// An outlet is free again when its basin receives this part of its share.
const FREE_AGAIN: f64 = 0.75;

/// Everything known of the doses of one system.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct DoseWatch {
    gathering: Gathering,
    habits: Vec<Habit>,
    balances: Vec<Balance>,
    recent: Recent,
    /// By splitter: the change that stands.
    standing: Vec<Option<Standing>>,
    /// Last count of the meter.
    meter: Option<f64>,
}

/// A change at a splitter that was concluded and is not over.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Standing {
    since: EventTime,
    kind: FindingKind,
    spot: Spot,
}

/// The parts of the engine that a dose needs to see.
pub(crate) struct DoseView<'a> {
    pub(crate) system: &'a System,
    /// By basin.
    pub(crate) probes: &'a [Option<ProbeView>],
    /// Longest usual gap between readings.
    pub(crate) usual_gap: Span,
    pub(crate) has_gauge: bool,
}

/// One basin's probe now.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ProbeView {
    pub(crate) usable: bool,
    pub(crate) resolution: f64,
    /// When the wetting that is not over began.
    pub(crate) open_since: Option<EventTime>,
}

impl DoseWatch {
    pub(crate) fn new(basins: usize, splitters: usize) -> Self {
        Self {
            gathering: Gathering::default(),
            habits: vec![Habit::default(); basins],
            balances: vec![Balance::default(); splitters],
            recent: Recent::default(),
            standing: vec![None; splitters],
            meter: None,
        }
    }

    /// Water showed in a basin.
    pub(crate) fn shown(&mut self, view: &DoseView<'_>, at: EventTime) {
        self.gathering.active(at, view.usual_gap, view.system.basins.len());
    }

    /// A wetting is over.
    pub(crate) fn wetted(&mut self, basin: BasinIx, wetting: &Wetting) {
        self.gathering.wetted(basin.0 as usize, wetting);
    }

    /// The meter was read.
    pub(crate) fn metered(&mut self, view: &DoseView<'_>, at: EventTime, count: f64) {
        let litres = view.system.source.litres_per_count.unwrap_or(1.0);
        let before = self.meter.replace(count);
        // A count below the one before is a meter that began anew.
        let Some(passed) = before.map(|before| (count - before) * litres).filter(|&passed| passed > 0.0)
        else {
            return;
        };
        self.gathering.active(at, view.usual_gap, view.system.basins.len()).metered += passed;
    }

    /// The gauge counted rain.
    pub(crate) fn rained(&mut self, at: EventTime) {
        self.gathering.rained(at);
    }

    /// When the first dose under way may be finished.
    ///
    /// `open` gives the beginnings of the wettings that are not over.
    pub(crate) fn due<I: Iterator<Item = EventTime>>(&self, open: impl Fn() -> I) -> Option<EventTime> {
        self.gathering.due(|dose| open().any(|began| dose.covers(began)))
    }

    /// Finishes the doses whose time has come.
    pub(crate) fn finish(
        &mut self,
        view: &DoseView<'_>,
        now: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        while let Some(dose) = self.gathering.take(now, |dose| is_open(dose, view.probes)) {
            self.conclude(view, &dose, now, board, out);
        }
    }

    fn conclude(
        &mut self,
        view: &DoseView<'_>,
        dose: &Gathered,
        now: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let probes: Vec<ProbeNow> = view
            .probes
            .iter()
            .map(|probe| ProbeNow {
                usable: probe.is_some_and(|probe| probe.usable),
                resolution: probe.map_or(f64::INFINITY, |probe| probe.resolution),
            })
            .collect();
        let has_meter = view.system.source.litres_per_count.is_some() && self.meter.is_some();
        let measured = measure(view.system, dose, &probes, &self.habits, has_meter, view.has_gauge);
        let Some(measured) = measured else { return };
        out.push(Effect::Dose(told(view.system, dose.began, &measured)));
        if measured.rain {
            return;
        }
        for (habit, part) in self.habits.iter_mut().zip(&measured.parts) {
            if part.state == PartState::Measured {
                habit.learn(measured.log_size, part.log_gain);
            }
        }
        self.recent.note(dose.began, &measured);
        for ix in (0..self.balances.len() as u16).map(SplitterIx) {
            self.watch_balance(view.system, ix, &measured, (dose.began, now), has_meter, board, out);
        }
    }

    #[expect(clippy::too_many_arguments, reason = "one dose at one splitter, with where its effects go")]
    fn watch_balance(
        &mut self,
        system: &System,
        splitter: SplitterIx,
        measured: &Measured,
        (began, now): (EventTime, EventTime),
        has_meter: bool,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let index = splitter.0 as usize;
        let below = system.basin_ixs().filter(|&b| system.tree().side_of(splitter, b).is_some());
        let learning = below.into_iter().any(|basin| !self.habits[basin.0 as usize].is_known());
        let Some(balance) = balance_of(system, splitter, measured) else { return };
        let signal = self.balances[index].note(began, balance, learning);
        if let Some(standing) = self.standing[index]
            && self.is_over(system, splitter, standing)
        {
            board.clear(now, standing.kind, standing.spot, out);
            self.standing[index] = None;
            self.balances[index].reset();
            return;
        }
        let Some(signal) = signal else { return };
        let onset = EventTime::from_millis(signal.onset as i64);
        let since = self.standing[index].map_or(onset, |standing| standing.since);
        if signal.observations < EXPLAINED_FROM {
            return;
        }
        let explanations = explain(system, &self.recent, since, splitter, has_meter);
        let Some(first) = explanations.first() else { return };
        if matches!(first.cause, Cause::Probe { .. }) {
            // A probe that lost its gain looks like this too, but so does soil near saturation.
            return;
        }
        let (kind, spot) = place(system, first.cause);
        if let Some(before) = self.standing[index].filter(|before| (before.kind, before.spot) != (kind, spot))
        {
            // A better explanation takes over only when it is clearly better.
            if first.probability < 0.7 {
                return;
            }
            board.clear(now, before.kind, before.spot, out);
        }
        self.standing[index] = Some(Standing { since, kind, spot });
        board.conclude(system, now, self.conclusion(system, since, &explanations), out);
    }

    /// Somebody set a splitter level: its change is over, and its balance begins anew.
    pub(crate) fn levelled(
        &mut self,
        splitter: SplitterIx,
        at: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let index = splitter.0 as usize;
        if let Some(standing) = self.standing[index].take() {
            board.clear(at, standing.kind, standing.spot, out);
        }
        self.balances[index].reset();
    }

    /// Somebody freed the outlet above `basin`: the splitters on its way begin anew.
    pub(crate) fn outlet_cleared(
        &mut self,
        system: &System,
        basin: BasinIx,
        at: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        for splitter in (0..self.balances.len() as u16).map(SplitterIx) {
            let index = splitter.0 as usize;
            if system.tree().side_of(splitter, basin).is_none() {
                continue;
            }
            if let Some(standing) = self.standing[index].take_if(|s| s.spot == Spot::Basin(basin)) {
                board.clear(at, standing.kind, standing.spot, out);
            }
            self.balances[index].reset();
        }
    }

    /// A basin has another probe, whose habit has to be learnt.
    pub(crate) fn probe_replaced(&mut self, basin: BasinIx) {
        self.habits[basin.0 as usize] = Habit::default();
    }

    /// Whether the last doses were nearly as ever.
    fn is_over(&self, system: &System, splitter: SplitterIx, standing: Standing) -> bool {
        if self.recent.len() < CALM_DOSES {
            return false;
        }
        let since = self.recent.last(CALM_DOSES);
        if since <= standing.since {
            return false;
        }
        if let Spot::Basin(basin) = standing.spot {
            let lately = self.recent.lately(basin.0 as usize, since);
            return lately.is_some_and(|l| l.mean.exp() > FREE_AGAIN && l.below == 0.0);
        }
        let side = |side: usize, since| {
            let on_side = system.basin_ixs().filter(|&b| system.tree().side_of(splitter, b) == Some(side));
            let (sum, design) = on_side.fold((0.0, 0.0), |(sum, design), basin| {
                let own = system.tree().design_share(basin);
                let share = self.recent.lately(basin.0 as usize, since).map(|l| l.mean.exp());
                share.map_or((sum, design), |share| (sum + own * share, design + own))
            });
            (sum / design).ln()
        };
        let balance = |since| side(0, since) - side(1, since);
        let now = balance(since).abs();
        now < CALM_BALANCE.max(CALM_PART * balance(standing.since).abs().min(1.0))
    }

    fn conclusion(&self, system: &System, since: EventTime, explanations: &[Explanation]) -> Conclusion {
        let Explanation { cause, probability } = explanations[0];
        let (kind, spot) = place(system, cause);
        let mut estimate = vec![("since", since.to_string().into())];
        estimate.extend(numbers(system, cause));
        let told = explanations.iter().map(|e| {
            let (kind, spot) = place(system, e.cause);
            serde_json::json!({
                "finding": kind, "subject": spot.subject(system), "probability": round(e.probability, 3),
            })
        });
        estimate.push(("explanations", told.collect::<Vec<_>>().into()));
        let severity = severity(system, cause);
        let evidence = vec![Evidence { at: Some(since), says: self.sentence(system, since, cause) }];
        Conclusion { kind, spot, severity, probability: round(probability.min(0.99), 3), estimate, evidence }
    }

    /// What the basins concerned received, in words.
    fn sentence(&self, system: &System, since: EventTime, cause: Cause) -> String {
        let received = |basin: BasinIx| {
            let design = system.tree().design_share(basin);
            let share = self.recent.lately(basin.0 as usize, since).map_or(1.0, |l| l.mean.exp());
            (system.basin(basin).id.as_str(), 100.0 * design * share, 100.0 * design)
        };
        let concerned: Vec<_> = match cause {
            Cause::Blocked { basin, .. } | Cause::Probe { basin, .. } => {
                let parent = system.tree().parent(basin);
                let is_near = |other: &BasinIx| {
                    parent.is_some_and(|p| system.tree().side_of(p.splitter, *other) == Some(1 - p.side))
                };
                std::iter::once(basin).chain(system.basin_ixs().filter(is_near)).map(received).collect()
            }
            Cause::Tilted { splitter, .. } => {
                let below = |b: &BasinIx| system.tree().side_of(splitter, *b).is_some();
                system.basin_ixs().filter(below).map(received).collect()
            }
        };
        words::shares(system, since, &concerned)
    }
}

fn is_open(dose: &Gathered, probes: &[Option<ProbeView>]) -> bool {
    probes.iter().flatten().any(|probe| probe.open_since.is_some_and(|began| dose.covers(began)))
}

fn told(system: &System, began: EventTime, measured: &Measured) -> Dose {
    let shares: Vec<(BasinIx, f64)> = system
        .basin_ixs()
        .zip(&measured.parts)
        .filter(|(_, part)| part.state != PartState::Unknown)
        .map(|(basin, part)| (basin, system.tree().design_share(basin) * part.log_share.exp()))
        .collect();
    let total: f64 = shares.iter().map(|(_, share)| share).sum();
    let known = measured.parts.iter().filter(|p| p.state == PartState::Measured).count();
    let certain = known as f64 / measured.parts.len() as f64;
    Dose {
        at: began,
        litres: measured.metered.map(|litres| round(litres, 1)),
        shares: shares.into_iter().map(|(basin, share)| (basin, round(share / total, 4))).collect(),
        quality: round(if measured.rain { 0.0 } else { certain }, 2),
    }
}

fn place(system: &System, cause: Cause) -> (FindingKind, Spot) {
    match cause {
        Cause::Tilted { splitter, .. } => (FindingKind::UnevenSplit, Spot::Splitter(splitter)),
        Cause::Blocked { basin, .. } => (FindingKind::BlockedOutlet, Spot::Basin(basin)),
        Cause::Probe { basin, .. } => {
            let probe =
                system.find_sensor(crate::model::Place::Basin(basin), crate::model::Quantity::Moisture);
            let spot = probe.map_or(Spot::Basin(basin), Spot::Sensor);
            (FindingKind::SensorImplausible, spot)
        }
    }
}

fn numbers(system: &System, cause: Cause) -> Vec<(&'static str, serde_json::Value)> {
    match cause {
        Cause::Tilted { splitter, share_a } => {
            let design = system.splitter(splitter).split[0];
            vec![
                ("share_a", round(share_a, 3).into()),
                ("share_b", round(1.0 - share_a, 3).into()),
                ("design_a", design.into()),
            ]
        }
        Cause::Blocked { basin, lost } => {
            let design = system.tree().design_share(basin);
            vec![("share", round(design * (1.0 - lost), 3).into()), ("design", round(design, 4).into())]
        }
        Cause::Probe { change, .. } => vec![("gain_factor", round(change.exp(), 2).into())],
    }
}

/// A split that is off by little can wait for the next visit.
fn severity(system: &System, cause: Cause) -> Severity {
    match cause {
        Cause::Tilted { splitter, share_a } => {
            let off = (share_a - system.splitter(splitter).split[0]).abs();
            if off < 0.08 { Severity::Info } else { Severity::Warning }
        }
        Cause::Blocked { .. } | Cause::Probe { .. } => Severity::Warning,
    }
}

fn round(value: f64, digits: i32) -> f64 {
    let scale = 10f64.powi(digits);
    (value * scale).round() / scale
}
