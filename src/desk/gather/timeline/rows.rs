//! What happened, sorted into steps of time.

use crate::desk::sheet::{BasinCell, TimeRow};
use crate::ledger::{Bin, DoseRecord};
use crate::model::{EventTime, Id, Span, System};

use super::TimelineRecord;

/// Steps between `edges` with what `record` tells of them; words are left empty.
pub(super) fn rows(system: &System, record: &TimelineRecord, edges: &[EventTime]) -> Vec<TimeRow> {
    let mut rows: Vec<TimeRow> = edges
        .windows(2)
        .map(|edge| TimeRow {
            from: edge[0],
            to: edge[1],
            words: String::new(),
            basins: vec![BasinCell::default(); record.basins.len()],
            doses: 0,
            litres: None,
            rain_mm: None,
        })
        .collect();
    moisture(record, edges, &mut rows);
    standing(system, record, &mut rows);
    doses(system, record, edges, &mut rows);
    rain(system, record, edges, &mut rows);
    rows
}

/// The step that `at` falls into.
fn step_of(edges: &[EventTime], at: EventTime) -> Option<usize> {
    let after = edges.partition_point(|edge| *edge <= at);
    (after > 0 && after < edges.len()).then(|| after - 1)
}

fn moisture(record: &TimelineRecord, edges: &[EventTime], rows: &mut [TimeRow]) {
    let half = record.bin_width.scaled(0.5);
    for (basin, bins) in record.moisture.iter().enumerate() {
        let mut counts = vec![0.0; rows.len()];
        for bin in bins {
            let Some(step) = step_of(edges, bin.at + half) else { continue };
            let cell = &mut rows[step].basins[basin].moisture;
            let (low, mean, high) = cell.unwrap_or((f64::INFINITY, 0.0, f64::NEG_INFINITY));
            let count = bin.count as f64;
            counts[step] += count;
            let mean = mean + (bin.mean - mean) * count / counts[step];
            *cell = Some((low.min(bin.min), mean, high.max(bin.max)));
        }
    }
}

fn standing(system: &System, record: &TimelineRecord, rows: &mut [TimeRow]) {
    for (basin, &ix) in record.basins.iter().enumerate() {
        for (began, ended) in record.closures(system, ix) {
            let first = rows.partition_point(|row| row.to <= began);
            for row in rows[first..].iter_mut().take_while(|row| row.from < ended) {
                let within = ended.min(row.to) - began.max(row.from);
                row.basins[basin].standing += within;
            }
        }
    }
}

fn doses(system: &System, record: &TimelineRecord, edges: &[EventTime], rows: &mut [TimeRow]) {
    for dose in &record.doses {
        let Some(row) = step_of(edges, dose.at).map(|step| &mut rows[step]) else { continue };
        // Litres of only some of the doses would read as those of all.
        row.litres = match (row.doses, row.litres, dose.litres) {
            (0, _, litres) => litres,
            (_, Some(sum), Some(litres)) => Some(sum + litres),
            (_, None, _) | (_, _, None) => None,
        };
        for (cell, &ix) in row.basins.iter_mut().zip(&record.basins) {
            let received = received_l(system, dose, &system.basin(ix).id);
            cell.received_l = match (row.doses, cell.received_l, received) {
                (0, _, received) => received,
                (_, Some(sum), Some(litres)) => Some(sum + litres),
                (_, None, _) | (_, _, None) => None,
            };
        }
        row.doses += 1;
    }
}

/// Litres of a dose that a basin received, where its litres and this basin's share are known.
///
/// Shares sum to 1 over the basins whose sensors could tell; the others are taken to have received what the
/// design gives them.
pub(super) fn received_l(system: &System, dose: &DoseRecord, basin: &Id) -> Option<f64> {
    Some(dose.litres? * share_of(system, dose, basin)?)
}

/// The part of a dose that a basin received, of all of it.
pub(in crate::desk::gather) fn share_of(system: &System, dose: &DoseRecord, basin: &Id) -> Option<f64> {
    let told = dose.shares.get(basin)?;
    let known: f64 = system
        .basin_ixs()
        .filter(|ix| dose.shares.contains_key(&system.basin(*ix).id))
        .map(|ix| system.tree().design_share(ix))
        .sum();
    Some(told * known)
}

