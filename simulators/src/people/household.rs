//! How a household lives: the settings of a scenario.
//!
//! REU 1999 and REU 2016 are the North American end-use studies of Mayer et al. (1999) and `DeOreo` et al. (2016).

use serde::Deserialize;

use super::habits;
use crate::fault::Moment;
use crate::site::Fixture;

/// Who lives there and how. Everything has a default, so `[household]` may be left out.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Household {
    /// People at home, if other than the system file says.
    pub people: Option<u32>,
    /// Showers a person a day. Default 0.69, the middle of 0.67 (REU 1999) and 0.72 (Blokker's Dutch
    /// end-use model).
    pub showers_per_person_day: f64,
    /// Mean length of a shower (min). Default 7.8 (REU 2016).
    pub shower_minutes: f64,
    /// Mean flow of a shower (L/min). Default 7.95, which is 2.1 US gal/min (REU 2016).
    pub shower_l_min: f64,
    /// The washing machine. Default typical.
    pub washer: Washer,
    /// Loads of washing a person a day. Default 0.3 (Blokker's Dutch end-use model: 0.27 to 0.32).
    pub loads_per_person_day: f64,
    /// Guests who stay.
    pub guests: Vec<Guests>,
    /// Times when nobody is at home.
    pub away: Vec<Absence>,
}

/// People who come to stay.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Guests {
    /// When they come.
    pub from: Moment,
    /// When they leave.
    pub until: Moment,
    /// How many they are.
    pub people: u32,
}

/// A time when nobody is at home.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Absence {
    /// When they leave.
    pub from: Moment,
    /// When they are back.
    pub until: Moment,
}

/// Kinds of washing machine. Litres a load: City of Santa Cruz handout of 2014, in US gallons.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Washer {
    /// An old top loader, 40 gal: two drains of half each.
    TopLoader,
    /// Typical in 2014, 25 gal.
    #[default]
    Typical,
    /// A front loader, 20 gal.
    FrontLoader,
    /// An efficient front loader, 15 gal.
    Efficient,
}

impl Default for Household {
    fn default() -> Self {
        Self {
            people: None,
            showers_per_person_day: 0.69,
            shower_minutes: 7.8,
            shower_l_min: 7.95,
            washer: Washer::Typical,
            loads_per_person_day: 0.3,
            guests: Vec::new(),
            away: Vec::new(),
        }
    }
}

impl Household {
    /// Litres that a person usually sends down the drain in a day, by these fixtures.
    pub fn litres_per_person_day(&self, fixtures: &[Fixture]) -> f64 {
        let of = |fixture: &Fixture| match fixture {
            Fixture::Showers => self.showers_per_person_day * self.shower_minutes * self.shower_l_min,
            Fixture::Laundry => self.loads_per_person_day * self.washer.litres(),
            Fixture::Basins => habits::BASIN_DRAWS * habits::BASIN_DRAW_MEAN_L,
            Fixture::Baths => habits::BATHS * habits::BATH_L,
        };
        fixtures.iter().map(of).sum()
    }
}

impl Washer {
    /// Mean water of a load (L).
    pub fn litres(self) -> f64 {
        let gallons = match self {
            Self::TopLoader => 40.0,
            Self::Typical => 25.0,
            Self::FrontLoader => 20.0,
            Self::Efficient => 15.0,
        };
        gallons * GALLON_L
    }

    /// The parts of its water that it drains one after the other, and the minutes between them.
    pub(crate) fn drains(self) -> (&'static [f64], f64) {
        match self {
            Self::TopLoader => (&[0.5, 0.5], 18.0),
            Self::Typical => (&[0.4, 0.3, 0.3], 14.0),
            // Intakes of 121, 60, 60 and 60 s in Blokker's Dutch end-use model.
            Self::FrontLoader | Self::Efficient => (&[0.4, 0.2, 0.2, 0.2], 12.0),
        }
    }
}

/// Litres in a US gallon.
const GALLON_L: f64 = 3.785_411_784;
