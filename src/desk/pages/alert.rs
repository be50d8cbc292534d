//! One alert with everything about it.

use maud::{Markup, html};

use super::alerts::{close, hidden, item, not_done, snooze, taking_back};
use super::layout::{Page, layout_with};
use super::part::Part;
use super::{finding, mark, timeline};
use crate::desk::assets;
use crate::desk::sheet::{AlertRow, AlertSheet, At, Chrome, Reopened};
use crate::desk::words;
use crate::model::FindingKind;

/// The page around the `main` of one alert.
pub fn alert(chrome: &Chrome, sheet: &AlertSheet) -> String {
    let (here, fragment) =
        (format!("/alerts/{}", sheet.row.no), format!("/fragments/alerts/{}", sheet.row.no));
    let page =
        Page { title: &sheet.row.headline, here: &here, fragment: &fragment, live: sheet.problem.is_none() };
    layout_with(chrome, &page, &[&assets::FORMS], &alert_main(chrome, sheet)).into_string()
}

/// What is inside `main` of one alert.
pub fn alert_main(chrome: &Chrome, sheet: &AlertSheet) -> Markup {
    let part = |name: &str, content: Markup| {
        Part::new(name, |print| html! { div data-part=(name) data-print=(print) { (content) } })
    };
    html! {
        (part("heading", heading(sheet)).markup())
        @if chrome.who.as_ref().is_some_and(|who| who.attends) { (part("acts", acts(chrome, &sheet.row, sheet.problem.as_ref())).markup()) }
        div class="beside" {
            (part("why", why(sheet)).markup())
            (part("picture", html! { h2 { "What happened" } (timeline::picture(&sheet.picture)) }).markup())
        }
        (part("work", work(sheet)).markup())
        @if !sheet.folded.is_empty() {
            (part("folded", html! { h2 { "Its consequences" } ul class="alerts" { @for row in &sheet.folded { (item(row, None)) } } }).markup())
        }
        (part("steps", steps(sheet)).markup())
    }
}

fn heading(sheet: &AlertSheet) -> Markup {
    let row = &sheet.row;
    let is_past = row.is_past();
    html! {
        p class="trail" { a href="/alerts" { "Alerts" } " › " a href={ "/systems/" (row.system.0) } { (row.system.1) } }
        h1 class={ "alert-head " (row.urgency.class()) @if is_past { " over" } } { (mark::sign(row.urgency)) " " (row.headline) }
        (mark::today(&sheet.today))
        @if is_past { p class="standing" { "Raised " (mark::time(&row.opened)) "." } }
        @else { (finding::standing(&sheet.finding)) }
        (finding::gist(&sheet.finding))
        @if let Some(reopened) = &sheet.reopened { (why_reopened(reopened, sheet.finding.kind)) }
        p data-say { (words::capitalised(&row.stage)) "." @if row.still_stands { " " b { "What it tells of still stands." } } }
        @for rival in &sheet.rivals {
            p {
                @if rival.better { "Another cause fits the same signs better: " } @else { "The same signs were first taken for another cause: " }
                a href={ "/alerts/" (rival.no) } { (rival.headline) } @if rival.better { ", since " } @else { ", until " } (mark::time(&rival.at)) "."
            }
        }
        @if let Some(cause) = sheet.under { p { "A consequence of " a href={ "/alerts/" (cause) } { "alert " (cause) } "." } }
        @if !is_past { p class="first now-first" { b { "First: " } (sheet.finding.advice.first) } }
        @if let Some((page, name)) = &sheet.about { p { a class="target" href=(page) { (words::capitalised(name)) ", with its history" } } }
    }
}

/// That there is nothing to do any more, and who thinks otherwise.
fn why_reopened(reopened: &Reopened, kind: FindingKind) -> Markup {
    let is_of_water = matches!(kind, FindingKind::Flooding | FindingKind::Ponding);
    html! {
        p {
            @if is_of_water { "The water has gone" } @else { "It is over" }
            @if let Some(since) = &reopened.over_since { " since " (mark::time(since)) } ". "
            b { (reopened.by) } " reopened it " (mark::time(&reopened.at))
            @if !reopened.reason.is_empty() { ": " (reopened.reason) } "."
        }
    }
}

/// One act with one alert: a form of its own, so that Enter in its field does that and nothing else.
fn form(chrome: &Chrome, row: &AlertRow, act: &Markup) -> Markup {
    html! {
        form method="post" action="/alerts" {
            (hidden(chrome, &format!("/alerts/{}", row.no)))
            input type="hidden" name="alert" value=(row.no);
            (act)
        }
    }
}

fn acts(chrome: &Chrome, row: &AlertRow, problem: Option<&String>) -> Markup {
    html! {
        (not_done(problem))
        fieldset class="acts" {
            legend { @if row.is_closed() { "Reopen this alert" } @else { "What you do about it" } }
            @if row.is_closed() {
                (form(chrome, row, &html! {
                    span class="act" {
                        button class="plain" name="act" value="reopen" { "Reopen" }
                        label { span class="unseen" { "Reopen " } "because " input type="text" name="reason" maxlength="200" autocomplete="off"; }
                    }
                }))
            } @else {
                @if row.at != At::Acknowledged { (form(chrome, row, &html! { button name="act" value="acknowledge" { "Acknowledge" } })) }
                (form(chrome, row, &snooze()))
                @if row.at == At::Snoozed { (form(chrome, row, &taking_back("Wake it now"))) }
                @else if row.at == At::Acknowledged { (form(chrome, row, &taking_back("Take back: it waits for somebody again"))) }
                (form(chrome, row, &close()))
            }
        }
    }
}

/// What to do; folded away once it is over, for whoever wants to read what was advised.
fn work(sheet: &AlertSheet) -> Markup {
    html! {
        @if sheet.row.is_closed() || sheet.row.is_over {
            details class="rest" { summary { h2 { "What to do" } } (finding::work(&sheet.finding)) }
        } @else { h2 { "What to do" } (finding::work(&sheet.finding)) }
    }
}

fn why(sheet: &AlertSheet) -> Markup {
    html! {
        h2 { "Why" }
        (finding::evidence(&sheet.finding))
        @if !sheet.explanations.is_empty() {
            h3 { "What explains it" }
            ol class="explanations" {
                @for (words, probability) in &sheet.explanations {
                    li {
                        p { (words) " " b { (words::chance(*probability)) } }
                        svg width="100%" height="10" aria-hidden="true" {
                            rect class="whole" width="100%" height="10" {}
                            rect class="part" width={ (format!("{:.1}%", probability * 100.0)) } height="10" {}
                        }
                    }
                }
            }
        }
        @if let Some(check) = sheet.check { p class="check" { b { "To be sure: " } (check) } }
    }
}

fn steps(sheet: &AlertSheet) -> Markup {
    html! {
        h2 { "History" }
        ol class="past" {
            @for (at, by, says) in &sheet.steps { li { b { (by) } ": " (says) " " span class="when" { (mark::time(at)) } } }
        }
    }
}
