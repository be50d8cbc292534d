//! The account on paper.

use jiff::tz::TimeZone;
use maud::{Markup, html};

use super::account::{Account, TestYear};
use crate::advice::quoted;
use crate::desk::assets;
use crate::desk::flowtest::why_unmeasured;
use crate::desk::pages::{Page, layout_with};
use crate::desk::sheet::Chrome;
use crate::desk::units::Units;
use crate::desk::words;
use crate::flowtest::{Method, Verdict};
use crate::model::{EventTime, Work};

/// Accounts of one year.
#[derive(Debug)]
pub(super) struct YearSheet {
    pub(super) title: String,
    pub(super) here: String,
    pub(super) year: i16,
    /// The page about the same system, where this is of one.
    pub(super) back: Option<(String, String)>,
    /// The account of the whole property, where this one is of one system.
    pub(super) wider: Option<(String, String)>,
    /// Each with the zone that its times are told in.
    pub(super) years: Vec<(Account, TimeZone)>,
    /// Other years that may be asked for.
    pub(super) others: Vec<(i16, String)>,
    /// Now.
    pub(super) drawn: EventTime,
    pub(super) units: Units,
}

pub(super) fn page(chrome: &Chrome, sheet: &YearSheet) -> String {
    let title = format!("{}, {}", sheet.title, sheet.year);
    let is_partial = sheet.years.iter().any(|(year, _)| !year.is_over);
    let main = html! {
        p class="trail" {
            a href="/" { "All systems" }
            @if let Some((address, words)) = &sheet.back { " › " a href=(address) { (words) } }
        }
        h1 { "Yearly record " (sheet.year) @if is_partial { " so far" } ": " (sheet.title) }
        @if is_partial { p class="check" { (sheet.year) " is not over: this record tells of the year until now, and is to be drawn again once it is." } }
        @if let Some((address, words)) = &sheet.wider { p class="screen" { a class="target" href=(address) { (words) } } }
        nav class="ways" aria-label="Other years" { ul { @for (year, address) in &sheet.others { li { a href=(address) { (year) } } } } }
        @for (year, zone) in &sheet.years { (one(year, zone, (sheet.drawn, sheet.units))) }
        p class="key" { "The local plumbing and health code governs what has to be inspected and filed." }
        div class="sign-here" { p { "Date and place" } p { "Signature" } }
        p class="screen acts" { button type="button" data-prints hidden { "Print it, or save it as PDF" } a class="target" href={ (sheet.here) ".csv" } download { "As a table (CSV)" } }
    };
    let page = Page { title: &title, here: &sheet.here, fragment: "", live: false };
    layout_with(
        chrome,
        &page,
        &[&assets::FORMS, &assets::SHEET_STYLE, &assets::RECORD_STYLE, &assets::PRINTS],
        &main,
    )
    .into_string()
}

fn day(at: EventTime, zone: &TimeZone) -> String {
    at.timestamp().to_zoned_datetime(zone.clone()).strftime("%-d %b %Y").to_string()
}

fn one(year: &Account, zone: &TimeZone, (drawn, units): (EventTime, Units)) -> Markup {
    html! {
        section class="year" {
            h2 { (year.name) }
            p { (units.retold(&year.about)) }
            p class="heard" {
                (day(year.from, zone)) " to " (day(year.to, zone)) @if !year.is_over { ", not over yet" } ". Drawn on "
                (day(drawn, zone)) " from what the sensors told and people wrote down."
            }
            h3 { "What deviates" }
            @if year.deviations.is_empty() { p { "Nothing." } }
            @else { ul { @for says in &year.deviations { li { (says) } } } }
            (water(year, units))
            (findings(year, zone))
            (alerts(year, zone))
            (services(year, zone, units))
            (tests(year, zone))
            @if let Some(diverter) = &year.diverter {
                h3 { "Diverter" }
                p {
                    @match diverter.last_turn {
                        Some(at) => { "Its position changed " (times(diverter.turns)) ", last on " (day(at, zone)) ". " }
                        None => "Its position did not change. "
                    }
                    @if diverter.exercises == 0 { "Nobody wrote down that it was exercised." }
                    @else { "That it was exercised was written down " (times(diverter.exercises)) "." }
                }
            }
            h3 { "What was not heard" }
            @if year.gaps.is_empty() { p { "Every probe was heard every day." } }
            @else { ul { @for gap in &year.gaps { li { (words::capitalised(&gap.of)) ": nothing on " (gap.days) " of " (gap.out_of) " days" } } } }
        }
    }
}

pub(super) fn times(count: usize) -> String {
    match count {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        many => format!("{} times", words::count(many)),
    }
}

fn water(year: &Account, units: Units) -> Markup {
    let water = &year.water;
    html! {
        h3 { "Water" }
        p {
            (words::grouped(water.doses as u64)) " doses"
            @if water.metered_doses > 0 { ", " @if water.estimated { "about " } (units.volume_told(water.litres, water.estimated)) " in the " (words::grouped(water.metered_doses as u64)) " whose volume is known" }
            "."
        }
        div class="scroll" tabindex="0" role="region" aria-label={ "Water of " (year.name) } {
            table {
                thead { tr { th scope="col" { "Basin" } th scope="col" class="number" { "Water" } th scope="col" class="number" { "Share" } th scope="col" class="number" { "Design" } th scope="col" class="number" { "From doses" } th scope="col" class="number" { "Visited" } } }
                tbody {
                    @for basin in &year.basins {
                        tr {
                            th scope="row" { (words::capitalised(&basin.label)) @if year.shares_label(&basin.label) { " " span class="id" { (basin.id) } } }
                            td class="number" { (basin.litres.map_or_else(|| "not known".to_owned(), |litres| units.volume_told(litres, water.estimated))) }
                            td class="number" { (basin.share.map_or_else(|| "not known".to_owned(), words::percent)) }
                            td class="number" { (words::share(basin.design_share)) }
                            td class="number" { (basin.doses) " of " (water.doses) }
                            td class="number" { (basin.services) }
                        }
                    }
                }
            }
        }
    }
}

