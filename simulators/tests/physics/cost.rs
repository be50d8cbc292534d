//! What a simulated year costs. The time is printed, not judged: machines differ.

use std::time::Instant;

use crate::sites::{DAY_MS, START_MS, four_basins, world};

#[test]
fn a_year_of_four_basins() {
    let site = four_basins("loam", 4);
    let begun = Instant::now();
    let mut world = world(&site, &[], &[], 1);
    let mut steps = 0_u64;
    world.advance_watch(START_MS + 365 * DAY_MS, &mut |_, _| steps += 1);
    println!("a year of 4 basins: {steps} steps in {:.3} s", begun.elapsed().as_secs_f64());
    assert!(steps > 35_000, "at least a step every quarter of an hour");
    assert!(world.balance().residual().abs() < 1e-3 * world.balance().inflow());
}
