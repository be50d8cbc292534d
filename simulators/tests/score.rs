//! The scoreboard's judgement, tried on answers whose marks are known.

#![expect(clippy::unwrap_used, reason = "a test may stop at the first thing that is not as it must be")]

use std::fmt::Write as _;

use jiff::Timestamp;
use serde_json::json;
use simulators::run::{Truth, run};
use simulators::scenario::{Library, Scenario, ScenarioError};
use simulators::score::report::Scoreboard;
use simulators::score::{Claim, Class, Forecasting, Said, Seeds, Tally, Verdict, judge, plan};
use simulators::truth::TrueDose;

const DAY_MS: f64 = 86_400_000.0;
/// Doses that begin within this of each other are left out of a perfect account.
const NEAR_MS: u64 = 6 * 3_600_000;

fn play(name: &str) -> (Scenario, Truth) {
    let scenario = Library::shipped().load(name).unwrap();
    let truth = run::<ScenarioError>(&scenario, 5, &mut |_| Ok(()), &mut |_| {}).unwrap();
    (scenario, truth)
}

fn at(scenario: &Scenario, days: f64) -> Timestamp {
    Timestamp::from_millisecond(scenario.start_ms + (days * DAY_MS) as i64).unwrap()
}

/// What a daemon would print.
struct Output<'a> {
    scenario: &'a Scenario,
    text: String,
}

impl<'a> Output<'a> {
    fn new(scenario: &'a Scenario) -> Self {
        Self { scenario, text: String::new() }
    }

    fn finding(self, days: f64, kind: &str, subject: &serde_json::Value, probability: f64) -> Self {
        self.change("raised", "warning", (days, kind, subject, probability))
    }

    fn change(
        mut self,
        change: &str,
        severity: &str,
        (days, kind, subject, probability): (f64, &str, &serde_json::Value, f64),
    ) -> Self {
        let line = json!({
            "event": "finding", "change": change, "at": at(self.scenario, days), "system": "x", "finding": kind,
            "subject": subject, "severity": severity, "probability": probability, "estimate": {}, "evidence": [],
            "advice": "",
        });
        writeln!(self.text, "{line}").unwrap();
        self
    }

    fn dose(mut self, at_ms: i64, litres: Option<f64>, shares: &serde_json::Value) -> Self {
        let at = Timestamp::from_millisecond(at_ms).unwrap();
        let line = json!({ "event": "dose", "at": at, "system": "x", "litres": litres, "shares": shares, "quality": 1 });
        writeln!(self.text, "{line}").unwrap();
        self
    }

    fn end(mut self) -> Said {
        let summary = json!({ "event": "summary", "messages": 1, "readings": 1, "refused": { "future": 2 } });
        writeln!(self.text, "{summary}").unwrap();
        Said::read(self.text.as_bytes()).unwrap()
    }
}

fn verdict(scenario: &Scenario, truth: &Truth, said: &Said) -> Verdict {
    judge(scenario, 5, truth, said, None)
}

fn claim(right: bool) -> Claim {
    Claim { finding: "blocked-outlet".to_owned(), stated: 0.9, right }
}

#[test]
fn the_right_finding_in_time_is_found_with_its_delay_in_doses_and_days() {
    let (scenario, truth) = play("outlet-blocked");
    let said = Output::new(&scenario).finding(61.3, "blocked-outlet", &json!({ "basin": "fig" }), 0.9).end();
    let verdict = verdict(&scenario, &truth, &said);
    let outcome = &verdict.outcomes[0];
    assert!(outcome.found && outcome.right_subject);
    assert!((outcome.delay_days.unwrap() - 1.0).abs() < 1e-6);
    // Four people shower 2.8 times and wash 1.2 times a day.
    assert!((1.0..=9.0).contains(&outcome.delay_doses.unwrap()), "{outcome:?}");
    assert!(verdict.false_warnings.is_empty());
    assert_eq!((verdict.claims, verdict.refused), (vec![claim(true)], 2));
}

