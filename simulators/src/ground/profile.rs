//! Water in the soil below a basin, layer by layer: the wetting front, drainage and roots.
//!
//! While water stands above, a Green-Ampt front moves down through the layers and leaves them saturated; each layer's
//! own deficit counts when the front passes, so soil still wet from the last dose is crossed quickly. A part of the
//! water runs past the front in root and worm channels and soaks into the soil around them, as it does only where
//! free water reaches the mouths of the channels. When nothing stands any more the front dissolves: every layer drains to the next by gravity at its unsaturated conductivity
//! (redistribution), and roots draw from all. Capillary rise is left out: basins are fed from above.

use super::green_ampt::GreenAmpt;
use super::soil::Soil;

/// Thickness of a layer (mm).
pub const LAYER_MM: f64 = 50.0;

/// Depth of the modelled column (mm); water below it has drained away.
const COLUMN_MM: f64 = 900.0;

/// Depth that root and worm channels reach (mm); from memory.
const CHANNELS_MM: f64 = 400.0;

/// Deficits below this count as none (m³/m³).
const SATURATED_WITHIN: f64 = 1e-6;

/// The column of soil below a basin's floor.
#[derive(Debug, Clone)]
pub struct Profile {
    soil: Soil,
    /// Mean water content of each layer (m³/m³), from the floor down.
    contents: Vec<f64>,
    /// Roots' weight in each layer; they sum to 1.
    roots: Vec<f64>,
    /// Depth to which the front has saturated the soil (mm); 0 while nothing stands.
    front_mm: f64,
    /// Water that has passed out of the bottom (mm) since it was last taken.
    drained_mm: f64,
}

impl Profile {
    /// A column at field capacity.
    pub fn new(soil: Soil) -> Self {
        let layers = (COLUMN_MM / LAYER_MM) as usize;
        // Roots thin out with depth; 250 mm is the scale of garden trees and shrubs under mulch (from memory).
        let weights: Vec<f64> = (0..layers).map(|i| (-(i as f64 + 0.5) * LAYER_MM / 250.0).exp()).collect();
        let all: f64 = weights.iter().sum();
        let start = soil.field_capacity.clamp(soil.residual, soil.saturated);
        Self {
            contents: vec![start; layers],
            roots: weights.into_iter().map(|weight| weight / all).collect(),
            front_mm: 0.0,
            drained_mm: 0.0,
            soil,
        }
    }

    /// The soil it is made of.
    pub fn soil(&self) -> &Soil {
        &self.soil
    }

    /// Water held (mm).
    pub fn water_mm(&self) -> f64 {
        self.contents.iter().sum::<f64>() * LAYER_MM
    }

    /// Water contents of the layers (m³/m³), from the floor down.
    pub fn contents(&self) -> &[f64] {
        &self.contents
    }

    /// Water content around `depth_mm` (m³/m³): a probe's field reaches about a layer up and down.
    pub fn content_at(&self, depth_mm: f64) -> f64 {
        let place = (depth_mm / LAYER_MM - 0.5).clamp(0.0, (self.contents.len() - 1) as f64);
        let above = place.floor() as usize;
        let below = (above + 1).min(self.contents.len() - 1);
        let part = place - above as f64;
        self.contents[above] * (1.0 - part) + self.contents[below] * part
    }

    /// Takes in up to `available_mm` from a floor under a head of `head_mm` for `hours`; `resistance_h` is that of
    /// the floor and `ease` scales the soil's conductivity. Returns what went in (mm).
    pub fn infiltrate(
        &mut self,
        available_mm: f64,
        head_mm: f64,
        resistance_h: f64,
        ease: f64,
        hours: f64,
    ) -> f64 {
        let conductivity_mm_h = self.soil.conductivity_mm_h * ease;
        let law = GreenAmpt { conductivity_mm_h, suction_mm: self.soil.suction_mm, resistance_h };
        let through_floor = (head_mm + law.suction_mm) / resistance_h;
        let slow = available_mm <= conductivity_mm_h * hours || through_floor <= conductivity_mm_h;
        let bypass = self.soil.bypass;
        if slow && self.front_mm == 0.0 {
            let entering = available_mm.min(through_floor * hours);
            // Below the soil's own rate the floor is not quite saturated, and channels run less.
            let fullness = (entering / (conductivity_mm_h * hours)).min(1.0);
            let past = (entering * bypass * fullness * fullness).min(self.channel_room_mm());
            self.fill_channels(past);
            past + self.pour(entering - past)
        } else {
            let most_past = (available_mm * bypass).min(self.channel_room_mm());
            let matrix = self.advance_front(law, available_mm - most_past, head_mm, hours);
            let past = most_past.min(matrix * bypass / (1.0 - bypass)).min(self.channel_room_mm());
            self.fill_channels(past);
            matrix + past
        }
    }

    /// Lets the front dissolve: nothing stands above any more.
    pub fn release_front(&mut self) {
        self.front_mm = 0.0;
    }

    /// Moves water down by gravity for `hours`. Returns the shortest time (h) in which a pulse now crosses a layer.
    pub fn drain(&mut self, ease: f64, hours: f64) -> f64 {
        let span = self.soil.saturated - self.soil.residual;
        let n = self.soil.exponent;
        let per_hour = self.soil.conductivity_mm_h * ease / (span * LAYER_MM);
        let below_front = (self.front_mm / LAYER_MM).ceil() as usize;
        let mut fastest = 0.0_f64;
        // From the bottom up, so that each layer drains into room that the one below has just made.
        for i in (below_front..self.contents.len()).rev() {
            let saturation = self.soil.saturation(self.contents[i]);
            let speed = per_hour * saturation.powf(n - 1.0);
            fastest = fastest.max(n * speed);
            // dSe/dt = -a Seⁿ, solved exactly over the step.
            let left = saturation * (1.0 + (n - 1.0) * speed * hours).powf(-1.0 / (n - 1.0));
            let mut moved = (saturation - left) * span;
            if let Some(below) = self.contents.get_mut(i + 1) {
                moved = moved.min((self.soil.saturated - *below).max(0.0));
                *below += moved;
            } else {
                self.drained_mm += moved * LAYER_MM;
            }
            self.contents[i] -= moved;
        }
        if fastest > 0.0 { 1.0 / fastest } else { f64::INFINITY }
    }

