//! The whole tree of lines: water runs down it, divides at splitters, and backs up where it cannot go on.

use super::line::Line;
use super::pipe::Pipe;
use super::splitter::Splitter;
use crate::rng::Rng;
use crate::site::{Node, Site};

/// Lines where the site plan does not say (m): from the fixtures to the first splitter, and between fittings.
const MAIN_M: f64 = 6.0;
const BRANCH_M: f64 = 4.0;

/// How far out of level a good fitter leaves a splitter: half the difference of its sides (mm). Common practice.
const LEVELLED_WITHIN_MM: f64 = 0.2;

/// Deviations of ln(a/b): between fittings as made, and from dose to dose.
const MADE_SD: f64 = 0.04;
const DOSE_SD: f64 = 0.05;

/// The condition that faults and service have left the drain in.
#[derive(Debug, Clone, PartialEq)]
pub struct Plumbing {
    /// Offset that settling has given each splitter, and how far it has taken over from the installed one (0 to 1).
    pub tilts: Vec<(f64, f64)>,
    /// The part of each outlet's bore that is matted shut (0 to 1).
    pub closed: Vec<f64>,
}

/// Water that left the drain in one step (L).
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Delivery {
    /// Into each basin.
    pub basins: Vec<f64>,
    /// Refused at the upper end, because the line stands full.
    pub backed_up: f64,
    /// Flow out of all outlets together (L/min).
    pub l_min: f64,
}

/// A branched drain.
#[derive(Debug, Clone)]
pub struct Drain {
    /// The lines, lower ones before those that feed them; the last is the main line.
    lines: Vec<Run>,
    splitters: Vec<Fitting>,
    /// Flow through an open bore (L/min).
    bore_l_min: f64,
    seed: u64,
}

#[derive(Debug, Clone)]
struct Run {
    line: Line,
    end: Node,
}

#[derive(Debug, Clone)]
struct Fitting {
    split: [f64; 2],
    /// Positions in [`Drain::lines`] of the lines to its sides.
    sides: [usize; 2],
    installed_offset_mm: f64,
    made_bias: f64,
    dose_bias: f64,
}

impl Drain {
    /// The drain of a site, levelled and clear.
    pub fn new(site: &Site, seed: u64) -> Self {
        let mut made = Rng::stream(seed, "fittings", 0);
        let fittings = site.splitters.iter().map(|splitter| Fitting {
            split: splitter.split,
            sides: [0; 2],
            installed_offset_mm: LEVELLED_WITHIN_MM * made.normal(),
            made_bias: MADE_SD * made.normal(),
            dose_bias: 0.0,
        });
        let mut drain = Self {
            splitters: fittings.collect(),
            lines: Vec::new(),
            bore_l_min: Pipe::DRAIN.full().l_min,
            seed,
        };
        drain.lay(site, None, site.root);
        drain
    }

    /// Lays the line that ends at `node` and all below it; returns its position.
    fn lay(&mut self, site: &Site, from: Option<[f64; 2]>, node: Node) -> usize {
        let at = match node {
            Node::Splitter(index) => site.splitters[index].at,
            Node::Basin(index) => site.basins[index].at,
        };
        if let Node::Splitter(index) = node {
            let feeds = site.splitters[index].feeds;
            self.splitters[index].sides = feeds.map(|feed| self.lay(site, at, feed));
        }
        let length_m = match (from, at) {
            (Some([x, y]), Some([u, v])) => (u - x).hypot(v - y).max(1.0),
            _ if node == site.root => MAIN_M,
            _ => BRANCH_M,
        };
        self.lines.push(Run { line: Line::new(Pipe::DRAIN, length_m), end: node });
        self.lines.len() - 1
    }

    /// A new dose begins: each splitter divides it a little differently. `dose` tells doses apart.
    pub fn begin_dose(&mut self, dose: u64) {
        for (index, fitting) in self.splitters.iter_mut().enumerate() {
            let purpose = format!("splitter {index}");
            fitting.dose_bias = DOSE_SD * Rng::stream(self.seed, &purpose, dose).normal();
        }
    }

    /// Somebody sets a splitter level again, as well as a good fitter does. `visit` tells visits apart.
    pub fn level(&mut self, splitter: usize, visit: u64) {
        let mut rng = Rng::stream(self.seed, &format!("levelled {splitter}"), visit);
        self.splitters[splitter].installed_offset_mm = LEVELLED_WITHIN_MM * rng.normal();
    }

    /// Water in all lines (L).
    pub fn water_l(&self) -> f64 {
        self.lines.iter().map(|run| run.line.water_l()).sum()
    }

    /// Lets `minutes` pass with `litres` coming from the fixtures, and adds up what leaves in `delivery`.
    pub fn step(&mut self, minutes: f64, litres: f64, plumbing: &Plumbing, delivery: &mut Delivery) {
        delivery.basins.clear();
        delivery.basins.resize(plumbing.closed.len(), 0.0);
        // Lower lines go first and make room for what the upper ones send.
        for index in 0..self.lines.len() {
            let ready = self.lines[index].line.ready_l(minutes);
            let gone = match self.lines[index].end {
                Node::Basin(basin) => {
                    let gone = ready.min(self.outlet_l_min(index, plumbing.closed[basin]) * minutes);
                    delivery.basins[basin] += gone;
                    gone
                }
                Node::Splitter(splitter) => ready - self.divide(splitter, ready, minutes, plumbing),
            };
            self.lines[index].line.take(gone);
        }
        delivery.l_min = delivery.basins.iter().sum::<f64>() / minutes;
        let main = self.lines.len() - 1;
        delivery.backed_up = self.lines[main].line.pour(litres);
    }

    /// What an outlet lets through (L/min). A mat of hair and roots is a porous plug: what it passes goes with the cube
    /// of its open part (Kozeny-Carman) and with the depth of water behind it.
    fn outlet_l_min(&self, line: usize, closed: f64) -> f64 {
        let open = (1.0 - closed).clamp(0.0, 1.0).powi(3);
        let behind = self.lines[line].line.filled();
        self.bore_l_min * open * if open < 1.0 { behind.max(0.1) } else { 1.0 }
    }

    /// Sends water into both sides of a splitter; what one side refuses the other is offered. Returns what neither
    /// takes.
    fn divide(&mut self, splitter: usize, litres: f64, minutes: f64, plumbing: &Plumbing) -> f64 {
        if litres <= 0.0 {
            return 0.0;
        }
        let fitting = &self.splitters[splitter];
        let (tilt_mm, taken_over) = plumbing.tilts[splitter];
        let now = Splitter {
            split: fitting.split,
            offset_mm: fitting.installed_offset_mm * (1.0 - taken_over) + tilt_mm,
            bias: fitting.made_bias + fitting.dose_bias,
        };
        let to_a = litres * now.share_a(litres / minutes);
        let [a, b] = fitting.sides;
        let refused_a = self.lines[a].line.pour(to_a);
        let refused_b = self.lines[b].line.pour(litres - to_a + refused_a);
        self.lines[a].line.pour(refused_b)
    }
}
