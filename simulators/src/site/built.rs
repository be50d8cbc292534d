//! What is built where, of which soil and size.

use jiff::SignedDuration;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::Deserialize;

/// Where a branch leads: to another splitter or to a basin, by position in [`Site`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Node {
    /// Position in [`Site::splitters`].
    Splitter(usize),
    /// Position in [`Site::basins`].
    Basin(usize),
}

/// One branched drain as built.
#[derive(Debug, Clone)]
pub struct Site {
    /// Identifier of the system.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// The property it belongs to; the system's own id where none is given.
    pub property: String,
    /// Degrees north (default 36).
    pub latitude: f64,
    /// Degrees east (default 0).
    pub longitude: f64,
    /// Metres above the sea (default 100).
    pub elevation_m: f64,
    /// The zone whose clock the household lives by.
    pub timezone: TimeZone,
    /// USDA texture class of the soil below the basins.
    pub soil: Texture,
    /// People whose water comes here (default 3).
    pub people: u32,
    /// The fixtures that feed the system (default showers and laundry).
    pub fixtures: Vec<Fixture>,
    /// The water meter, where there is one.
    pub meter: Option<Meter>,
    /// Whether a diverter reports its position.
    pub has_diverter: bool,
    /// Millimetres of rain a count of the gauge, where there is one.
    pub rain_mm_per_count: Option<f64>,
    /// The splitters, in the file's order.
    pub splitters: Vec<Splitter>,
    /// The basins, in the file's order.
    pub basins: Vec<Basin>,
    /// Where the source's line leads.
    pub root: Node,
}

/// A kind of fixture that drains into the system.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fixture {
    /// Showers.
    Showers,
    /// Washing machines.
    Laundry,
    /// Hand basins.
    Basins,
    /// Bathtubs.
    Baths,
}

/// The water meter at the source.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(default)]
pub struct Meter {
    /// Litres a count (default 1).
    pub litres_per_count: f64,
    /// Whether it counts only what goes to the landscape.
    pub after_diverter: bool,
}

impl Default for Meter {
    fn default() -> Self {
        Self { litres_per_count: 1.0, after_diverter: false }
    }
}

/// A fitting that divides one line into two.
#[derive(Debug, Clone, PartialEq)]
pub struct Splitter {
    /// Identifier.
    pub id: String,
    /// Side a and side b.
    pub feeds: [Node; 2],
    /// Design shares of the two sides; they sum to 1.
    pub split: [f64; 2],
    /// Position on the site plan (m).
    pub at: Option<[f64; 2]>,
}

/// A mulch-filled hollow under an outlet.
#[derive(Debug, Clone, PartialEq)]
pub struct Basin {
    /// Identifier.
    pub id: String,
    /// Floor area (m²).
    pub area_m2: f64,
    /// Depth of the hollow from floor to rim (mm; default 300).
    pub depth_mm: f64,
    /// Depth of mulch when it was placed (mm; default two thirds of the basin's depth).
    pub mulch_depth_mm: f64,
    /// Size of the chips (default medium).
    pub chip: Chip,
    /// The day the mulch was placed; new at the start where not given.
    pub mulch_placed: Option<Date>,
    /// Free fall from the outlet to the mulch (mm; default 150).
    pub air_gap_mm: f64,
    /// Height of the float above the floor (mm; default 120), where there is one.
    pub float_height_mm: Option<f64>,
    /// Height of the overflow float above the floor (mm; default the depth less 40), where there is one.
    pub overflow_height_mm: Option<f64>,
    /// Depth of the moisture probe below the floor (mm; default 250), where there is one.
    pub moisture_depth_mm: Option<f64>,
    /// Standing water this long is a flood, where the file says so.
    pub flood_hold: Option<SignedDuration>,
    /// Position on the site plan (m).
    pub at: Option<[f64; 2]>,
}

/// Size of mulch chips. Fine chips rot faster and silt up the floor sooner.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Chip {
    /// Shredded, below about 15 mm.
    Fine,
    /// About 15 to 40 mm.
    Medium,
    /// Above about 40 mm.
    Coarse,
}

/// USDA soil texture class.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[expect(missing_docs, reason = "the names of the twelve classes say what they are")]
pub enum Texture {
    Sand,
    LoamySand,
    SandyLoam,
    Loam,
    SiltLoam,
    Silt,
    SandyClayLoam,
    ClayLoam,
    SiltyClayLoam,
    SandyClay,
    SiltyClay,
    Clay,
}

impl Site {
    /// Position of the basin called `id`.
    pub fn basin_index(&self, id: &str) -> Option<usize> {
        self.basins.iter().position(|basin| basin.id == id)
    }

    /// Position of the splitter called `id`.
    pub fn splitter_index(&self, id: &str) -> Option<usize> {
        self.splitters.iter().position(|splitter| splitter.id == id)
    }

    /// The part of a dose that each basin should receive by design.
    pub fn design_shares(&self) -> Vec<f64> {
        let mut shares = vec![0.0; self.basins.len()];
        self.spread_design(self.root, 1.0, &mut |node, share| {
            if let Node::Basin(basin) = node {
                shares[basin] = share;
            }
        });
        shares
    }

    /// Visits every node from the root with the part of the source's water that should reach it.
    pub(crate) fn spread_design(&self, node: Node, share: f64, visit: &mut dyn FnMut(Node, f64)) {
        visit(node, share);
        if let Node::Splitter(index) = node {
            let splitter = &self.splitters[index];
            for side in 0..2 {
                self.spread_design(splitter.feeds[side], share * splitter.split[side], visit);
            }
        }
    }
}
