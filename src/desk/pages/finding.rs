//! One open finding: short on the first page, whole on its system's page.

use maud::{Markup, html};

use super::mark;
use super::system::folded_on_phones;
use crate::advice::probability_words;
use crate::desk::sheet::{FindingSheet, Urgency};
use crate::desk::words;

/// What is wrong and since when; for what calls somebody now, how sure it is and the first thing to do as well.
pub(super) fn brief(finding: &FindingSheet, page: &str) -> Markup {
    let there = format!("{page}#{}", finding.anchor);
    if finding.urgency == Urgency::Now { urgent(finding, &there) } else { line(finding, &there) }
}

fn urgent(finding: &FindingSheet, there: &str) -> Markup {
    html! {
        li class={ "finding " (finding.urgency.class()) } {
            h4 { (mark::sign(finding.urgency)) " " (finding.headline) }
            (standing(finding))
            (gist(finding))
            (done(finding))
            p class="first" { b { "First: " } (finding.advice.first) }
            p class="more" { a href=(there) { "Why, and what to do" span class="unseen" { ": " (finding.headline) } } }
        }
    }
}

fn line(finding: &FindingSheet, there: &str) -> Markup {
    html! {
        li class={ "finding " (finding.urgency.class()) } {
            h4 { (mark::sign(finding.urgency)) " " a href=(there) { (finding.headline) } }
            p class="standing" {
                b class="word" { (words::capitalised(finding.urgency.words())) } (since(finding)) "."
                @if let Some(gist) = &finding.gist { " " (gist) }
            }
            (done(finding))
        }
    }
}

/// Since when, and when it was found where that was later.
fn since(finding: &FindingSheet) -> Markup {
    html! {
        @match &finding.began {
            Some(began) => { ", since " (mark::time(began)) ", found " (mark::time(&finding.since)) },
            None => { ", since " (mark::time(&finding.since)) },
        }
    }
}

/// What somebody did with its alert, where they did something.
fn done(finding: &FindingSheet) -> Markup {
    html! {
        @if let Some((no, stage)) = finding.alert.as_ref().and_then(|it| it.stage.as_ref().map(|stage| (it.no, stage))) {
            p class="handled" { a class="target" href={ "/alerts/" (no) } { "Alert " (no) } " " (stage) "." }
        }
    }
}

/// To its alert, with what somebody did with it, and to the page of what it is about.
fn leads(finding: &FindingSheet) -> Markup {
    html! {
        @if finding.alert.is_some() || finding.about.is_some() {
            p class="handled" {
                @if let Some(alert) = &finding.alert {
                    a class="target" href={ "/alerts/" (alert.no) } { "Alert " (alert.no) }
                    " " @match &alert.stage { Some(stage) => (stage), None => "waits for somebody" } ". "
                }
                @if let Some((page, name)) = &finding.about { a class="target" href=(page) { (words::capitalised(name)) ", with its history" } }
            }
        }
    }
}

/// Everything about it.
pub(super) fn whole(finding: &FindingSheet) -> Markup {
    html! {
        article class={ "finding " (finding.urgency.class()) } id=(finding.anchor) {
            h3 { (mark::sign(finding.urgency)) " " (finding.headline) }
            (standing(finding))
            (gist(finding))
            (leads(finding))
            p class="first" { b { "First: " } (finding.advice.first) }
            (doubt(finding))
            details open[finding.urgency == Urgency::Now] {
                summary { "Why, and what to do" span class="unseen" { ": " (finding.headline) } }
                (folded_on_phones(
                    html! { "Why: what shows it" span class="unseen" { ", " (finding.headline) } },
                    &html! { h4 { "Why" } (evidence(finding)) },
                ))
                (work(finding))
            }
        }
    }
}

/// What else it could be, and how to be sure.
pub(in crate::desk) fn doubt(finding: &FindingSheet) -> Markup {
    html! {
        @if let Some(doubt) = &finding.doubt {
            p class="check" {
                "Another explanation: " (doubt.words) " (" (words::chance(doubt.probability)) ")."
                @if let Some(check) = doubt.check { " " b { "To be sure: " } (check) }
            }
        }
    }
}

/// What to bring, what to do, and what to take care of.
pub(super) fn work(finding: &FindingSheet) -> Markup {
    html! {
        div class="columns" {
            div {
                h4 { "Do" }
                (steps(finding))
                p { b { "Mended when: " } (finding.advice.proof) }
            }
            div {
                h4 { "Bring" }
                ul { @for thing in &finding.bring { li { (thing) } } }
            }
            div class="wide cautions" {
                h4 { "Take care" }
                ul { @for caution in finding.advice.cautions { li { (caution) } } }
            }
        }
    }
}

/// How much, in bold; where water stands now is a longer sentence.
pub(in crate::desk) fn gist(finding: &FindingSheet) -> Markup {
    html! {
        @if let Some(gist) = &finding.gist {
            p { @if finding.water.is_some() { (gist) } @else { b { (gist) } } }
        }
    }
}

/// The numbered work, with what comes before anything else as number 1.
pub(in crate::desk) fn steps(finding: &FindingSheet) -> Markup {
    html! { ol class="steps" { @for step in finding.advice.steps() { li { (step) } } } }
}

/// Urgency, age and certainty on one line.
pub(in crate::desk) fn standing(finding: &FindingSheet) -> Markup {
    html! {
        p class="standing" {
            b class="word" { (words::capitalised(finding.urgency.words())) }
            (since(finding)) ". "
            (words::capitalised(probability_words(finding.probability)))
            " (" (words::chance(finding.probability)) ")."
        }
    }
}

pub(in crate::desk) fn evidence(finding: &FindingSheet) -> Markup {
    html! {
        ul {
            @for (at, says) in &finding.evidence {
                li { (says) @if let Some(at) = at { " " span class="when" { (mark::time(at)) } } }
            }
            @for (name, value) in &finding.estimates { li class="estimate" { (words::capitalised(name)) ": " b { (value) } } }
        }
    }
}
