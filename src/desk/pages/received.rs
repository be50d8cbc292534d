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
                            td class="number" { (words::percent(basin.design)) }
                            @for time in &sheet.times { td class="number" { (cell(&time.basins[at], units)) } }
                        }
                    }
                }
            }
        }
        @for note in sheet.times.iter().filter_map(unmeasured) { p class="key" { (note) } }
        p { a href={ "/systems/" (system) "/received.csv" } download { "Month by month as CSV" } }
    }
}

fn cell(received: &Received, units: Units) -> Markup {
    html! {
        @match received.litres {
            Some(litres) => b { (units.volume(litres)) },
            None => "not measured",
        }
        @if let Some(share) = received.share { ", " (words::percent(share)) }
    }
}

/// What is not in the figures of a time.
fn unmeasured(time: &ReceivedTime) -> Option<String> {
    let words = words::capitalised(&time.words);
    match (time.doses, time.unmeasured) {
        (0, _) => Some(format!("{words}: no dose was seen.")),
        (_, 0) => None,
        (all, some) if all == some => {
            Some(format!("{words}: shares are of {all} doses, whose litres are not known."))
        }
        (all, some) => {
            Some(format!("{words}: the litres of {some} of {all} doses are not known and not in these sums."))
        }
    }
}
