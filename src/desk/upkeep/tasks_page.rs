//! The page of tasks: what cannot wait in full, what is coming folded away by months.

use std::collections::BTreeSet;

use maud::{Markup, html};

use super::rows::{TaskRow, Wanted, due_words, material_words, record_address, summed};
use crate::desk::assets;
use crate::desk::pages::{Page, folded_on_phones, layout_with, urgency};
use crate::desk::sheet::{Chrome, ComingRow, Urgency};
use crate::desk::units::Units;
use crate::desk::words;
use crate::model::Subject;
use crate::upkeep::{Day, Material, TaskKind};

/// Stretches that the list of tasks can be cut to: days, and in words.
const WITHIN: [(&str, &str); 6] = [
    ("", "at any time"),
    ("0", "today or before"),
    ("14", "within 14 days"),
    ("60", "within 60 days"),
    ("90", "within 90 days"),
    ("365", "within a year"),
];
/// Of what is coming at a system, a phone shows so many; the others are folded away there.
const FIRST: usize = 3;
/// Up to so many tasks that come first lie open.
const FEW: usize = 10;
/// Up to so many tasks that were asked for lie open.
const OPEN: usize = 25;

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

/// The page of tasks.
pub(super) fn tasks(chrome: &Chrome, sheet: &TasksSheet) -> String {
    let page = Page { title: "Tasks", here: "/tasks", fragment: "", live: false };
    let is_asked = sheet.wanted.is_set();
    let (wrong, mut planned): (Vec<_>, Vec<_>) = sheet.rows.iter().partition(|row| row.task.mends);
    planned.sort_by_key(|row| row.window[1]);
    let (overdue, coming) = planned.split_at(planned.partition_point(|row| row.over));
    let lies_open = is_asked && sheet.rows.len() <= OPEN;
    let months: Vec<&[&TaskRow]> = coming.chunk_by(|a, b| month_of(a) == month_of(b)).collect();
    let open = months_open(overdue.len(), &months);
    let main = html! {
        h1 { "Tasks" }
        p { "What is to be done, from what happened rather than from the calendar. " a href="/visits" { "The visits" } " put it into days." }
        (choose(sheet))
        (chips_of_all(sheet))
        @if sheet.rows.is_empty() { p { @if is_asked { "No task is like this." } @else { "Nothing is to be done here." } } }
        @else {
            section class="need" {
                h2 { "Mends what is wrong: " (many(wrong.len(), "task")) }
                @if wrong.is_empty() { p { "Nothing is known to be wrong." } }
                (list(&wrong, sheet))
            }
            @if !overdue.is_empty() { (folded("Overdue", overdue, lies_open || overdue.len() <= FEW, sheet)) }
            @for (at, month) in months.iter().enumerate() { (folded(&month_of(month[0]), month, lies_open || at < open, sheet)) }
        }
        @if sheet.more > 0 { p class="key" { (words::grouped(sheet.more as u64)) " more are not shown; the table has them all." } }
        @let query = sheet.wanted.query();
        p { a href={ "/tasks.csv" @if is_asked { "?" (query) } } { @if is_asked { "These" } @else { "All" } " tasks as a table (CSV)" } }
    };
    layout_with(chrome, &page, &[&assets::FORMS, &assets::UPKEEP_STYLE], &main).into_string()
}

/// What can wait, behind its name and how much it is.
fn folded(name: &str, rows: &[&TaskRow], lies_open: bool, sheet: &TasksSheet) -> Markup {
    html! {
        details class="rest" open[lies_open] {
            summary { h2 { (name) ": " (many(rows.len(), "task")) } }
            (list(rows, sheet))
        }
    }
}

/// How many of the months lie open: those that come first, up to [`FEW`] tasks, and the first one unless it is long.
fn months_open(overdue: usize, months: &[&[&TaskRow]]) -> usize {
    let mut shown = overdue;
    let fits = |month: &&&[&TaskRow]| {
        shown += month.len();
        shown <= FEW
    };
    let first = months.first().is_some_and(|month| month.len() <= OPEN);
    months.iter().take_while(fits).count().max(usize::from(first))
}

fn month_of(row: &TaskRow) -> String {
    row.window[1].date().strftime("%B %Y").to_string()
}

fn list(rows: &[&TaskRow], sheet: &TasksSheet) -> Markup {
    html! { ul class="tasks" { @for row in rows { (task(row, sheet.today, sheet.units)) } } }
}

fn choose(sheet: &TasksSheet) -> Markup {
    let wanted = &sheet.wanted;
    let option = |value: &str, chosen: &str, words: &str| {
        html! { option value=(value) selected[value == chosen] { (words) } }
    };
    let narrowed = [&wanted.property, &wanted.kind, &wanted.within].iter().any(|asked| !asked.is_empty());
    html! {
        search { form method="get" action="/tasks" {
            @if !wanted.system.is_empty() { input type="hidden" name="system" value=(wanted.system); }
            p class="acts" {
                label class="act" { span { "Search" } " " input type="search" name="text" value=(wanted.text) maxlength="100" autocomplete="off"; }
                button type="submit" { "Show" }
                @if wanted.is_set() { a class="target" href="/tasks" { "Show all tasks" } }
            }
            details open[narrowed] {
                summary { "Narrow down" span class="unseen" { " by property, kind or due day" } }
                div class="acts" {
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
                }
            }
        } }
    }
}

