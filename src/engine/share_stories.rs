//! Stories of what part of the water reaches each basin.

use super::stories::Story;
use super::{Effect, Input};
use crate::model::*;

/// Minutes of a day.
const DAY: i64 = 1440;

/// Litres of a dose, twice a day.
fn litres(dose: i64) -> f64 {
    [35.0, 60.0, 50.0, 80.0, 45.0][dose.rem_euclid(5) as usize]
}

/// A probe some minutes after a dose: the soil was wetted, `shown` times as much as usual, and dries again.
fn content(minutes: i64, shown: f64) -> f64 {
    let (since, dose) = ((minutes % (DAY / 2) - 20) as f64, minutes / (DAY / 2));
    let left = |dose: i64, since: f64| litres(dose) / 50.0 * (-since / 300.0).exp();
    let wetted = if since < 0.0 { left(dose - 1, since + 740.0) } else { left(dose, since) };
    0.18 + 0.06 * shown * wetted + 0.0004 * ((minutes * 7919 % 13) as f64 - 6.0) / 6.0
}

/// Two doses a day, of which the probe of quince shows `shown` times as much as usual.
fn live(story: &mut Story, from_day: i64, days: i64, shown: f64) {
    for minute in (from_day * DAY..(from_day + days) * DAY).step_by(5) {
        for (probe, shown) in [("quince/moisture", shown), ("fig/moisture", 1.0)] {
            story.say(minute, probe, Value::Number(content(minute, shown)));
        }
        let counted: f64 = (0..=minute / (DAY / 2)).map(litres).sum();
        story.say(minute, "meter", Value::Number(counted));
    }
}

fn share_of_quince(story: &Story) -> f64 {
    let mut doses = story.effects.iter().rev().filter_map(|effect| match effect {
        Effect::Dose(dose) => Some(dose),
        Effect::Finding(_) | Effect::Soak(_) | Effect::Forecast(_) => None,
    });
    let shares = &doses.next().expect("doses came").shares;
    shares.iter().find(|(basin, _)| *basin == BasinIx(0)).expect("its probe tells").1
}

#[test]
fn what_was_caught_is_what_the_probes_stand_for_from_then_on() {
    let mut story = Story::begin();
    live(&mut story, 0, 25, 1.0);
    assert!((share_of_quince(&story) - 0.5).abs() < 0.03, "{}", share_of_quince(&story));
    let litres = ["quince", "fig"].map(|id| Id::new(id).expect("an id")).into_iter().zip([12.0, 8.0]);
    let at = EventTime::from_secs(25 * DAY * 60);
    let caught = Command::Caught(Catch { at, litres: litres.collect() });
    story.engine.apply(at, &Input::Command(Box::new(caught)), &mut story.effects);
    live(&mut story, 25, 3, 1.0);
    assert!((share_of_quince(&story) - 0.6).abs() < 0.03, "{}", share_of_quince(&story));
}

#[test]
fn a_probe_that_shows_less_takes_no_water_from_its_floor() {
    let mut story = Story::begin();
    live(&mut story, 0, 30, 1.0);
    live(&mut story, 30, 20, 0.85);
    let told = story.told();
    assert!(told.iter().all(|line| line.contains("sensor-silent")), "{told:?}");
    assert!(share_of_quince(&story) < 0.49, "{}", share_of_quince(&story));
    let floors = story.engine.state.doses.shares(story.engine.system());
    assert!((floors[0] - 0.5).abs() < 1e-9, "{floors:?}");
}
