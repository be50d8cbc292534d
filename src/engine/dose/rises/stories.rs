//! Stories of floats that rise, or stay down.

use std::sync::Arc;

use super::*;
use crate::engine::stories::yard_of;

fn court() -> Arc<System> {
    yard_of(&["a", "b", "c", "d"], &[("s1", ["s2", "s3"]), ("s2", ["a", "b"]), ("s3", ["c", "d"])])
}

/// A court after 40 large doses, in each of which all floats rose, and 40 of middle size, in which d's did.
fn taught(system: &System) -> Rises {
    let mut rises = Rises::new(4);
    for n in 0..40 {
        note(&mut rises, system, hour(2 * n), &[Some(true); 4], None);
        note(&mut rises, system, hour(2 * n + 1), &[Some(false), Some(false), Some(false), Some(true)], None);
    }
    assert_eq!(down(&rises, system), None);
    rises
}

/// Takes which floats rose where every basin soaks well.
fn note(rises: &mut Rises, system: &System, at: EventTime, rose: &[Option<bool>], litres: Option<f64>) {
    let slow = vec![false; rose.len()];
    rises.note(system, at, Answers { rose, slow: &slow }, litres, &[]);
}

fn down(rises: &Rises, system: &System) -> Option<BasinIx> {
    rises.down(system, |_| true).map(|missing| missing.basin)
}

fn hour(n: i64) -> EventTime {
    EventTime::from_secs(3600 * n)
}

#[test]
fn a_float_that_stays_down_while_others_rise_is_missed_soon() {
    let system = court();
    let mut rises = taught(&system);
    let found = (0..20).find(|&n| {
        note(&mut rises, &system, hour(100 + n), &[Some(true), Some(true), Some(false), Some(true)], None);
        down(&rises, &system) == Some(BasinIx(2))
    });
    assert!(found.is_some_and(|n| n < 5), "{found:?}");
    let missing = rises.missing(&system, BasinIx(2));
    assert_eq!((missing.since, missing.risen.times, missing.silts), (hour(100), 0, None));
    assert!(missing.risen.expected > 0.9 * f32::from(missing.asked), "{missing:?}");
    // Nobody knows how large these doses were: what its neighbour does says nothing of a jam.
    assert!((missing.jammed - 0.12).abs() < 1e-9, "{missing:?}");
    assert_eq!(rises.down(&system, |basin| basin != BasinIx(2)), None);
    rises.restart();
    assert_eq!(down(&rises, &system), None);
}

#[test]
fn a_neighbour_whose_float_rises_oftener_blocks_nobody() {
    let system = court();
    let mut rises = taught(&system);
    for n in 0..300 {
        note(&mut rises, &system, hour(100 + n), &[Some(false), Some(false), Some(false), Some(true)], None);
    }
    assert_eq!(down(&rises, &system), None);
}

#[test]
fn doses_that_raise_no_float_and_floats_that_nobody_believes_say_nothing() {
    let system = court();
    let mut rises = taught(&system);
    let before = rises.clone();
    for n in 0..300 {
        note(&mut rises, &system, hour(100 + n), &[Some(false); 4], None);
        note(&mut rises, &system, hour(100 + n), &[None, None, Some(false), None], None);
    }
    assert_eq!(rises, before);
}

#[test]
fn two_basins_are_held_against_each_other_with_reserve() {
    let system = yard_of(&["a", "b"], &[("s1", ["a", "b"])]);
    let mut rises = Rises::new(2);
    (0..40).for_each(|n| note(&mut rises, &system, hour(n), &[Some(n % 2 == 0), Some(true)], None));
    let found = (0..100).find(|&n| {
        note(&mut rises, &system, hour(100 + n), &[Some(false), Some(true)], None);
        down(&rises, &system) == Some(BasinIx(0))
    });
    // Every second rise was usual, of which every fourth is counted on: 9 / ln (0.98 / 0.75) doses.
    assert!(found.is_some_and(|n| (25..50).contains(&n)), "{found:?}");
}

/// Doses of 20 to 250 L without rhythm, of which those above 110 L raise every float.
fn litres(n: i64) -> f64 {
    20.0 * 12.5_f64.powf((n * 7919 % 101) as f64 / 101.0)
}

/// Takes dose `n`, in which the floats rise whose basins got as much as 110 L usually bring.
fn metered(rises: &mut Rises, system: &System, n: i64, got: [f64; 4]) {
    let rose = got.map(|part| Some(litres(n) * part > 110.0));
    note(rises, system, hour(n), &rose, Some(litres(n)));
}

