//! The list of alerts, and what is done with several at once.

use maud::{Markup, html};

use super::layout::{Page, layout_with};
use super::part::Part;
use super::{first, mark};
use crate::advice::kind_words;
use crate::desk::assets;
use crate::desk::sheet::{AlertChoice, AlertRow, AlertsSheet, Chrome, TAKE_BACK, Urgency};
use crate::desk::words;
use crate::model::{FindingKind, Severity};

/// How long an alert can be put off: hours, and in words.
const SNOOZES: [(u32, &str); 5] =
    [(4, "4 hours"), (24, "a day"), (72, "3 days"), (168, "a week"), (720, "30 days")];

/// The page around the list's `main`.
pub fn alerts(chrome: &Chrome, sheet: &AlertsSheet) -> String {
    let here = sheet.asked.address(sheet.choice);
    let page = Page {
        title: "Alerts",
        here: "/alerts",
        fragment: &format!("/fragments{here}"),
        live: sheet.problem.is_none(),
    };
    layout_with(chrome, &page, &[&assets::FORMS], &alerts_main(chrome, sheet)).into_string()
}

/// What is inside `main` of the list.
pub fn alerts_main(chrome: &Chrome, sheet: &AlertsSheet) -> Markup {
    html! {
        h1 { "Alerts" }
        (Part::new("stages", |print| html! { div data-part="stages" data-print=(print) { (stages(sheet)) } }).markup())
        (narrow(sheet).markup())
        @if let Some(done) = &sheet.done { p class="check" role="status" { (done) } }
        @if let Some(puzzle) = &sheet.puzzle { p class="problem" { "This address is not understood: " (puzzle) "." } }
        (Part::new("alerts", |print| html! { div data-part="alerts" data-print=(print) { (list(chrome, sheet)) } }).markup())
    }
}

/// The ways to lists of other stages, with how many each has.
fn stages(sheet: &AlertsSheet) -> Markup {
    html! {
        nav class="ways" aria-label="Which alerts" {
            ul {
                @for choice in AlertChoice::ALL {
                    li {
                        a href=(sheet.asked.address(choice)) aria-current=[(choice == sheet.choice).then_some("true")] {
                            (words::capitalised(choice.name()))
                            @if let Some(count) = sheet.counts.and_then(|counts| counts.listed(choice)) { " " (words::grouped(count as u64)) }
                        }
                    }
                }
            }
        }
    }
}

/// Why a list is empty, what that means, and where to look next.
fn none(sheet: &AlertsSheet) -> Markup {
    let to = |choice: AlertChoice, words: &str| {
        html! { a class="target" href=(sheet.asked.address(choice)) { (words) } }
    };
    let counts = sheet.counts.unwrap_or_default();
    html! {
        @if sheet.asked.narrows() {
            p { "No alert is like this. " a class="target" href={ "/alerts?show=" (sheet.choice.name()) } { "Show all of them" } }
        } @else {
            p {
                @match sheet.choice {
                    AlertChoice::Standing => "Nothing here needs anybody: all that was found has been mended or is over.",
                    AlertChoice::Open if counts.listed(AlertChoice::Standing) == Some(0) => "Nothing here needs anybody: no alert stands.",
                    AlertChoice::Open => "No alert waits for somebody: all that stand are taken on or put off.",
                    AlertChoice::Acknowledged => "Nobody has taken on an alert that still stands.",
                    AlertChoice::Snoozed => "No alert is put off.",
                    AlertChoice::Closed => "No alert has been closed yet. One closes by itself when what it tells of is over, or when somebody closes it and says why.",
                    AlertChoice::All => "No alert has been raised yet. One is raised as soon as a basin, an outlet, a splitter or a sensor needs somebody.",
                }
            }
        }
        @if sheet.choice != AlertChoice::Open && counts.open > 0 {
            p { (to(AlertChoice::Open, &format!("{} for somebody", if counts.open == 1 { "One waits".to_owned() } else { format!("{} wait", words::capitalised(&words::count(counts.open))) }))) }
        }
        @if sheet.choice == AlertChoice::Open && counts.acknowledged > 0 { p { (to(AlertChoice::Acknowledged, "Those that somebody takes care of")) } }
        @if sheet.choice == AlertChoice::Open && counts.snoozed > 0 { p { (to(AlertChoice::Snoozed, "Those that are put off")) } }
        @if !matches!(sheet.choice, AlertChoice::Closed | AlertChoice::All) {
            p { "What was: " (to(AlertChoice::Closed, "closed alerts")) " and " a class="target" href="/floods" { "the floods of each year" } ". What will be: " a class="target" href="/tasks" { "tasks" } " and " a class="target" href="/visits" { "visits" } ". A sensor that is silent or wrong sees nothing: " a class="target" href="/sensors" { "sensors in doubt" } "." }
        }
    }
}

