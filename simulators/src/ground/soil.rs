//! What water does in each soil class, and in the soil of one basin.

use crate::rng::Rng;
use crate::site::Texture;

/// Published hydraulic properties of a texture class.
///
/// Porosity, effective porosity, suction and conductivity: Rawls, Brakensiek and Miller (1983), J. Hydraul. Eng.
/// 109:62-70. Pore-size index: Rawls et al. (1992), Handbook of Hydrology. Field capacity and wilting point: EPA
/// SWMM 5 user's manual, appendix A.2. Effective porosity and conductivity in cm/h are quoted from memory; they
/// agree with the manual's in/h column to rounding, but for sand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hydraulics {
    /// Pore volume (m³/m³).
    pub porosity: f64,
    /// Porosity less the residual water that never drains (m³/m³).
    pub effective_porosity: f64,
    /// Suction at a wetting front (mm).
    pub suction_mm: f64,
    /// Green-Ampt hydraulic conductivity (mm/h).
    pub conductivity_mm_h: f64,
    /// Pore-size distribution index of Brooks and Corey.
    pub pore_size_index: f64,
    /// Water content after drainage (m³/m³).
    pub field_capacity: f64,
    /// Water content at which plants wilt (m³/m³).
    pub wilting_point: f64,
}

impl Texture {
    /// The published properties of the class. The tables have no row for silt; silt loam, its neighbour in the
    /// texture triangle, stands in.
    pub fn hydraulics(self) -> Hydraulics {
        let [
            porosity,
            effective_porosity,
            suction_cm,
            k_cm_h,
            pore_size_index,
            field_capacity,
            wilting_point,
        ] = match self {
            Self::Sand => [0.437, 0.417, 4.95, 11.78, 0.694, 0.062, 0.024],
            Self::LoamySand => [0.437, 0.401, 6.13, 2.99, 0.553, 0.105, 0.047],
            Self::SandyLoam => [0.453, 0.412, 11.01, 1.09, 0.378, 0.190, 0.085],
            Self::Loam => [0.463, 0.434, 8.89, 0.34, 0.252, 0.232, 0.116],
            Self::SiltLoam | Self::Silt => [0.501, 0.486, 16.68, 0.65, 0.234, 0.284, 0.135],
            Self::SandyClayLoam => [0.398, 0.330, 21.85, 0.15, 0.319, 0.244, 0.136],
            Self::ClayLoam => [0.464, 0.309, 20.88, 0.10, 0.242, 0.310, 0.187],
            Self::SiltyClayLoam => [0.471, 0.432, 27.30, 0.10, 0.177, 0.342, 0.210],
            Self::SandyClay => [0.430, 0.321, 23.90, 0.06, 0.223, 0.321, 0.221],
            Self::SiltyClay => [0.479, 0.423, 29.22, 0.05, 0.150, 0.371, 0.251],
            Self::Clay => [0.475, 0.385, 31.63, 0.03, 0.165, 0.378, 0.265],
        };
        Hydraulics {
            porosity,
            effective_porosity,
            suction_mm: 10.0 * suction_cm,
            conductivity_mm_h: 10.0 * k_cm_h,
            pore_size_index,
            field_capacity,
            wilting_point,
        }
    }
}

/// The soil under one basin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Soil {
    /// Water content at saturation (m³/m³).
    pub saturated: f64,
    /// Water content that never drains (m³/m³).
    pub residual: f64,
    /// Suction at a wetting front (mm).
    pub suction_mm: f64,
    /// Hydraulic conductivity at saturation and 20 °C (mm/h).
    pub conductivity_mm_h: f64,
    /// Exponent of the relative conductivity: K/Ks = Se^n with n = 3 + 2/λ (Brooks and Corey 1964).
    pub exponent: f64,
    /// Water content after drainage (m³/m³).
    pub field_capacity: f64,
    /// Water content at which plants wilt (m³/m³).
    pub wilting_point: f64,
    /// The part of what a ponded floor takes in that runs past the wetting front in root and worm channels.
    pub bypass: f64,
}

/// Conductivity of root and worm channels under mulch (mm/h). It lets clay take the 41 mm a day that Utah
/// R317-401-7 allows on mulch basins in clay, which the texture alone would not.
const CHANNELS_MM_H: f64 = 3.0;

/// Standard deviation of the logarithm of conductivity from basin to basin in one garden. Published values for small
/// samples in one field run from about 0.3 to above 1; a square metre averages over much of that (from memory).
const CONDUCTIVITY_LOG_SD: f64 = 0.25;

/// The usual part of a ponded floor's intake that runs down channels. Published shares of preferential flow in rooted
/// soil run from about a tenth to two thirds; from memory.
const BYPASS: f64 = 0.4;

impl Soil {
    /// A typical soil of the class, as found under a planted, mulched basin.
    ///
    /// Green-Ampt K is half the saturated conductivity where air is trapped (Bouwer 1966); under a basin that is
    /// wetted every day little is, so twice the table's K is taken, and the channels' share added.
    pub fn typical(texture: Texture) -> Self {
        let table = texture.hydraulics();
        Self {
            saturated: table.porosity,
            residual: table.porosity - table.effective_porosity,
            suction_mm: table.suction_mm,
            conductivity_mm_h: 2.0 * table.conductivity_mm_h + CHANNELS_MM_H,
            exponent: 3.0 + 2.0 / table.pore_size_index,
            field_capacity: table.field_capacity,
            wilting_point: table.wilting_point,
            bypass: BYPASS,
        }
    }

    /// The soil of one basin: typical, but for the scatter within a garden.
    pub fn drawn(texture: Texture, rng: &mut Rng) -> Self {
        let typical = Self::typical(texture);
        let looser = 1.0 + 0.03 * rng.normal().clamp(-2.0, 2.0);
        Self {
            saturated: typical.saturated * looser,
            suction_mm: rng.lognormal(typical.suction_mm, 0.15),
            conductivity_mm_h: rng.lognormal(typical.conductivity_mm_h, CONDUCTIVITY_LOG_SD),
            bypass: rng.lognormal(BYPASS, 0.2).min(0.7),
            ..typical
        }
    }

    /// Effective saturation, 0 to 1, at a water content.
    pub fn saturation(&self, content: f64) -> f64 {
        ((content - self.residual) / (self.saturated - self.residual)).clamp(0.0, 1.0)
    }
}

/// How much more easily water of this temperature flows than at 20 °C: the ratio of viscosities, by Vogel's formula
/// for water, µ ∝ 10^(247.8/(T-140)) with T in kelvin (from memory).
pub fn relative_fluidity(celsius: f64) -> f64 {
    let power = |celsius: f64| 247.8 / (celsius.max(0.0) + 273.15 - 140.0);
    10.0_f64.powf(power(20.0) - power(celsius))
}
