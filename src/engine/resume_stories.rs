//! Stories of systems to which nobody listened for weeks.

use super::stories::Story;
use super::{Change, Effect, Input};
use crate::model::*;

/// Minutes of a day.
const DAY: i64 = 1440;
/// When everybody stops listening, in days, and for how long.
const LEFT: i64 = 30;
const AWAY: i64 = 40;
/// The day on which they listen again.
const BACK: i64 = LEFT + AWAY;

/// Two showers a day, when they begin.
const SHOWERS: [i64; 2] = [7 * 60, 19 * 60];

/// A household whose water shows in both basins.
struct House {
    story: Story,
    /// Litres of a shower in the next days.
    litres: f64,
    counted: f64,
}

impl House {
    fn begin() -> Self {
        Self { story: Story::begin(), litres: 60.0, counted: 1000.0 }
    }

    /// A household after a month.
    fn lived() -> Self {
        let mut house = Self::begin();
        house.days(0..LEFT);
        house.story.wait(LEFT * DAY - 1);
        assert_eq!(house.told_of_late(0), [] as [&str; 0]);
        house
    }

    /// The same when nobody has listened for forty days.
    fn returned() -> Self {
        let mut house = Self::lived();
        house.leave();
        house
    }

    fn leave(&mut self) {
        self.counted += 4_000.0;
        self.resume(BACK * DAY);
    }

    fn resume(&mut self, minute: i64) {
        let at = EventTime::from_secs(minute * 60);
        assert!(self.story.engine.resume(at, &mut self.story.effects));
        assert_eq!(self.story.engine.passed(), at);
    }

    fn days(&mut self, days: std::ops::Range<i64>) {
        self.minutes(days.start * DAY..days.end * DAY);
    }

    /// Every quarter of an hour the meter, the gauge and the probes report; every six hours the floats and the diverter.
    fn minutes(&mut self, minutes: std::ops::Range<i64>) {
        for minute in minutes.step_by(5) {
            let of_day = minute % DAY;
            if minute % 15 == 0 {
                if SHOWERS.contains(&of_day) {
                    self.counted += self.litres;
                }
                self.story.say(minute, "meter", Value::Number(self.counted));
                self.story.say(minute, "rain", Value::Number(0.0));
                for (probe, rises) in [("quince/moisture", 0.06), ("fig/moisture", 0.08)] {
                    let since = SHOWERS.map(|shower| (of_day - shower).rem_euclid(DAY)).into_iter().min();
                    let wetness =
                        if self.litres > 0.0 { (-(since.unwrap_or(0) as f64) / 300.0).exp() } else { 0.0 };
                    let ripple = 0.0004 * ((minute / 15) * 7919 % 11) as f64 / 11.0;
                    self.story.say(minute, probe, Value::Number(0.18 + rises * wetness + ripple));
                }
            }
            for float in ["quince/float", "fig/float"] {
                if self.litres > 0.0 && SHOWERS.contains(&(of_day - 5)) {
                    self.story.wet(minute, float);
                }
                if minute % 360 == 0 || SHOWERS.contains(&(of_day - 25)) {
                    self.story.dry(minute, float);
                }
            }
            if minute % 360 == 0 {
                self.story.dry(minute, "quince/overflow");
                self.story.dry(minute, "fig/overflow");
                self.story.say(minute, "diverter", Value::Course(Course::Landscape));
            }
        }
    }

    /// What was told from an effect on.
    fn told_of_late(&self, from: usize) -> Vec<String> {
        let told = Story { engine: self.story.engine.clone(), effects: self.story.effects[from..].to_vec() };
        told.told()
    }

    fn so_far(&self) -> usize {
        self.story.effects.len()
    }

    fn soaks(&self, from: usize) -> usize {
        self.story.effects[from..].iter().filter(|effect| matches!(effect, Effect::Soak(_))).count()
    }
}

fn minute_of(line: &str) -> i64 {
    line.split(' ').next().and_then(|word| word.parse().ok()).unwrap()
}

#[test]
fn after_forty_days_nothing_is_missed_before_it_has_had_its_time() {
    let mut house = House::returned();
    let before = house.so_far();
    house.story.wait(BACK * DAY + 59);
    assert_eq!(house.told_of_late(0), [] as [&str; 0]);
    // Nothing comes: what is silent from now on is missed after as long as ever.
    let patience = |sensor: usize| house.story.engine.state.sensors[sensor].cadence.patience();
    let meter = BACK * DAY + patience(0).millis() / 60_000;
    house.story.wait((BACK + 3) * DAY);
    let told = house.told_of_late(before);
    assert!(told.iter().all(|line| line.contains("raised sensor-silent")), "{told:?}");
    assert!(told.contains(&format!("{meter} raised sensor-silent sensor:meter")), "{told:?}");
    assert!(told.iter().all(|line| minute_of(line) > BACK * DAY), "{told:?}");
}

