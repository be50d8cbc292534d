//! One run held against its truth.

use serde::Serialize;

use super::doses::{litre_errors, share_errors};
use super::forecast::Forecasting;
use super::plan::Class;
use super::reliability::Claim;
use super::said::{FindingSaid, ForecastSaid, Said};
use super::truths::borne_out;
use crate::fault::{Course, DAY_MS, FaultKind, Moment};
use crate::run::Truth;
use crate::scenario::{Expectation, Scenario};

/// Kinds of finding that follow from a cause rather than name one.
const CONSEQUENCES: [&str; 2] = ["ponding", "flooding"];
/// A dose smaller than this does not count when a delay is told in doses (L).
const COUNTS_FROM_L: f64 = 10.0;
/// Days in a system-year.
const YEAR_DAYS: f64 = 365.25;
/// The share at which a drift begins to matter: 60/40.
const DRIFT_MATTERS: f64 = 0.1;

/// One run, judged.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Verdict {
    /// Name of the scenario.
    pub scenario: String,
    /// Seed.
    pub seed: u64,
    /// What it is an instance of.
    pub class: Class,
    /// Its length in system-years.
    pub years: f64,
    /// Whether there is a meter.
    pub metered: bool,
    /// Whether any basin has a moisture probe.
    pub has_probes: bool,
    /// One for each finding that should have been made.
    pub outcomes: Vec<Outcome>,
    /// Warnings, borne out or not.
    pub warnings: usize,
    /// Those that nothing bears out.
    pub false_warnings: Vec<Alarm>,
    /// What each finding claimed.
    pub claims: Vec<Claim>,
    /// Absolute errors of shares over thirty days.
    pub share_errors: Vec<f64>,
    /// Relative errors of litres of single doses.
    pub litre_errors: Vec<f64>,
    /// Whether `slow-soak` came before the first flood, where a basin silted up until it flooded.
    pub slow_soak_first: Option<bool>,
    /// Error of the forecast half-way to the flood, as a part of the time left.
    pub forecast_error: Option<f64>,
    /// Whether the forecast's interval held the flood.
    pub interval_held: Option<bool>,
    /// Days from when it began to silt up until it flooded.
    pub flood_days: Option<f64>,
    /// Whether water had stood at the float by then, so that there was something to foresee it from.
    pub foreseeable: bool,
    /// Records that the daemon refused.
    pub refused: u64,
}

/// What became of a finding that should have been made.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Outcome {
    /// Its kind.
    pub finding: String,
    /// Its subject.
    pub subject: String,
    /// Whether a finding of this kind came in time.
    pub found: bool,
    /// Whether the first that came named the right subject.
    pub right_subject: bool,
    /// Days from when it was there to see until it was found.
    pub delay_days: Option<f64>,
    /// Doses in that time.
    pub delay_doses: Option<f64>,
    /// The same as the daemon tells them apart: what soil has not yet drained of one dose joins it to the next.
    pub delay_told: Option<f64>,
    /// Doses until the first that the daemon tells apart was over, if any came: who is sure by one needs so many.
    pub least_doses: Option<f64>,
    /// The first cause named once it was there, right or wrong.
    pub first_named: Option<String>,
}

/// A warning that nothing bears out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Alarm {
    /// Its kind.
    pub finding: String,
    /// Its subject.
    pub subject: String,
    /// When, in days after the start.
    pub day: f64,
}

/// Judges what was said of a run. `half_way` holds the forecasts made half-way to the flood of a silting basin.
pub fn judge(
    scenario: &Scenario,
    seed: u64,
    truth: &Truth,
    said: &Said,
    half_way: Option<&[ForecastSaid]>,
) -> Verdict {
    let raised: Vec<&FindingSaid> = said.findings.iter().filter(|finding| finding.is_raised()).collect();
    let is_right = |finding: &FindingSaid| meant(finding, scenario) || borne_out(finding, scenario, truth);
    let warnings = said.warnings();
    let false_warnings = warnings.iter().filter(|finding| !is_right(finding)).map(|finding| Alarm {
        finding: finding.finding.clone(),
        subject: finding.subject().to_owned(),
        day: days(finding.at.as_millisecond() - scenario.start_ms),
    });
    let forecasting = Forecasting::of(scenario, truth);
    let mark = forecasting.as_ref().zip(half_way).and_then(|(asked, said)| asked.mark(said));
    Verdict {
        scenario: scenario.name.clone(),
        seed,
        class: Class::of(scenario),
        years: days(scenario.duration.ms()) / YEAR_DAYS,
        metered: scenario.site.meter.is_some(),
        has_probes: scenario.site.basins.iter().any(|basin| basin.moisture_depth_mm.is_some()),
        outcomes: scenario
            .expect
            .findings
            .iter()
            .map(|expected| outcome(expected, scenario, (truth, said), &raised))
            .collect(),
        false_warnings: false_warnings.collect(),
        warnings: warnings.len(),
        claims: raised.iter().map(|finding| claim(finding, is_right(finding))).collect(),
        share_errors: share_errors(&said.doses, &truth.doses, scenario),
        litre_errors: litre_errors(&said.doses, &truth.doses),
        slow_soak_first: forecasting.as_ref().map(|asked| slow_soak_first(asked, &raised)),
        forecast_error: mark.map(|(error, _)| error),
        interval_held: mark.and_then(|(_, held)| held),
        flood_days: forecasting.as_ref().map(|asked| days(asked.flood_ms - asked.onset_ms)),
        foreseeable: forecasting.as_ref().is_some_and(|asked| asked.shows_by_half),
        refused: said.refused,
    }
}

