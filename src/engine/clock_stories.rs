//! Stories of a machine whose clock was set ahead and back.

use super::stories::Story;
use super::{Effect, Input};
use crate::model::*;

/// Minutes of a day.
const DAY: i64 = 1440;

/// A probe in a yard with a dose every twelve hours.
fn content(minute: i64) -> f64 {
    let since = (minute % (DAY / 2)) as f64;
    0.18 + 0.06 * (-since / 300.0).exp()
}

/// Five days in which water stands on the third, and a probe falls silent on the fourth; in the beginning of the second
/// the clock is set `ahead` by so many minutes, and back.
fn lived(ahead: i64) -> Story {
    let mut story = Story::begin();
    for minute in (0..5 * DAY).step_by(5) {
        if minute == DAY {
            let now = EventTime::from_secs((minute + ahead) * 60);
            story.engine.apply(now, &Input::Tick, &mut story.effects);
        }
        story.say(minute, "quince/moisture", Value::Number(content(minute)));
        if minute < 3 * DAY {
            story.say(minute, "fig/moisture", Value::Number(content(minute)));
        }
        if minute % 60 == 0 {
            let stands = (2 * DAY + 10..2 * DAY + 400).contains(&minute);
            story.say(minute, "fig/float", Value::Wet(stands));
        }
    }
    story
}

fn doses(story: &Story) -> Vec<i64> {
    let doses = story.effects.iter().filter_map(|effect| match effect {
        Effect::Dose(dose) => Some(dose.at.millis() / 60_000),
        Effect::Finding(_) | Effect::Soak(_) | Effect::Forecast(_) => None,
    });
    doses.collect()
}

/// What an engine was told to be past is past: taking it back would need a memory of how everything was before. So this
/// is what such a clock costs, as `deploy/README.md` says it.
#[test]
fn a_clock_that_was_a_day_ahead_costs_the_doses_of_a_day_and_silences_but_no_water_that_stands() {
    let (usual, set) = (lived(0), lived(DAY));
    let of = |story: &Story, what: &str| -> Vec<String> {
        story.told().into_iter().filter(|line| line.contains(what)).collect()
    };
    for standing in ["ponding", "flooding"] {
        assert_eq!(of(&usual, standing), of(&set, standing));
        assert_eq!(of(&usual, standing).len(), 2, "raised and cleared");
    }
    let day_after = |minute: &i64| (DAY..2 * DAY).contains(minute);
    let (all, left) = (doses(&usual), doses(&set));
    assert!(!left.iter().any(day_after), "{left:?}");
    let others: Vec<_> = all.iter().copied().filter(|minute| !day_after(minute)).collect();
    assert_eq!(left, others);
    assert!(all.len() > others.len());
    // The probes are called silent, and that is taken back by what comes when the day has passed.
    let [raised, cleared, again] = &of(&set, "fig/moisture")[..] else { panic!("{:?}", set.told()) };
    assert!(raised.contains("raised") && cleared.contains("cleared"), "{raised}, {cleared}");
    assert_eq!([again.as_str()], of(&usual, "fig/moisture")[..]);
}
