//! The whole daemon under a seeded scheduler of faults: messages delayed, repeated, reordered and sent again, commits
//! that fail or are torn in the middle, crashes between any two steps, clocks that are set, and others outside that
//! fail or confirm what then is forgotten. One thread and no real time, so a seed that fails does so again:
//!
//! ```text
//! BASINWARD_SEED=4711 cargo test --test chaos
//! BASINWARD_SEEDS=5000 cargo test --test chaos
//! ```

mod broker;
mod chance;
mod daemon;
mod disk;
mod laws;
mod outside;
mod world;
mod yards;

use std::panic::catch_unwind;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;

use world::World;

/// Runs of a plain `cargo test`.
const SEEDS: u64 = 100;

fn number(name: &str) -> Option<u64> {
    std::env::var(name).ok()?.parse().ok()
}

/// What happened in runs.
#[derive(Clone, Copy, Debug, Default)]
struct Lived {
    /// How often the daemon was killed.
    crashes: u64,
    failed_commits: u64,
    readings: u64,
    conclusions: u64,
    messages: u64,
}

fn live_through(mut world: World) -> Lived {
    world.run();
    laws::hold(&mut world);
    Lived {
        crashes: world.crashes,
        failed_commits: world.failed_commits,
        readings: world.reader.points.len() as u64,
        conclusions: world.reader.effects.len() as u64,
        messages: world.phone.taken.len() as u64,
    }
}

impl std::ops::AddAssign for Lived {
    fn add_assign(&mut self, other: Self) {
        self.crashes += other.crashes;
        self.failed_commits += other.failed_commits;
        self.readings += other.readings;
        self.conclusions += other.conclusions;
        self.messages += other.messages;
    }
}

#[test]
fn whatever_goes_wrong_nothing_is_lost_and_nothing_is_told_twice() {
    if let Some(seed) = number("BASINWARD_SEED") {
        println!("seed {seed}: {:?}", live_through(World::new(seed)));
        return;
    }
    let seeds = number("BASINWARD_SEEDS").unwrap_or(SEEDS);
    let next = AtomicU64::new(0);
    let work = || {
        let (mut lived, mut bad) = (Lived::default(), Vec::new());
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed >= seeds {
                return (lived, bad);
            }
            if let Ok(run) = catch_unwind(|| live_through(World::new(seed))) {
                lived += run;
            } else {
                println!("seed {seed} fails");
                bad.push(seed);
            }
        }
    };
    let workers = thread::available_parallelism().map_or(1, usize::from);
    let (mut lived, mut bad) = (Lived::default(), Vec::new());
    thread::scope(|scope| {
        let running: Vec<_> = (0..workers).map(|_| scope.spawn(work)).collect();
        for worker in running {
            let (some, failed) = worker.join().expect("a worker catches what a run does");
            lived += some;
            bad.extend(failed);
        }
    });
    println!("{seeds} runs: {lived:?}");
    assert!(bad.is_empty(), "run again with BASINWARD_SEED set to one of {bad:?}");
}

/// A day on which neither the phone nor the time-series server answers, besides everything else.
#[test]
fn a_day_without_anybody_outside_delays_and_loses_nothing() {
    let mut lived = Lived::default();
    for seed in 0..6 {
        lived += live_through(World::with_outage(seed, 20..44));
    }
    println!("6 runs with a day's outage: {lived:?}");
    assert!(lived.messages > 0 && lived.readings > 0, "{lived:?}");
}
