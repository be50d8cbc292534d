//! The page of visits: the next days in full, those after them folded away by months.

use std::collections::{BTreeMap, BTreeSet};

use maud::{Markup, html};

use super::bring::bring;
use super::rows::{TaskRow, VisitRow, due_words, record_address};
use super::tasks_page::{badge, many, too_late};
use crate::desk::assets;
use crate::desk::pages::{Page, layout_with};
use crate::desk::sheet::{Chrome, Moment};
use crate::desk::units::Units;
use crate::desk::words;
use crate::upkeep::{Day, TaskKind};

/// Visits within so many days lie open; where there is none, those of the first day do.
const NEAR: i64 = 14;

/// Everything on the page of visits.
pub(super) struct VisitsSheet {
    pub(super) rows: Vec<VisitRow>,
    /// The property that was asked for; empty for all.
    pub(super) property: String,
    /// Properties in reach, id and title.
    pub(super) properties: BTreeSet<(String, String)>,
    /// When the plan was made; none before the first.
    pub(super) made: Option<Moment>,
    /// The last day that the plan looks ahead to.
    pub(super) until: Option<Day>,
    /// What is due next, where no visit is planned.
    pub(super) next: Option<TaskRow>,
    pub(super) today: Day,
    pub(super) units: Units,
    /// What to bring on the next visit to each property, by the visit's number.
    pub(super) bring: BTreeMap<u64, Vec<String>>,
    /// How the visitor gets a calendar.
    pub(super) calendar: Calendar,
}

/// How a visitor gets a calendar.
pub(super) enum Calendar {
    /// Nobody is signed in, so it lies open.
    Open,
    /// They can make an address.
    CanMake,
    /// This address was just made, and is shown once.
    Made(String),
}

/// The page of visits.
pub(super) fn visits(chrome: &Chrome, sheet: &VisitsSheet) -> String {
    let page = Page { title: "Visits", here: "/visits", fragment: "", live: false };
    let days: Vec<&[VisitRow]> = sheet.rows.chunk_by(|a, b| a.visit.day == b.visit.day).collect();
    let near = days.partition_point(|day| day[0].visit.day <= sheet.today.plus(NEAR)).max(1).min(days.len());
    let (near, later) = days.split_at(near);
    let main = html! {
        h1 { "Visits" }
        p {
            "The fewest visits that meet every due date. The days of an earlier plan stand as long as that costs no further visit. "
            @if let Some(made) = &sheet.made { "Planned " (made.words) ". " }
            a href="/tasks" { "All tasks" } "."
        }
        @if sheet.properties.len() > 1 { (choose(sheet)) }
        @if sheet.rows.is_empty() { p { (none(sheet)) } }
        @for day in near { (day_of(day, sheet)) }
        @for month in later.chunk_by(|a, b| month_of(a) == month_of(b)) {
            details class="rest" {
                summary { h2 { (month_of(month[0])) ": " (many(month.iter().map(|day| day.len()).sum(), "visit")) } }
                @for day in month { (day_of(day, sheet)) }
            }
        }
        p { a href="/visits.csv" { "All visits as a table (CSV)" } ". " a href="/visits/compared" { "The past beside a calendar" } "." }
        (calendar(chrome, &sheet.calendar))
    };
    layout_with(chrome, &page, &[&assets::FORMS, &assets::UPKEEP_STYLE], &main).into_string()
}

/// Why there is no visit, how far that looks ahead, and what is due after that.
fn none(sheet: &VisitsSheet) -> Markup {
    if sheet.made.is_none() {
        return html! { "The first plan is being made: load the page again in a moment." };
    }
    html! {
        "No visit is needed" @if !sheet.property.is_empty() { " there" }
        @if let Some(until) = sheet.until { " until " (until) } ". "
        @if let Some(next) = &sheet.next {
            "Next comes: " a class="target" href={ "/systems/" (next.system.0) } { (next.title) ", " (next.system.1) } ", "
            (due_words(next.window, next.task.key.kind, sheet.today, None)) "."
        } @else { "No task is known yet that falls due later." }
    }
}

fn month_of(day: &[VisitRow]) -> String {
    day[0].visit.day.date().strftime("%B %Y").to_string()
}

fn choose(sheet: &VisitsSheet) -> Markup {
    html! {
        form class="acts" method="get" action="/visits" {
            label class="act" { "Property " select name="property" {
                option value="" selected[sheet.property.is_empty()] { "all" }
                @for (id, title) in &sheet.properties { option value=(id) selected[*id == sheet.property] { (title) } }
            } }
            button type="submit" { "Show" }
        }
    }
}

fn day_of(rows: &[VisitRow], sheet: &VisitsSheet) -> Markup {
    let day = rows[0].visit.day;
    let minutes: u32 = rows.iter().map(|row| row.visit.minutes).sum();
    html! {
        section class="day" {
            h2 { (day) @if day == sheet.today { ", today" } @else if day < sheet.today { ", over: what was not done is planned anew" } }
            p class="standing" { (words::capitalised(&many(rows.len(), "visit"))) ", " (hours(minutes)) " of work, not counting travel." }
            div class="visits" { @for row in rows { (visit(row, sheet)) } }
        }
    }
}

