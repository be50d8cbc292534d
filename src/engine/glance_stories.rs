//! Stories of doses that are looked at while more water comes, and of probes that were not heard meanwhile or lay under
//! water.

use super::stories::{Story, yard_of};
use super::{Effect, Engine};
use crate::model::*;

/// Minutes of a day.
const DAY: i64 = 1440;
/// Days in which the engine learns what probes show of a dose.
const LEARNT: i64 = 40;
const BASINS: [&str; 4] = ["quince", "medlar", "fig", "plum"];

/// A dose at a minute, of a size against the usual.
type Dose = (i64, f64);

/// Two doses a day while the engine learns, of sizes that differ.
fn learning() -> Vec<Dose> {
    (0..2 * LEARNT).map(|i| (30 + i * DAY / 2, 0.7 + 0.1 * (i * 5 % 8) as f64)).collect()
}

/// Plays doses, of which each basin gets `part` at a minute, to probes read every ten minutes unless `unheard`.
fn play(
    doses: &[Dose],
    until: i64,
    part: impl Fn(usize, i64) -> f64,
    unheard: impl Fn(usize, i64) -> bool,
) -> Story {
    play_with_pond(doses, until, part, unheard, |_| false)
}

/// The same where water stands at quince's float at a minute if it `stands`.
fn play_with_pond(
    doses: &[Dose],
    until: i64,
    part: impl Fn(usize, i64) -> f64,
    unheard: impl Fn(usize, i64) -> bool,
    stands: impl Fn(i64) -> bool,
) -> Story {
    let splitters = [("s1", ["s2", "s3"]), ("s2", ["quince", "medlar"]), ("s3", ["fig", "plum"])];
    let mut story = Story { engine: Engine::new(yard_of(&BASINS, &splitters)), effects: Vec::new() };
    let mut litres = 0.0;
    story.say(0, "diverter", Value::Course(Course::Landscape));
    for minute in (0..until).step_by(10) {
        let before = |dose: &&Dose| dose.0 < minute;
        let came = doses.iter().filter(before).filter(|dose| dose.0 >= minute - 10);
        litres += came.map(|(_, size)| 100.0 * size).sum::<f64>();
        if stands(minute) != stands(minute - 10) {
            story.say(minute, "quince/float", Value::Wet(stands(minute)));
        }
        story.say(minute, "meter", Value::Number(litres));
        for (basin, name) in BASINS.iter().enumerate().filter(|(basin, _)| !unheard(*basin, minute)) {
            let of = |&(at, size): &Dose| {
                0.04 * size * part(basin, at) * (-((minute - at - 10) as f64).max(0.0) / 240.0).exp()
            };
            let noise = 0.0006 * ((minute / 10 * 7919 + 31 * basin as i64) % 7 - 3) as f64 / 3.0;
            let content = 0.18 + doses.iter().filter(before).map(of).sum::<f64>() + noise;
            story.say(minute, &format!("{name}/moisture"), Value::Number(content));
        }
    }
    story
}

/// Showers every forty minutes, as far as midnight, on the day after everything was learnt.
fn busy_day() -> Vec<Dose> {
    (0..14).map(|i| (LEARNT * DAY + 400 + 40 * i, 0.6)).collect()
}

fn told_of(story: &Story, what: &str) -> Vec<i64> {
    let told = story.told();
    let minute = |line: &String| line.split(' ').next()?.parse().ok();
    told.iter().filter(|line| line.contains(what)).filter_map(minute).collect()
}

#[test]
fn that_an_outlet_passes_nothing_is_told_while_more_water_comes() {
    let doses = [learning(), busy_day()].concat();
    // What quince no longer gets goes to medlar.
    let blocked = |basin: usize, at: i64| match basin {
        0 if at >= LEARNT * DAY => 0.0,
        1 if at >= LEARNT * DAY => 2.0,
        _ => 1.0,
    };
    let until = (LEARNT + 2) * DAY;
    let story = play(&doses, until, blocked, |_, _| false);
    let told = told_of(&story, "raised blocked-outlet basin:quince");
    let (first, last) = (LEARNT * DAY + 400, LEARNT * DAY + 400 + 13 * 40);
    assert!(told.len() == 1 && told[0] > first + 60 && told[0] < last - 120, "{told:?} of {first} to {last}");
    let of_that_day =
        |effect: &&Effect| matches!(effect, Effect::Dose(dose) if dose.at.millis() / 60_000 >= first - 30);
    assert_eq!(story.effects.iter().filter(of_that_day).count(), 1, "all showers are one dose, told once");
    let sound = play(&doses, until, |_, _| 1.0, |_, _| false);
    assert_eq!(told_of(&sound, "blocked-outlet"), [] as [i64; 0]);
}

/// A probe that is read and not heard, because its message was lost, shows nothing of what came since.
#[test]
fn a_probe_that_was_not_heard_since_water_came_is_no_blocked_outlet() {
    let doses = [learning(), busy_day()].concat();
    let lost = LEARNT * DAY + 410..LEARNT * DAY + 1300;
    let story =
        play(&doses, (LEARNT + 2) * DAY, |_, _| 1.0, |basin, minute| basin == 0 && lost.contains(&minute));
    assert_eq!(told_of(&story, "blocked-outlet"), [] as [i64; 0]);
    assert_eq!(told_of(&story, "uneven-split"), [] as [i64; 0]);
}

/// Soil that water stands on takes no more of the next dose: that says nothing of how much came.
#[test]
fn a_probe_under_water_that_stood_before_the_dose_is_not_asked() {
    // A dose fills the basin, and the next comes before its water is gone.
    let (first, next) = (LEARNT * DAY + 400, LEARNT * DAY + 640);
    let doses = [learning(), vec![(first, 1.0), (next, 1.0)]].concat();
    let shows = |basin: usize, at: i64| if basin == 0 && at == next { 0.5 } else { 1.0 };
    let until = (LEARNT + 2) * DAY;
    let share_of_quince = |story: &Story| {
        let dose = story.effects.iter().rev().find_map(|effect| match effect {
            Effect::Dose(dose) => Some(dose),
            Effect::Finding(_) | Effect::Soak(_) | Effect::Forecast(_) => None,
        });
        let of_quince = |(basin, share): &(BasinIx, f64)| (*basin == BasinIx(0)).then_some(*share);
        dose.expect("doses came").shares.iter().find_map(of_quince)
    };
    let dry = play(&doses, until, shows, |_, _| false);
    assert!(share_of_quince(&dry).is_some_and(|share| share < 0.2), "{:?}", share_of_quince(&dry));
    // Water often stands for hours here, so that this is no pond.
    let stands = |minute: i64| {
        let usually = minute < LEARNT * DAY && (400..600).contains(&(minute % DAY));
        usually || (first + 20..next + 60).contains(&minute)
    };
    let under_water = play_with_pond(&doses, until, shows, |_, _| false, stands);
    assert!(share_of_quince(&under_water).is_some_and(|share| (share - 0.25).abs() < 0.02), "as ever");
    assert!(told_of(&under_water, "ponding").iter().all(|minute| *minute < LEARNT * DAY));
}
