//! What state faults and service have left the system in, at any time.

use crate::drain::{Plumbing, Splitter};
use crate::fault::{Action, Course, DAY_MS, Diverter, Fault, FaultKind, Service};
use crate::site::{Node, Site};
use crate::truth::FaultSpan;

/// All faults and service of a scenario, by time.
#[derive(Debug, Clone)]
pub(super) struct Schedule {
    faults: Vec<Planned>,
    /// In order of time.
    services: Vec<(i64, Action)>,
}

#[derive(Debug, Clone)]
struct Planned {
    span: FaultSpan,
    course: Course,
    effect: Effect,
}

/// A fault's effect at its full size.
#[derive(Debug, Clone, Copy)]
enum Effect {
    Tilt { splitter: usize, offset_mm: f64 },
    Blockage { basin: usize, closed: f64 },
    Clogging { basin: usize, resistance_h: f64 },
    ColdWetSoil { lost: f64 },
    Overload { times: f64 },
    DiverterTurned,
    SourceLost { lost: f64 },
    Leak { l_min: f64, metered: bool },
}

/// The state of the system that does not follow from its water.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Condition {
    pub(super) plumbing: Plumbing,
    /// Resistance that faults add to each basin's floor (h).
    pub(super) resistances_h: Vec<f64>,
    /// The part of the soil's conductivity that is left.
    pub(super) open: f64,
    /// Times the usual use of water.
    pub(super) times: f64,
    /// The part of the uses that no longer drains here.
    pub(super) lost: f64,
    pub(super) diverter: Diverter,
    /// Leaks through fixtures and into the line (L/min).
    pub(super) leak_l_min: f64,
    pub(super) seepage_l_min: f64,
}

impl Schedule {
    /// Lays out faults and service on the clock. Names must have been checked against the site.
    pub(super) fn new(
        site: &Site,
        shower_l_min: f64,
        faults: &[Fault],
        services: &[Service],
        start_ms: i64,
    ) -> Self {
        let mut services: Vec<(i64, Action)> =
            services.iter().map(|one| (one.at.at_ms(start_ms), one.action.clone())).collect();
        services.sort_by_key(|(at_ms, _)| *at_ms);
        let plan = |fault: &Fault| Planned {
            span: span(fault, &services, start_ms),
            course: fault.course,
            effect: effect(site, shower_l_min, &fault.kind),
        };
        Self { faults: faults.iter().map(plan).collect(), services }
    }

    /// The faults with their times, in the order given.
    pub(super) fn spans(&self) -> impl Iterator<Item = &FaultSpan> {
        self.faults.iter().map(|planned| &planned.span)
    }

    /// The most that a fault will ever multiply the use of water by.
    pub(super) fn most_times(&self) -> f64 {
        let times =
            |planned: &Planned| if let Effect::Overload { times } = planned.effect { times } else { 1.0 };
        self.faults.iter().map(times).fold(1.0, f64::max)
    }

    /// The service due after `from_ms` and up to `until_ms`, with the time of each.
    pub(super) fn due(&self, from_ms: i64, until_ms: i64) -> impl Iterator<Item = &(i64, Action)> {
        self.services.iter().filter(move |(at_ms, _)| *at_ms > from_ms && *at_ms <= until_ms)
    }

    /// The next moment after `t_ms` at which a fault begins or ends or a service is done.
    pub(super) fn next_after(&self, t_ms: i64) -> Option<i64> {
        let services = self.services.iter().map(|(at_ms, _)| *at_ms);
        let starts = self.faults.iter().map(|planned| planned.span.start_ms);
        let ends = self.faults.iter().filter_map(|planned| planned.span.end_ms);
        services.chain(starts).chain(ends).filter(|at_ms| *at_ms > t_ms).min()
    }

    /// Brings `condition` to what it is at `t_ms`.
    pub(super) fn update(&self, t_ms: i64, condition: &mut Condition) {
        condition.mend();
        for (at_ms, action) in &self.services {
            if let (true, Action::TurnDiverter(position)) = (*at_ms <= t_ms, action) {
                condition.diverter = *position;
            }
        }
        for planned in &self.faults {
            if planned.span.end_ms.is_none_or(|end_ms| t_ms < end_ms) {
                let days = (t_ms - planned.span.start_ms) as f64 / DAY_MS as f64;
                let reached = planned.course.reached(days);
                if reached > 0.0 {
                    condition.suffer(planned.effect, reached);
                }
            }
        }
    }
}

