//! The columns of the drawing in words, for whoever points at one.

use super::edges::columns;
use super::rows::rows;
use super::{TimelineRecord, worded};
use crate::desk::gather::volume_words;
use crate::desk::sheet::{Stretch, TimeRow};
use crate::desk::units::Units;
use crate::desk::words;
use crate::model::{Span, System};

/// One list of sentences a column; the first says when.
pub fn told(system: &System, record: &TimelineRecord, stretch: &Stretch, units: Units) -> Vec<Vec<String>> {
    let rows = worded(system, record.now, rows(system, record, &columns(stretch)));
    rows.iter().map(|row| says(system, record, row, units)).collect()
}

fn says(system: &System, record: &TimelineRecord, row: &TimeRow, units: Units) -> Vec<String> {
    let mut says = vec![row.words.clone()];
    for (cell, ix) in row.basins.iter().zip(&record.basins) {
        let moisture = cell.moisture.map(|(low, mean, high)| words::moisture_range(low, mean, high));
        let standing =
            (cell.standing > Span::ZERO).then(|| format!("water stood {}", words::span(cell.standing)));
        let parts: Vec<String> = moisture.into_iter().chain(standing).collect();
        if !parts.is_empty() {
            says.push(format!("{}: {}", system.basin(*ix).label(), parts.join(", ")));
        }
    }
    if row.doses > 0 {
        let doses =
            if row.doses == 1 { "one dose".to_owned() } else { format!("{} doses", words::count(row.doses)) };
        let litres = row
            .litres
            .map_or_else(String::new, |litres| format!(", {}", volume_words(system, litres, units)));
        says.push(format!("{}{litres}", words::capitalised(&doses)));
    }
    if let Some(mm) = row.rain_mm.filter(|mm| *mm > 0.0) {
        says.push(format!("Rain: {}", units.rain(mm)));
    }
    for finding in &record.findings {
        if finding.raised_at < row.to
            && finding.cleared_at.is_none_or(|cleared| cleared > row.from)
            && row.from <= record.now
        {
            says.push(crate::advice::headline(&finding.finding, system));
        }
    }
    says
}
