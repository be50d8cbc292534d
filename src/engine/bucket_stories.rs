//! Stories of water that somebody catches in buckets below the outlets.

use super::stories::Story;
use super::{Effect, Input};
use crate::model::*;

/// Minutes of a day.
const DAY: i64 = 1440;

/// A probe some minutes after a dose: the soil was wetted and dries again.
fn content(minutes: i64) -> f64 {
    let since = (minutes % (DAY / 2) - 20) as f64;
    let wetted = if since < 0.0 { (-(since + 740.0) / 300.0).exp() } else { (-since / 300.0).exp() };
    0.18 + 0.06 * wetted + 0.0004 * ((minutes * 7919 % 13) as f64 - 6.0) / 6.0
}

/// Two doses a day, alike in both basins.
fn live(story: &mut Story, from_day: i64, days: i64) {
    for minute in (from_day * DAY..(from_day + days) * DAY).step_by(5) {
        for probe in ["quince/moisture", "fig/moisture"] {
            story.say(minute, probe, Value::Number(content(minute)));
        }
        story.say(minute, "meter", Value::Number((50 * (minute / (DAY / 2))) as f64));
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
    live(&mut story, 0, 25);
    assert!((share_of_quince(&story) - 0.5).abs() < 0.03, "{}", share_of_quince(&story));
    let litres = ["quince", "fig"].map(|id| Id::new(id).expect("an id")).into_iter().zip([12.0, 8.0]);
    let at = EventTime::from_secs(25 * DAY * 60);
    let caught = Command::Caught(Catch { at, litres: litres.collect() });
    story.engine.apply(at, &Input::Command(Box::new(caught)), &mut story.effects);
    live(&mut story, 25, 3);
    assert!((share_of_quince(&story) - 0.6).abs() < 0.03, "{}", share_of_quince(&story));
}
