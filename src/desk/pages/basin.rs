//! One basin: the pipes that lead to it in the margin, the basin itself drawn in section, and its
//! last readings.
//!
//! Every row draws its own stretch of pipe. Across it measures pixels, down it stretches with the
//! row; the run to the outlet lies [`RUN_Y`] below the row's top.

use maud::{Markup, html};

use super::mark;
use crate::desk::sheet::{BasinSheet, FloatSheet, PipeRow, SoilWater, SystemCard};
use crate::desk::words;
use crate::model::{Course, Quantity};

/// Width of a column of pipes, px.
const COLUMN: usize = 26;
/// Distance of the horizontal run from the row's top, px.
const RUN_Y: usize = 22;

/// Which parts of a drawn drain lead to their pages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Leads {
    /// Basins.
    Basins,
    /// Basins and their sensors.
    Everything,
}

/// The whole drain: where the water comes from, then one row a basin.
pub(super) fn drain(card: &SystemCard, leads: Leads) -> Markup {
    html! {
        ul class="drain" {
            li class="inlet" { (inlet(card)) }
            @for basin in &card.basins { li class="basin" { (row(basin, card, leads)) } }
        }
    }
}

fn inlet(card: &SystemCard) -> Markup {
    html! {
        svg class="pipes" width=(COLUMN) height="100%" aria-hidden="true" {
            line x1=(COLUMN / 2) y1="4" x2=(COLUMN / 2) y2="100%" {}
            circle cx=(COLUMN / 2) cy="6" r="4" {}
        }
        p {
            "From the house"
            @match &card.diverter {
                Some((Course::Landscape, at)) => { ", diverter at " b { "landscape" } ", " (mark::time(at)) }
                Some((Course::Sewer, at)) => {
                    ", diverter at " b { "sewer" } ", " (mark::time(at)) ": the basins get no water"
                }
                None if card.has_diverter => { ", diverter not heard yet" }
                None => {}
            }
        }
    }
}

fn row(basin: &BasinSheet, card: &SystemCard, leads: Leads) -> Markup {
    let system = card.id.as_str();
    html! {
        (pipes(&basin.pipes))
        (bowl(basin))
        div class="says" {
            p class="name" {
                b { a href={ "/systems/" (system) "/basins/" (basin.id) } { (basin.label) @if leads == Leads::Basins { span class="unseen" { ", " (card.name) } } } }
                @if words::adds(&basin.id, &basin.label) { " " span class="id" { (basin.id) } }
                " " span class="share" { "should get " (words::share(basin.share)) }
            }
            @if let Some((urgency, words)) = basin.trouble {
                p class={ "trouble " (urgency.class()) } { (mark::sign(urgency)) " " (words) }
            }
            (readings(basin, (leads == Leads::Everything).then_some(system)))
        }
    }
}

/// The basin alone, without the pipes beside it.
pub(super) fn one(basin: &BasinSheet, system: &str) -> Markup {
    html! { (bowl(basin)) div class="says" { p { "should get " (words::share(basin.share)) " of the water" } (readings(basin, Some(system))) } }
}

/// Readings in words; each leads to its sensor where the `system` is told.
fn readings(basin: &BasinSheet, system: Option<&str>) -> Markup {
    let name = |words: &str, quantity: Quantity| {
        html! {
            @if let Some(system) = system {
                a href={ "/systems/" (system) "/sensors/" (basin.id) "/" (quantity.name()) } {
                    (words) span class="unseen" { " of " (basin.label) }
                }
            } @else { (words) }
        }
    };
    html! {
        p class="reading" {
            @match &basin.soil {
                Some(soil) => { (name("soil", Quantity::Moisture)) (soil_words(soil)) }
                None if basin.has_probe => { (name("soil", Quantity::Moisture)) ": not heard yet" }
                None => { "no moisture probe" }
            }
        }
        @if let Some(float) = &basin.float { (float_words(&name("float", Quantity::Float), float)) }
        @if let Some(overflow) = &basin.overflow { (float_words(&name("overflow float", Quantity::Overflow), overflow)) }
    }
}

fn soil_words(soil: &SoilWater) -> Markup {
    html! {
        " " b { (words::percent(soil.content)) " water" } ", " (soil.band.words())
        " " span class="when" { (mark::time(&soil.read)) @if soil.old { ", old" } }
    }
}