fn visit(row: &VisitRow, sheet: &VisitsSheet) -> Markup {
    let (today, units) = (sheet.today, sheet.units);
    let own =
        || bring(&[], row.tasks.iter().map(|it| (it.task.key.kind, it.task.materials.as_slice())), units);
    let things = sheet.bring.get(&row.visit.no).cloned().unwrap_or_else(own);
    // What is wrong lies open on its day; all else of a visit is folded away.
    let (mends, others): (Vec<_>, Vec<_>) =
        row.tasks.iter().partition(|task| task.task.mends && row.visit.day == today);
    html! {
        article class="stop" {
            h3 { (row.property) span class="when" { " at " (row.clock) @if let Some(zone) = &row.zone { ", " (zone) " time" } ", " (hours(row.visit.minutes)) } }
            @if row.missed { p class="late" { "This hour is over. What was done shows once it is written down; the rest is planned anew tomorrow." } }
            p { a class="target" href={ "/properties/" (row.visit.property) "/sheet" } { "Visit sheet" span class="unseen" { " of " (row.property) } } }
            p { b { "Why this day: " } (units.retold(&row.why)) }
            p { b { "Skipping it: " } (row.risk) }
            @if row.late > 0 { p class="late" { (words::capitalised(&many(row.late, "task"))) @if row.late == 1 { " is" } @else { " are" } " done after the due day." } }
            @if !things.is_empty() { p { b { "Bring: " } (things.join("; ")) "." } }
            @if !row.cautions.is_empty() {
                details {
                    summary { "Take care" span class="unseen" { " at " (row.property) ", " (row.visit.day) } }
                    ul { @for caution in &row.cautions { li { (caution) } } }
                }
            }
            @if !mends.is_empty() { ol class="order" { @for task in &mends { (step(task, today, units)) } } }
            @if !others.is_empty() {
                details {
                    summary {
                        @if mends.is_empty() { (words::capitalised(&many(others.len(), "task"))) }
                        @else { (words::capitalised(&words::count(others.len()))) " more on the same way" }
                        span class="unseen" { " at " (row.property) ", " (row.visit.day) }
                    }
                    ol class="order" start=(mends.len() + 1) { @for task in &others { (step(task, today, units)) } }
                }
            }
        }
    }
}

/// A task of a visit.
fn step(row: &TaskRow, today: Day, units: Units) -> Markup {
    html! {
        li {
            b { (row.title) } (badge(row)) br;
            span class="when" { a class="target" href={ "/systems/" (row.system.0) } { (row.system.1) } ", " (due_words(row.window, row.task.key.kind, today, None)) ", " (hours(row.task.minutes)) ". "
                a class="target" href=(record_address(row)) {
                    @if row.task.key.kind == TaskKind::FlowTest { "Run the flow test" } @else { "Write it down" }
                    span class="unseen" { ": " (row.title) ", " (row.system.1) }
                } } br;
            @if let Some(says) = too_late(row, today) { b class="word" { (says) } " " }
            (units.retold(&row.task.reason))
        }
    }
}

fn calendar(chrome: &Chrome, calendar: &Calendar) -> Markup {
    html! {
        section class="calendar" {
            h2 { "In your calendar" }
            @match calendar {
                Calendar::Open => p { "Add " a href="/calendar.ics" { "/calendar.ics" } " to a calendar program on this machine: it shows the visits and keeps up with the plan." },
                Calendar::Made(address) => {
                    p role="status" { "Your address, shown this once: " code class="address" { (address) } }
                    p { "Add it to a calendar program by address. Whoever knows it sees these visits: treat it like a password, and make it useless under “Keys for programs” on " a href="/account" { "your page" } "." }
                }
                Calendar::CanMake => {
                    p { "A private address shows the visits that you may see in any calendar program, and keeps up with the plan." }
                    form method="post" action="/calendar" {
                        @if let Some(who) = &chrome.who { input type="hidden" name="csrf" value=(who.csrf); }
                        button type="submit" { "Make a calendar address" }
                    }
                }
            }
        }
    }
}

/// `45 minutes`, `2 h 15 min`
fn hours(minutes: u32) -> String {
    match (minutes / 60, minutes % 60) {
        (0, minutes) => format!("{minutes}\u{a0}minutes"),
        (hours, 0) => format!("{hours}\u{a0}h"),
        (hours, minutes) => format!("{hours}\u{a0}h {minutes}\u{a0}min"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;

    fn nothing_planned(next: Option<TaskRow>) -> String {
        let today = Day(20_514);
        let sheet = VisitsSheet {
            rows: Vec::new(),
            property: String::new(),
            properties: BTreeSet::new(),
            made: Some(Moment {
                at: "2026-03-02T12:00:00Z".parse().unwrap(),
                words: "today 12:00".to_owned(),
            }),
            until: Some(today.plus(120)),
            next,
            today,
            units: Units::Metric,
            bring: BTreeMap::new(),
            calendar: Calendar::Open,
        };
        visits(&Chrome::default(), &sheet)
    }

    #[test]
    fn where_no_visit_is_planned_it_says_until_when_and_what_comes_next() {
        let due = Day(20_514).plus(183);
        let next = samples::task_row(TaskKind::RenewMulch, due);
        let title = next.title.clone();
        let page = nothing_planned(Some(next));
        let until = Day(20_514).plus(120);
        assert!(page.contains(&format!("No visit is needed until {until}.")), "{page}");
        let due = due.date().strftime("%-d %b %Y").to_string();
        assert!(page.contains(&title) && page.contains(&format!("due {due}")), "{page}");
        assert!(nothing_planned(None).contains("No task is known yet that falls due later."));
    }
}
