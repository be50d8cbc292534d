//! Tests that tell an engine a story and look at what it concludes.

use std::sync::Arc;

use jiff::tz::TimeZone;

use super::board::{Conclusion, Spot};
use super::{Change, Due, Effect, Engine, Input, WATERMARK};
use crate::model::*;

/// Two basins under one splitter, each with float and moisture probe; meter, diverter and gauge.
pub(super) fn yard() -> Arc<System> {
    yard_of(&["quince", "fig"], &[("s1", ["quince", "fig"])])
}

/// Such basins under splitters that halve what comes.
pub(super) fn yard_of(basins: &[&str], splitters: &[(&str, [&str; 2])]) -> Arc<System> {
    built(basins, splitters, Quantity::is_of_basin)
}

/// The same with floats alone.
pub(super) fn floats_of(basins: &[&str], splitters: &[(&str, [&str; 2])]) -> Arc<System> {
    built(basins, splitters, |quantity| quantity == Quantity::Float)
}

fn built(basins: &[&str], splitters: &[(&str, [&str; 2])], has: impl Fn(Quantity) -> bool) -> Arc<System> {
    let id = |text: &str| Id::new(text).unwrap();
    let basin = |name: &&str| Basin {
        id: id(name),
        plant: None,
        area_m2: 1.2,
        depth_mm: 300.0,
        mulch: Mulch { depth_mm: 200.0, chip: Chip::Coarse, placed: None },
        air_gap_mm: 150.0,
        at: None,
        float_height_mm: Some(120.0),
        overflow_height_mm: Some(260.0),
        moisture_depth_mm: Some(250.0),
        flood_hold: None,
    };
    let basins: Vec<Basin> = basins.iter().map(basin).collect();
    let sensor = |place, quantity, declared| Sensor { place, quantity, wiring: Wired::default(), declared };
    let mut sensors: Vec<Sensor> = [Quantity::Meter, Quantity::Diverter, Quantity::Rain]
        .map(|quantity| sensor(Place::System, quantity, true))
        .into();
    for basin in (0..basins.len() as u16).map(|b| Place::Basin(BasinIx(b))) {
        for quantity in Quantity::ALL.into_iter().filter(|quantity| has(*quantity)) {
            let declared = !matches!(quantity, Quantity::Temperature | Quantity::Battery);
            sensors.push(sensor(basin, quantity, declared));
        }
    }
    let feeds: Vec<_> = splitters.iter().map(|(name, feeds)| (id(name), feeds.map(id), [0.5, 0.5])).collect();
    let names: Vec<Id> = basins.iter().map(|basin| basin.id.clone()).collect();
    let tree = Tree::build(&feeds, &names).unwrap();
    let parts = SystemParts {
        id: id("yard"),
        name: "The yard".into(),
        property: id("home"),
        zone: TimeZone::UTC,
        location: None,
        soil: Soil::SandyLoam,
        commissioned: None,
        source: Source {
            people: 4,
            fixtures: Vec::new(),
            litres_per_count: Some(1.0),
            meter_after_diverter: false,
        },
        diverter: true,
        rain_mm_per_count: Some(0.2),
        splitters: feeds
            .iter()
            .map(|(id, ..)| Splitter { id: id.clone(), split: [0.5, 0.5], at: None })
            .collect(),
        basins,
        sensors,
    };
    Arc::new(System::new(parts, tree))
}

/// An engine that is told what sensors say, minute by minute, and what it made of it.
pub(super) struct Story {
    pub(super) engine: Engine,
    pub(super) effects: Vec<Effect>,
}

impl Story {
    pub(super) fn begin() -> Self {
        Self { engine: Engine::new(yard()), effects: Vec::new() }
    }

    pub(super) fn say(&mut self, minute: i64, sensor: &str, value: Value) {
        let system = Arc::clone(self.engine.system());
        let sensor = system.sensor_ixs().find(|&ix| system.sensor_name(ix) == sensor).unwrap();
        let at = EventTime::from_secs(minute * 60);
        self.engine.apply(at, &Input::Reading(Reading { sensor, at, value }), &mut self.effects);
    }

    pub(super) fn wet(&mut self, minute: i64, sensor: &str) {
        self.say(minute, sensor, Value::Wet(true));
    }

    pub(super) fn dry(&mut self, minute: i64, sensor: &str) {
        self.say(minute, sensor, Value::Wet(false));
    }

    pub(super) fn wait(&mut self, minute: i64) {
        self.engine.finish(EventTime::from_secs(minute * 60), &mut self.effects);
    }