fn float_words(name: &Markup, float: &FloatSheet) -> Markup {
    html! {
        p class="reading" {
            (name) " "
            @match float {
                FloatSheet::Unheard => "not heard yet",
                FloatSheet::Read { wet, read, old } => {
                    b class=[wet.then_some("wet")] { @if *wet { "wet" } @else { "dry" } }
                    " " span class="when" { (mark::time(read)) @if *old { ", old" } }
                }
            }
        }
    }
}

fn pipes(row: &PipeRow) -> Markup {
    let x = |column: usize| column * COLUMN + COLUMN / 2;
    let width = row.columns * COLUMN;
    html! {
        svg class="pipes" width=(width) height="100%" aria-hidden="true" {
            @for &column in &row.through { line x1=(x(column)) y1="0" x2=(x(column)) y2="100%" {} }
            line x1=(x(row.enters)) y1="0" x2=(x(row.enters)) y2=(RUN_Y) {}
            line x1=(x(row.enters)) y1=(RUN_Y) x2=(width) y2=(RUN_Y) {}
            @for splitter in &row.splitters {
                line x1=(x(splitter.column)) y1=(RUN_Y) x2=(x(splitter.column)) y2="100%" {}
            }
            @for splitter in &row.splitters {
                @let (cx, reach) = (x(splitter.column), if splitter.trouble { 10 } else { 7 });
                path class=[splitter.trouble.then_some("trouble")]
                    d={ "M" (cx - reach) " " (RUN_Y) "L" (cx) " " (RUN_Y - reach) "L" (cx + reach) " " (RUN_Y)
                        "L" (cx) " " (RUN_Y + reach) "Z" } {}
                @if splitter.trouble {
                    path class="cut" d={ "M" (cx) " " (RUN_Y - 5) "v5M" (cx) " " (RUN_Y + 3) "v2" } {}
                }
            }
        }
    }
}

/// Floor and rim of the drawn basin, y.
const FLOOR_Y: f64 = 66.0;
const RIM_Y: f64 = 38.0;

fn bowl(basin: &BasinSheet) -> Markup {
    html! {
        svg class="bowl" viewBox="0 0 96 82" width="96" height="82" aria-hidden="true" {
            path class="pipe" d="M0 22H42Q48 22 48 28V30" {}
            use href="#chips" {}
            @if let Some(level) = basin.water_level {
                @let y = format!("{:.1}", FLOOR_Y - level * (FLOOR_Y - RIM_Y));
                rect class="water" x="0" y=(y) width="96" height="40" clip-path="url(#hollow)" {}
                path class="wave" d={ "M16 " (y) "q8-4 16 0t16 0 16 0 16 0" } clip-path="url(#hollow)" {}
            }
            use href="#bowl" {}
            @match &basin.soil {
                Some(soil) => use href={ "#soil-" (soil.band.words()) } {},
                None => use href="#soil-unknown" {},
            }
        }
    }
}

/// Shapes that every drawn basin uses, once a page.
pub(super) fn shapes() -> Markup {
    html! {
        svg class="shapes" width="0" height="0" aria-hidden="true" focusable="false" {
            defs {
                clipPath id="hollow" { path d="M10 38C16 38 17 66 30 66H66C79 66 80 38 86 38Z" {} }
                g id="bowl" class="ground" { path d="M2 38H10C16 38 17 66 30 66H66C79 66 80 38 86 38H94" {} }
                g id="chips" class="chips" {
                    path d="M24 50l6 3M34 56l7-2M46 51l6 3M58 57l7-3M68 50l5 3M30 61l6 1M44 61l6-1M57 62l6 0M38 48l5-2M60 48l5-2" {}
                }
                g id="soil-unknown" class="soil" { path class="edge" stroke-dasharray="2 4" d="M20 70H76V80H20Z" {} }
                g id="soil-dry" class="soil" { path class="edge" d="M20 70H76V80H20Z" {} path d="M30 76h1M48 74h1M66 76h1" {} }
                g id="soil-moist" class="soil" {
                    path class="edge" d="M20 70H76V80H20Z" {}
                    path d="M26 80l10-10M40 80l10-10M54 80l10-10M68 80l8-8" {}
                }
                g id="soil-wet" class="soil" {
                    path class="edge" d="M20 70H76V80H20Z" {}
                    path d="M20 77l7-7M24 80l10-10M31 80l10-10M38 80l10-10M45 80l10-10M52 80l10-10M59 80l10-10M66 80l10-10M73 80l3-3" {}
                }
                g id="soil-soaked" class="soil" {
                    path class="edge full" d="M20 70H76V80H20Z" {}
                    path class="cut" d="M24 75q4-3 8 0t8 0 8 0 8 0 8 0 8 0" {}
                }
            }
        }
    }
}