fn claim(finding: &FindingSaid, right: bool) -> Claim {
    Claim { finding: finding.finding.clone(), stated: finding.probability, right }
}

/// Whether the scenario meant this finding: expected with this subject, or a kind that may follow once the cause is
/// there.
fn meant(finding: &FindingSaid, scenario: &Scenario) -> bool {
    let at_ms = finding.at.as_millisecond();
    let expected = scenario.expect.findings.iter().any(|expected| {
        expected.finding == finding.finding
            && expected.subject == finding.subject()
            && at_ms >= expected.from.at_ms(scenario.start_ms)
    });
    expected || (scenario.expect.also.contains(&finding.finding) && at_ms >= first_cause_ms(scenario))
}

/// When the first thing goes wrong, or is done on purpose.
fn first_cause_ms(scenario: &Scenario) -> i64 {
    let faults = scenario.faults.iter().map(|fault| fault.onset.at_ms(scenario.start_ms));
    let troubles = scenario.troubles.iter().map(|trouble| trouble.from_ms(scenario.start_ms));
    faults.chain(troubles).min().unwrap_or(i64::MAX)
}

fn outcome(
    expected: &Expectation,
    scenario: &Scenario,
    (truth, said): (&Truth, &Said),
    raised: &[&FindingSaid],
) -> Outcome {
    let from_ms = expected.from.at_ms(scenario.start_ms);
    let until_ms = expected.within.map_or(i64::MAX, |days| Moment::Days(days).at_ms(from_ms));
    let since = raised.iter().filter(|finding| finding.at.as_millisecond() >= from_ms);
    let in_time = since.clone().filter(|finding| finding.at.as_millisecond() <= until_ms);
    let first = in_time.clone().find(|finding| finding.finding == expected.finding);
    let right =
        |finding: &FindingSaid| finding.finding == expected.finding && finding.subject() == expected.subject;
    // The delay is that of the right answer, if it came, or else of the first wrong one.
    let answer = in_time.clone().find(|finding| right(finding)).or(first);
    let names_cause = |finding: &FindingSaid| {
        finding.finding == expected.finding || !CONSEQUENCES.contains(&finding.finding.as_str())
    };
    let clock_ms = visible_from_ms(scenario, from_ms);
    Outcome {
        finding: expected.finding.clone(),
        subject: expected.subject.clone(),
        found: first.is_some(),
        right_subject: first.is_some_and(|finding| right(finding)),
        delay_days: answer.map(|finding| days(finding.at.as_millisecond() - clock_ms)),
        delay_doses: answer.map(|finding| doses_between(truth, clock_ms, finding.at.as_millisecond())),
        delay_told: answer.map(|finding| told_between(said, clock_ms, finding.at.as_millisecond())),
        least_doses: answer.and_then(|_| least_doses(truth, said, clock_ms)),
        first_named: since
            .clone()
            .find(|finding| names_cause(finding))
            .map(|finding| finding.finding.clone()),
    }
}

/// When a delay begins: at the onset, or for a drifting splitter when it passes ten hundredths off its design.
fn visible_from_ms(scenario: &Scenario, from_ms: i64) -> i64 {
    let drift = scenario.faults.iter().find_map(|fault| match (&fault.kind, fault.course) {
        (FaultKind::Tilt { splitter, share_a }, Course::Linear { days }) => {
            let index = scenario.site.splitter_index(splitter)?;
            let off = (share_a - scenario.site.splitters[index].split[0]).abs();
            Some(days * (DRIFT_MATTERS / off).min(1.0))
        }
        _ => None,
    });
    drift.map_or(from_ms, |days| Moment::Days(days).at_ms(from_ms))
}

fn doses_between(truth: &Truth, from_ms: i64, until_ms: i64) -> f64 {
    let landed = |litres: &[f64]| litres.iter().sum::<f64>() >= COUNTS_FROM_L;
    let within = truth.doses.iter().filter(|dose| (from_ms..=until_ms).contains(&dose.start_ms));
    within.filter(|dose| landed(&dose.basin_litres)).count() as f64
}

/// Doses until the second that was told began.
fn least_doses(truth: &Truth, said: &Said, from_ms: i64) -> Option<f64> {
    let told = said.doses.iter().map(|dose| dose.at.as_millisecond()).filter(|at_ms| *at_ms >= from_ms);
    let second_ms = told.skip(1).min()?;
    Some(doses_between(truth, from_ms, second_ms - 1))
}

fn told_between(said: &Said, from_ms: i64, until_ms: i64) -> f64 {
    said.doses.iter().filter(|dose| (from_ms..=until_ms).contains(&dose.at.as_millisecond())).count() as f64
}

fn slow_soak_first(asked: &Forecasting, raised: &[&FindingSaid]) -> bool {
    raised.iter().any(|finding| {
        finding.finding == "slow-soak"
            && finding.subject() == asked.basin
            && (asked.onset_ms..asked.flood_ms).contains(&finding.at.as_millisecond())
    })
}

fn days(ms: i64) -> f64 {
    ms as f64 / DAY_MS as f64
}
