//! Conclusions as they are kept: with names instead of indices, so that a changed system file
//! does not change the past.

use std::collections::BTreeMap;

use rusqlite::types::{FromSqlError, Type};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use crate::engine::{Change, Dose, FindingChange, Forecast, Soak};
use crate::model::{EventTime, Id, Span};

use super::enrol::Enrolled;

/// Something that an engine concluded, as the ledger remembers it.
#[derive(Clone, Debug, PartialEq)]
pub enum Record {
    /// A finding was raised, changed or cleared.
    Finding(FindingChange),
    /// A dose was recognised.
    Dose(DoseRecord),
    /// Standing water went away.
    Soak(SoakRecord),
}

/// One discharge of greywater through the system.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DoseRecord {
    /// When it began.
    pub at: EventTime,
    /// Litres as a meter counted them, or an estimate where none counts; see [`Dose`].
    pub litres: Option<f64>,
    /// Fraction that each basin with a usable sensor received; sums to 1 over them.
    pub shares: BTreeMap<Id, f64>,
    /// How far the shares can be trusted, 0 to 1.
    pub quality: f64,
}

/// One stay of standing water in a basin.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SoakRecord {
    /// Which basin.
    pub basin: Id,
    /// When the float rose.
    pub began: EventTime,
    /// How long it stayed up.
    #[serde(rename = "lasted_ms")]
    pub lasted: Span,
}

/// When a basin would first flood if its mulch were not renewed, as was thought at one time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ForecastRecord {
    /// Which basin.
    pub basin: Id,
    /// When it was thought.
    pub made: EventTime,
    /// The best estimate.
    pub due: EventTime,
    /// With 80 % probability not before this.
    pub earliest: EventTime,
    /// And not after this.
    pub latest: EventTime,
    /// What it rests on, in a sentence.
    pub basis: String,
    /// Litres that the basin had received since its mulch was placed, or since it was first heard of.
    pub litres: f64,
    /// The part of the mulch that was left, 0 to 1, by the model of its decay.
    pub mulch_left: f64,
}

impl Record {
    /// The event time it belongs to: a dose's or soak's beginning, a finding's change.
    pub fn at(&self) -> EventTime {
        match self {
            Self::Finding(change) => change.at,
            Self::Dose(dose) => dose.at,
            Self::Soak(soak) => soak.began,
        }
    }
}

impl DoseRecord {
    pub(super) fn of(dose: &Dose, system: &Enrolled) -> Self {
        let shares = dose.shares.iter().filter_map(|(ix, share)| Some((system.basin(*ix)?.clone(), *share)));
        Self { at: dose.at, litres: dose.litres, shares: shares.collect(), quality: dose.quality }
    }
}

impl SoakRecord {
    pub(super) fn of(soak: &Soak, system: &Enrolled) -> Option<Self> {
        Some(Self { basin: system.basin(soak.basin)?.clone(), began: soak.began, lasted: soak.lasted })
    }
}

impl ForecastRecord {
    pub(super) fn of(forecast: &Forecast, system: &Enrolled) -> Option<Self> {
        let basin = system.basin(forecast.basin)?.clone();
        let Forecast { made, due, earliest, latest, ref basis, litres, mulch_left, .. } = *forecast;
        Some(Self { basin, made, due, earliest, latest, basis: basis.clone(), litres, mulch_left })
    }
}

/// The word for a change in the ledger.
pub(super) fn change_name(change: Change) -> &'static str {
    match change {
        Change::Raised => "raised",
        Change::Updated => "updated",
        Change::Cleared => "cleared",
    }
}

/// As JSON text.
pub(super) fn to_json(value: &impl Serialize) -> rusqlite::Result<String> {
    serde_json::to_string(value).map_err(|error| rusqlite::Error::ToSqlConversionFailure(error.into()))
}

/// From JSON text that was read from `column`.
pub(super) fn from_json<T: DeserializeOwned>(column: usize, text: &str) -> rusqlite::Result<T> {
    serde_json::from_str(text).map_err(|error| unreadable(column, error))
}

/// Says that what `column` holds is not what was stored there.
pub(super) fn unreadable(
    column: usize,
    error: impl std::error::Error + Send + Sync + 'static,
) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(column, Type::Text, Box::new(error))
}

/// As [`unreadable`], for a word that is none of those expected.
pub(super) fn unexpected(column: usize) -> rusqlite::Error {
    unreadable(column, FromSqlError::InvalidType)
}
