//! Stories of weeks: use, leaks, holidays, floors that silt up.

use super::stories::Story;
use super::{Effect, Input};
use crate::model::*;

const DAY: i64 = 1440;

/// A household: litres in the morning and in the evening, on a meter that is read every quarter of an hour.
struct House {
    story: Story,
    counted: f64,
    day: i64,
}

impl House {
    fn begin() -> Self {
        let mut story = Story::begin();
        story.say(0, "diverter", Value::Course(Course::Landscape));
        Self { story, counted: 1000.0, day: 0 }
    }

    /// A day with `litres` at each of two showers, `drip` litres every quarter of an hour, and the float of
    /// quince up for so many minutes after each shower.
    fn day(&mut self, litres: f64, drip: f64, soak_min: i64) {
        for quarter in 0..96 {
            let minute = self.day * DAY + quarter * 15;
            let showers = [30, 78].contains(&quarter);
            self.counted += drip + if showers { litres } else { 0.0 };
            self.story.say(minute, "meter", Value::Number(self.counted));
            if showers && soak_min > 0 {
                self.story.wet(minute + 5, "quince/float");
            }
            let since = [30, 78].map(|shower| minute - (self.day * DAY + shower * 15 + 5));
            if soak_min > 0 && since.iter().any(|since| (soak_min..soak_min + 15).contains(since)) {
                self.story.dry(minute, "quince/float");
            }
        }
        // The other float says that it lives.
        self.story.dry(self.day * DAY + 700, "fig/float");
        self.day += 1;
    }

    fn days(&mut self, days: i64, litres: f64, soak_min: i64) {
        (0..days).for_each(|_| self.day(litres, 0.0, soak_min));
    }

    fn told(&self, kind: &str) -> Vec<String> {
        self.story.told().into_iter().filter(|line| line.contains(kind)).collect()
    }
}

#[test]
fn a_tap_that_runs_through_the_night_is_found_within_a_day_and_over_when_it_stops() {
    let mut house = House::begin();
    house.days(20, 60.0, 20);
    house.day(60.0, 2.0, 20);
    house.day(60.0, 2.0, 20);
    house.days(1, 60.0, 20);
    let told = house.told("unexpected-water");
    assert_eq!(told.len(), 2, "{told:?}");
    let raised: i64 = told[0].split(' ').next().unwrap().parse().unwrap();
    assert!(told[0].ends_with("raised unexpected-water source") && raised <= 21 * DAY, "{told:?}");
    assert!(told[1].ends_with("cleared unexpected-water source"), "{told:?}");
}

#[test]
fn a_holiday_is_no_fault_and_metered_water_that_does_not_arrive_is() {
    let mut house = House::begin();
    house.days(20, 60.0, 20);
    house.days(17, 0.0, 0);
    house.days(2, 60.0, 20);
    assert_eq!(house.told("no-water"), [] as [&str; 0]);
    // The household is back, but the line is blocked.
    house.days(4, 60.0, 0);
    assert!(house.told("no-water")[0].ends_with("raised no-water source"), "{:?}", house.told("no-water"));
    house.days(1, 60.0, 20);
    assert!(house.told("no-water")[1].ends_with("cleared no-water source"));
}

#[test]
fn a_quiet_system_is_missed_sooner_while_its_sibling_runs() {
    let mut house = House::begin();
    house.days(20, 60.0, 20);
    for _ in 0..4 {
        let at = EventTime::from_secs(house.day * 86_400 + 30_000);
        house.day(0.0, 0.0, 0);
        house.story.engine.apply(at + Span::DAY, &Input::SiblingUsed(at), &mut house.story.effects);
    }
    assert!(house.told("no-water")[0].ends_with("raised no-water source"), "{:?}", house.told("no-water"));
}