fn task(row: &TaskRow, today: Day, units: Units) -> Markup {
    let planned = row.visit.map(|(_, day)| day);
    html! {
        li class={ "task " (row.urgency.class()) } {
            h3 { (row.title) (badge(row)) }
            p class="standing" {
                (where_is(row)) ": "
                span class=[row.over.then_some("word")] { (due_words(row.window, row.task.key.kind, today, planned)) } ". " (row.task.minutes) " minutes."
                @for chips in row.task.materials.iter().filter(|it| is_chips(it)) { " " (material_words(chips, units)) "." }
            }
            p { @if let Some(says) = too_late(row, today) { b class="word" { (says) } " " } (units.retold(&row.task.reason)) }
            details {
                summary { "What to bring, what to take care of, and how" span class="unseen" { ": " (row.title) ", " (row.system.1) } }
                h4 { "Bring" }
                ul {
                    @for material in &row.task.materials { li { (material_words(material, units)) } }
                    @for tool in row.task.key.kind.tools() { li { (tool) } }
                }
                h4 { "Take care" }
                ul { @for caution in row.task.key.kind.cautions() { li { (caution) } } }
                h4 { "How" }
                p { a class="target" href=(how(row)) { @if row.task.mends { "Step by step, with what shows that it is mended" } @else { "On the visit sheet, part by part" } span class="unseen" { ": " (row.title) ", " (row.system.1) } } }
            }
            p { a class="target" href=(record_address(row)) {
                @if row.task.key.kind == TaskKind::FlowTest { "Run the flow test" } @else { "Write down what was done" }
                span class="unseen" { ": " (row.title) ", " (row.system.1) }
            } }
        }
    }
}

/// How much wood chips the tasks that are shown take in all, by size.
fn chips_of_all(sheet: &TasksSheet) -> Markup {
    let chips = summed(sheet.rows.iter().flat_map(|row| &row.task.materials).filter(|it| is_chips(it)));
    let size = |what: &str| what.rsplit(", ").next().unwrap_or(what).to_owned();
    let told = chips.iter().map(|it| format!("{} {}", sheet.units.volume(it.quantity), size(it.what)));
    let told: Vec<_> = told.collect();
    html! { @if !told.is_empty() { p { "Wood chips for the tasks shown: " b { (told.join(", ")) } "." } } }
}

fn is_chips(material: &Material) -> bool {
    material.what.starts_with("wood chips")
}

/// Where the steps are: with the finding that the task mends, else on the sheet of its system.
fn how(row: &TaskRow) -> String {
    let system = &row.system.0;
    match &row.task.key.subject {
        _ if !row.task.mends => format!("/systems/{system}/sheet"),
        Subject::Basin(id) => format!("/systems/{system}/basins/{id}"),
        Subject::Splitter(id) => format!("/systems/{system}/splitters/{id}"),
        Subject::Sensor(name) => format!("/systems/{system}/sensors/{name}"),
        Subject::Source | Subject::Diverter => format!("/systems/{system}"),
    }
}

/// How soon, where that is sooner than its due day says.
pub(super) fn badge(row: &TaskRow) -> Markup {
    html! { @if matches!(row.urgency, Urgency::Now | Urgency::Soon) { " " (urgency(row.urgency)) } }
}

/// The system, and its property where that is called otherwise.
fn where_is(row: &TaskRow) -> Markup {
    html! {
        a href={ "/systems/" (row.system.0) } { (row.system.1) }
        @if row.property != row.system.1 { ", " (row.property) }
    }
}

/// That a task is planned for a day on which what it is to prevent is likely to have come.
pub(super) fn too_late(row: &TaskRow, today: Day) -> Option<String> {
    let (_, day) = row.visit?;
    let latest = row.window[2];
    if day <= latest {
        None
    } else if latest < today {
        Some(format!("It should have been done by {latest}."))
    } else {
        Some(format!("It should be done by {latest} at the latest, but no earlier working day has room."))
    }
}

/// What a system's page says of what is coming.
pub(in crate::desk) fn coming(id: &str, rows: &[ComingRow]) -> Markup {
    html! {
        h2 { "What is coming" }
        @if rows.is_empty() { p { "Nothing is planned." } }
        @let (first, later) = rows.split_at(FIRST.min(rows.len()));
        (coming_list(first))
        @if !later.is_empty() { (folded_on_phones(format!("{} more", words::capitalised(&words::count(later.len()))), &coming_list(later))) }
        p { a class="target" href={ "/tasks?system=" (id) } { "All tasks of this system" } }
    }
}

fn coming_list(rows: &[ComingRow]) -> Markup {
    html! {
        ul class="past" {
            @for row in rows {
                li {
                    b { (row.title) } @if row.urgency != Urgency::NextVisit { " " (urgency(row.urgency)) }
                    " " span class="when" { (row.due) } br; (row.reason)
                }
            }
        }
    }
}

pub(super) fn many(count: usize, thing: &str) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{} {thing}{plural}", words::count(count))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;

    fn due(day: Day) -> TaskRow {
        samples::task_row(TaskKind::InspectOutlet, day)
    }

    #[test]
    fn the_months_that_come_first_lie_open_as_far_as_they_are_short() {
        let row = due(Day(20_514));
        let rows: Vec<&TaskRow> = vec![&row; 30];
        let open = |overdue: usize, months: &[usize]| {
            let months: Vec<&[&TaskRow]> = months.iter().map(|len| &rows[..*len]).collect();
            months_open(overdue, &months)
        };
        assert_eq!(open(0, &[3, 4, 9, 1]), 2);
        assert_eq!(open(0, &[]), 0);
        assert_eq!(open(9, &[4, 1]), 1, "the first one, though much is overdue");
        assert_eq!(open(0, &[30, 1]), 0, "unless it is long");
    }

    #[test]
    fn how_it_is_done_stands_with_what_it_mends_or_on_the_sheet() {
        let mut row = due(Day(20_514));
        assert_eq!(how(&row), "/systems/terrace/sheet");
        row.task.mends = true;
        assert_eq!(how(&row), format!("/systems/terrace/basins/{}", samples::terrace().basins[0].id));
    }
}