    /// Lets roots draw up to `wanted_mm`, less as the soil dries: FAO-56 equation 84 for the root zone as a whole,
    /// with `depletion` (p) the part of the available water that is drawn without stress. Returns what they drew.
    pub fn draw(&mut self, wanted_mm: f64, depletion: f64) -> f64 {
        let Soil { field_capacity, wilting_point, .. } = self.soil;
        let available = |content: f64| (content - wilting_point).max(0.0);
        let held: f64 = self.contents.iter().zip(&self.roots).map(|(c, weight)| available(*c) * weight).sum();
        let ease = (held / ((1.0 - depletion) * (field_capacity - wilting_point))).min(1.0);
        if held <= 0.0 {
            return 0.0;
        }
        let mut drawn = 0.0;
        for (content, weight) in self.contents.iter_mut().zip(&self.roots) {
            let share = available(*content) * weight / held;
            let taken = (wanted_mm * ease * share / LAYER_MM).min(available(*content));
            *content -= taken;
            drawn += taken * LAYER_MM;
        }
        drawn
    }

    /// What has drained out of the bottom (mm) since this was last asked.
    pub fn take_drained_mm(&mut self) -> f64 {
        std::mem::take(&mut self.drained_mm)
    }

    /// Adds water from the top without a front: each layer fills before the next gets any.
    fn pour(&mut self, water_mm: f64) -> f64 {
        let mut left = water_mm;
        for content in &mut self.contents {
            let room = (self.soil.saturated - *content).max(0.0) * LAYER_MM;
            let taken = left.min(room);
            *content += taken / LAYER_MM;
            left -= taken;
            if left <= 0.0 {
                return water_mm;
            }
        }
        water_mm - left
    }

    /// Makes good what roots have drawn from the saturated soil behind the front.
    fn refill(&mut self, available_mm: f64) -> f64 {
        let passed = (self.front_mm / LAYER_MM) as usize;
        let mut left = available_mm;
        for content in &mut self.contents[..passed] {
            let taken = ((self.soil.saturated - *content).max(0.0) * LAYER_MM).min(left);
            *content += taken / LAYER_MM;
            left -= taken;
        }
        available_mm - left
    }

    /// The layers between the front and the ends of the channels.
    fn channelled(&mut self) -> &mut [f64] {
        let end = (CHANNELS_MM / LAYER_MM) as usize;
        let first = ((self.front_mm / LAYER_MM).ceil() as usize).min(end);
        &mut self.contents[first..end]
    }

    /// What the channels could still give off below the front (mm).
    fn channel_room_mm(&mut self) -> f64 {
        let saturated = self.soil.saturated;
        self.channelled().iter().map(|content| (saturated - content).max(0.0)).sum::<f64>() * LAYER_MM
    }

    /// Spreads water, no more than there is room for, over the layers that the channels reach; each takes in the
    /// measure of its room.
    fn fill_channels(&mut self, water_mm: f64) {
        let room_mm = self.channel_room_mm();
        if water_mm <= 0.0 || room_mm <= 0.0 {
            return;
        }
        let (part, saturated) = ((water_mm / room_mm).min(1.0), self.soil.saturated);
        for content in self.channelled() {
            *content += (saturated - *content).max(0.0) * part;
        }
    }

    /// Moves the front down, layer by layer, until the water or the time is used up.
    fn advance_front(&mut self, law: GreenAmpt, available_mm: f64, head_mm: f64, hours: f64) -> f64 {
        let (mut water, mut time) = (available_mm - self.refill(available_mm), hours);
        let bottom = self.contents.len() as f64 * LAYER_MM;
        while water > 0.0 && time > 0.0 {
            let layer = (self.front_mm / LAYER_MM) as usize;
            let Some(content) = self.contents.get(layer).copied() else {
                // The whole column is full: Darcy's law from the pond to free drainage at the bottom.
                let free = GreenAmpt { suction_mm: 0.0, ..law };
                let passed = water.min(free.rate_mm_h(bottom, head_mm) * time);
                self.drained_mm += passed;
                return available_mm - water + passed;
            };
            let to_bottom = (layer + 1) as f64 * LAYER_MM - self.front_mm;
            let room = (self.soil.saturated - content).max(0.0) * LAYER_MM;
            let deficit = room / to_bottom;
            if deficit <= SATURATED_WITHIN {
                self.front_mm = (layer + 1) as f64 * LAYER_MM;
                continue;
            }
            let filled_in = law.hours_for(self.front_mm, deficit, head_mm, room);
            if water >= room && filled_in <= time {
                self.contents[layer] = self.soil.saturated;
                self.front_mm = (layer + 1) as f64 * LAYER_MM;
                water -= room;
                time -= filled_in;
            } else {
                let taken = law.infiltrated_mm(self.front_mm, deficit, head_mm, time).min(room).min(water);
                self.contents[layer] += taken / LAYER_MM;
                self.front_mm += taken / deficit;
                water -= taken;
                break;
            }
        }
        available_mm - water
    }
}