#[test]
fn water_is_not_missed_while_the_diverter_says_sewer() {
    let mut house = House::begin();
    house.days(20, 60.0, 20);
    house.story.say(house.day * DAY, "diverter", Value::Course(Course::Sewer));
    house.days(30, 60.0, 0);
    house.story.say(house.day * DAY, "diverter", Value::Course(Course::Landscape));
    house.days(2, 60.0, 20);
    assert_eq!(house.told("no-water"), [] as [&str; 0]);
}

#[test]
fn a_floor_that_silts_up_is_told_with_its_date_until_somebody_digs_it() {
    let mut house = House::begin();
    // Two basins share 240 L: 100 mm each, of which the float sees what stands above 60 mm of free water.
    house.days(24, 240.0, 30);
    assert_eq!(house.told("slow-soak"), [] as [&str; 0]);
    (0..60).for_each(|day| house.day(240.0, 0.0, 30 + 2 * day));
    let told = house.told("slow-soak");
    assert!(told[0].ends_with("raised slow-soak basin:quince"), "{told:?}");
    let finding = house.story.effects.iter().find_map(|effect| match effect {
        Effect::Finding(change) if change.finding.kind == FindingKind::SlowSoak => Some(&change.finding),
        Effect::Finding(_) | Effect::Dose(_) | Effect::Soak(_) | Effect::Forecast(_) => None,
    });
    let estimate = &finding.expect("it was told").estimate;
    assert!(estimate["soak_time_h"].as_f64() > estimate["baseline_h"].as_f64(), "{estimate:?}");
    assert!(estimate["earliest"].as_str() < estimate["due"].as_str(), "{estimate:?}");
    assert!(estimate["due"].as_str() < estimate["latest"].as_str(), "{estimate:?}");

    let forecasts = house.story.engine.forecasts();
    assert!(forecasts[0].due < forecasts[1].due, "{forecasts:?}");
    let service = Service {
        at: EventTime::from_secs(house.day * 86_400),
        subject: Subject::Basin(Id::new("quince").unwrap()),
        work: vec![Work::MulchRenewed],
        mulch_found_mm: Some(120.0),
        mulch_left_mm: Some(200.0),
    };
    let command = Input::Command(Box::new(Command::Serviced(service)));
    let now = EventTime::from_secs(house.day * 86_400);
    house.story.engine.apply(now, &command, &mut house.story.effects);
    house.days(3, 240.0, 30);
    assert_eq!(house.told("cleared slow-soak").len(), 1);
    let renewed = house.story.engine.forecasts();
    assert!(renewed[0].due > forecasts[0].due && renewed[0].litres < forecasts[0].litres, "{renewed:?}");
}

#[test]
fn forecasts_are_told_by_the_week_and_on_the_day_after_work() {
    let mut house = House::begin();
    house.days(30, 120.0, 20);
    let made = |house: &House| {
        let told = house.story.effects.iter().filter_map(|effect| match effect {
            Effect::Forecast(forecast) if forecast.basin == BasinIx(0) => Some(forecast.made),
            Effect::Forecast(_) | Effect::Finding(_) | Effect::Dose(_) | Effect::Soak(_) => None,
        });
        told.collect::<Vec<_>>()
    };
    let by_the_week = made(&house);
    assert!(by_the_week.len() >= 3, "{by_the_week:?}");
    assert!(by_the_week.windows(2).all(|two| two[1] - two[0] == Span::from_days(7)), "{by_the_week:?}");

    // The day after a forecast somebody renews the mulch; the next one does not wait for a week.
    while made(&house).len() == by_the_week.len() {
        house.days(1, 120.0, 20);
    }
    let last = made(&house).len();
    let now = EventTime::from_secs(house.day * 86_400);
    let service = Service {
        at: now,
        subject: Subject::Basin(Id::new("quince").unwrap()),
        work: vec![Work::MulchRenewed],
        mulch_found_mm: None,
        mulch_left_mm: None,
    };
    let command = Input::Command(Box::new(Command::Serviced(service)));
    house.story.engine.apply(now, &command, &mut house.story.effects);
    house.days(2, 120.0, 20);
    assert_eq!(made(&house).len(), last + 1);
}