#[test]
fn a_wrong_basin_is_found_but_not_right_and_counts_as_a_false_warning() {
    let (scenario, truth) = play("outlet-blocked");
    let said =
        Output::new(&scenario).finding(61.3, "blocked-outlet", &json!({ "basin": "quince" }), 0.9).end();
    let verdict = verdict(&scenario, &truth, &said);
    assert!(verdict.outcomes[0].found && !verdict.outcomes[0].right_subject);
    assert_eq!(verdict.false_warnings.len(), 1);
    assert_eq!(verdict.claims, [claim(false)]);
}

#[test]
fn what_is_only_noted_is_no_warning_until_it_asks_for_a_visit_and_then_one() {
    let (scenario, truth) = play("outlet-blocked");
    let quince = json!({ "basin": "quince" });
    let about = |days| (days, "blocked-outlet", &quince, 0.7);
    let noted =
        Output::new(&scenario).change("raised", "info", about(61.3)).change("updated", "info", about(62.0));
    let alarms = |output: Output<'_>| verdict(&scenario, &truth, &output.end()).false_warnings.len();
    assert_eq!(alarms(noted), 0);
    let warned = Output::new(&scenario)
        .change("raised", "info", about(61.3))
        .change("updated", "warning", about(62.0))
        .change("updated", "info", about(63.0))
        .change("updated", "warning", about(64.0));
    assert_eq!(alarms(warned), 1);
    let again = Output::new(&scenario)
        .change("raised", "warning", about(61.3))
        .change("cleared", "warning", about(62.0))
        .change("raised", "warning", about(63.0));
    assert_eq!(alarms(again), 2);
}

#[test]
fn what_comes_before_the_fault_or_after_its_time_is_not_found() {
    let (scenario, truth) = play("outlet-blocked");
    let fig = json!({ "basin": "fig" });
    let early = Output::new(&scenario).finding(30.0, "blocked-outlet", &fig, 0.9).end();
    let early = verdict(&scenario, &truth, &early);
    assert!(!early.outcomes[0].found);
    assert_eq!(early.false_warnings.len(), 1);
    let late =
        verdict(&scenario, &truth, &Output::new(&scenario).finding(85.0, "blocked-outlet", &fig, 0.9).end());
    assert!(!late.outcomes[0].found && late.false_warnings.is_empty());
}

#[test]
fn consequences_are_allowed_once_their_cause_is_there_and_name_no_cause() {
    let (scenario, truth) = play("outlet-blocked");
    let mulberry = json!({ "basin": "mulberry" });
    let said = Output::new(&scenario).finding(60.8, "ponding", &mulberry, 0.9).end();
    let verdict = verdict(&scenario, &truth, &said);
    assert!(verdict.false_warnings.is_empty());
    assert_eq!(verdict.outcomes[0].first_named, None);
}

#[test]
fn a_pond_that_truly_stood_is_no_false_warning_in_a_healthy_yard() {
    let (scenario, truth) = play("healthy-family");
    let (basin, spell) =
        truth.spells.iter().find(|(_, spell)| spell.until_ms - spell.from_ms > 4_000_000).unwrap();
    let days = (spell.until_ms - 600_000 - scenario.start_ms) as f64 / DAY_MS;
    let subject = json!({ "basin": scenario.site.basins[*basin].id });
    let true_pond = Output::new(&scenario).finding(days, "ponding", &subject, 0.9).end();
    let of_true_pond = verdict(&scenario, &truth, &true_pond);
    assert!(of_true_pond.false_warnings.is_empty() && of_true_pond.warnings == 1);
    let blamed = Output::new(&scenario).finding(days, "blocked-outlet", &subject, 0.9).end();
    assert_eq!(verdict(&scenario, &truth, &blamed).false_warnings.len(), 1);
}

