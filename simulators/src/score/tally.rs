//! Sums over many runs.

use std::collections::BTreeMap;

use serde::Serialize;

use super::doses::median;
use super::failures::{Failure, failures};
use super::judge::{Outcome, Verdict};
use super::plan::Class;
use super::reliability::{Claim, Reliability, reliability};

/// A part of a whole, kept as two numbers so that nothing is hidden in a percentage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Part {
    /// How many did.
    pub of: usize,
    /// How many could have.
    pub all: usize,
}

impl Part {
    fn count(marks: impl Iterator<Item = bool>) -> Self {
        marks.fold(Self::default(), |part, mark| Self { of: part.of + usize::from(mark), all: part.all + 1 })
    }

    /// The part as a ratio; nothing without cases.
    pub fn ratio(self) -> Option<f64> {
        (self.all > 0).then(|| self.of as f64 / self.all as f64)
    }
}

/// How one class of fault was met.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClassTally {
    /// Found in time.
    pub found: Part,
    /// The right subject named first, of those found.
    pub right_subject: Part,
    /// Median delay in doses.
    pub delay_doses: Option<f64>,
    /// The same in doses as the daemon tells them apart.
    pub delay_told: Option<f64>,
    /// Median of the doses until the first that the daemon tells apart was over: a limit.
    pub least_doses: Option<f64>,
    /// Median delay in days.
    pub delay_days: Option<f64>,
    /// Longest delay in days.
    pub longest_days: Option<f64>,
}

/// The sums of a scoreboard.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Tally {
    /// Runs.
    pub runs: usize,
    /// System-years.
    pub years: f64,
    /// System-years of healthy systems.
    pub healthy_years: f64,
    /// Warnings in these, borne out or not.
    pub healthy_warnings: usize,
    /// False warnings in these.
    pub healthy_false_warnings: usize,
    /// False warnings where something else was wrong.
    pub faulty_false_warnings: usize,
    /// By class of fault.
    pub classes: BTreeMap<Class, ClassTally>,
    /// Probe gone or outlet blocked, in yards with probes: the right one of the two named first.
    pub probe_or_outlet: Part,
    /// Water against the diverter, or with no use, found within a day.
    pub unexpected_within_a_day: Part,
    /// `slow-soak` before the first flood.
    pub slow_soak_first: Part,
    /// Median error of the due date half-way, as a part of the time left.
    pub forecast_error: Option<f64>,
    /// Forecasts whose 80 % interval held the flood.
    pub interval_held: Part,
    /// The same two where water had stood at the float by then.
    pub forecast_error_seen: Option<f64>,
    /// Forecasts of these whose interval held the flood.
    pub interval_held_seen: Part,
    /// Median error of who knows from other runs how long such silting takes, but not the loads to come.
    pub forecast_error_law_known: Option<f64>,
    /// Mean absolute error of a basin's share over thirty days.
    pub share_error: Option<f64>,
    /// Median relative error of a dose's litres, with a meter.
    pub litre_error_metered: Option<f64>,
    /// The same without a meter.
    pub litre_error_unmetered: Option<f64>,
    /// Mean stated probability of all findings.
    pub stated: Option<f64>,
    /// Part of all findings that were right.
    pub right: Part,
    /// The same by kind and by probability.
    pub reliability: Vec<Reliability>,
    /// Records refused by the daemon.
    pub refused: u64,
    /// For each finding that should have been made: what was named first, how often.
    pub confusion: BTreeMap<String, BTreeMap<String, usize>>,
    /// What went wrong in the runs that goals are about.
    pub failures: Vec<Failure>,
}

impl Tally {
    /// Sums up runs.
    pub fn of(verdicts: &[Verdict]) -> Self {
        let healthy = || verdicts.iter().filter(|verdict| verdict.class == Class::Healthy);
        let seen = || verdicts.iter().filter(|verdict| verdict.foreseeable);
        let warnings = |verdict: &Verdict| verdict.false_warnings.len();
        let claims: Vec<Claim> = verdicts.iter().flat_map(|verdict| verdict.claims.clone()).collect();
        let litres = |metered: bool| {
            let of = verdicts.iter().filter(|verdict| verdict.metered == metered);
            median(&mut of.flat_map(|verdict| verdict.litre_errors.clone()).collect::<Vec<f64>>())
        };
        let all_warnings: usize = verdicts.iter().map(warnings).sum();
        let healthy_false_warnings = healthy().map(warnings).sum();
        Self {
            runs: verdicts.len(),
            years: verdicts.iter().map(|verdict| verdict.years).sum(),
            healthy_years: healthy().map(|verdict| verdict.years).sum(),
            healthy_warnings: healthy().map(|verdict| verdict.warnings).sum(),
            healthy_false_warnings,
            faulty_false_warnings: all_warnings - healthy_false_warnings,
            classes: classes(verdicts),
            probe_or_outlet: probe_or_outlet(verdicts),
            unexpected_within_a_day: Part::count(
                of_class(verdicts, Class::UnexpectedWater)
                    .map(|outcome| outcome.found && outcome.delay_days.is_some_and(|days| days <= 1.0)),
            ),
            slow_soak_first: Part::count(verdicts.iter().filter_map(|verdict| verdict.slow_soak_first)),
            forecast_error: median(
                &mut verdicts.iter().filter_map(|verdict| verdict.forecast_error).collect::<Vec<f64>>(),
            ),
            interval_held: Part::count(verdicts.iter().filter_map(|verdict| verdict.interval_held)),
            forecast_error_seen: median(
                &mut seen().filter_map(|verdict| verdict.forecast_error).collect::<Vec<f64>>(),
            ),
            interval_held_seen: Part::count(seen().filter_map(|verdict| verdict.interval_held)),
            forecast_error_law_known: law_known(verdicts),
            share_error: mean(verdicts.iter().flat_map(|verdict| verdict.share_errors.iter().copied())),
            litre_error_metered: litres(true),
            litre_error_unmetered: litres(false),
            stated: mean(claims.iter().map(|claim| claim.stated)),
            right: Part::count(claims.iter().map(|claim| claim.right)),
            reliability: reliability(&claims),
            refused: verdicts.iter().map(|verdict| verdict.refused).sum(),
            confusion: confusion(verdicts),
            failures: failures(verdicts),
        }
    }