    /// Every change of a finding as `minute change kind subject`.
    pub(super) fn told(&self) -> Vec<String> {
        let changes = self.effects.iter().filter_map(|effect| match effect {
            Effect::Finding(change) => Some(change),
            Effect::Dose(_) | Effect::Soak(_) | Effect::Forecast(_) => None,
        });
        changes
            .map(|c| {
                let verb = match c.change {
                    Change::Raised => "raised",
                    Change::Updated => "updated",
                    Change::Cleared => "cleared",
                };
                format!("{} {verb} {} {}", c.at.millis() / 60_000, c.finding.kind, c.finding.subject.key())
            })
            .collect()
    }
}

#[test]
fn water_that_stands_is_a_pond_then_a_flood_and_ends_after_a_calm_half_hour() {
    let mut story = Story::begin();
    story.wet(0, "quince/float");
    story.wet(300, "quince/float");
    story.dry(400, "quince/float");
    story.wait(500);
    assert_eq!(
        story.told(),
        [
            "75 raised ponding basin:quince",
            "360 raised flooding basin:quince",
            "430 cleared flooding basin:quince",
            "430 cleared ponding basin:quince",
        ]
    );
}

#[test]
fn the_reading_that_completes_a_flood_raises_it_on_arrival() {
    let mut story = Story::begin();
    for minute in (0..=360).step_by(60) {
        story.wet(minute, "quince/float");
    }
    assert!(story.told().contains(&"360 raised flooding basin:quince".to_owned()), "{:?}", story.told());
    story.wait(400);
    assert_eq!(story.told().iter().filter(|line| line.contains("raised flooding")).count(), 1);
}

#[test]
fn water_that_stands_after_rain_is_given_longer() {
    let mut story = Story::begin();
    story.say(0, "rain", Value::Number(0.0));
    story.say(30, "rain", Value::Number(40.0));
    story.wet(60, "quince/float");
    story.dry(240, "quince/float");
    story.wait(400);
    assert_eq!(story.told(), [] as [&str; 0]);
    story.wet(2000, "quince/float");
    story.wait(2100);
    assert!(story.told().contains(&"2075 raised ponding basin:quince".to_owned()), "{:?}", story.told());
}

#[test]
fn an_overflow_float_needs_two_minutes() {
    let mut story = Story::begin();
    story.wet(0, "fig/overflow");
    story.dry(1, "fig/overflow");
    story.wait(60);
    assert_eq!(story.told(), [] as [&str; 0]);
    story.wet(100, "fig/overflow");
    story.wet(102, "fig/overflow");
    assert_eq!(story.told(), ["102 raised flooding basin:fig"]);
}

#[test]
fn a_shower_that_refills_the_basin_does_not_make_the_flood_flap() {
    let mut story = Story::begin();
    story.wet(0, "quince/float");
    story.dry(500, "quince/float");
    story.wet(520, "quince/float");
    story.dry(530, "quince/float");
    story.wait(700);
    let floods: Vec<_> = story.told().into_iter().filter(|line| line.contains("flooding")).collect();
    assert_eq!(floods, ["360 raised flooding basin:quince", "560 cleared flooding basin:quince"]);
}

#[test]
fn a_basin_that_usually_soaks_fast_ponds_sooner_than_its_soil_allows() {
    let mut story = Story::begin();
    for dose in 0..10 {
        story.wet(dose * 480, "quince/float");
        story.dry(dose * 480 + 15, "quince/float");
    }
    story.wet(5000, "quince/float");
    story.wait(5100);
    let ponds: Vec<_> = story.told().into_iter().filter(|line| line.contains("ponding")).collect();
    assert_eq!(ponds, ["5060 raised ponding basin:quince"]);
}

#[test]
fn where_water_usually_stands_for_hours_a_flood_is_told_and_no_pond_of_the_same_water() {
    let mut story = Story::begin();
    for dose in 0..10 {
        story.wet(dose * 480, "quince/float");
        story.dry(dose * 480 + 180, "quince/float");
    }
    let before = story.told().len();
    story.wet(5000, "quince/float");
    story.wait(5900);
    let told = story.told().split_off(before);
    let standing: Vec<_> = told.iter().filter(|line| line.contains("raised")).collect();
    assert_eq!(standing, ["5360 raised flooding basin:quince"]);
}

