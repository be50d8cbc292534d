//! The first page.

use super::{BasinSheet, FindingSheet, Moment, Urgency};
use crate::model::{Course, Id};

/// Everything on the first page.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Board {
    /// Systems by urgency.
    pub counts: Counts,
    /// Properties, the one with the most urgent system first.
    pub properties: Vec<PropertySheet>,
}

/// How many systems are how urgent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Counts([usize; Urgency::ALL.len()]);

/// A property with its systems, most urgent first.
#[derive(Clone, Debug, PartialEq)]
pub struct PropertySheet {
    /// Its id.
    pub id: Id,
    /// The id as a title.
    pub name: String,
    /// Its systems.
    pub systems: Vec<SystemCard>,
}

/// One system on the first page.
#[derive(Clone, Debug, PartialEq)]
pub struct SystemCard {
    /// Its id.
    pub id: Id,
    /// Its name.
    pub name: String,
    /// Its property.
    pub property: Id,
    /// The most urgent thing about it.
    pub urgency: Urgency,
    /// Open findings, most urgent first.
    pub findings: Vec<FindingSheet>,
    /// Basins in the order in which the drawing meets them.
    pub basins: Vec<BasinSheet>,
    /// Where the diverter sends the water: `None` without a diverter or before it was heard.
    pub diverter: Option<(Course, Moment)>,
    /// It has a diverter, heard or not.
    pub has_diverter: bool,
    /// The latest reading of any of its sensors.
    pub last_heard: Option<Moment>,
}

impl Counts {
    /// Counts one system in.
    pub fn add(&mut self, urgency: Urgency) {
        self.0[urgency as usize] += 1;
    }

    /// Systems of that urgency.
    pub fn of(&self, urgency: Urgency) -> usize {
        self.0[urgency as usize]
    }

    /// All systems.
    pub fn all(&self) -> usize {
        self.0.iter().sum()
    }
}
