//! Follows how each basin's water goes against its design and what is believed to be wrong.
//!
//! A small dose says little of how it was divided, and most of what a probe shows of it is chance. So each dose is told
//! as what is known from the doses before it, corrected by what it shows itself, as far as that can be trusted
//! (a Kalman filter on a level that wanders, one for each basin).

use serde::{Deserialize, Serialize};

use super::measure::{Measured, Part, PartState};
use crate::model::EventTime;

/// Outlets differ by this from their design when nothing is wrong (logarithm; common practice, no published source).
const AT_FIRST: f64 = 0.05;
/// What is known fades by this much a day.
const WANDERS_A_DAY: f64 = 0.02;
/// A single dose may differ from the doses before it by this much.
const BETWEEN_DOSES: f64 = 0.25;
/// Logarithms of shares against the design beyond these are as good as nothing and everything.
const MOST: (f64, f64) = (-4.0, 2.5);

/// One filter a basin.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Tracks {
    basins: Vec<Track>,
}

/// How one basin's water goes against what is believed (logarithm).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Track {
    mean: f64,
    variance: f64,
    at: Option<EventTime>,
}

impl Tracks {
    pub(super) fn new(basins: usize) -> Self {
        Self { basins: vec![Track::new(); basins] }
    }

    /// How a basin's water goes against what is believed (logarithm).
    pub(super) fn mean(&self, i: usize) -> f64 {
        self.basins[i].mean
    }

    /// Whether the last water of some basin was of an episode that began at `began`.
    pub(super) fn have(&self, began: EventTime) -> bool {
        self.basins.iter().any(|track| track.at == Some(began))
    }

    /// What is believed has changed.
    pub(super) fn restart(&mut self) {
        self.basins.fill(Track::new());
    }

    /// Logarithm of each basin's water against its design in an episode; none where there is no sensor to tell.
    /// What a sensor shows that is `left_out` corrects nothing, and what it showed before was of the same kind: there the
    /// basin's water is told as it is believed to be.
    pub(super) fn shares(
        &mut self,
        at: EventTime,
        measured: &Measured,
        left_out: impl Fn(usize) -> bool,
        believed: impl Fn(usize) -> f64,
    ) -> Vec<Option<f64>> {
        let each = self.basins.iter_mut().zip(&measured.parts).enumerate();
        each.map(|(i, (track, part))| {
            if !part.is_heard() {
                return None;
            }
            let usual = believed(i);
            if left_out(i) {
                *track = Track { at: Some(at), ..Track::new() };
                return Some(usual.clamp(MOST.0, MOST.1));
            }
            track.wait(at);
            let Some((share, variance)) = worth(part, measured.common) else {
                return Some((usual + track.mean).clamp(MOST.0, MOST.1));
            };
            let told = track.corrected(share - usual, variance);
            // Rain says nothing about the pipes.
            if !measured.rain {
                track.learn(share - usual, variance);
            }
            Some((usual + told).clamp(MOST.0, MOST.1))
        })
        .collect()
    }
}

/// What a part says of its basin's water (logarithm), and the variance of that.
fn worth(part: &Part, common: f64) -> Option<(f64, f64)> {
    let share = part.log_share(common);
    let known = part.state != PartState::Unknown && share.is_finite();
    known.then(|| (share.clamp(MOST.0, MOST.1), part.share_deviation().powi(2)))
}

impl Track {
    fn new() -> Self {
        Self { mean: 0.0, variance: AT_FIRST * AT_FIRST, at: None }
    }

    fn wait(&mut self, at: EventTime) {
        if let Some(before) = self.at.replace(at) {
            let days = (at - before).days_f64().max(0.0);
            self.variance += WANDERS_A_DAY * WANDERS_A_DAY * days;
        }
    }

    /// What a dose brought, by what it showed.
    fn corrected(&self, shown: f64, variance: f64) -> f64 {
        let before = self.variance + BETWEEN_DOSES * BETWEEN_DOSES;
        self.mean + before / (before + variance) * (shown - self.mean)
    }

    fn learn(&mut self, shown: f64, variance: f64) {
        let gain = self.variance / (self.variance + variance);
        self.mean += gain * (shown - self.mean);
        self.variance *= 1.0 - gain;
    }
}

#[cfg(test)]
mod tests {
    use super::super::likelihood::Common;
    use super::*;

    #[test]
    fn a_large_dose_is_told_as_it_shows_and_a_small_one_as_those_before() {
        let mut track = Track::new();
        let day = |n: i64| EventTime::from_secs(n * 86_400);
        for n in 0..30 {
            track.wait(day(n));
            track.learn(-0.4, 0.01);
        }
        assert!((track.mean + 0.4).abs() < 0.03, "{track:?}");
        assert!((track.corrected(0.6, 0.05 * 0.05) - 0.6).abs() < 0.06);
        assert!((track.corrected(0.6, 1.0) + 0.4).abs() < 0.1);
    }

    #[test]
    fn what_is_left_out_corrects_nothing() {
        let part = |miss: f32| Part {
            log_shown: -2.0,
            miss,
            deviation: 0.05,
            slope: 1.0,
            full: 0.0,
            stood: false,
            state: PartState::Measured,
        };
        let prior = Common { mean: 0.0, spread: 0.5 };
        let measured = Measured {
            level: 0.0,
            size: 0.0,
            metered: None,
            rain: false,
            prior,
            common: 0.0,
            parts: vec![part(-1.0); 2],
        };
        let mut tracks = Tracks::new(2);
        for day in 0..20 {
            // What it showed before it is left out is forgotten.
            let left_out = |i| i == 1 && day >= 10;
            let told = tracks.shares(EventTime::from_secs(day * 86_400), &measured, left_out, |_| -0.2);
            let second = told[1].expect("heard");
            assert!(told[0].expect("heard") < -0.7, "{told:?}");
            assert!(if left_out(1) { (second + 0.2).abs() < 1e-12 } else { second < -0.7 }, "{told:?}");
        }
        assert!(tracks.mean(1).abs() < 1e-12);
    }

    #[test]
    fn it_settles_where_the_textbook_says() {
        // Steady state of the local-level model: p (p + q) / r = q with p the variance after an update
        // (Harvey 1989, Forecasting, structural time series models, section 3.3; from memory).
        let (q, r) = (WANDERS_A_DAY * WANDERS_A_DAY, 0.04);
        let mut track = Track::new();
        for n in 0..2000 {
            track.wait(EventTime::from_secs(n * 86_400));
            track.learn(0.0, r);
        }
        let p = track.variance;
        assert!((p * (p + q) / r - q).abs() < 0.01 * q, "{p}");
    }
}