#[test]
fn perfect_doses_have_no_errors_and_skewed_ones_have_theirs() {
    let (scenario, truth) = play("tilt-step");
    let told = |litres_by: f64, moved: f64, unnamed: usize| {
        let mut output = Output::new(&scenario);
        for (k, dose) in truth.doses.iter().enumerate() {
            // Doses nearer to each other than a probe's interval could not be told apart; leave these out.
            let is_near = |other: Option<&TrueDose>| {
                other.is_some_and(|it| it.start_ms.abs_diff(dose.start_ms) < NEAR_MS)
            };
            let before = k.checked_sub(1).and_then(|k| truth.doses.get(k));
            if dose.basin_litres.iter().sum::<f64>() <= 1.0
                || is_near(before)
                || is_near(truth.doses.get(k + 1))
            {
                continue;
            }
            // Of every other dose some basins are not named.
            let from = if output.text.lines().count().is_multiple_of(2) { 0 } else { unnamed };
            let all: f64 = dose.basin_litres[from..].iter().sum();
            let mut shares: Vec<f64> = dose.basin_litres.iter().map(|litres| litres / all).collect();
            shares[0] += moved;
            shares[1] -= moved;
            let named: serde_json::Map<String, serde_json::Value> = scenario
                .site
                .basins
                .iter()
                .zip(&shares)
                .skip(from)
                .map(|(basin, share)| (basin.id.clone(), (*share).into()))
                .collect();
            output = output.dose(dose.start_ms, Some(all * litres_by), &named.into());
        }
        verdict(&scenario, &truth, &output.end())
    };
    let middle = |mut values: Vec<f64>| {
        values.sort_by(f64::total_cmp);
        values[values.len() / 2]
    };
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let perfect = told(1.0, 0.0, 0);
    assert!(mean(&perfect.share_errors) < 0.02, "only the doses left out differ: {:?}", perfect.share_errors);
    let partly = told(1.0, 0.0, 2);
    assert!(
        mean(&partly.share_errors) < 0.02,
        "who is not named is not said to be dry: {:?}",
        partly.share_errors
    );
    let skewed = told(1.3, 0.1, 0);
    assert!(mean(&skewed.share_errors) > mean(&perfect.share_errors) + 0.03);
    assert!(middle(skewed.litre_errors) > middle(perfect.litre_errors) + 0.2);
}

#[test]
fn what_went_wrong_is_listed_run_by_run_and_floats_alone_are_not_asked_about_probes() {
    let (probes, of_probes) = play("outlet-blocked");
    let (floats, of_floats) = play("outlet-blocked-floats");
    let (healthy, of_healthy) = play("healthy-family");
    let sensor = json!({ "sensor": "fig/moisture" });
    let verdicts = [
        verdict(
            &probes,
            &of_probes,
            &Output::new(&probes)
                .finding(61.0, "sensor-implausible", &sensor, 0.9)
                .finding(62.0, "blocked-outlet", &json!({ "basin": "fig" }), 0.9)
                .end(),
        ),
        verdict(&floats, &of_floats, &Output::new(&floats).end()),
        verdict(
            &healthy,
            &of_healthy,
            &Output::new(&healthy).finding(30.0, "uneven-split", &json!({ "splitter": "s1" }), 0.9).end(),
        ),
    ];
    let tally = Tally::of(&verdicts);
    assert_eq!((tally.probe_or_outlet.of, tally.probe_or_outlet.all), (0, 1), "floats are not asked");
    let told: Vec<String> = tally
        .failures
        .iter()
        .map(|it| format!("{} {}: {}, {}", it.scenario, it.seed, it.should_be, it.was))
        .collect();
    assert_eq!(
        told,
        [
            "outlet-blocked 5: blocked-outlet fig, sensor-implausible first",
            "outlet-blocked-floats 5: blocked-outlet lime, not found, nothing first",
            "healthy-family 5: nothing, uneven-split s1 on day 30",
        ]
    );
}

#[test]
fn who_is_sure_by_one_wetting_needs_the_doses_until_it_is_over() {
    let (scenario, truth) = play("outlet-blocked");
    let onset_ms = scenario.start_ms + (60.3 * DAY_MS) as i64;
    let after: Vec<i64> =
        truth.doses.iter().map(|dose| dose.start_ms).filter(|at_ms| *at_ms >= onset_ms).collect();
    let shares = json!({ "quince": 1.0 });
    // The daemon joins the first three doses.
    let said =
        [0, 3, 4].iter().fold(Output::new(&scenario), |output, i| output.dose(after[*i], None, &shares));
    let said = said.finding(62.0, "blocked-outlet", &json!({ "basin": "fig" }), 0.9).end();
    let least = verdict(&scenario, &truth, &said).outcomes[0].least_doses.unwrap();
    assert!((1.0..=3.0).contains(&least), "{least}");
}

