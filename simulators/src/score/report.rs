//! The scoreboard on paper: each goal with what was measured, as a table for people or as JSON for programs.

use std::fmt::Write as _;

use serde::Serialize;

use super::plan::{Class, Seeds};
use super::tally::{ClassTally, Part, Tally};

/// One goal and what was measured.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// What is measured.
    pub what: &'static str,
    /// The goal in words.
    pub goal: &'static str,
    /// What was measured, in words.
    pub measured: String,
    /// Whether it is met; unknown without cases.
    pub met: Option<bool>,
}

/// The whole scoreboard.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Scoreboard<'a> {
    /// Which seeds.
    pub seeds: Seeds,
    /// Goals.
    pub rows: Vec<Row>,
    /// The sums they rest on.
    pub tally: &'a Tally,
}

impl<'a> Scoreboard<'a> {
    /// Sets the goals beside the sums.
    pub fn new(tally: &'a Tally, seeds: Seeds) -> Self {
        Self { seeds, rows: rows(tally), tally }
    }

    /// The table, in Markdown, which reads well on a terminal too.
    pub fn table(&self) -> String {
        let tally = self.tally;
        let mut text = String::new();
        let seeds = match self.seeds {
            Seeds::Tuning => "tuning",
            Seeds::Reporting => "reporting",
        };
        line(&mut text, &format!("{} runs, {:.0} system-years, {seeds} seeds.", tally.runs, tally.years));
        line(&mut text, "");
        let cells: Vec<[String; 4]> = self
            .rows
            .iter()
            .map(|row| {
                let met = row.met.map_or("–", |met| if met { "yes" } else { "no" });
                [row.what.to_owned(), row.goal.to_owned(), row.measured.clone(), met.to_owned()]
            })
            .collect();
        grid(&mut text, &["what", "goal", "measured", "met"].map(str::to_owned), &cells);
        line(&mut text, "");
        line(&mut text, "Named first, for each finding that should have been made:");
        line(&mut text, "");
        let confused: Vec<[String; 2]> = tally
            .confusion
            .iter()
            .map(|(finding, named)| {
                let named: Vec<String> =
                    named.iter().map(|(name, count)| format!("{name} {count}")).collect();
                [finding.clone(), named.join(", ")]
            })
            .collect();
        grid(&mut text, &["should be", "was"].map(str::to_owned), &confused);
        line(&mut text, "");
        line(&mut text, "Stated probabilities, and how often they were right:");
        line(&mut text, "");
        let told = tally
            .reliability
            .iter()
            .map(|it| [it.of.clone(), format!("{:.1} %", 100.0 * it.stated), percent(it.right)]);
        let told: Vec<[String; 3]> = told.collect();
        grid(&mut text, &["finding", "says", "right"].map(str::to_owned), &told);
        line(&mut text, "");
        line(&mut text, "What went wrong in runs that a goal is about:");
        line(&mut text, "");
        let failed = tally
            .failures
            .iter()
            .map(|it| [format!("{} {}", it.scenario, it.seed), it.should_be.clone(), it.was.clone()]);
        let failed: Vec<[String; 3]> = failed.collect();
        grid(&mut text, &["run", "should be", "was"].map(str::to_owned), &failed);
        text
    }
}

