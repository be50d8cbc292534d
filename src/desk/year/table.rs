//! The account as one table, for other programs.

use super::account::{Account, Water};
use crate::desk::csv;
use crate::model::EventTime;
use jiff::tz::TimeZone;

/// Every row of the account: what it is of, about what, from when to when, a number with its unit, and words.
pub(super) fn csv(years: &[(Account, TimeZone)]) -> String {
    let mut text =
        csv::line(&["system", "year", "kind", "about", "from", "to", "value", "unit", "words", "by"]);
    for (year, zone) in years {
        rows(year, zone, &mut text);
        alerts(year, zone, &mut text);
    }
    text
}

/// What the litres of a year rest on.
fn known_by(water: &Water) -> &'static str {
    if water.estimated {
        "estimates by how many people use the system"
    } else {
        "doses whose volume is known"
    }
}

fn rows(year: &Account, zone: &TimeZone, text: &mut String) {
    let time = |at: EventTime| csv::time(at, zone);
    let stretch = (time(year.from), time(year.to));
    let mut row = |kind: &str,
                   about: &str,
                   (from, to): (String, String),
                   value: (String, &str),
                   words: &str,
                   by: &str| {
        let number = year.year.to_string();
        let fields = [&year.system, &number, kind, about, &from, &to, &value.0, value.1, words, by];
        text.push_str(&csv::line(&fields));
    };
    let whole = || stretch.clone();
    let water = &year.water;
    row("doses", "source", whole(), (water.doses.to_string(), "doses"), "", "");
    row("water", "source", whole(), (water.litres.to_string(), "L"), known_by(water), "");
    row("water-unattributed", "source", whole(), (water.unattributed_litres.to_string(), "L"), "", "");
    for basin in &year.basins {
        let about = format!("basin:{}", basin.id);
        if let Some(litres) = basin.litres {
            row("water", &about, whole(), (litres.to_string(), "L"), "", "");
        }
        if let Some(share) = basin.share {
            row("share", &about, whole(), (share.to_string(), "1"), "", "");
        }
        row(
            "figure-doses",
            &about,
            whole(),
            (basin.doses.to_string(), "doses"),
            basin.says.as_deref().unwrap_or(""),
            "",
        );
        if let (Some(from), Some(to)) = (basin.silent_from, basin.silent_to) {
            row(
                "silent",
                &about,
                (time(from), time(to)),
                (String::new(), ""),
                "its sensors told of no dose",
                "",
            );
        }
        row("design-share", &about, whole(), (basin.design_share.to_string(), "1"), "", "");
    }
    for it in &year.findings {
        let stretch = (time(it.raised_at), it.cleared_at.map_or_else(String::new, time));
        row(it.finding.name(), &it.subject, stretch, (it.days.to_string(), "days"), &it.headline, "");
    }
    for it in &year.services {
        let words = if it.note.is_empty() {
            it.work.join(" ")
        } else {
            format!("{}: {}", it.work.join(" "), it.note)
        };
        row("service", &it.subject, (time(it.at), time(it.at)), (String::new(), ""), &words, &it.by);
        let depths = [("mulch-found", it.mulch_found_mm), ("mulch-left", it.mulch_left_mm)];
        for (kind, depth_mm) in depths.into_iter().filter_map(|(kind, depth)| Some((kind, depth?))) {
            row(kind, &it.subject, (time(it.at), time(it.at)), (depth_mm.to_string(), "mm"), "", &it.by);
        }
        if let Some(foretold) = &it.foretold {
            let stretch = (time(foretold.earliest), time(foretold.latest));
            row(
                "foretold-flood",
                &it.subject,
                stretch,
                (String::new(), ""),
                "without renewing the mulch",
                "",
            );
            let part = (foretold.mulch_left.to_string(), "1");
            row("foretold-mulch-left", &it.subject, (time(foretold.made), time(it.at)), part, "", "");
        }
    }
    for test in &year.tests {
        for split in &test.outcome.splits {
            let about = format!("splitter:{}", split.splitter);
            let share = split.share_a.map_or_else(String::new, |share| format!("{share:.3}"));
            let verdict = serde_json::to_string(&split.verdict).unwrap_or_default();
            row(
                "flow-test",
                &about,
                (time(test.began), time(test.began)),
                (share, "1"),
                verdict.trim_matches('"'),
                &test.by,
            );
        }
    }
    if let Some(diverter) = &year.diverter {
        row("diverter-turns", "diverter", whole(), (diverter.turns.to_string(), "turns"), "", "");
        row("diverter-exercises", "diverter", whole(), (diverter.exercises.to_string(), "times"), "", "");
    }
    for gap in &year.gaps {
        row("gap", &gap.of, whole(), (gap.days.to_string(), "days"), &format!("of {} days", gap.out_of), "");
    }
    for says in &year.deviations {
        row("deviation", "", whole(), (String::new(), ""), says, "");
    }
}

/// Alerts that were closed: from when to when, and by whom; and who had taken them on.
fn alerts(year: &Account, zone: &TimeZone, text: &mut String) {
    let time = |at: EventTime| csv::time(at, zone);
    let number = year.year.to_string();
    let mut row = |kind: &str, about: &str, (from, to), alert: u64, words: &str, by: &str| {
        let (from, to, alert) = (time(from), time(to), alert.to_string());
        let fields = [&year.system, &number, kind, about, &from, &to, &alert, "alert", words, by];
        text.push_str(&csv::line(&fields));
    };
    for it in &year.alerts {
        let reason = it.reason.as_ref().map_or_else(String::new, |reason| format!(": {reason}"));
        let (words, by) = (format!("{}{reason}", it.headline), it.closed_by.as_deref().unwrap_or(""));
        row("alert-closed", &it.subject, (it.opened_at, it.closed_at), it.alert, &words, by);
        if let Some(taken) = &it.taken {
            row("alert-taken-on", &it.subject, (taken.at, taken.at), it.alert, "", &taken.by);
        }
    }
}