fn findings(year: &Account, zone: &TimeZone) -> Markup {
    html! {
        h3 { "What was wrong" }
        @if year.findings.is_empty() { p { "Nothing that was found." } }
        @else {
            div class="scroll" tabindex="0" role="region" aria-label={ "What was wrong at " (year.name) } {
                table class="stack" {
                    thead { tr { th scope="col" { "From" } th scope="col" { "To" } th scope="col" class="number" { "Days" } th scope="col" class="what" { "What" } } }
                    tbody {
                        @for it in &year.findings {
                            tr {
                                td class="day" { (day(it.raised_at, zone)) }
                                td class="day" { @match it.cleared_at { Some(at) => (day(at, zone)), None => "stands" } }
                                td class="number" { @if it.days < 0.05 { "under 0.1" } @else { (format!("{:.1}", it.days)) } }
                                td class="what" { (it.headline) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn alerts(year: &Account, zone: &TimeZone) -> Markup {
    html! {
        h3 { "Alerts that were closed" }
        @if year.alerts.is_empty() { p { "None." } }
        @else {
            div class="scroll" tabindex="0" role="region" aria-label={ "Alerts closed at " (year.name) } {
                table class="stack" {
                    thead { tr { th scope="col" { "Opened" } th scope="col" { "Closed" } th scope="col" { "Number" } th scope="col" class="what" { "What, and who saw to it" } } }
                    tbody {
                        @for it in &year.alerts {
                            tr {
                                td class="day" { (day(it.opened_at, zone)) }
                                td class="day" { (day(it.closed_at, zone)) }
                                td { a href={ "/alerts/" (it.alert) } { "alert " (it.alert) } }
                                td class="what" {
                                    (it.headline)
                                    @if let Some(taken) = &it.taken { "; taken on by " (taken.by) }
                                    @match (&it.closed_by, &it.reason) {
                                        (Some(by), Some(reason)) => { "; closed by " (by) ": " (reason) },
                                        _ => "; over by itself",
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn services(year: &Account, zone: &TimeZone, units: Units) -> Markup {
    let work = |names: &[String]| {
        if names.is_empty() {
            return "looked at".to_owned();
        }
        names
            .iter()
            .map(|name| Work::named(name).map_or_else(|| name.clone(), Work::words))
            .collect::<Vec<_>>()
            .join(", ")
    };
    html! {
        h3 { "What was done" }
        @if year.services.is_empty() { p { "Nothing was written down." } }
        @else {
            div class="scroll" tabindex="0" role="region" aria-label={ "What was done at " (year.name) } {
                table class="stack" {
                    thead { tr { th scope="col" { "Day" } th scope="col" { "Where" } th scope="col" class="what" { "What" } th scope="col" { "Who" } } }
                    tbody {
                        @for it in &year.services {
                            tr {
                                td class="day" { (day(it.at, zone)) }
                                td { a href={ "/services/" (it.key) } { (it.place) } }
                                td class="what" {
                                    (work(&it.work)) @if !it.note.is_empty() { ": " (it.note) }
                                    @if let Some(found) = it.mulch_found_mm {
                                        "; " (units.depth(found)) " of mulch found"
                                        @if let Some(foretold) = &it.foretold { " (" (words::percent(foretold.mulch_left)) " was thought to be left)" }
                                    }
                                    @if let Some(left) = it.mulch_left_mm { "; " (units.depth(left)) " of mulch afterwards" }
                                    @if let Some(foretold) = &it.foretold {
                                        "; without that a first flood was foretold between " (day(foretold.earliest, zone)) " and " (day(foretold.latest, zone))
                                    }
                                }
                                td { (it.by) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn tests(year: &Account, zone: &TimeZone) -> Markup {
    html! {
        h3 { "Flow tests" }
        @if year.tests.is_empty() { p { "None." } }
        @else {
            div class="scroll" tabindex="0" role="region" aria-label={ "Flow tests at " (year.name) } {
                table {
                    thead { tr { th scope="col" { "Day" } th scope="col" { "Measured by" } th scope="col" { "Result, part to side a" } th scope="col" { "Who" } } }
                    tbody { @for test in &year.tests { (test_row(test, zone)) } }
                }
            }
        }
    }
}

fn test_row(test: &TestYear, zone: &TimeZone) -> Markup {
    html! {
        tr {
            td class="day" { a href={ "/tests/" (test.key) } { (day(test.began, zone)) } }
            td { @match test.method { Method::Probes => "probes", Method::Buckets => "buckets" } }
            td {
                @for (at, split) in test.outcome.splits.iter().enumerate() {
                    @if at > 0 { "; " }
                    "splitter " (quoted(split.splitter.as_str())) " "
                    @match split.share_a { Some(share) => (words::percent(share)), None => { "not measured: " (why_unmeasured(split)) } }
                    @if let Some((low, high)) = split.interval { " (most likely between " (format!("{:.0}", low * 100.0)) " and " (words::percent(high)) ")" }
                    @match split.verdict { Verdict::Even => ", as designed", Verdict::Uneven => ", not as designed", Verdict::Unclear | Verdict::Unmeasured => ", not proved" }
                }
            }
            td { (test.by) }
        }
    }
}
