//! The course of things as a table.

use maud::{Markup, html};

use crate::desk::sheet::{BasinCell, TimeTable};
use crate::desk::units::Units;
use crate::desk::words;
use crate::model::Span;

/// The table, newest step first, since that is what people look for.
pub(super) fn table(table: &TimeTable, units: Units) -> Markup {
    html! {
        div class="scroll" tabindex="0" role="region" aria-label="What happened, as a table" {
            table class="times" {
                thead {
                    tr {
                        th scope="col" rowspan="2" { "When" }
                        @for (_, name) in &table.basins { th scope="colgroup" colspan="3" { (name) } }
                        th scope="col" rowspan="2" class="number" { "Doses" }
                        th scope="col" rowspan="2" class="number" { "Received" }
                        @if table.has_rain { th scope="col" rowspan="2" class="number" { "Rain" } }
                    }
                    tr {
                        @for _ in &table.basins {
                            th scope="col" class="number" { "Moisture" }
                            th scope="col" class="number" { "Received" }
                            th scope="col" class="number" { "Stood" }
                        }
                    }
                }
                tbody {
                    @for row in table.rows.iter().rev() {
                        tr {
                            th scope="row" { (row.words) }
                            @for cell in &row.basins { (cells(cell, table.estimated, units)) }
                            td class="number" { @if row.doses > 0 { (row.doses) } }
                            td class="number" { @if let Some(litres) = row.litres { (units.volume_told(litres, table.estimated)) } }
                            @if table.has_rain {
                                td class="number" { @if let Some(mm) = row.rain_mm.filter(|mm| *mm > 0.0) { (units.rain(mm)) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn cells(cell: &BasinCell, estimated: bool, units: Units) -> Markup {
    html! {
        td class="number" {
            @if let Some((low, _, high)) = cell.moisture {
                @let (low, high) = (words::percent(low), words::percent(high));
                @if low == high { (low) } @else { (low.trim_end_matches(['\u{a0}', '%'])) "–" (high) }
            }
        }
        td class="number" { @if let Some(litres) = cell.received_l { (units.volume_told(litres, estimated)) } }
        td class="number" { @if cell.standing > Span::ZERO { (words::span(cell.standing)) } }
    }
}
