//! The book of true doses: which water came with which use, and where it went.

use super::source::{Discharge, KINDS};
use crate::truth::{DoseKind, TrueDose};

/// The slowest delivery that still counts as the dose's own (L/min).
const TRICKLE_L_MIN: f64 = 0.02;

/// After the last use, what still drips from a choked line is no longer counted (ms).
const LONGEST_TAIL_MS: i64 = 20 * 60_000;

/// Order in which kinds are told apart.
const BY_KIND: [DoseKind; KINDS] = [
    DoseKind::Shower,
    DoseKind::Laundry,
    DoseKind::BasinDraw,
    DoseKind::Bath,
    DoseKind::Leak,
    DoseKind::FlowTest,
];

/// Doses under way and doses ended.
#[derive(Debug, Clone, Default)]
pub(super) struct DoseBook {
    open: Option<Open>,
    /// A leak's water outside doses.
    leak: Option<Open>,
    ended: Vec<TrueDose>,
}

#[derive(Debug, Clone)]
struct Open {
    start_ms: i64,
    uses: u32,
    by_kind: Discharge,
    sewer: f64,
    basins: Vec<f64>,
    rain: bool,
    /// When a use last ran (ms).
    last_use_ms: i64,
}

/// What one step of the world adds.
#[derive(Debug, Clone, Copy)]
pub(super) struct Flows<'a> {
    pub(super) until_ms: i64,
    pub(super) minutes: f64,
    /// From the fixtures and from leaks, by kind (L).
    pub(super) source: &'a Discharge,
    pub(super) sewer: f64,
    pub(super) basins: &'a [f64],
    pub(super) rains: bool,
    /// A use has begun and not ended.
    pub(super) in_use: bool,
}

impl DoseBook {
    /// Whether a dose is under way.
    pub(super) fn is_open(&self) -> bool {
        self.open.is_some()
    }

    /// Notes that uses began.
    pub(super) fn begin(&mut self, at_ms: i64, uses: u32, basins: usize) {
        let open = self.open.get_or_insert_with(|| Open::at(at_ms, basins));
        open.uses += uses;
    }

    /// Books one step's water.
    pub(super) fn add(&mut self, flows: &Flows<'_>) {
        if let Some(open) = &mut self.open {
            open.add(flows);
            if flows.in_use {
                open.last_use_ms = flows.until_ms;
            }
            let delivered: f64 = flows.basins.iter().sum();
            let leaking: f64 = flows.source[DoseKind::Leak as usize];
            let trickles = delivered <= TRICKLE_L_MIN * flows.minutes + leaking;
            let over = trickles || flows.until_ms - open.last_use_ms >= LONGEST_TAIL_MS;
            if !flows.in_use && over && flows.until_ms > open.last_use_ms {
                self.ended.extend(self.open.take().map(|open| open.end(flows.until_ms)));
            }
        } else if flows.source[DoseKind::Leak as usize] > 0.0 {
            let start_ms = flows.until_ms - (flows.minutes * 60_000.0) as i64;
            self.leak.get_or_insert_with(|| Open::at(start_ms, flows.basins.len())).add(flows);
        } else {
            self.end_leak(flows.until_ms);
        }
    }

    /// Closes the day's leak, so that one is told for each day.
    pub(super) fn end_leak(&mut self, at_ms: i64) {
        self.ended.extend(self.leak.take().map(|leak| leak.end(at_ms)));
    }

    /// The doses that had ended by `t_ms`, in order of their ends.
    pub(super) fn take(&mut self, t_ms: i64) -> Vec<TrueDose> {
        let ready = self.ended.partition_point(|dose| dose.end_ms <= t_ms);
        self.ended.drain(..ready).collect()
    }
}

impl Open {
    fn at(start_ms: i64, basins: usize) -> Self {
        Self {
            start_ms,
            uses: 0,
            by_kind: [0.0; KINDS],
            sewer: 0.0,
            basins: vec![0.0; basins],
            rain: false,
            last_use_ms: start_ms,
        }
    }

    fn add(&mut self, flows: &Flows<'_>) {
        self.sewer += flows.sewer;
        self.rain |= flows.rains;
        for (sum, litres) in self.by_kind.iter_mut().zip(flows.source) {
            *sum += litres;
        }
        for (sum, litres) in self.basins.iter_mut().zip(flows.basins) {
            *sum += litres;
        }
    }

    fn end(self, end_ms: i64) -> TrueDose {
        let most = (0..KINDS).max_by(|a, b| self.by_kind[*a].total_cmp(&self.by_kind[*b]));
        TrueDose {
            start_ms: self.start_ms,
            end_ms,
            kind: BY_KIND[most.unwrap_or(0)],
            uses: self.uses,
            litres: self.by_kind.iter().sum(),
            sewer_litres: self.sewer,
            basin_litres: self.basins,
            rain: self.rain,
        }
    }
}
