//! Is each basin large enough for the water that its system is to carry? By published tables, for the household and
//! fixtures that the system file states.

use crate::advice::quoted;
use crate::model::{BasinIx, Soil, System};

/// Litres in a US gallon, exactly (NIST Handbook 44, appendix C).
const L_PER_GAL: f64 = 3.785_411_784;
/// Square metres in a square foot, exactly (same).
const M2_PER_FT2: f64 = 0.092_903_04;
/// Gallons a person and day from showers, bathtubs and wash basins, and from laundry: California Plumbing Code
/// 1503.8.1; the same in Los Angeles County Title 28, appendix G-6.
const WASHING_GAL: f64 = 25.0;
const LAUNDRY_GAL: f64 = 15.0;

/// Where the discharge comes from, in words.
pub(super) const DISCHARGE_SOURCE: &str = "California Plumbing Code 1503.8.1";
/// Where the loading comes from, in words.
pub(super) const LOADING_SOURCE: &str = "Utah R317-401-7, table 8 (2024)";

/// What the tables say of a system.
#[derive(Clone, Debug, PartialEq)]
pub struct Design {
    /// Litres a day that the household is expected to send.
    pub litres_a_day: f64,
    /// Which fixtures that counts: washing, laundry.
    pub counts: [bool; 2],
    /// The soil's row of the loading table.
    pub row: &'static str,
    /// Litres a day that a square metre of mulch basin takes in that soil.
    pub takes_l_m2: f64,
    /// Litres a day that one outlet takes in that soil.
    pub outlet_takes_l: f64,
    /// Every basin, in the file's order.
    pub basins: Vec<BasinLoad>,
}

/// What one basin is expected to receive, and what the tables allow.
#[derive(Clone, Debug, PartialEq)]
pub struct BasinLoad {
    /// The basin.
    pub basin: BasinIx,
    /// Its share of the day's water by the design of the splitters, litres.
    pub litres_a_day: f64,
    /// Its area, m².
    pub area_m2: f64,
    /// The area that the table asks for, m².
    pub needs_m2: f64,
    /// More than one outlet may carry.
    pub outlet_over: bool,
}

impl BasinLoad {
    /// Whether the basin is smaller than the table asks for.
    pub fn is_small(&self) -> bool {
        // Areas are measured with a tape: what is within a hundredth is enough.
        self.area_m2 < 0.99 * self.needs_m2
    }
}

/// Row of Utah R317-401-7, table 8, for mulch basins: its name, gallons a day and square foot, and the most gallons a
/// day of one outlet. The table knows sand, loam and clay; which texture belongs to which is ours: the class that the
/// soil is named after, so a clay loam counts as clay.
const fn row(soil: Soil) -> (&'static str, f64, f64) {
    match soil {
        Soil::Sand | Soil::LoamySand => ("sand", 5.0, 60.0),
        Soil::SandyLoam | Soil::Loam | Soil::SiltLoam | Soil::Silt => ("loam", 3.0, 40.0),
        Soil::SandyClayLoam
        | Soil::ClayLoam
        | Soil::SiltyClayLoam
        | Soil::SandyClay
        | Soil::SiltyClay
        | Soil::Clay => ("clay", 1.0, 20.0),
    }
}

/// What `fixtures` count: washing, laundry. A file that names none is taken to mean both.
fn counts(fixtures: &[String]) -> [bool; 2] {
    let laundry = |name: &String| {
        ["laundry", "washer", "washing machine"].iter().any(|it| name.to_lowercase().contains(it))
    };
    if fixtures.is_empty() {
        return [true, true];
    }
    [fixtures.iter().any(|name| !laundry(name)), fixtures.iter().any(laundry)]
}

/// Compares `system` with the tables.
pub fn design(system: &System) -> Design {
    let counts = counts(&system.source.fixtures);
    let [washing, laundry] = counts.map(f64::from);
    let gallons = f64::from(system.source.people) * (washing * WASHING_GAL + laundry * LAUNDRY_GAL);
    let (row, gal_ft2, outlet_gal) = row(system.soil);
    let takes_l_m2 = gal_ft2 * L_PER_GAL / M2_PER_FT2;
    let (litres_a_day, outlet_takes_l) = (gallons * L_PER_GAL, outlet_gal * L_PER_GAL);
    let basins = system.basin_ixs().map(|basin| {
        let litres = litres_a_day * system.tree().design_share(basin);
        BasinLoad {
            basin,
            litres_a_day: litres,
            area_m2: system.basin(basin).area_m2,
            needs_m2: litres / takes_l_m2,
            outlet_over: litres > 1.001 * outlet_takes_l,
        }
    });
    Design { litres_a_day, counts, row, takes_l_m2, outlet_takes_l, basins: basins.collect() }
}

