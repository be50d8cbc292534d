//! The water of a year, in all and by basin.

use std::collections::BTreeMap;

use super::account::{BasinYear, Water};
use super::draw::round;
use super::read::Rows;
use crate::ledger::{DoseRecord, StoredService};
use crate::model::{Id, Subject, System};

/// What went through the system, and what of it came to each basin.
pub(super) fn of(system: &System, rows: &Rows) -> (Water, Vec<BasinYear>) {
    let mut water = Water { doses: rows.doses.len(), ..Water::default() };
    let mut litres: BTreeMap<&Id, f64> = BTreeMap::new();
    for dose in &rows.doses {
        let Some(volume) = dose.litres else { continue };
        water.metered_doses += 1;
        water.litres += volume;
        if !is_whole(dose, system) {
            water.unattributed_litres += volume;
            continue;
        }
        for (basin, share) in &dose.shares {
            *litres.entry(basin).or_default() += volume * share;
        }
    }
    let dry: Vec<&DoseRecord> =
        rows.doses.iter().filter(|dose| dose.quality > 0.0 && is_whole(dose, system)).collect();
    let basins = system.basin_ixs().map(|ix| {
        let basin = system.basin(ix);
        let shares: Vec<f64> = dry.iter().filter_map(|dose| dose.shares.get(&basin.id).copied()).collect();
        let here = |service: &&StoredService| {
            matches!(&service.record.subject, Subject::Basin(id) if *id == basin.id)
        };
        BasinYear {
            id: basin.id.to_string(),
            label: basin.label().to_owned(),
            litres: litres.get(&basin.id).map(|litres| round(*litres, 1)),
            share: (!shares.is_empty())
                .then(|| round(shares.iter().sum::<f64>() / shares.len() as f64, 4)),
            design_share: round(system.tree().design_share(ix), 4),
            services: rows.services.iter().filter(here).count(),
        }
    });
    let basins = basins.collect();
    water.litres = round(water.litres, 1);
    water.unattributed_litres = round(water.unattributed_litres, 1);
    (water, basins)
}

/// Whether it is known what every basin got of a dose.
fn is_whole(dose: &DoseRecord, system: &System) -> bool {
    system.basins.iter().all(|basin| dose.shares.contains_key(&basin.id))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::year::samples::{at, empty, year_of};

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
        assert_eq!(year.basins[0].litres, Some(30.0));
        assert_eq!(year.basins[0].share, Some(0.4), "rain-touched doses do not count for shares");
        let says = year.deviations.join(" ");
        assert!(says.contains("57 L of 157 L could not be attributed"), "{says}");
        assert!(says.contains("volume of 1 of 4 doses is not known"), "{says}");
    }
}