fn rows(tally: &Tally) -> Vec<Row> {
    vec![
        Row {
            what: "false warnings, healthy systems",
            goal: "≤ 0.1 a system-year",
            measured: tally.false_warnings_a_year().map_or_else(none, |rate| {
                format!("{rate:.3} ({} in {:.0} years)", tally.healthy_false_warnings, tally.healthy_years)
            }),
            met: tally.false_warnings_a_year().map(|rate| rate <= 0.1),
        },
        Row {
            what: "all warnings there, those of water that truly stood as well",
            goal: "few; no goal",
            measured: tally.warnings_a_year().map_or_else(none, |rate| format!("{rate:.2} a system-year")),
            met: None,
        },
        class_row(
            tally,
            Class::OutletBlocked,
            "outlet blocked at once",
            "found ≥ 99 %, median ≤ 3 doses, right outlet ≥ 98 %",
            |it| meets(it.found, 0.99) && it.delay_doses <= Some(3.0) && meets(it.right_subject, 0.98),
        ),
        class_row(
            tally,
            Class::SplitterStep,
            "splitter steps to 70/30",
            "found ≥ 99 %, median ≤ 6 doses, right splitter ≥ 97 %",
            |it| meets(it.found, 0.99) && it.delay_doses <= Some(6.0) && meets(it.right_subject, 0.97),
        ),
        class_row(
            tally,
            Class::SplitterDrift,
            "splitter drifts to 65/35 over 30 days",
            "found ≥ 97 %, median ≤ 5 days after 60/40",
            |it| meets(it.found, 0.97) && it.delay_days <= Some(5.0),
        ),
        Row {
            what: "probe gone or outlet blocked, told apart where there are probes",
            goal: "≥ 98 % right",
            measured: percent(tally.probe_or_outlet),
            met: tally.probe_or_outlet.ratio().map(|ratio| ratio >= 0.98),
        },
        Row {
            what: "mulch clogging: slow-soak before the first flood",
            goal: "≥ 95 %",
            measured: percent(tally.slow_soak_first),
            met: tally.slow_soak_first.ratio().map(|ratio| ratio >= 0.95),
        },
        error_row(
            "mulch clogging: due date at half life, median",
            "≤ 20 % of the time left",
            tally.forecast_error,
            0.2,
        ),
        Row {
            what: "80 % intervals of due dates",
            goal: "hold 75 to 85 %",
            measured: percent(tally.interval_held),
            met: tally.interval_held.ratio().map(|ratio| (0.75..=0.85).contains(&ratio)),
        },
        error_row(
            "due date where water had stood at the float by then",
            "≤ 20 % of the time left",
            tally.forecast_error_seen,
            0.2,
        ),
        Row {
            what: "its 80 % interval",
            goal: "hold 75 to 85 %",
            measured: percent(tally.interval_held_seen),
            met: tally.interval_held_seen.ratio().map(|ratio| (0.75..=0.85).contains(&ratio)),
        },
        Row {
            what: "due date by who knows how such floors silt up, but not the loads to come",
            goal: "a limit, no goal",
            measured: tally
                .forecast_error_law_known
                .map_or_else(none, |error| format!("{:.1} %", 100.0 * error)),
            met: None,
        },
        Row {
            what: "a basin's share over 30 days, mean absolute error",
            goal: "≤ 0.015",
            measured: tally.share_error.map_or_else(none, |error| format!("{error:.4}")),
            met: tally.share_error.map(|error| error <= 0.015),
        },
        error_row("litres of a dose with a meter, median", "≤ 5 %", tally.litre_error_metered, 0.05),
        error_row("litres of a dose without a meter, median", "≤ 20 %", tally.litre_error_unmetered, 0.20),
        stated_row(tally),
        Row {
            what: "water against the diverter, or with no use",
            goal: "≥ 95 % found within a day",
            measured: percent(tally.unexpected_within_a_day),
            met: tally.unexpected_within_a_day.ratio().map(|ratio| ratio >= 0.95),
        },
    ]
}

fn class_row(
    tally: &Tally,
    class: Class,
    what: &'static str,
    goal: &'static str,
    is_met: impl Fn(&ClassTally) -> bool,
) -> Row {
    let found = tally.classes.get(&class);
    let delay =
        |value: Option<f64>, unit: &str| value.map_or_else(none, |value| format!("{value:.1} {unit}"));
    Row {
        what,
        goal,
        measured: found.map_or_else(none, |it| {
            format!(
                "{}, right {}, median {} ({} as told apart; one of these takes {}) or {}",
                percent(it.found),
                percent(it.right_subject),
                delay(it.delay_doses, "doses"),
                it.delay_told.map_or_else(none, |doses| format!("{doses:.1}")),
                it.least_doses.map_or_else(none, |doses| format!("{doses:.1}")),
                delay(it.delay_days, "days"),
            )
        }),
        // Without a single finding there is no delay, and none is less than any.
        met: found.map(|it| it.found.of > 0 && is_met(it)),
    }
}

fn error_row(what: &'static str, goal: &'static str, error: Option<f64>, most: f64) -> Row {
    Row {
        what,
        goal,
        measured: error.map_or_else(none, |error| format!("{:.1} %", 100.0 * error)),
        met: error.map(|error| error <= most),
    }
}

fn stated_row(tally: &Tally) -> Row {
    let pair = tally.stated.zip(tally.right.ratio());
    Row {
        what: "stated probabilities",
        goal: "right within 5 points of what they say",
        measured: pair.map_or_else(none, |(stated, right)| {
            format!("say {:.1} %, right {:.1} % of {}", 100.0 * stated, 100.0 * right, tally.right.all)
        }),
        met: pair.map(|(stated, right)| (stated - right).abs() <= 0.05),
    }
}

fn meets(part: Part, least: f64) -> bool {
    part.ratio().is_some_and(|ratio| ratio >= least)
}

fn percent(part: Part) -> String {
    part.ratio().map_or_else(none, |ratio| format!("{:.1} % of {}", 100.0 * ratio, part.all))
}

fn none() -> String {
    "no cases".to_owned()
}

fn line(text: &mut String, says: &str) {
    writeln!(text, "{says}").expect("writing to a string does not fail");
}

/// A Markdown table with its columns lined up.
fn grid<const N: usize>(text: &mut String, head: &[String; N], rows: &[[String; N]]) {
    let width =
        |column: usize| rows.iter().chain([head]).map(|row| row[column].chars().count()).max().unwrap_or(0);
    let widths: [usize; N] = std::array::from_fn(width);
    let written = |row: &[String; N]| {
        let cells: Vec<String> =
            row.iter().zip(widths).map(|(cell, width)| format!("{cell:<width$}")).collect();
        format!("| {} |", cells.join(" | "))
    };
    line(text, &written(head));
    line(text, &written(&widths.map(|width| "-".repeat(width))));
    for row in rows {
        line(text, &written(row));
    }
}
