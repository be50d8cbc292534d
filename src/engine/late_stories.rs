//! Stories of water that shows in some probe long after it came.

use super::Effect;
use super::stories::Story;
use crate::model::*;

/// Minutes of a day.
const DAY: i64 = 1440;

/// A probe in a yard with a dose every twelve hours.
fn content(minute: i64) -> f64 {
    let since = (minute % (DAY / 2)) as f64;
    0.18 + 0.06 * (-since / 300.0).exp()
}

/// A gateway reads both probes at one instant. It takes two readings to be sure of water, and of one probe the second
/// comes only after four hours.
#[test]
fn a_probe_that_shows_a_dose_late_makes_no_second_one_of_it() {
    let mut story = Story::begin();
    let unheard = 2 * DAY + 5..2 * DAY + 240;
    for minute in (0..3 * DAY).step_by(5) {
        story.say(minute, "quince/moisture", Value::Number(content(minute)));
        if !unheard.contains(&minute) {
            story.say(minute, "fig/moisture", Value::Number(content(minute)));
        }
    }
    let doses = story.effects.iter().filter_map(|effect| match effect {
        Effect::Dose(dose) => Some(dose.at.millis() / 60_000),
        Effect::Finding(_) | Effect::Soak(_) | Effect::Forecast(_) => None,
    });
    let begun: Vec<i64> = doses.collect();
    let two_days = [DAY / 2, DAY, 3 * DAY / 2, 2 * DAY, 5 * DAY / 2];
    assert_eq!(begun, two_days, "minutes at which doses began, each told once");
}
