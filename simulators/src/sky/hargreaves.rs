//! Reference evapotranspiration from a day's temperatures alone: FAO Irrigation and Drainage Paper 56 (1998).

use std::f64::consts::{PI, TAU};

/// Solar constant (MJ m⁻² min⁻¹).
const SOLAR: f64 = 0.0820;

/// Inverse relative distance from earth to sun on a day of the year (FAO-56 equation 23).
pub fn sun_distance(day_of_year: f64) -> f64 {
    1.0 + 0.033 * (TAU / 365.0 * day_of_year).cos()
}

/// Solar declination (rad) on a day of the year (FAO-56 equation 24).
pub fn declination(day_of_year: f64) -> f64 {
    0.409 * (TAU / 365.0 * day_of_year - 1.39).sin()
}

/// Sunset hour angle (rad) (FAO-56 equation 25); 0 where the sun does not rise and π where it does not set.
pub fn sunset_angle(latitude: f64, day_of_year: f64) -> f64 {
    (-latitude.to_radians().tan() * declination(day_of_year).tan()).clamp(-1.0, 1.0).acos()
}

/// Hours of daylight (FAO-56 equation 34).
pub fn daylight_h(latitude: f64, day_of_year: f64) -> f64 {
    24.0 / PI * sunset_angle(latitude, day_of_year)
}

/// Radiation above the atmosphere (MJ m⁻² d⁻¹) at a latitude in degrees (FAO-56 equation 21).
pub fn extraterrestrial_radiation(latitude: f64, day_of_year: f64) -> f64 {
    let (phi, delta) = (latitude.to_radians(), declination(day_of_year));
    let sunset = sunset_angle(latitude, day_of_year);
    let geometry = sunset * phi.sin() * delta.sin() + phi.cos() * delta.cos() * sunset.sin();
    24.0 * 60.0 / PI * SOLAR * sun_distance(day_of_year) * geometry
}

/// Reference evapotranspiration (mm/d) from extraterrestrial radiation (MJ m⁻² d⁻¹) and the day's lowest and highest
/// temperature (°C): Hargreaves (FAO-56 equation 52). Never below 0.
pub fn reference_et_mm(radiation: f64, lowest_c: f64, highest_c: f64) -> f64 {
    let mean = f64::midpoint(lowest_c, highest_c);
    let range = (highest_c - lowest_c).max(0.0);
    (0.0023 * (mean + 17.8) * range.sqrt() * 0.408 * radiation).max(0.0)
}
