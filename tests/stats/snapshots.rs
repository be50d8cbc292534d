//! Streaming state goes into a snapshot and comes back the same, and then behaves the same.

use basinward::stats::cusum::{self, Cusum};
use basinward::stats::ewma::{self, Ewma};
use basinward::stats::glr::{self, Glr};
use basinward::stats::recession::Recession;
use basinward::stats::regression::Line;
use basinward::stats::robust::{LocationScale, Noise as NoiseEstimate, Quantile};
use basinward::stats::trend::{Observation, Window};
use serde::{Serialize, de::DeserializeOwned};

use crate::noise::Noise;

/// Feeds a stream with and without a snapshot in its middle.
fn survives<S: Serialize + DeserializeOwned + Clone + PartialEq + std::fmt::Debug>(
    mut state: S,
    mut observe: impl FnMut(&mut S, f64, f64),
) {
    let mut noise = Noise::seeded(31);
    let mut restored: Option<S> = None;
    for i in 0..300 {
        let value = noise.normal();
        observe(&mut state, f64::from(i), value);
        if let Some(restored) = &mut restored {
            observe(restored, f64::from(i), value);
        }
        if i == 150 {
            let bytes = postcard::to_allocvec(&state).expect("plain numbers serialise");
            restored = Some(postcard::from_bytes(&bytes).expect("what was written can be read"));
        }
    }
    assert_eq!(restored, Some(state));
}

#[test]
fn every_streaming_state_survives_a_snapshot() {
    let design = glr::Design { candidates: 32, span: 200.0, least_observations: 2 };
    survives(Glr::new(design), |s, at, v| s.observe(at, v, 0.5 + v * v));
    survives(Cusum::new(cusum::Design::for_shift(1.0, 500.0)), |s, at, v| {
        s.observe(at, v);
    });
    survives(Ewma::new(ewma::Design::for_run_length(0.2, 500.0)), |s, _, v| {
        s.observe(v);
    });
    survives(Recession::new(), Recession::observe);
    survives(Line::default(), |s, at, v| s.observe(at, v, 1.0));
    survives(LocationScale::new(50.0, 0.01), |s, _, v| s.observe(v));
    survives(NoiseEstimate::new(50.0, 0.01), NoiseEstimate::observe);
    survives(Quantile::new(0.9), |s, _, v| s.observe(v));
    survives(Window::new(64, 100.0), |s, at, v| s.push(Observation::exact(at, v)));
}