/// The form that narrows the list down.
fn narrow(sheet: &AlertsSheet) -> Part {
    let asked = &sheet.asked;
    let option = |value: &str, chosen: &str, words: &str| {
        html! { option value=(value) selected[value == chosen] { (words) } }
    };
    let severities = [
        (Severity::Critical, Urgency::Now),
        (Severity::Warning, Urgency::Soon),
        (Severity::Info, Urgency::NextVisit),
    ];
    Part::new("choose", |print| {
        html! {
            search data-part="choose" data-print=(print) {
                details open[asked.narrows()] {
                    summary { "Narrow down by place, urgency, kind or day" }
                    form method="get" action="/alerts" {
                        input type="hidden" name="show" value=(sheet.choice.name());
                        div class="acts" {
                            @if sheet.choices.properties.len() > first::LISTED {
                                @if !asked.property.is_empty() { input type="hidden" name="property" value=(asked.property); }
                            } @else {
                                label class="act" { "Property " select name="property" {
                                    (option("", &asked.property, "all"))
                                    @for (title, id) in &sheet.choices.properties { (option(id.as_str(), &asked.property, title)) }
                                } }
                            }
                            label class="act" { "Urgency " select name="severity" {
                                (option("", &asked.severity, "any"))
                                @for (severity, urgency) in severities { (option(severity.name(), &asked.severity, urgency.words())) }
                            } }
                            label class="act" { "What is wrong " select name="kind" {
                                (option("", &asked.kind, "anything"))
                                @for kind in FindingKind::ALL { (option(kind.name(), &asked.kind, kind_words(kind))) }
                            } }
                            label class="act" { "Opened since " input type="date" name="since" value=(asked.since); }
                            @if !asked.system.is_empty() {
                                label class="act" { "System " input type="text" name="system" value=(asked.system) maxlength="48" autocomplete="off"; }
                            }
                            button type="submit" { "Show" }
                            @if asked.narrows() { a class="target" href={ "/alerts?show=" (sheet.choice.name()) } { "Show all of them" } }
                        }
                    }
                }
            }
        }
    })
}

fn list(chrome: &Chrome, sheet: &AlertsSheet) -> Markup {
    let may_act = chrome.who.as_ref().is_some_and(|who| who.attends) && sheet.choice != AlertChoice::Closed;
    html! {
        @if sheet.rows.is_empty() {
            @if sheet.puzzle.is_none() { (none(sheet)) }
        } @else {
            form method="post" action="/alerts" {
                (hidden(chrome, &sheet.asked.address(sheet.choice)))
                // What Enter presses while a tick or the reason has the focus: no act that the eye was not on.
                @if may_act { button name="act" value="close" hidden {} }
                @if may_act {
                    (not_done(sheet.problem.as_ref()))
                    fieldset class="acts" {
                        legend { "With the ticked ones" }
                        @if sheet.choice != AlertChoice::Acknowledged { button name="act" value="acknowledge" { "Acknowledge" } }
                        (snooze())
                        @if matches!(sheet.choice, AlertChoice::Acknowledged | AlertChoice::Snoozed) { (taking_back("Take back: they wait for somebody again")) }
                        (close())
                    }
                }
                ul class="alerts" {
                    @for row in &sheet.rows { (item(row, may_act.then(|| sheet.ticked.contains(&row.no)))) }
                }
                @if sheet.more { p class="key" { "Only the newest are shown here. Each system’s page shows its own." } }
            }
        }
    }
}

