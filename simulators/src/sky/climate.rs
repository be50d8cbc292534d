//! What weather is usual: the settings of a scenario.

use serde::Deserialize;

/// The usual weather of a place. The default is dry and warm, with rain in winter.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Climate {
    /// Mean temperature over the year (°C; default 16).
    pub mean_c: f64,
    /// Half the difference between the warmest and the coldest month's mean (°C; default 8).
    pub seasonal_c: f64,
    /// Mean difference between a day's highest and lowest (°C; default 13).
    pub diurnal_c: f64,
    /// Standard deviation of a day's mean about the season's (°C; default 2.5).
    pub weather_c: f64,
    /// Rain.
    pub rain: Rain,
}

/// The usual rain of a place.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Rain {
    /// Rain in a mean year (mm; default 400; 0 for none).
    pub annual_mm: f64,
    /// Mean rain of a day on which it rains (mm; default 8).
    pub wet_day_mm: f64,
    /// How much of the rain leans on one season: 0 even over the year, 1 nearly all in one half (default 0.8).
    pub seasonality: f64,
    /// Middle of the wet season (day of the year; default 15).
    pub peak_day: f64,
}

impl Default for Climate {
    fn default() -> Self {
        Self { mean_c: 16.0, seasonal_c: 8.0, diurnal_c: 13.0, weather_c: 2.5, rain: Rain::default() }
    }
}

impl Default for Rain {
    fn default() -> Self {
        Self { annual_mm: 400.0, wet_day_mm: 8.0, seasonality: 0.8, peak_day: 15.0 }
    }
}
