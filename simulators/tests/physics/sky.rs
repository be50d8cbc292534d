//! Sun, evapotranspiration and weather.

use simulators::sky::hargreaves::{
    daylight_h, declination, extraterrestrial_radiation, reference_et_mm, sun_distance, sunset_angle,
};
use simulators::sky::{Climate, Rain, Weather};

fn close(value: f64, published: f64, within: f64) {
    assert!((value - published).abs() <= within, "{value} is not within {within} of {published}");
}

#[test]
fn the_sun_stands_where_fao_56_puts_it() {
    // FAO-56 examples 8 and 9: latitude 20° S, 3 September (day 246).
    close(sun_distance(246.0), 0.985, 0.0005);
    close(declination(246.0), 0.120, 0.0005);
    close(sunset_angle(-20.0, 246.0), 1.527, 0.0005);
    close(extraterrestrial_radiation(-20.0, 246.0), 32.2, 0.05);
    close(daylight_h(-20.0, 246.0), 11.7, 0.05);
    // Example 10: Rio de Janeiro, 22.9° S, 15 May.
    close(extraterrestrial_radiation(-22.9, 135.0), 25.1, 0.05);
}

#[test]
fn evapotranspiration_follows_the_examples() {
    // FAO-56 example 20: Lyon in July, 26.6 and 14.8 °C, 5.0 mm/d by Hargreaves (from memory).
    close(reference_et_mm(extraterrestrial_radiation(45.717, 196.0), 14.8, 26.6), 5.0, 0.05);
    // The check value in the tests of the PyETo package, which follows FAO-56 equation 52: mean 35 °C, range 10 °C.
    close(reference_et_mm(38.937_15, 30.0, 40.0), 6.1, 0.05);
    assert!(reference_et_mm(1.0, -30.0, -25.0).abs() < f64::EPSILON);
}

#[test]
fn the_polar_night_has_no_sunset() {
    assert!(daylight_h(80.0, 355.0).abs() < f64::EPSILON);
    close(daylight_h(80.0, 172.0), 24.0, 1e-9);
}

#[test]
fn a_days_evapotranspiration_is_spread_over_its_daylight() {
    let weather = Weather::new(Climate::default(), 35.7, 1);
    let day = weather.day(20_600, 150.0);
    let sum: f64 = (0..24_000).map(|i| day.reference_et_mm_h(f64::from(i) / 1000.0) / 1000.0).sum();
    close(sum / day.reference_et_mm, 1.0, 1e-3);
    assert!(day.reference_et_mm_h(2.0).abs() < f64::EPSILON);
}

#[test]
fn weather_has_the_means_of_its_climate() {
    let climate = Climate {
        mean_c: 14.0,
        rain: Rain { annual_mm: 600.0, wet_day_mm: 8.0, seasonality: 0.6, peak_day: 15.0 },
        ..Climate::default()
    };
    let weather = Weather::new(climate, 40.0, 3);
    let years = 60_i32;
    let (mut mm, mut wet, mut celsius, mut summer_mm) = (0.0, 0, 0.0, 0.0);
    for day in 0..365 * years {
        let of_year = f64::from(day % 365 + 1);
        let today = weather.day(day.into(), of_year);
        let depth: f64 = today.showers.iter().map(|shower| shower.mm).sum();
        mm += depth;
        wet += i32::from(depth > 0.0);
        celsius += today.mean_c();
        summer_mm += if (107.0..290.0).contains(&of_year) { depth } else { 0.0 };
    }
    let years = f64::from(years);
    close(mm / years, 600.0, 50.0);
    close(mm / f64::from(wet), 8.0, 0.5);
    close(celsius / years / 365.0, 14.0, 0.6);
    // With 0.6 of lean, the half year around day 15 has (1 + 2·0.6/π)/2 of the rain.
    close(summer_mm / mm, 0.31, 0.04);
}

#[test]
fn a_day_follows_from_seed_and_date_alone() {
    let weather = Weather::new(Climate::default(), 35.7, 9);
    let alone = weather.day(20_000, 100.0);
    let _ = weather.day(19_999, 99.0);
    assert_eq!(weather.day(20_000, 100.0), alone);
    // Days join at midnight without a jump.
    close(weather.day(20_000, 100.0).air_c(24.0), weather.day(20_001, 101.0).air_c(0.0), 1e-9);
}
