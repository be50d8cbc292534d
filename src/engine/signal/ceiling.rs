//! Whether a probe's peaks pile up at a content it cannot exceed.

use serde::{Deserialize, Serialize};

/// What of a peak is remembered after the next.
const MEMORY: f64 = 0.98;
/// Peaks at the ceiling before it is believed: three, the first two slightly faded.
const STOPS: f64 = 2.9;

/// The wettest content seen, and how peaks lie below it. Peaks that soil sets grow rarer towards the wettest;
/// at a ceiling they pile up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Ceiling {
    content: f64,
    /// Peaks at that content and in the band below it, the old ones fading.
    stops: f64,
    below: f64,
}

impl Ceiling {
    /// Whether `content` is at the ceiling, as far as one is known.
    pub(crate) fn is_reached(&self, content: f64, tolerance: f64) -> bool {
        self.content - content <= tolerance && self.stops >= STOPS && self.stops > 2.0 * self.below
    }

    /// Takes a peak known to within `tolerance`, and says whether the probe stopped there for want of range.
    pub(crate) fn note(&mut self, peak: f64, tolerance: f64) -> bool {
        self.stops *= MEMORY;
        self.below *= MEMORY;
        let under = self.content - peak;
        if under < -tolerance {
            *self = Self { content: peak, stops: 1.0, below: self.stops };
        } else if under <= tolerance {
            self.stops += 1.0;
            self.content += (peak - self.content) / self.stops.max(2.0);
        } else if under <= 3.0 * tolerance {
            self.below += 1.0;
        }
        under.abs() <= tolerance && self.stops >= STOPS && self.stops > 2.0 * self.below
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn peaks_of_all_heights_show_no_ceiling() {
        let mut ceiling = Ceiling::default();
        let peaks = (0..200).map(|i| 0.3 + 0.1 * (f64::from(i) * 0.618_034).fract().powi(2));
        assert_eq!(peaks.filter(|&peak| ceiling.note(peak, 0.006)).count(), 0);
    }

    #[test]
    fn peaks_that_pile_up_do() {
        let mut ceiling = Ceiling::default();
        let peaks = (0..100).map(|i| (0.3 + 0.3 * (f64::from(i) * 0.618_034).fract()).min(0.43));
        let (mut stopped, mut stated) = (0, 0);
        for peak in peaks {
            let says = ceiling.note(peak, 0.006);
            stopped += i32::from(peak > 0.429);
            stated += i32::from(says);
        }
        assert!(stated >= stopped - 4 && stated <= stopped + 4, "{stated} of {stopped}");
    }
}