    /// Warnings in a healthy system-year, borne out or not.
    pub fn warnings_a_year(&self) -> Option<f64> {
        self.a_healthy_year(self.healthy_warnings)
    }

    /// False warnings in a healthy system-year.
    pub fn false_warnings_a_year(&self) -> Option<f64> {
        self.a_healthy_year(self.healthy_false_warnings)
    }

    fn a_healthy_year(&self, count: usize) -> Option<f64> {
        (self.healthy_years > 0.0).then(|| count as f64 / self.healthy_years)
    }
}

fn of_class(verdicts: &[Verdict], class: Class) -> impl Iterator<Item = &Outcome> {
    verdicts.iter().filter(move |verdict| verdict.class == class).flat_map(|verdict| &verdict.outcomes)
}

fn classes(verdicts: &[Verdict]) -> BTreeMap<Class, ClassTally> {
    let mut classes = BTreeMap::new();
    for verdict in verdicts {
        if verdict.outcomes.is_empty() || classes.contains_key(&verdict.class) {
            continue;
        }
        let outcomes = || of_class(verdicts, verdict.class);
        let found = || outcomes().filter(|outcome| outcome.found);
        let mut days: Vec<f64> = found().filter_map(|outcome| outcome.delay_days).collect();
        let mut doses: Vec<f64> = found().filter_map(|outcome| outcome.delay_doses).collect();
        let mut told: Vec<f64> = found().filter_map(|outcome| outcome.delay_told).collect();
        let mut least: Vec<f64> = found().filter_map(|outcome| outcome.least_doses).collect();
        let tally = ClassTally {
            found: Part::count(outcomes().map(|outcome| outcome.found)),
            right_subject: Part::count(found().map(|outcome| outcome.right_subject)),
            delay_doses: median(&mut doses),
            delay_told: median(&mut told),
            least_doses: median(&mut least),
            delay_days: median(&mut days),
            longest_days: days.last().copied(),
        };
        classes.insert(verdict.class, tally);
    }
    classes
}

/// What is left of a due date's error, as a part of the time left, when the law of silting is known exactly: each flood
/// is foretold as the median of the other runs of its scenario, which differ in weather and household alone.
fn law_known(verdicts: &[Verdict]) -> Option<f64> {
    let error = |verdict: &Verdict| {
        let flood = verdict.flood_days?;
        let same = verdicts.iter().filter(|other| other.scenario == verdict.scenario);
        let mut others: Vec<f64> = same.filter_map(|other| other.flood_days).collect();
        others.remove(others.iter().position(|other| other.total_cmp(&flood).is_eq())?);
        Some((median(&mut others)? - flood).abs() / (0.5 * flood))
    };
    median(&mut verdicts.iter().filter_map(error).collect::<Vec<f64>>())
}

/// A probe that is gone must not be called a blocked outlet, nor the other way round, where there are probes.
fn probe_or_outlet(verdicts: &[Verdict]) -> Part {
    let of = |class: Class| {
        let verdicts = verdicts.iter().filter(move |verdict| verdict.class == class && verdict.has_probes);
        verdicts.flat_map(|verdict| &verdict.outcomes)
    };
    let (gone, blocked) = (of(Class::ProbeGone), of(Class::OutletBlocked));
    let is_sensor = |named: &str| named.starts_with("sensor-");
    let right_probe = gone.map(|outcome| outcome.first_named.as_deref().is_some_and(is_sensor));
    let right_outlet = blocked.map(|outcome| outcome.first_named.as_deref() == Some("blocked-outlet"));
    Part::count(right_probe.chain(right_outlet))
}

fn confusion(verdicts: &[Verdict]) -> BTreeMap<String, BTreeMap<String, usize>> {
    let mut table: BTreeMap<String, BTreeMap<String, usize>> = BTreeMap::new();
    for outcome in verdicts.iter().flat_map(|verdict| &verdict.outcomes) {
        let named = outcome.first_named.clone().unwrap_or_else(|| "nothing".to_owned());
        *table.entry(outcome.finding.clone()).or_default().entry(named).or_default() += 1;
    }
    table
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, count) = values.fold((0.0, 0_usize), |(sum, count), value| (sum + value, count + 1));
    (count > 0).then(|| sum / count as f64)
}