#[test]
fn how_long_water_stands_on_a_floor_that_asks_for_a_visit_is_no_habit() {
    let ponds_of_the_last = |is_slow: bool| {
        let mut story = Story::begin();
        let stand = |story: &mut Story, doses: std::ops::Range<i64>, minutes: i64| {
            for dose in doses {
                story.wet(dose * 480, "quince/float");
                story.dry(dose * 480 + minutes, "quince/float");
            }
        };
        stand(&mut story, 0..10, 15);
        if is_slow {
            let conclusion = Conclusion {
                kind: FindingKind::SlowSoak,
                spot: Spot::Basin(BasinIx(0)),
                severity: Severity::Warning,
                probability: 0.9,
                estimate: Vec::new(),
                evidence: Vec::new(),
            };
            let (system, at) = (Arc::clone(story.engine.system()), EventTime::from_secs(4700 * 60));
            story.engine.state.board.conclude(&system, at, conclusion, &mut story.effects);
        }
        stand(&mut story, 10..40, 100);
        let before = story.told().len();
        stand(&mut story, 40..41, 100);
        story.told().split_off(before).iter().filter(|line| line.contains("raised ponding")).count()
    };
    assert_eq!((ponds_of_the_last(false), ponds_of_the_last(true)), (0, 1));
}

#[test]
fn a_silent_probe_is_missed_and_welcomed_back() {
    let mut story = Story::begin();
    for i in 0..40 {
        story.say(i * 15, "quince/moisture", Value::Number(0.2 + 0.001 * (i % 7) as f64));
    }
    story.wait(800);
    story.say(900, "quince/moisture", Value::Number(0.21));
    story.wait(920);
    assert_eq!(
        story.told(),
        [
            "700 raised sensor-silent sensor:quince/moisture",
            "900 cleared sensor-silent sensor:quince/moisture"
        ]
    );
}

#[test]
fn a_battery_runs_low_and_is_changed() {
    let mut story = Story::begin();
    for (day, percent) in [30.0, 19.0, 18.5, 18.0, 9.0, 8.0, 100.0].into_iter().enumerate() {
        story.say(day as i64 * 10, "fig/battery", Value::Number(percent));
    }
    story.wait(100);
    assert_eq!(
        story.told(),
        [
            "20 raised battery-low sensor:fig/battery",
            "40 updated battery-low sensor:fig/battery",
            "60 cleared battery-low sensor:fig/battery",
        ]
    );
}

#[test]
fn water_below_a_diverter_that_says_sewer_is_unexpected_unless_it_rained() {
    let mut story = Story::begin();
    story.say(0, "rain", Value::Number(0.0));
    story.say(0, "diverter", Value::Course(Course::Sewer));
    story.say(50, "rain", Value::Number(9.0));
    for minute in [60, 120] {
        story.wet(minute, "quince/float");
        story.dry(minute + 5, "quince/float");
    }
    story.wait(900);
    assert_eq!(story.told(), [] as [&str; 0]);
    for minute in [1000, 1100] {
        story.wet(minute, "fig/float");
        story.dry(minute + 5, "fig/float");
    }
    story.say(1200, "diverter", Value::Course(Course::Landscape));
    story.wait(1300);
    assert_eq!(
        story.told(),
        ["1100 raised unexpected-water diverter", "1200 cleared unexpected-water diverter"]
    );
}

#[test]
fn the_next_deadline_is_known_with_its_reason() {
    let mut story = Story::begin();
    story.wet(0, "quince/overflow");
    story.engine.apply(EventTime::from_secs(0) + WATERMARK, &Input::Tick, &mut story.effects);
    let due = story.engine.next_due();
    assert_eq!(due, Some((EventTime::from_secs(120), Due::Standing(BasinIx(0)))));
    story.engine.apply(EventTime::from_secs(120) + WATERMARK, &Input::Tick, &mut story.effects);
    assert_eq!(story.told(), ["2 raised flooding basin:quince"]);
}

#[test]
fn a_sensor_that_was_replaced_is_waited_for_from_then_on() {
    let mut story = Story::begin();
    let replaced = 3 * 1440;
    for minute in (0..replaced).step_by(10) {
        story.say(minute, "quince/moisture", Value::Number(0.2 + 0.001 * (minute % 70) as f64 / 70.0));
    }
    let at = EventTime::from_secs(replaced * 60);
    let service = Service {
        at,
        subject: Subject::Sensor("quince/moisture".to_owned()),
        work: vec![Work::SensorReplaced(Quantity::Moisture)],
        mulch_found_mm: None,
        mulch_left_mm: None,
    };
    let command = Input::Command(Box::new(Command::Serviced(service)));
    story.engine.apply(at, &command, &mut story.effects);
    let silent = |story: &Story| -> Vec<String> {
        let mut told = story.told();
        told.retain(|line| line.contains("sensor-silent sensor:quince/moisture"));
        told
    };
    story.wait(replaced + 25 * 60);
    assert_eq!(silent(&story), Vec::<String>::new(), "the new one has not had its day");
    story.wait(replaced + 30 * 60);
    assert_eq!(
        silent(&story),
        [format!("{} raised sensor-silent sensor:quince/moisture", replaced + 26 * 60)]
    );
}
