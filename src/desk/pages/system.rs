//! One system's own page.

use maud::{Markup, Render, html};

use super::basin::Leads;
use super::layout::{Page, layout_with};
use super::part::Part;
use super::{basin, finding, mark, plan, received, timeline};
use crate::desk::assets;
use crate::desk::sheet::{Chrome, PastSheet, SensorRow, SystemSheet};
use crate::desk::units::Units;
use crate::desk::upkeep::coming;
use crate::desk::words;
use crate::intake::Payload;

/// What was wrong before and lies open; what is older is folded away.
const NEWEST: usize = 5;
/// A phone shows so many sensors; a longer table is folded away there.
const FEW_SENSORS: usize = 6;

/// The page around its `main`.
pub fn system(chrome: &Chrome, sheet: &SystemSheet, units: Units) -> String {
    let query = sheet.timeline.stretch.query();
    let fragment = format!("/fragments/systems/{}?{query}", sheet.card.id);
    let here = format!("/systems/{}?{query}", sheet.card.id);
    let page = Page { title: &sheet.card.name, here: &here, fragment: &fragment, live: true };
    layout_with(chrome, &page, &[&assets::TIMELINE], &system_main(sheet, units)).into_string()
}

/// What is inside `main`.
pub fn system_main(sheet: &SystemSheet, units: Units) -> Markup {
    let part = |name: &str, content: Markup| {
        Part::new(name, |print| html! { div data-part=(name) data-print=(print) { (content) } })
    };
    html! {
        (part("heading", heading(sheet)).markup())
        (part("findings", findings(sheet)).markup())
        div class="beside" {
            (part("drain", drain(sheet, units)).markup())
            (part("timeline", timeline::timeline(&sheet.timeline, units)).markup())
        }
        (part("received", received::table(sheet.card.id.as_str(), &sheet.received, units)).markup())
        (part("coming", coming(sheet.card.id.as_str(), &sheet.coming)).markup())
        (part("sensors", sensors(sheet.card.id.as_str(), &sheet.sensors)).markup())
        (part("past", past(&sheet.past)).markup())
        (part("facts", facts(sheet)).markup())
        (part("design", design(&sheet.design)).markup())
    }
}

fn heading(sheet: &SystemSheet) -> Markup {
    html! {
        p class="trail" { a href="/" { "All systems" } " › " (sheet.property) }
        h1 { (sheet.card.name) " " (mark::urgency(sheet.card.urgency)) }
        @if let Some(says) = sheet.saved { p class="check" role="status" { b { (says) } } }
        p class="heard" {
            (sheet.today) ". "
            @match &sheet.card.last_heard {
                Some(at) => {
                    "Last heard " (mark::time(at)) "."
                    @if let Some(says) = words::partly_heard(&sheet.card) { " " (says) }
                }
                None => "Nothing has been heard from its sensors yet.",
            }
        }
        @if let Some(says) = &sheet.muted { p class="check" { (words::capitalised(says)) ". Nobody is told of anything here meanwhile." } }
        (ways(sheet.card.id.as_str(), sheet.may_change))
    }
}

/// Where to go on from a system.
fn ways(id: &str, may_change: bool) -> Markup {
    html! {
        nav class="ways" aria-label="About this system" {
            ul {
                li { a href="#received" { "What it received" } }
                li { a href={ "/systems/" (id) "/sensors" } { "Sensors" } }
                li { a href={ "/systems/" (id) "/services" } { "Service record" } }
                li { a href={ "/systems/" (id) "/tests" } { "Flow tests" } }
                li { a href={ "/systems/" (id) "/sheet" } { "Visit sheet" } }
                li { a href={ "/systems/" (id) "/mute" } { "Mute alerts" } }
                li { a href={ "/systems/" (id) "/labels" } { "Labels" } }
                li { a href={ "/systems/" (id) "/year" } { "Yearly record" } }
                @if may_change { li { a href={ "/setup/" (id) } { "Change the system" } } }
            }
        }
    }
}

fn findings(sheet: &SystemSheet) -> Markup {
    html! {
        @if sheet.card.last_heard.is_none() { (connect(sheet)) }
        @if sheet.card.last_heard.is_some() || !sheet.card.findings.is_empty() { h2 { "What is wrong" } }
        @if sheet.card.findings.is_empty() && sheet.card.last_heard.is_some() {
            p {
                "Nothing is known to be wrong"
                @if let Some((heard, all)) = sheet.card.partly_heard() { ", as far as " (words::count(heard)) " of " (words::count(all)) " sensors tell" }
                "."
            }
        }
        @for open in &sheet.card.findings { (finding::whole(open)) }
        @if !sheet.bring.is_empty() {
            details {
                summary { "What to bring for all that is due here" }
                ul { @for thing in &sheet.bring { li { (thing) } } }
                p { a class="target" href={ "/systems/" (sheet.card.id) "/sheet" } { "Visit sheet, to tick them off" } }
            }
        }
        // Where something was heard, what is wrong comes first.
        @if sheet.card.last_heard.is_some() && sheet.awaited.is_some() { (connect(sheet)) }
    }
}