fn rain(system: &System, record: &TimelineRecord, edges: &[EventTime], rows: &mut [TimeRow]) {
    let Some(gauge) = &record.rain else { return };
    let mm_per_count = system.rain_mm_per_count.unwrap_or(1.0);
    for bin in gauge {
        if let Some(step) = step_of(edges, bin.at + record.bin_width.scaled(0.5)) {
            rows[step].rain_mm.get_or_insert(0.0);
        }
    }
    for (at, counts) in increments(gauge) {
        if let Some(step) = step_of(edges, at + record.bin_width.scaled(0.5)) {
            *rows[step].rain_mm.get_or_insert(0.0) += counts * mm_per_count;
        }
    }
}

/// What a cumulative counter gained, by bin. A count below the one before is a counter that began anew.
pub(super) fn increments(bins: &[Bin]) -> impl Iterator<Item = (EventTime, f64)> {
    bins.windows(2).map(|pair| {
        let gained = pair[1].max - pair[0].max;
        (pair[1].at, if gained < 0.0 { pair[1].max } else { gained })
    })
}

impl TimelineRecord {
    /// Times of standing water in a basin, from when to when.
    pub(super) fn closures(
        &self,
        system: &System,
        basin: crate::model::BasinIx,
    ) -> impl Iterator<Item = (EventTime, EventTime)> {
        let id = &system.basin(basin).id;
        let over = self.soaks.iter().filter(move |soak| soak.basin == *id);
        let now = self.now;
        let on =
            self.standing.iter().filter(move |(ix, _)| *ix == basin).map(move |(_, since)| (*since, now));
        over.map(|soak| (soak.began, soak.began + soak.lasted))
            .chain(on)
            .filter(|(began, ended)| *ended > *began && *ended - *began > Span::ZERO)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples::{self, dose};
    use crate::model::BasinIx;

    fn at(text: &str) -> EventTime {
        text.parse().unwrap()
    }

    fn record(system: &System) -> TimelineRecord {
        TimelineRecord { basins: system.basin_ixs().collect(), ..TimelineRecord::default() }
    }

    #[test]
    fn litres_are_those_of_the_basin_and_missing_ones_are_not_guessed() {
        let system = samples::terrace();
        let mut record = record(&system);
        record.doses = vec![
            dose(&system, "2026-03-01T08:10:00Z", Some(100.0), &[0.4, 0.1, 0.25, 0.25]),
            dose(&system, "2026-03-01T08:40:00Z", Some(50.0), &[0.5, 0.5]),
            dose(&system, "2026-03-01T09:40:00Z", None, &[0.25, 0.25, 0.25, 0.25]),
        ];
        let edges = [at("2026-03-01T08:00:00Z"), at("2026-03-01T09:00:00Z"), at("2026-03-01T10:00:00Z")];
        let rows = rows(&system, &record, &edges);
        assert_eq!((rows[0].doses, rows[0].litres), (2, Some(150.0)));
        // Two basins told their shares; by design those two get half of it all.
        assert_eq!(rows[0].basins[0].received_l, Some(40.0 + 50.0 * 0.5 * 0.5));
        assert_eq!(rows[0].basins[3].received_l, None);
        assert_eq!((rows[1].doses, rows[1].litres), (1, None));
    }

    #[test]
    fn standing_water_is_cut_at_the_edges_of_a_step() {
        let system = samples::terrace();
        let mut record = record(&system);
        record.now = at("2026-03-01T09:30:00Z");
        record.standing = vec![(BasinIx(1), at("2026-03-01T08:45:00Z"))];
        let edges = [at("2026-03-01T08:00:00Z"), at("2026-03-01T09:00:00Z"), at("2026-03-01T10:00:00Z")];
        let rows = rows(&system, &record, &edges);
        assert_eq!(rows[0].basins[1].standing, Span::from_mins(15));
        assert_eq!(rows[1].basins[1].standing, Span::from_mins(30));
    }

    #[test]
    fn a_counter_that_begins_anew_loses_nothing() {
        let bin = |hour: i64, max| Bin {
            at: EventTime::from_secs(hour * 3600),
            min: 0.0,
            mean: 0.0,
            max,
            count: 1,
        };
        let gained: Vec<f64> = increments(&[bin(0, 5.0), bin(1, 7.0), bin(2, 1.0)]).map(|(_, n)| n).collect();
        assert_eq!(gained, [2.0, 1.0]);
    }
}