/// How many doses it takes until something counts as wrong, and what.
fn first_down(system: &System, got: [f64; 4]) -> (i64, Missing) {
    let mut rises = Rises::new(4);
    (0..150).for_each(|n| metered(&mut rises, system, n, [1.0; 4]));
    assert_eq!(down(&rises, system), None);
    let found = (150..400).find_map(|n| {
        metered(&mut rises, system, n, got);
        Some((n - 149, rises.down(system, |_| true)?))
    });
    found.expect("something is wrong")
}

#[test]
fn a_neighbour_that_rises_in_smaller_doses_tells_a_blocked_outlet_from_a_jammed_float() {
    let system = court();
    let (doses, blocked) = first_down(&system, [1.0, 1.0, 0.0, 2.0]);
    assert_eq!(blocked.basin, BasinIx(2));
    assert!(doses <= 10 && blocked.jammed < 0.1, "{doses} {blocked:?}");
    assert!(blocked.silts.is_some_and(|(beside, p)| beside == BasinIx(3) && p < 0.3), "{blocked:?}");
    assert!(f32::from(blocked.beside.times) > 1.3 * blocked.beside.expected, "{blocked:?}");
    let (later, jammed) = first_down(&system, [1.0, 1.0, 0.0, 1.0]);
    assert_eq!(jammed.basin, BasinIx(2));
    assert!(later > doses && jammed.jammed > 0.6, "{later} {jammed:?}");
}

#[test]
fn a_floor_that_silts_up_beside_it_blocks_no_outlet() {
    let system = court();
    let mut rises = Rises::new(4);
    (0..150).for_each(|n| metered(&mut rises, &system, n, [1.0; 4]));
    let silting = |n: i64| 1.0 + ((n - 150) as f64 / 150.0).min(1.0);
    for n in 150..500 {
        metered(&mut rises, &system, n, [1.0, 1.0, 1.0, silting(n)]);
        assert_eq!(down(&rises, &system), None, "{n}");
    }
}

#[test]
fn doses_that_all_floats_answer_alike_accuse_nobody() {
    let system = court();
    let mut rises = Rises::new(4);
    (0..150).for_each(|n| metered(&mut rises, &system, n, [1.0; 4]));
    for n in 150..400 {
        let all = if n % 3 == 0 { 1.3 } else { 0.75 };
        metered(&mut rises, &system, n, [all; 4]);
        assert_eq!(down(&rises, &system), None, "{n}");
    }
}

#[test]
fn a_neighbour_that_is_known_to_soak_slowly_accuses_nobody() {
    let system = court();
    let mut rises = Rises::new(4);
    (0..150).for_each(|n| metered(&mut rises, &system, n, [1.0; 4]));
    // Doses by which floats rise now and then, and by which that of the slow basin rises always.
    let is_accused = |mut rises: Rises, slow: [bool; 4]| {
        (150..180).any(|n| {
            let rose = [n % 5 == 0, n % 5 == 1, false, true].map(Some);
            rises.note(&system, hour(n), Answers { rose: &rose, slow: &slow }, Some(100.0), &[]);
            down(&rises, &system).is_some()
        })
    };
    assert!(is_accused(rises.clone(), [false; 4]));
    assert!(!is_accused(rises, [false, false, false, true]));
}

#[test]
fn a_float_that_rises_now_and_then_is_not_jammed_and_one_that_never_does_is() {
    let system = court();
    let jammed_after = |may_rise: fn(i64) -> bool| {
        let mut rises = taught(&system);
        (0..60).find(|&n| {
            let rose = [true, true, may_rise(n), true].map(Some);
            note(&mut rises, &system, hour(100 + n), &rose, None);
            rises.jammed(&system).iter().any(|missing| missing.basin == BasinIx(2))
        })
    };
    assert_eq!(jammed_after(|n| n % 8 == 7), None);
    let after = jammed_after(|_| false);
    assert!(after.is_some_and(|n| (9..15).contains(&n)), "{after:?}");
}

#[test]
fn a_new_floor_is_learnt_before_anything_is_missed_above_it() {
    let system = court();
    let mut rises = taught(&system);
    rises.forget(BasinIx(2));
    for n in 0..60 {
        note(&mut rises, &system, hour(100 + n), &[Some(true), Some(true), Some(false), Some(true)], None);
        assert_eq!(down(&rises, &system), None, "{n}");
    }
}
