//! Cost of the mathematics: an observation of each streaming test, and the evaluations made now and then.
//!
//! Run with `cargo bench --bench mathematics`.

use std::hint::black_box;

use basinward::stats::cusum::{Cusum, Design};
use basinward::stats::glr::{self, Glr};
use basinward::stats::recession::Recession;
use basinward::stats::robust::Noise;
use basinward::stats::trend::{Observation, theil_sen};
use basinward::stats::{normal, run_length};
use criterion::{BatchSize, Criterion, criterion_group, criterion_main};

/// Deterministic residuals with a unit normal's distribution, in a scrambled order.
fn residuals(count: u32) -> Vec<f64> {
    let scrambled = |i: u32| (f64::from(i) * 0.618_033_988_749_895).fract();
    (0..count).map(|i| normal::quantile(0.001 + 0.998 * scrambled(i))).collect()
}

fn streaming(c: &mut Criterion) {
    let residuals = residuals(1_000);
    c.bench_function("cusum: 1,000 observations", |b| {
        b.iter_batched(
            || Cusum::new(Design { reference: 0.5, limit: 5.0, head_start: 0.0 }),
            |mut cusum| {
                for (at, &residual) in residuals.iter().enumerate() {
                    black_box(cusum.observe(at as f64, residual));
                }
            },
            BatchSize::SmallInput,
        );
    });
    c.bench_function("glr: 1,000 observations, each tested for step and drift", |b| {
        b.iter_batched(
            || Glr::new(glr::Design { candidates: 32, span: 1e9, least_observations: 2 }),
            |mut glr| {
                for (at, &residual) in residuals.iter().enumerate() {
                    glr.observe(at as f64, residual, 1.0);
                    black_box((glr.step(0.01), glr.drift(0.01)));
                }
            },
            BatchSize::SmallInput,
        );
    });
    c.bench_function("noise: 1,000 readings", |b| {
        b.iter_batched(
            || Noise::new(400.0, 1e-4),
            |mut noise| {
                for (at, &residual) in residuals.iter().enumerate() {
                    noise.observe(at as f64, residual);
                }
                noise
            },
            BatchSize::SmallInput,
        );
    });
}

fn now_and_then(c: &mut Criterion) {
    let residuals = residuals(128);
    let series: Vec<_> = residuals
        .iter()
        .enumerate()
        .map(|(at, &r)| Observation::exact(at as f64, 0.02 * at as f64 + r))
        .collect();
    c.bench_function("theil_sen: 128 observations", |b| b.iter(|| theil_sen(black_box(&series), 0.8)));
    let mut recession = Recession::new();
    for (i, residual) in (0..288_u32).zip(residuals.iter().cycle()) {
        let hours = f64::from(i) / 12.0;
        recession.observe(hours, 0.2 + 0.1 * (-hours / 5.0).exp() + 0.002 * residual);
    }
    c.bench_function("recession: fit of a day", |b| b.iter(|| black_box(&recession).fit()));
    c.bench_function("run length: limit of a two-sided CUSUM", |b| {
        b.iter(|| run_length::cusum_limit(black_box(0.5), black_box(500.0)));
    });
    c.bench_function("run length: limit of a GLR", |b| b.iter(|| glr::step_limit(black_box(500.0))));
}

criterion_group!(benches, streaming, now_and_then);
criterion_main!(benches);