#[test]
fn whoever_is_heard_again_goes_on_as_before() {
    let mut house = House::returned();
    let before = house.so_far();
    house.days(BACK..BACK + 10);
    assert_eq!(house.told_of_late(before), [] as [&str; 0]);
    let doses: Vec<_> = house.story.effects[before..]
        .iter()
        .filter_map(|effect| match effect {
            Effect::Dose(dose) => Some((dose.at.millis() / 60_000, dose.litres)),
            Effect::Finding(_) | Effect::Soak(_) | Effect::Forecast(_) => None,
        })
        .collect();
    assert!(doses.len() >= 19, "{doses:?}");
    assert!(doses.iter().all(|(at, litres)| *at >= BACK * DAY && *litres == Some(60.0)), "{doses:?}");
}

#[test]
fn what_was_learnt_is_as_it_was() {
    let left = House::lived();
    let back = House::returned();
    let (before, after) = (&left.story.engine, &back.story.engine);
    for (left, back) in before.state.sensors.iter().zip(&after.state.sensors) {
        assert_eq!(left.cadence.patience(), back.cadence.patience());
        assert_eq!(left.cadence.usual_gap(), back.cadence.usual_gap());
    }
    let shares = |of: &super::Engine| of.state.doses.shares(of.system());
    assert_eq!(shares(before), shares(after));
    let mut heard = House::returned();
    heard.days(BACK..BACK + 3);
    for (left, back) in before.state.sensors.iter().zip(&heard.story.engine.state.sensors) {
        let (left, back) = (left.cadence.patience().hours_f64(), back.cadence.patience().hours_f64());
        assert!((left - back).abs() <= 0.35 * left, "{left} {back}");
    }
    for (left, back) in shares(before).into_iter().zip(shares(&heard.story.engine)) {
        assert!((left - back).abs() < 0.01, "{left} {back}");
    }
    // Mulch rots whether anybody listens or not.
    let mulch = |of: &super::Engine| of.forecasts().iter().map(|it| it.mulch_left).collect::<Vec<_>>();
    for (left, back) in mulch(before).into_iter().zip(mulch(after)) {
        let days = (left / back).ln() / 0.22 * 365.25;
        assert!((days - AWAY as f64).abs() < 4.0, "coarse chips rot by a fifth a year: {days}");
    }
}

#[test]
fn water_that_nobody_could_hear_of_is_not_missed_until_its_own_time_has_come() {
    let mut house = House::returned();
    let before = house.so_far();
    house.litres = 0.0;
    house.days(BACK..BACK + 24);
    assert_eq!(house.told_of_late(before), [] as [&str; 0], "a holiday");
    house.days(BACK + 24..BACK + 27);
    let told = house.told_of_late(before);
    assert!(matches!(&told[..], [line] if line.contains("raised no-water source")), "{told:?}");
}

#[test]
fn a_float_that_was_up_is_held_from_its_next_report() {
    for is_up in [false, true] {
        let mut house = House::lived();
        let before = house.so_far();
        house.story.wet(LEFT * DAY, "quince/float");
        house.story.wet(LEFT * DAY, "fig/overflow");
        house.leave();
        house.story.wait(BACK * DAY + 59);
        assert_eq!(house.told_of_late(before), [] as [&str; 0]);
        house.story.say(BACK * DAY + 60, "quince/float", Value::Wet(is_up));
        house.story.say(BACK * DAY + 60, "fig/overflow", Value::Wet(false));
        house.story.wait(BACK * DAY + 12 * 60);
        let told: Vec<_> =
            house.told_of_late(before).into_iter().filter(|line| !line.contains("sensor-silent")).collect();
        assert_eq!(house.soaks(before), 0, "nobody knows how long it stood");
        if is_up {
            let flood = (BACK * DAY + 60 + 360).to_string() + " raised flooding basin:quince";
            assert!(told.contains(&flood), "{told:?}");
            assert!(told.iter().all(|line| minute_of(line) > BACK * DAY + 60), "{told:?}");
        } else {
            assert_eq!(told, [] as [&str; 0]);
        }
    }
}

#[test]
fn a_flood_from_before_stays_until_a_float_is_heard_to_be_down() {
    for (flooded, by) in [("quince/float", "quince/float"), ("quince/overflow", "quince/float")] {
        let mut house = House::lived();
        let before = house.so_far();
        house.story.wet(LEFT * DAY, flooded);
        house.story.wait(LEFT * DAY + 400);
        let stands = |house: &House| {
            house.story.engine.state.board.findings().any(|it| it.kind == FindingKind::Flooding)
        };
        assert!(stands(&house), "{:?}", house.told_of_late(before));
        house.leave();
        house.story.dry(BACK * DAY + 5, "fig/float");
        house.story.dry(BACK * DAY + 5, "quince/overflow");
        house.story.wait(BACK * DAY + 50);
        assert!(stands(&house), "the other basin and the upper float say nothing of it");
        let left = house.so_far();
        house.story.dry(BACK * DAY + 55, by);
        house.story.wait(BACK * DAY + 90);
        assert!(!stands(&house), "{:?}", house.told_of_late(before));
        assert_eq!(house.soaks(left), 0);
    }
}

