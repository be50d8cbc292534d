//! What the basins received, as a table.

use maud::{Markup, html};

use crate::desk::sheet::{Received, ReceivedSheet, ReceivedTime};
use crate::desk::units::Units;
use crate::desk::words;

/// The table of a system.
pub(super) fn table(system: &str, sheet: &ReceivedSheet, units: Units) -> Markup {
    html! {
        h2 id="received" { "What each basin received" }
        div class="scroll" tabindex="0" role="region" aria-label="What each basin received" {
            table {
                thead { tr {
                    th scope="col" { "Basin" }
                    th scope="col" class="number" { "By design" }
                    @for time in &sheet.times { th scope="col" class="number" { (words::capitalised(&time.words)) } }
                } }
                tbody {
                    @for (at, basin) in sheet.basins.iter().enumerate() {
                        tr {
                            th scope="row" { a href={ "/systems/" (system) "/basins/" (basin.id) } { (basin.label) } }
                            td class="number design" { (words::share(basin.design)) }
                            @if let Some(why) = never_told(sheet, at) { td colspan=(sheet.times.len()) { "not known: " (why) } }
                            @else { @for time in &sheet.times { td class="number" { (cell(time, &time.basins[at], units)) } } }
                        }
                    }
                }
            }
        }
        @for note in sheet.times.iter().filter_map(unmeasured) { p class="key" { (note) } }
        @if sheet.times.iter().any(is_estimate) {
            p class="key" { "Litres are estimates, reckoned by how many people use the system: no meter counts." }
        }
        p { a href={ "/systems/" (system) "/received.csv" } download { "Month by month as CSV" } }
    }
}

/// Why nothing is told of a basin at any time, where that is so for one reason.
fn never_told(sheet: &ReceivedSheet, basin: usize) -> Option<&str> {
    let mut told = sheet.times.iter().map(|time| &time.basins[basin]);
    let first = told.next()?;
    let is_same = |other: &Received| other.doses == 0 && other.says == first.says;
    first.says.as_deref().filter(|_| is_same(first) && told.all(is_same))
}

fn cell(time: &ReceivedTime, received: &Received, units: Units) -> Markup {
    // What the meter did not tell of any basin stands once below the table.
    let is_whole = received.doses + time.unmeasured >= time.doses && received.doses > 0;
    html! {
        @match (received.litres, received.share) {
            (Some(litres), Some(share)) => { b { (units.volume_told(litres, time.estimated)) } ", " (words::percent(share)) }
            (Some(litres), None) => b { (units.volume_told(litres, time.estimated)) },
            (None, Some(share)) => b { (words::percent(share)) },
            (None, None) => "not known",
        }
        @if let Some(says) = received.says.as_ref().filter(|_| !is_whole && time.doses > 0) { " " span class="basis" { (says) } }
    }
}

/// Whether litres are told that nobody counted.
fn is_estimate(time: &ReceivedTime) -> bool {
    time.estimated && time.basins.iter().any(|basin| basin.litres.is_some())
}

/// What is not in the figures of a time.
fn unmeasured(time: &ReceivedTime) -> Option<String> {
    let words = words::capitalised(&time.words);
    match (time.doses, time.unmeasured) {
        (0, _) => Some(format!("{words}: no dose was seen.")),
        _ if time.basins.iter().all(|basin| basin.doses == 0) => None,
        (_, 0) => None,
        (all, some) if all == some => {
            Some(format!("{words}: shares are of {all} doses, whose litres are not known: no meter told."))
        }
        (all, some) if time.estimated => Some(format!(
            "{words}: of {some} of {all} doses no litres can be reckoned, since it rained or too few days had been seen; they are not in these figures."
        )),
        (all, some) => Some(format!(
            "{words}: the meter told no litres for {some} of {all} doses; they are not in these figures."
        )),
    }
}