/// A line of the list; with a box where it may be ticked, which says whether it is.
pub(super) fn item(row: &AlertRow, tick: Option<bool>) -> Markup {
    let label = format!("Tick: {}", row.headline);
    html! {
        li class={ "alert " (row.urgency.class()) @if row.is_past() { " over" } } {
            @if let Some(is_ticked) = tick { input type="checkbox" name="alert" value=(row.no) checked[is_ticked] aria-label=(label); }
            div {
                p class="name" { (mark::sign(row.urgency)) " " a href={ "/alerts/" (row.no) } { (row.headline) } }
                p class="standing" {
                    a href={ "/systems/" (row.system.0) } { (row.system.1) }
                    ", raised " (mark::time(&row.opened)) @if let Some(again) = &row.again { ", again " (mark::time(again)) } ". " (words::capitalised(&row.stage)) "." @if row.still_stands { " It still stands." }
                    @if row.folded > 0 { " " (folded_words(row.folded)) "." }
                }
            }
        }
    }
}

/// Why what was asked for was not done; the focus goes there.
pub(super) fn not_done(problem: Option<&String>) -> Markup {
    html! { @if let Some(problem) = problem { p class="problem" role="alert" tabindex="-1" autofocus { (problem) } } }
}

fn folded_words(folded: u32) -> String {
    match folded {
        1 => "One consequence is folded under it".to_owned(),
        many => {
            format!("{} consequences are folded under it", words::capitalised(&words::count(many as usize)))
        }
    }
}

pub(super) fn hidden(chrome: &Chrome, back: &str) -> Markup {
    html! {
        @if let Some(who) = &chrome.who { input type="hidden" name="csrf" value=(who.csrf); }
        input type="hidden" name="back" value=(back);
    }
}

pub(super) fn snooze() -> Markup {
    html! {
        span class="act" {
            button class="plain" name="act" value="snooze" { "Snooze" }
            label { span class="unseen" { "Snooze " } "for " select name="hours" { @for (hours, words) in SNOOZES { option value=(hours) selected[hours == 24] { (words) } } } }
        }
    }
}

pub(super) fn close() -> Markup {
    html! {
        span class="act" {
            button class="plain" name="act" value="close" { "Close" }
            label { span class="unseen" { "Close " } "because " input type="text" name="reason" maxlength="200" autocomplete="off"; }
        }
    }
}

pub(super) fn taking_back(words: &str) -> Markup {
    html! { button class="plain" name="act" value=(TAKE_BACK) { (words) } }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::sheet::{AlertsAsked, Choices, StageCounts};

    fn empty(choice: AlertChoice, counts: Option<StageCounts>) -> String {
        let sheet = AlertsSheet {
            asked: AlertsAsked::default(),
            choice,
            puzzle: None,
            choices: Choices::default(),
            counts,
            rows: Vec::new(),
            more: false,
            problem: None,
            ticked: Vec::new(),
            done: None,
        };
        alerts_main(&Chrome::default(), &sheet).into_string()
    }

    #[test]
    fn every_way_says_how_many_it_leads_to_unless_nobody_counted() {
        let counts = StageCounts { open: 3, acknowledged: 1, snoozed: 0 };
        let page = empty(AlertChoice::Snoozed, Some(counts));
        for way in ["Standing 4", "Open 3", "Acknowledged 1", "Snoozed 0", ">Closed<", ">All<"] {
            assert!(page.contains(way), "{way}: {page}");
        }
        assert!(page.contains("No alert is put off.") && page.contains("Three wait for somebody"), "{page}");
        assert!(empty(AlertChoice::Snoozed, None).contains(">Open<"));
    }

    #[test]
    fn an_empty_list_says_what_that_means_and_where_to_look_next() {
        let none = Some(StageCounts::default());
        let open = empty(AlertChoice::Open, none);
        assert!(open.contains("no alert stands") && open.contains("href=\"/tasks\""), "{open}");
        let taken = Some(StageCounts { acknowledged: 2, ..StageCounts::default() });
        let open = empty(AlertChoice::Open, taken);
        assert!(open.contains("taken on or put off") && open.contains("somebody takes care of"), "{open}");
        assert!(empty(AlertChoice::Closed, none).contains("closes by itself"));
    }
}