impl Condition {
    /// A system in order.
    pub(super) fn sound(site: &Site) -> Self {
        Self {
            plumbing: Plumbing {
                tilts: vec![(0.0, 0.0); site.splitters.len()],
                closed: vec![0.0; site.basins.len()],
            },
            resistances_h: vec![0.0; site.basins.len()],
            open: 1.0,
            times: 1.0,
            lost: 0.0,
            diverter: Diverter::Landscape,
            leak_l_min: 0.0,
            seepage_l_min: 0.0,
        }
    }

    fn mend(&mut self) {
        self.plumbing.tilts.fill((0.0, 0.0));
        self.plumbing.closed.fill(0.0);
        self.resistances_h.fill(0.0);
        (self.open, self.times, self.lost) = (1.0, 1.0, 0.0);
        (self.leak_l_min, self.seepage_l_min) = (0.0, 0.0);
        self.diverter = Diverter::Landscape;
    }

    /// Adds a fault that has reached a part of its size.
    fn suffer(&mut self, effect: Effect, reached: f64) {
        match effect {
            Effect::Tilt { splitter, offset_mm } => {
                let (tilt_mm, taken_over) = &mut self.plumbing.tilts[splitter];
                *tilt_mm += offset_mm * reached;
                *taken_over = taken_over.max(reached);
            }
            Effect::Blockage { basin, closed } => {
                let open = &mut self.plumbing.closed[basin];
                *open = 1.0 - (1.0 - *open) * (1.0 - closed * reached);
            }
            Effect::Clogging { basin, resistance_h } => self.resistances_h[basin] += resistance_h * reached,
            Effect::ColdWetSoil { lost } => self.open *= 1.0 - lost * reached,
            Effect::Overload { times } => self.times *= 1.0 + (times - 1.0) * reached,
            Effect::DiverterTurned => self.diverter = Diverter::Sewer,
            Effect::SourceLost { lost } => self.lost = 1.0 - (1.0 - self.lost) * (1.0 - lost * reached),
            Effect::Leak { l_min, metered: true } => self.leak_l_min += l_min * reached,
            Effect::Leak { l_min, metered: false } => self.seepage_l_min += l_min * reached,
        }
    }
}

fn span(fault: &Fault, services: &[(i64, Action)], start_ms: i64) -> FaultSpan {
    let begins_ms = fault.onset.at_ms(start_ms);
    let mended = services.iter().find(|(at_ms, action)| *at_ms > begins_ms && action.mends(&fault.kind));
    let until = fault.until.map(|until| until.at_ms(start_ms));
    let days = match fault.course {
        Course::Step => 0.0,
        Course::Linear { days } | Course::Growth { days } => days,
    };
    FaultSpan {
        kind: fault.kind.clone(),
        start_ms: begins_ms,
        full_ms: begins_ms + (days * DAY_MS as f64) as i64,
        end_ms: mended.map(|(at_ms, _)| *at_ms).into_iter().chain(until).min(),
    }
}

fn effect(site: &Site, shower_l_min: f64, kind: &FaultKind) -> Effect {
    let splitter = |name: &str| site.splitter_index(name).expect("names were checked against the site");
    let basin = |name: &str| site.basin_index(name).expect("names were checked against the site");
    match kind {
        FaultKind::Tilt { splitter: name, share_a } => {
            let splitter = splitter(name);
            let mut reaches = 0.0;
            site.spread_design(site.root, 1.0, &mut |node, share| {
                if node == Node::Splitter(splitter) {
                    reaches = share;
                }
            });
            let split = site.splitters[splitter].split;
            let offset_mm = Splitter::offset_for(split, *share_a, shower_l_min * reaches);
            Effect::Tilt { splitter, offset_mm }
        }
        FaultKind::Blockage { basin: name, closed } => {
            Effect::Blockage { basin: basin(name), closed: *closed }
        }
        FaultKind::MulchClogging { basin: name, resistance_h } => {
            Effect::Clogging { basin: basin(name), resistance_h: *resistance_h }
        }
        FaultKind::ColdWetSoil { lost } => Effect::ColdWetSoil { lost: *lost },
        FaultKind::Overload { times } => Effect::Overload { times: *times },
        FaultKind::DiverterTurned => Effect::DiverterTurned,
        FaultKind::SourceLost { lost } => Effect::SourceLost { lost: *lost },
        FaultKind::Leak { l_min, metered } => Effect::Leak { l_min: *l_min, metered: *metered },
    }
}
