//! Watches for water in the basins while the diverter says sewer.

use serde::{Deserialize, Serialize};

use super::board::{Board, Conclusion, Spot};
use super::{Effect, words};
use crate::model::{BasinIx, Course, EventTime, Evidence, FindingKind, Severity, Span, System};

/// Water already in the pipes still arrives this long after the diverter turned.
const PIPES_DRAIN: Span = Span::from_mins(30);
/// Arrivals closer together than this are one.
const ONE_ARRIVAL: Span = Span::from_mins(20);
/// Arrivals within this span count together.
const WINDOW: Span = Span::DAY;
/// Rain counted this shortly before explains an arrival.
const RAIN_EXPLAINS: Span = Span::from_hours(12);
/// Soil of two basins that becomes wet within this time shows water; one alone may be a trick of its probe.
const TOGETHER: Span = Span::from_hours(12);
/// Without further arrivals for this long, the finding is over.
const QUIET: Span = Span::from_days(3);

/// The diverter's position and what arrived against it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct SewerWatch {
    sewer_since: Option<EventTime>,
    last_rain: Option<EventTime>,
    /// The last three arrivals, oldest first.
    arrivals: [Option<EventTime>; 3],
    /// The last wetting of soil against the diverter.
    soil: Option<(EventTime, BasinIx)>,
}

impl SewerWatch {
    /// The diverter reported its position.
    pub(crate) fn turned(&mut self, at: EventTime, course: Course, board: &mut Board, out: &mut Vec<Effect>) {
        match course {
            Course::Sewer => {
                self.sewer_since.get_or_insert(at);
            }
            Course::Landscape => {
                self.sewer_since = None;
                self.arrivals = [None; 3];
                self.soil = None;
                board.clear(at, FindingKind::UnexpectedWater, Spot::Diverter, out);
            }
        }
    }

    /// Nobody listened until `at`: pipes may drain from then on, and a finding that stands has its days of quiet from then
    /// on.
    pub(crate) fn unheard_until(&mut self, at: EventTime, board: &Board) {
        self.sewer_since = self.sewer_since.map(|since| since.max(at));
        if board.stands(FindingKind::UnexpectedWater, Spot::Diverter) {
            self.arrivals[2] = self.arrivals[2].map(|last| last.max(at));
        }
    }

    /// Whether the diverter says sewer.
    pub(crate) fn says_sewer(&self) -> bool {
        self.sewer_since.is_some()
    }

    /// When the gauge last counted rain.
    pub(crate) fn last_rain(&self) -> Option<EventTime> {
        self.last_rain
    }

    /// The gauge counted rain.
    pub(crate) fn rained(&mut self, at: EventTime) {
        self.last_rain = self.last_rain.max(Some(at));
    }

    /// Water arrived somewhere below the diverter. Without a gauge (`rain_known`), more arrivals
    /// are needed, since rain may have brought one.
    pub(crate) fn arrived(
        &mut self,
        system: &System,
        at: EventTime,
        basin: Option<BasinIx>,
        rain_known: bool,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        if self.last_rain.is_none_or(|rain| at - rain >= RAIN_EXPLAINS) {
            self.note_arrival(system, at, basin, rain_known, board, out);
        }
    }

    /// Water that no rain explains.
    fn note_arrival(
        &mut self,
        system: &System,
        at: EventTime,
        basin: Option<BasinIx>,
        rain_known: bool,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let Some(since) = self.sewer_since.filter(|&since| at - since > PIPES_DRAIN) else { return };
        if self.arrivals[2].is_some_and(|last| at - last < ONE_ARRIVAL) {
            return;
        }
        self.arrivals = [self.arrivals[1], self.arrivals[2], Some(at)];
        let deciding = if rain_known { self.arrivals[1] } else { self.arrivals[0] };
        if deciding.is_none_or(|first| at - first > WINDOW) {
            return;
        }
        let conclusion = Conclusion {
            kind: FindingKind::UnexpectedWater,
            spot: Spot::Diverter,
            severity: Severity::Warning,
            probability: if rain_known { 0.95 } else { 0.9 },
            estimate: vec![("sewer_since", since.to_string().into())],
            evidence: vec![Evidence { at: Some(at), says: words::water_on_sewer(system, basin, at, since) }],
        };
        board.conclude(system, at, conclusion, out);
    }

    /// The soil of a basin became wet, and not by rain: water is coming if a second basin's does too.
    pub(crate) fn wetted(
        &mut self,
        system: &System,
        at: EventTime,
        basin: BasinIx,
        rain_known: bool,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        if self.sewer_since.is_none_or(|since| at - since <= PIPES_DRAIN) {
            return;
        }
        let before = self.soil.replace((at, basin));
        let is_sure = before.is_some_and(|(before, other)| {
            at - before <= TOGETHER && (other != basin || system.basins.len() == 1)
        });
        if !is_sure {
            return;
        }
        // Two basins are as good as two arrivals at a float.
        if rain_known && self.arrivals[2].is_none_or(|last| at - last >= ONE_ARRIVAL) {
            self.arrivals = [self.arrivals[1], self.arrivals[2], before.map(|(at, _)| at - ONE_ARRIVAL)];
        }
        self.note_arrival(system, at, Some(basin), rain_known, board, out);
    }

    /// When the finding will be over if no more water arrives.
    pub(crate) fn due(&self, board: &Board) -> Option<EventTime> {
        let stands = board.stands(FindingKind::UnexpectedWater, Spot::Diverter);
        self.arrivals[2].filter(|_| stands).map(|last| last + QUIET)
    }
}