/// The comparison in sentences: what is expected, what each basin that is too small lacks, and who governs.
pub fn design_words(system: &System, design: &Design) -> Vec<String> {
    let people = match system.source.people {
        1 => "1 person".to_owned(),
        people => format!("{people} people"),
    };
    let soil = system.soil.name().replace('-', " ");
    let soil = if soil == design.row {
        soil
    } else {
        format!("{soil} (the nearest class of the table is {})", design.row)
    };
    let fixtures = fixtures_words(&system.source.fixtures);
    let mut words = vec![format!(
        "{people} with {fixtures} send about {:.0} L a day ({DISCHARGE_SOURCE}); a mulch basin in {} takes a depth \
         of {:.0} mm a day, one outlet {:.0} L ({LOADING_SOURCE})",
        design.litres_a_day, soil, design.takes_l_m2, design.outlet_takes_l,
    )];
    for load in &design.basins {
        let name = quoted(system.basin(load.basin).id.as_str());
        if load.is_small() {
            words.push(format!(
                "basin {name} has {:.2} m² for {:.0} L a day; the table asks for {:.2} m²",
                load.area_m2, load.litres_a_day, load.needs_m2,
            ));
        }
        if load.outlet_over {
            words.push(format!(
                "the outlet at basin {name} is to carry {:.0} L a day; the table allows {:.0} L",
                load.litres_a_day, design.outlet_takes_l,
            ));
        }
    }
    if words.len() == 1 {
        words.push("every basin and outlet keeps to the tables".to_owned());
    }
    words.push("the local plumbing and health code governs".to_owned());
    words
}

/// The fixtures as the file names them, or what a file that names none is taken to mean.
fn fixtures_words(fixtures: &[String]) -> String {
    match fixtures {
        [] => "showers, wash basins and laundry".to_owned(),
        [one] => one.clone(),
        [all @ .., last] => format!("{} and {last}", all.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Utah R317-401-7, table 8 (2024): 5, 3 and 1 gal/d/ft², which is 203.73, 122.24 and 40.75 mm a day.
    #[test]
    fn loadings_are_the_published_ones() {
        for (soil, mm) in [(Soil::Sand, 203.73), (Soil::Loam, 122.24), (Soil::Clay, 40.75)] {
            let takes = row(soil).1 * L_PER_GAL / M2_PER_FT2;
            assert!((takes - mm).abs() < 0.01, "{soil:?}: {takes}");
        }
    }

    /// Worked from the California rates: 4 occupants × (25 + 15) gal = 160 gal = 605.666 L a day.
    #[test]
    fn a_household_of_four_sends_the_published_discharge() {
        let gallons = 4.0 * (WASHING_GAL + LAUNDRY_GAL);
        assert!((gallons * L_PER_GAL - 605.666).abs() < 0.001);
    }

    /// Worked from Utah's table: 240 gal a day on loam need 80 square feet, and over 8 outlets 30 gal each.
    #[test]
    fn fixtures_are_told_apart() {
        let names = |all: &[&str]| all.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>();
        assert_eq!(counts(&names(&["showers", "laundry"])), [true, true]);
        assert_eq!(counts(&names(&["washing machine"])), [false, true]);
        assert_eq!(counts(&names(&["bath tub"])), [true, false]);
        assert_eq!(counts(&[]), [true, true]);
        let words = |all: &[&str]| fixtures_words(&names(all));
        assert_eq!(words(&["showers", "laundry"]), "showers and laundry");
        assert_eq!(words(&[]), "showers, wash basins and laundry");
        let (_, gal_ft2, outlet_gal) = row(Soil::Loam);
        assert_eq!((240.0 / gal_ft2, 240.0 / 8.0 <= outlet_gal), (80.0, true));
    }
}
