//! The water of a year, in all and by basin.

use super::account::{BasinYear, Water};
use super::draw::round;
use super::read::Rows;
use crate::desk::gather;
use crate::ledger::StoredService;
use crate::model::{EventTime, Subject, System};

/// What went through the system, and what of it came to each basin.
pub(super) fn of(system: &System, rows: &Rows) -> (Water, Vec<BasinYear>) {
    let estimated = !system.source.is_metered();
    let mut water = Water { doses: rows.doses.len(), estimated, ..Water::default() };
    for litres in rows.doses.iter().filter_map(|dose| dose.litres) {
        water.metered_doses += 1;
        water.litres += litres;
    }
    // A record is read long after it was drawn: days are told with their year.
    let when = |at: EventTime| {
        at.timestamp().to_zoned_datetime(system.zone.clone()).strftime("%-d %b %Y").to_string()
    };
    let basins: Vec<_> = system
        .basin_ixs()
        .map(|ix| {
            let basin = system.basin(ix);
            let received = gather::of_basin(system, ix, &rows.doses);
            let here = |service: &&StoredService| {
                matches!(&service.record.subject, Subject::Basin(id) if *id == basin.id)
            };
            BasinYear {
                id: basin.id.to_string(),
                label: basin.label().to_owned(),
                litres: received.litres.map(|litres| round(litres, 1)),
                share: received.share.map(|share| round(share, 4)),
                doses: received.doses,
                silent_from: received.silent.map(|(from, _)| from),
                silent_to: received.silent.map(|(_, to)| to),
                says: gather::basis(system, ix, &received, &rows.doses, when),
                design_share: round(system.tree().design_share(ix), 4),
                services: rows.services.iter().filter(here).count(),
            }
        })
        .collect();
    let attributed: f64 = basins.iter().filter_map(|basin| basin.litres).sum();
    water.litres = round(water.litres, 1);
    // Each basin's litres are rounded by themselves.
    water.unattributed_litres = round((water.litres - attributed).max(0.0), 1);
    (water, basins)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::year::samples::{at, empty, year_of};
    use crate::ledger::DoseRecord;
    use crate::model::Id;

    fn dose(litres: Option<f64>, shares: &[(&str, f64)], quality: f64) -> DoseRecord {
        let shares = shares.iter().map(|(id, share)| (Id::new(id).unwrap(), *share)).collect();
        DoseRecord { at: at("2025-03-01T12:00:00Z"), litres, shares, quality }
    }

    #[test]
    fn every_litre_is_told_of_a_basin_or_told_to_be_unattributed() {
        let rows = Rows {
            doses: vec![
                dose(Some(100.0), &[("quince", 0.3), ("fig", 0.2), ("plum", 0.25), ("pear", 0.25)], 0.9),
                dose(Some(50.0), &[], 0.0),
                dose(None, &[("quince", 0.5), ("fig", 0.1), ("plum", 0.2), ("pear", 0.2)], 0.4),
                dose(Some(7.0), &[("quince", 1.0)], 0.2),
            ],
            ..empty()
        };
        let year = year_of(&rows);
        let told: f64 = year.basins.iter().filter_map(|basin| basin.litres).sum();
        assert!((told + year.water.unattributed_litres - year.water.litres).abs() < 1e-6, "{year:?}");
        assert_eq!((year.water.doses, year.water.metered_doses, year.water.litres), (4, 3, 157.0));
        // Of 7 L, the quarter that the design gives the one basin that was heard.
        assert_eq!((year.basins[0].litres, year.basins[0].doses), (Some(31.8), 2));
        assert_eq!(year.basins[0].share, Some(0.2967), "31.75 L of the 107 L of the same doses");
        assert_eq!(year.basins[0].says.as_deref(), Some("from 2 of 4 doses"));
        let says = year.deviations.join(" ");
        assert!(says.replace('\u{a0}', " ").contains("55 L of 157 L could not be attributed"), "{says}");
        assert!(says.contains("volume of 1 of 4 doses is not known"), "{says}");
    }
}
