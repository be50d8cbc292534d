//! Years for tests.

use std::collections::BTreeMap;

use super::account::Account;
use super::draw::account;
use super::read::{Rows, Span};
use crate::desk::samples;
use crate::model::EventTime;

pub(super) fn at(text: &str) -> EventTime {
    text.parse().unwrap()
}

pub(super) fn empty() -> Rows {
    Rows {
        heard_since: None,
        doses: Vec::new(),
        findings: Vec::new(),
        alerts: Vec::new(),
        services: Vec::new(),
        foretold: BTreeMap::new(),
        tests: Vec::new(),
        days: Vec::new(),
        diverter: Vec::new(),
    }
}

pub(super) fn year_of(rows: &Rows) -> Account {
    let system = samples::terrace();
    let span = Span::of(&system, 2025, at("2026-02-01T00:00:00Z")).unwrap();
    account(&system, span, rows)
}