#[test]
fn a_forecast_is_marked_by_the_time_that_was_left() {
    let (scenario, truth) = play("mulch-clogging");
    let asked = Forecasting::of(&scenario, &truth).unwrap();
    assert_eq!(asked.basin, "quince");
    let left_ms = asked.flood_ms - asked.half_way_ms();
    let told = |part: f64| {
        let due = asked.flood_ms + (part * left_ms as f64) as i64;
        let stamp = |ms: i64| Timestamp::from_millisecond(ms).unwrap();
        let line = json!({
            "event": "forecast", "system": "x", "basin": "quince", "task": "renew-mulch", "due": stamp(due),
            "earliest": stamp(due - left_ms / 4), "latest": stamp(due + left_ms / 4), "basis": "",
        });
        let text = format!("{line}\n{}\n", json!({ "event": "summary", "refused": {} }));
        asked.mark(&Said::read(text.as_bytes()).unwrap().forecasts).unwrap()
    };
    let (error, held) = told(0.1);
    assert!((error - 0.1).abs() < 1e-6 && held == Some(true));
    let (error, held) = told(-0.5);
    assert!((error - 0.5).abs() < 1e-6 && held == Some(false));
}

#[test]
fn classes_follow_from_the_faults() {
    let library = Library::shipped();
    let class = |name: &str| Class::of(&library.load(name).unwrap());
    assert_eq!(class("healthy-serviced"), Class::Healthy);
    assert_eq!(class("outlet-blocked-floats"), Class::OutletBlocked);
    assert_eq!(class("tilt-step-leaf"), Class::SplitterStep);
    assert_eq!(class("tilt-settling"), Class::SplitterDrift);
    assert_eq!(class("tilt-creeping"), Class::Other);
    assert_eq!(class("probe-frozen-minute"), Class::ProbeGone);
    assert_eq!(class("mulch-clogging-clay"), Class::Clogging);
    assert_eq!(class("sewer-seepage"), Class::UnexpectedWater);
    assert_eq!(class("tilt-and-blockage"), Class::Other);
}

#[test]
fn the_default_set_is_large_and_its_seed_sets_never_meet() {
    let library = Library::shipped();
    let names = library.names().unwrap();
    let scenarios: Vec<Scenario> = names
        .iter()
        .filter(|name| !name.starts_with("demo-"))
        .map(|name| library.load(name).unwrap())
        .collect();
    let reporting = plan(&scenarios, Seeds::Reporting, 1.0);
    let days: f64 = reporting.iter().map(|job| scenarios[job.scenario].duration.ms() as f64 / DAY_MS).sum();
    assert!(days / 365.25 >= 200.0, "{} system-years", days / 365.25);
    let tuning = plan(&scenarios, Seeds::Tuning, 100.0);
    assert!(tuning.iter().all(|job| reporting.iter().all(|other| other.seed != job.seed)));
}

#[test]
fn the_table_holds_every_goal_and_the_json_the_numbers() {
    let (scenario, truth) = play("outlet-blocked");
    let said = Output::new(&scenario).finding(61.3, "blocked-outlet", &json!({ "basin": "fig" }), 0.9).end();
    let tally = Tally::of(&[verdict(&scenario, &truth, &said)]);
    let board = Scoreboard::new(&tally, Seeds::Tuning);
    let table = board.table();
    assert!(table.contains("| outlet blocked at once ") && table.contains("100.0 % of 1"), "{table}");
    assert!(table.contains("| blocked-outlet | blocked-outlet 1 |"), "{table}");
    let json = serde_json::to_value(&board).unwrap();
    assert_eq!(json["tally"]["classes"]["outlet-blocked"]["found"], json!({ "of": 1, "all": 1 }));
    assert_eq!(json["rows"].as_array().unwrap().len(), 17);
}

#[test]
fn an_output_that_breaks_off_is_refused() {
    assert!(Said::read("".as_bytes()).is_err());
    assert!(Said::read("{\"event\":\"gossip\"}\n".as_bytes()).is_err());
}