/// What to do while not every sensor was heard.
fn connect(sheet: &SystemSheet) -> Markup {
    let id = sheet.card.id.as_str();
    html! {
        @match words::partly_heard(&sheet.card) {
            Some(says) => {
                h2 id="connect" { "Connect the rest of its sensors" }
                p { (says) " What the others would tell, nobody knows." }
            }
            None => {
                h2 id="connect" { "Connect its sensors" }
                p { "Nothing has been heard from this system yet, so nobody knows whether anything is wrong with it." }
            }
        }
        ol class="steps" {
            @match &sheet.awaited {
                Some(awaited) => {
                    li { "Switch its sensors on and let them send to " code { (awaited.broker) } " (the MQTT broker), with QoS 1." }
                    li {
                        "Each sensor sends under a name of its own (its topic), such as " code { (awaited.topic) }
                        ". All of them, with what was heard of each: " a class="target" href={ "/systems/" (id) "/sensors" } { "the sensors of this system and their topics" } "."
                    }
                    li { (sends(&awaited.sends)) }
                    li { "To try a message before a sensor sends it: " code { "basinward decode " (awaited.topic) } " tells what would be made of it, and why not." }
                }
                None => li { "It has no sensor yet: say which ones there are where the system is changed." }
            }
            @if sheet.may_change {
                li {
                    "A sensor whose topic cannot be chosen is listed under " a href="/heard" { "Sensor messages" } " once it was heard; "
                    a href={ "/setup/" (id) } { "change the system" } " and say which basin it belongs to."
                }
            }
            li { "Put a label at each part, which leads to its page: " a class="target" href={ "/systems/" (id) "/labels" } { "print the labels" } "." }
            li { "The first reading of each shows here by itself." }
        }
    }
}

/// What sensors may send, a line for each kind.
fn sends(kinds: &[(String, Payload)]) -> Markup {
    let longest = kinds.iter().map(|(_, sends)| &sends.examples).find(|examples| examples.len() > 1);
    html! {
        "What they send:"
        ul { @for (device, sends) in kinds {
            li { b { (device) } ": " (sends.value) @if let Some(example) = sends.examples.first() { ", such as " code { (example) } } "." }
        } }
        @if let Some([_, object, pack]) = longest.map(Vec::as_slice) {
            "A bare value will do, and so does a JSON object, such as " code { (object) } ", or SenML, such as " code { (pack) } "."
        }
    }
}

fn drain(sheet: &SystemSheet, units: Units) -> Markup {
    html! {
        h2 { "The drain" }
        @let basins = basin::drain(&sheet.card, Leads::Everything);
        @match &sheet.plan {
            Some(drawn) => { (plan::plan(drawn, units)) (folded_on_phones("Basins and readings", &basins)) }
            None => (basins),
        }
    }
}

pub(super) fn sensors(system: &str, sensors: &[SensorRow]) -> Markup {
    let doubted = sensors.iter().filter(|sensor| sensor.doubt.is_some()).count();
    html! {
        h2 id="sensors" { "Sensors" }
        @if doubted > 0 { p { (words::capitalised(&words::count(doubted))) " of " (words::count(sensors.len())) @if doubted == 1 { " is" } @else { " are" } " in doubt." } }
        @if sensors.is_empty() { p { "The system file names no sensor, and none was heard." } }
        @else {
            @let table = sensor_table(sensors);
            @if sensors.len() > FEW_SENSORS { (folded_on_phones(format!("All {} sensors", words::count(sensors.len())), &table)) } @else { (table) }
        }
        p { a class="target" href={ "/systems/" (system) "/sensors" } { "All sensors with their topics and batteries" } }
    }
}

fn sensor_table(sensors: &[SensorRow]) -> Markup {
    html! {
        div class="scroll" tabindex="0" role="region" aria-label="Sensors" {
            table {
                thead { tr { th scope="col" { "Sensor" } th scope="col" { "Name" } th scope="col" { "Last value" } th scope="col" { "Measured" } } }
                tbody {
                    @for sensor in sensors {
                        tr {
                            th scope="row" {
                                a href=(sensor.page) { (sensor.words) }
                                @if let Some((urgency, says)) = &sensor.doubt { br; span class={ "trouble " (urgency.class()) } { (words::capitalised(says)) } }
                            }
                            td { code { (sensor.name) } }
                            @match &sensor.last {
                                Some((value, at)) => { td { (value) } td { (mark::time(at)) } }
                                None => { td colspan="2" { "not heard yet" } }
                            }
                        }
                    }
                }
            }
        }
    }
}

pub(super) fn past(past: &[PastSheet]) -> Markup {
    html! {
        h2 id="past" { "What was wrong before" }
        @if past.is_empty() { p { "Nothing that is over." } }
        @else {
            @let (newest, older) = past.split_at(NEWEST.min(past.len()));
            (over(newest))
            @if !older.is_empty() { details class="table" { summary { (words::capitalised(&words::count(older.len()))) " older ones" } (over(older)) } }
        }
    }
}

fn over(past: &[PastSheet]) -> Markup {
    html! {
        ul class="past" {
            @for finding in past {
                li {
                    b { (finding.headline) }
                    " " span class="when" { (finding.raised.words) " to " (finding.cleared.words) ", " (finding.lasted) }
                }
            }
        }
    }
}

fn facts(sheet: &SystemSheet) -> Markup {
    html! {
        h2 { "The system file says" }
        (folded_on_phones("Soil, household and fixtures", &html! {
            dl class="facts" { @for (name, value) in &sheet.facts { dt { (name) } dd { (words::capitalised(value)) } } }
        }))
    }
}

fn design(sentences: &[String]) -> Markup {
    html! {
        h2 { "Against published tables" }
        (folded_on_phones("What its size and load come to", &html! {
            ul { @for sentence in sentences { li { (words::capitalised(sentence)) "." } } }
        }))
    }
}

/// What a phone folds away behind `summary`; a wider screen and paper show it.
pub(in crate::desk) fn folded_on_phones(summary: impl Render, content: &Markup) -> Markup {
    html! { details class="fold" open { summary { (summary) } (content) } }
}