#[test]
fn a_fall_that_was_heard_counts_and_a_dose_under_way_is_left() {
    let mut house = House::lived();
    let shower = LEFT * DAY + SHOWERS[0];
    house.minutes(LEFT * DAY..shower + 30);
    let before = house.so_far();
    house.resume(BACK * DAY);
    house.story.wait(BACK * DAY + 59);
    assert_eq!(house.soaks(before), 2, "both floats were heard to fall");
    assert!(!house.story.effects[before..].iter().any(|effect| matches!(effect, Effect::Dose(_))));
}

#[test]
fn a_tap_that_ran_is_not_said_to_have_run_for_forty_days() {
    let mut house = House::lived();
    let drip = |house: &mut House, minutes: std::ops::Range<i64>| {
        for minute in minutes.step_by(15) {
            house.counted += 2.0;
            house.story.say(minute, "meter", Value::Number(house.counted));
        }
    };
    drip(&mut house, LEFT * DAY..LEFT * DAY + 300);
    house.leave();
    let before = house.so_far();
    drip(&mut house, BACK * DAY..BACK * DAY + 300);
    let told = house.told_of_late(before);
    assert!(!told.iter().any(|line| line.contains("unexpected-water")), "{told:?}");
    // From then on it runs for as long as nobody does.
    drip(&mut house, BACK * DAY + 300..(BACK + 1) * DAY + 15);
    assert!(house.told_of_late(before).iter().any(|line| line.contains("raised unexpected-water source")));
    // The finding stays while nobody listens, and is over when the meter is heard to stand still.
    house.resume((BACK + 30) * DAY);
    let before = house.so_far();
    let again = (BACK + 30) * DAY;
    for minute in (again..again + 90).step_by(15) {
        house.story.say(minute, "meter", Value::Number(house.counted));
    }
    house.story.wait(again + 90);
    let told = house.told_of_late(before);
    let over = told.iter().find(|line| line.contains("cleared unexpected-water source"));
    assert!(over.is_some_and(|line| minute_of(line) >= again + 45), "{told:?}");
}

#[test]
fn a_sensor_never_heard_gets_its_day_again() {
    let mut story = Story::begin();
    for minute in (0..600).step_by(10) {
        story.say(minute, "rain", Value::Number(0.0));
    }
    assert!(story.engine.resume(EventTime::from_secs(BACK * DAY * 60), &mut story.effects));
    let missed = BACK * DAY + 26 * 60;
    story.wait(missed - 1);
    let told = story.told();
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].ends_with("raised sensor-silent sensor:rain") && minute_of(&told[0]) >= BACK * DAY + 60);
    story.wait(missed);
    let told = story.told();
    assert!(told.contains(&format!("{missed} raised sensor-silent sensor:quince/moisture")), "{told:?}");
}

#[test]
fn who_never_heard_anything_and_who_was_away_for_less_than_an_hour_is_unchanged() {
    let mut story = Story::begin();
    let before = story.engine.snapshot();
    assert!(!story.engine.resume(EventTime::from_secs(BACK * DAY * 60), &mut story.effects));
    assert_eq!(story.engine.snapshot(), before);
    let mut house = House::lived();
    let before = house.story.engine.snapshot();
    let passed = house.story.engine.passed();
    assert!(!house.story.engine.resume(passed + Span::from_mins(59), &mut house.story.effects));
    assert_eq!(house.story.engine.snapshot(), before);
}

/// A silence that was told is no news when nobody listened in between, and is over with the first report.
#[test]
fn a_silence_from_before_stands_until_the_sensor_is_heard() {
    let mut house = House::lived();
    house.story.engine.apply(
        EventTime::from_secs((LEFT + 2) * DAY * 60),
        &Input::Tick,
        &mut house.story.effects,
    );
    let silent = house.so_far();
    house.leave();
    house.story.wait((BACK + 2) * DAY);
    assert_eq!(house.told_of_late(silent), [] as [&str; 0]);
    house.story.say((BACK + 2) * DAY + 10, "meter", Value::Number(house.counted));
    house.story.wait((BACK + 2) * DAY + 20);
    let cleared = house.story.effects[silent..].iter().filter(|effect| {
        matches!(effect, Effect::Finding(it) if it.change == Change::Cleared && it.finding.kind == FindingKind::SensorSilent)
    });
    assert_eq!(cleared.count(), 1);
}
