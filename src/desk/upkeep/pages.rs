//! The pages of tasks and visits.

use std::collections::BTreeSet;

use maud::{Markup, html};

use super::rows::{TaskRow, VisitRow, Wanted, due_words, material_words, record_address};
use crate::desk::assets;
use crate::desk::pages::{Page, layout_with, urgency};
use crate::desk::sheet::{Chrome, ComingRow, Moment};
use crate::desk::units::Units;
use crate::desk::words;
use crate::upkeep::{Day, TaskKind};

/// Stretches that the list of tasks can be cut to: days, and in words.
const WITHIN: [(&str, &str); 4] =
    [("", "at any time"), ("0", "today or before"), ("14", "within 14 days"), ("60", "within 60 days")];

/// Everything on the page of tasks.
pub(super) struct TasksSheet {
    pub(super) rows: Vec<TaskRow>,
    /// How many there are beyond those shown.
    pub(super) more: usize,
    pub(super) wanted: Wanted,
    /// Properties in reach, id and title.
    pub(super) properties: BTreeSet<(String, String)>,
    pub(super) today: Day,
    pub(super) units: Units,
}

/// Everything on the page of visits.
pub(super) struct VisitsSheet {
    pub(super) rows: Vec<VisitRow>,
    /// When the plan was made; none before the first.
    pub(super) made: Option<Moment>,
    pub(super) today: Day,
    pub(super) units: Units,
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

/// The page of tasks.
pub(super) fn tasks(chrome: &Chrome, sheet: &TasksSheet) -> String {
    let page = Page { title: "Tasks", here: "/tasks", fragment: "", live: false };
    let main = html! {
        h1 { "Tasks" }
        p { "What is to be done, from what happened rather than from the calendar: most urgent first. " a href="/visits" { "The visits" } " put it into days." }
        (choose(sheet))
        @if sheet.rows.is_empty() { p { "Nothing is to be done here." } }
        ul class="tasks" { @for row in &sheet.rows { (task(row, sheet.today, sheet.units)) } }
        @if sheet.more > 0 { p class="key" { (sheet.more) " more are not shown; the table has them all." } }
        p { a href="/tasks.csv" { "All tasks as a table (CSV)" } }
    };
    layout_with(chrome, &page, &[&assets::FORMS, &assets::UPKEEP_STYLE], &main).into_string()
}

fn choose(sheet: &TasksSheet) -> Markup {
    let wanted = &sheet.wanted;
    let option = |value: &str, chosen: &str, words: &str| {
        html! { option value=(value) selected[value == chosen] { (words) } }
    };
    html! {
        form class="acts" method="get" action="/tasks" {
            @if !wanted.system.is_empty() { input type="hidden" name="system" value=(wanted.system); }
            label class="act" { "Property " select name="property" {
                (option("", &wanted.property, "all"))
                @for (id, title) in &sheet.properties { (option(id, &wanted.property, title)) }
            } }
            label class="act" { "Kind " select name="kind" {
                (option("", &wanted.kind, "all"))
                @for kind in TaskKind::ALL { (option(kind.name(), &wanted.kind, &kind.name().replace('-', " "))) }
            } }
            label class="act" { "Due " select name="within" {
                @for (days, words) in WITHIN { (option(days, &wanted.within, words)) }
            } }
            button type="submit" { "Show" }
            @if !wanted.system.is_empty() { a class="target" href="/tasks" { "All systems" } }
        }
    }
}

fn task(row: &TaskRow, today: Day, units: Units) -> Markup {
    let planned = row.visit.map(|(_, day)| day);
    html! {
        li class={ "task " (row.urgency.class()) } {
            h2 { (row.title) " " (urgency(row.urgency)) }
            p class="standing" {
                a href={ "/systems/" (row.system.0) } { (row.system.1) } ", " (row.property) ": "
                span class=[row.over.then_some("word")] { (due_words(row.window[1], today, planned)) } ". " (row.task.minutes) " minutes."
            }
            p { @if let Some(says) = too_late(row) { b class="word" { (says) } " " } (units.retold(&row.task.reason)) }
            details {
                summary { "What to bring, cautions, and where to write it down" span class="unseen" { ": " (row.title) } }
                (bring(row, units))
                ul class="cautions" { @for caution in row.task.key.kind.cautions() { li { (caution) } } }
                p { a class="target" href=(record_address(row)) {
                    @if row.task.key.kind == TaskKind::FlowTest { "Run the flow test" } @else { "Write down what was done" }
                } }
            }
        }
    }
}

/// A task of a visit.
fn step(row: &TaskRow, today: Day, units: Units) -> Markup {
    html! {
        li {
            b { (row.title) } " " (urgency(row.urgency)) br;
            span class="when" { a class="target" href={ "/systems/" (row.system.0) } { (row.system.1) } ", " (due_words(row.window[1], today, None)) ", " (hours(row.task.minutes)) ". "
                a class="target" href=(record_address(row)) { @if row.task.key.kind == TaskKind::FlowTest { "Run the flow test" } @else { "Write it down" } } } br;
            @if let Some(says) = too_late(row) { b class="word" { (says) } " " }
            (units.retold(&row.task.reason))
        }
    }
}

/// That a task is planned for a day on which what it is to prevent is likely to have come.
fn too_late(row: &TaskRow) -> Option<String> {
    let (_, day) = row.visit?;
    let latest = row.window[2];
    (day > latest)
        .then(|| format!("It should be done by {latest} at the latest, but no earlier working day has room."))
}

fn bring(row: &TaskRow, units: Units) -> Markup {
    html! {
        ul {
            @for material in &row.task.materials { li { (material_words(material, units)) } }
            @for tool in row.task.key.kind.tools() { li { (tool) } }
        }
    }
}

/// The page of visits.
pub(super) fn visits(chrome: &Chrome, sheet: &VisitsSheet) -> String {
    let page = Page { title: "Visits", here: "/visits", fragment: "", live: false };
    let main = html! {
        h1 { "Visits" }
        p {
            "The fewest visits that meet every due date. The days of an earlier plan stand as long as that costs no further visit. "
            @if let Some(made) = &sheet.made { "Planned " (made.words) ". " }
            a href="/tasks" { "All tasks" } "."
        }
        @if sheet.rows.is_empty() {
            p { @if sheet.made.is_none() { "The first plan is being made: load the page again in a moment." } @else { "No visit is needed." } }
        }
        @for day in sheet.rows.chunk_by(|a, b| a.visit.day == b.visit.day) { (day_of(day, sheet.today, sheet.units)) }
        p { a href="/visits.csv" { "All visits as a table (CSV)" } ". " a href="/visits/compared" { "The last year beside a calendar" } "." }
        (calendar(chrome, &sheet.calendar))
    };
    layout_with(chrome, &page, &[&assets::FORMS, &assets::UPKEEP_STYLE], &main).into_string()
}

fn day_of(rows: &[VisitRow], today: Day, units: Units) -> Markup {
    let day = rows[0].visit.day;
    let minutes: u32 = rows.iter().map(|row| row.visit.minutes).sum();
    html! {
        section class="day" {
            h2 { (day) @if day == today { ", today" } }
            p class="standing" { (many(rows.len(), "visit")) ", " (hours(minutes)) " of work without the way." }
            div class="visits" { @for row in rows { (visit(row, today, units)) } }
        }
    }
}

fn visit(row: &VisitRow, today: Day, units: Units) -> Markup {
    html! {
        article class="stop" {
            h3 { (row.property) span class="when" { " at " (row.clock) ", " (hours(row.visit.minutes)) } }
            @if row.missed { p class="late" { "This hour is over. What was done shows once it is written down; the rest is planned anew tomorrow." } }
            p { a class="target" href={ "/properties/" (row.visit.property) "/sheet" } { "Visit sheet" span class="unseen" { " of " (row.property) } } }
            p { (units.retold(&row.why)) }
            p { b { "Skipping it: " } (row.risk) }
            @if row.late > 0 { p class="late" { (many(row.late, "task")) @if row.late == 1 { " is" } @else { " are" } " done after the due day." } }
            @if !row.materials.is_empty() {
                p { b { "Bring: " } (row.materials.iter().map(|it| material_words(it, units)).collect::<Vec<_>>().join("; ")) "." }
            }
            details open[row.visit.day == today] {
                summary { (many(row.tasks.len(), "task")) span class="unseen" { " at " (row.property) } }
                p class="standing" { "Tools: " (row.tools.join(", ")) "." }
                ol class="order" { @for task_row in &row.tasks { (step(task_row, today, units)) } }
                h4 { "Cautions" }
                ul { @for caution in &row.cautions { li { (caution) } } }
            }
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

/// What a system's page says of what is coming.
pub(in crate::desk) fn coming(id: &str, rows: &[ComingRow]) -> Markup {
    html! {
        h2 { "What is coming" }
        @if rows.is_empty() { p { "Nothing is planned." } }
        ul class="past" {
            @for row in rows {
                li { b { (row.title) } " " (urgency(row.urgency)) " " span class="when" { (row.due) } br; (row.reason) }
            }
        }
        p { a class="target" href={ "/tasks?system=" (id) } { "All tasks of this system" } }
    }
}

fn many(count: usize, thing: &str) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{} {thing}{plural}", words::capitalised(&words::count(count)))
}

/// `45 minutes`, `2 h 15 min`
fn hours(minutes: u32) -> String {
    match (minutes / 60, minutes % 60) {
        (0, minutes) => format!("{minutes}\u{a0}minutes"),
        (hours, 0) => format!("{hours}\u{a0}h"),
        (hours, minutes) => format!("{hours}\u{a0}h {minutes}\u{a0}min"),
    }
}
