//! The past as it was, beside calendars.

use std::sync::Arc;

use axum::extract::State;
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};

use crate::desk::answer::html;
use crate::desk::assets;
use crate::desk::office::Office;
use crate::desk::pages::{Page, layout_with};
use crate::desk::people::Visitor;
use crate::desk::problem::Problem;
use crate::desk::sheet::Chrome;
use crate::desk::visit::ask;
use crate::desk::words;
use crate::schedule::compared;
use crate::upkeep::{CALENDARS, Comparison, Side, Way};

/// How far back, days.
const DAYS: i64 = 365;
/// Systems whose past is read for one request; the command has no such bound.
const MOST: usize = 100;

/// `GET /visits/compared`
pub(super) async fn page(visitor: Visitor, State(office): State<Arc<Office>>) -> Response {
    let (systems, now) = (office.systems(&visitor), office.now());
    let chrome = office.chrome(&visitor, 0);
    if systems.len() > MOST {
        return html(laid_out(&chrome, "The past", &too_many(systems.len())));
    }
    let ways = [Way::AsItWas, CALENDARS[0], CALENDARS[1]];
    match ask(&office, move |view| compared(view, &systems, (now, DAYS), &ways)).await {
        Ok(told) => html(laid_out(&chrome, &span_words(told.days), &main(&told))),
        Err(fault) => Problem::from(fault).into_response(),
    }
}

/// The time that is compared: all of a year, or as many days as are recorded.
fn span_words(days: i64) -> String {
    match days {
        DAYS => "The last year".to_owned(),
        1 => "The last day".to_owned(),
        days => format!("The last {days} days"),
    }
}

fn laid_out(chrome: &Chrome, span: &str, main: &Markup) -> String {
    let page = Page { title: "Beside a calendar", here: "/visits/compared", fragment: "", live: false };
    let main = html! {
        p class="trail" { a href="/visits" { "Visits" } }
        h1 { (span) " beside a calendar" }
        (main)
    };
    layout_with(chrome, &page, &[&assets::UPKEEP_STYLE], &main).into_string()
}

fn too_many(systems: usize) -> Markup {
    html! {
        p { "The past of " (systems) " systems is too much to play through for one page. On the machine itself, " code { "basinward visits --compare" } " does it." }
    }
}

fn main(told: &Comparison<'_>) -> Markup {
    html! {
        p {
            (told.systems) " systems at " (told.properties) " properties, with " (told.faults)
            " faults in the last " (told.days) " days"
            @if told.days < DAYS { ", which is all that is recorded" }
            "."
            @match told.left_out {
                0 => {}
                1 => " One system that came later is left out."
                later => { " " (words::capitalised(&words::count(later))) " systems that came later are left out." }
            }
        }
        div class="scroll" tabindex="0" role="region" aria-label="Visits and faults, by way of looking after" {
            table {
                thead { tr {
                    th scope="col" { "Looked after" }
                    th scope="col" class="number" { "Visits" }
                    th scope="col" class="number" { "Of these, called" }
                    th scope="col" class="number" { "Faults stood" }
                    th scope="col" class="number" { "Of these, floods" }
                } }
                tbody {
                    @for side in &told.sides { (row(side, false)) }
                    @if let Some(side) = &told.as_good { (row(side, true)) }
                }
            }
        }
        @if let Some(Side { way: Way::Calendar(every), visits, .. }) = &told.as_good {
            p {
                "To let faults stand no longer than as it was, a calendar takes a round every "
                @if *every == 1 { "day" } @else { (every) " days" } ": " (words::grouped(*visits as u64)) " visits. That is the fair comparison: "
                "rarer rounds save visits and let faults stand."
            }
        }
        p class="key" {
            "As it was: every day on which somebody wrote down work counts as a visit. The calendars are played through "
            "over the same findings: each property is visited in each round, all that is found is mended, and a "
            "household calls once its yard has stood under water for three days, which costs a visit. What was mended "
            "would have stood on without that; a basin that soaks slowly foretells a fault and is none yet; what work prevented counts for nobody. A round a year is what a water "
            "agency advises for outlets and mulch (Santa Clara Valley Water District, guidance on graywater mulch basins); "
            "a round a quarter, and who calls when, are common practice, no published source."
        }
    }
}

/// How long things stood: in hours up to two days, in days beyond, so that a flood of an afternoon is not none.
fn stood(days: f64) -> String {
    match days * 24.0 {
        hours if hours <= 0.0 => "not at all".to_owned(),
        hours if hours < 1.0 => "under 1\u{a0}h".to_owned(),
        hours if hours < 48.0 => format!("{hours:.0}\u{a0}h"),
        _ => format!("{}\u{a0}days", words::grouped(days.round() as u64)),
    }
}

fn row(side: &Side<'_>, as_good: bool) -> Markup {
    html! {
        tr {
            th scope="row" {
                @match side.way {
                    Way::AsItWas => "as it was, by the records",
                    Way::Plan(..) => "by plan",
                    Way::Calendar(365) => "by a yearly calendar",
                    Way::Calendar(91) => "by a quarterly calendar",
                    Way::Calendar(1) => "by a calendar, every day",
                    Way::Calendar(every) => { "by a calendar, every " (every) " days" }
                }
                @if as_good { ", the rarest that does as well" }
            }
            td class="number" { (side.visits) }
            td class="number" { (side.complaints) }
            td class="number" { (stood(side.fault_days)) }
            td class="number" { (stood(side.flood_days)) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flood_of_hours_is_not_told_as_none() {
        let told = [0.0, 0.02, 0.3, 1.9, 2.0, 1_234.4].map(|days| stood(days).replace('\u{a0}', " "));
        assert_eq!(told, ["not at all", "under 1 h", "7 h", "46 h", "2 days", "1 234 days"]);
    }

    #[test]
    fn the_heading_names_the_time_that_is_recorded() {
        assert_eq!(span_words(365), "The last year");
        assert_eq!(span_words(60), "The last 60 days");
        assert_eq!(span_words(1), "The last day");
    }
}
