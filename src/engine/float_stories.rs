//! Stories of yards where only floats tell of water.

use std::sync::Arc;

use super::stories::{Story, floats_of};
use super::{Effect, Engine, Input};
use crate::model::*;

/// Minutes between doses.
const APART: i64 = 480;

/// A dose that raises such floats for a while.
fn dose(story: &mut Story, n: i64, floats: &[&str]) {
    for float in floats {
        story.wet(n * APART, &format!("{float}/float"));
    }
    for float in ["quince", "fig", "plum", "olive"] {
        story.dry(n * APART + 40, &format!("{float}/float"));
    }
}

#[test]
fn an_outlet_that_lets_nothing_through_is_told_and_over_when_its_float_rises_again() {
    let splitters = [("s1", ["s2", "s3"]), ("s2", ["quince", "fig"]), ("s3", ["plum", "olive"])];
    let system = floats_of(&["quince", "fig", "plum", "olive"], &splitters);
    let mut story = Story { engine: Engine::new(Arc::clone(&system)), effects: Vec::new() };
    (0..60).for_each(|n| dose(&mut story, n, &["quince", "fig", "plum", "olive"]));
    assert!(!story.told().iter().any(|told| told.contains("blocked-outlet")), "{:?}", story.told());
    (60..75).for_each(|n| dose(&mut story, n, &["quince", "fig", "olive"]));
    let told = story.told();
    let raised = told.iter().find(|told| told.contains("raised blocked-outlet")).expect("it is told");
    let minute: i64 = raised.split(' ').next().and_then(|word| word.parse().ok()).expect("a time");
    assert!((61 * APART..66 * APART).contains(&minute), "within five doses: {raised}");
    assert!(raised.contains("plum"), "{raised}");
    (75..85).for_each(|n| dose(&mut story, n, &["quince", "fig", "plum", "olive"]));
    assert!(
        story.told().iter().any(|told| told.contains("cleared blocked-outlet basin:plum")),
        "{:?}",
        story.told()
    );
}

#[test]
fn a_renewed_floor_that_takes_its_water_at_once_hides_no_blocked_outlet() {
    let splitters = [("s1", ["s2", "s3"]), ("s2", ["quince", "fig"]), ("s3", ["plum", "olive"])];
    let system = floats_of(&["quince", "fig", "plum", "olive"], &splitters);
    let mut story = Story { engine: Engine::new(Arc::clone(&system)), effects: Vec::new() };
    (0..60).for_each(|n| dose(&mut story, n, &["quince", "fig", "plum", "olive"]));
    let at = EventTime::from_secs((59 * APART + 120) * 60);
    let service = Service {
        at,
        subject: Subject::Basin(Id::new("plum").expect("an id")),
        work: vec![Work::MulchRenewed],
        mulch_found_mm: None,
        mulch_left_mm: None,
    };
    story.engine.apply(at, &Input::Command(Box::new(Command::Serviced(service))), &mut story.effects);
    let before = story.told().len();
    (60..90).for_each(|n| dose(&mut story, n, &["quince", "fig", "olive"]));
    let told = story.told().split_off(before);
    assert!(!told.iter().any(|told| told.contains("blocked") || told.contains("stuck")), "{told:?}");
}

/// Doses that a meter counts, of 30 to 250 L without rhythm.
struct Metered {
    story: Story,
    count: f64,
}

impl Metered {
    /// Dose `n`: a float rises if its basin gets as much as 110 L usually bring it, `parts` being how much of that it gets.
    fn dose(&mut self, n: i64, parts: [f64; 4]) {
        let litres = 30.0 * 8.0_f64.powf((n * 7919 % 101) as f64 / 101.0);
        self.count += litres.round();
        self.story.say(n * APART, "meter", Value::Number(self.count));
        let floats = ["quince", "fig", "plum", "olive"];
        for (float, part) in floats.iter().zip(parts) {
            if litres * part > 110.0 {
                self.story.wet(n * APART + 5, &format!("{float}/float"));
            }
        }
        for float in floats {
            self.story.dry(n * APART + 45, &format!("{float}/float"));
        }
        // Nothing runs in between: the meter does not leak.
        (1..12).for_each(|i| self.story.say(n * APART + 40 * i, "meter", Value::Number(self.count)));
    }

    /// What was told of outlets and floats in doses `from` to `to`.
    fn told(&mut self, from: i64, to: i64, parts: [f64; 4]) -> Vec<String> {
        let before = self.story.told().len();
        (from..to).for_each(|n| self.dose(n, parts));
        let told = self.story.told().split_off(before).into_iter();
        told.filter(|told| told.contains("blocked") || told.contains("stuck")).collect()
    }
}

/// With a meter it is known which doses should have raised which float.
#[test]
fn by_a_meter_a_blocked_outlet_is_told_soon_and_a_jammed_float_is_not_taken_for_one() {
    let splitters = [("s1", ["s2", "s3"]), ("s2", ["quince", "fig"]), ("s3", ["plum", "olive"])];
    let begin = || {
        let system = floats_of(&["quince", "fig", "plum", "olive"], &splitters);
        let mut story = Story { engine: Engine::new(system), effects: Vec::new() };
        story.say(-10, "meter", Value::Number(0.0));
        let mut metered = Metered { story, count: 0.0 };
        assert_eq!(metered.told(0, 120, [1.0; 4]), Vec::<String>::new());
        metered
    };
    let told = begin().told(120, 132, [1.0, 1.0, 0.0, 2.0]);
    assert!(told.iter().any(|told| told.contains("raised blocked-outlet basin:plum")), "{told:?}");
    assert!(!told.iter().any(|told| told.contains("sensor-stuck")), "{told:?}");

    let mut jammed = begin();
    let told = jammed.told(120, 150, [1.0, 1.0, 0.0, 1.0]);
    assert!(told.iter().any(|told| told.contains("raised sensor-stuck sensor:plum/float")), "{told:?}");
    assert!(!told.iter().any(|told| told.contains("blocked-outlet")), "{told:?}");
    let told = jammed.told(150, 160, [1.0; 4]);
    assert!(told.iter().any(|told| told.contains("cleared sensor-stuck sensor:plum/float")), "{told:?}");
}

#[test]
fn work_on_the_outlet_ends_it_and_what_was_gathered_against_it() {
    let splitters = [("s1", ["s2", "olive"]), ("s2", ["quince", "fig"])];
    let system = floats_of(&["quince", "fig", "olive"], &splitters);
    let mut story = Story { engine: Engine::new(Arc::clone(&system)), effects: Vec::new() };
    let dose = |story: &mut Story, n: i64, quince: bool| {
        let rising = [("quince", quince), ("fig", true), ("olive", true)];
        for (float, _) in rising.iter().filter(|(_, rises)| *rises) {
            story.wet(n * APART, &format!("{float}/float"));
        }
        for (float, _) in rising {
            story.dry(n * APART + 40, &format!("{float}/float"));
        }
    };
    (0..60).for_each(|n| dose(&mut story, n, true));
    (60..75).for_each(|n| dose(&mut story, n, false));
    let blocked = |story: &Story| {
        let of = |verb: &str| story.told().iter().filter(|told| told.contains(verb)).count();
        of("raised blocked-outlet basin:quince") > of("cleared blocked-outlet basin:quince")
    };
    assert!(blocked(&story));
    let at = EventTime::from_secs(74 * APART * 60 + 7200);
    let service = Service {
        at,
        subject: Subject::Basin(Id::new("quince").expect("an id")),
        work: vec![Work::OutletCleared],
        mulch_found_mm: None,
        mulch_left_mm: None,
    };
    story.engine.apply(at, &Input::Command(Box::new(Command::Serviced(service))), &mut story.effects);
    assert!(!blocked(&story));
    (75..77).for_each(|n| dose(&mut story, n, false));
    assert!(!blocked(&story), "it begins anew");
}

#[test]
fn one_blocked_outlet_that_is_cleared_leaves_what_was_told_of_another() {
    let splitters = [("s1", ["s2", "olive"]), ("s2", ["quince", "fig"])];
    let system = floats_of(&["quince", "fig", "olive"], &splitters);
    let mut story = Story { engine: Engine::new(Arc::clone(&system)), effects: Vec::new() };
    let dose = |story: &mut Story, n: i64, rising: &[&str]| {
        for float in rising {
            story.wet(n * APART, &format!("{float}/float"));
        }
        for float in ["quince", "fig", "olive"] {
            story.dry(n * APART + 40, &format!("{float}/float"));
        }
    };
    (0..60).for_each(|n| dose(&mut story, n, &["quince", "fig", "olive"]));
    (60..75).for_each(|n| dose(&mut story, n, &["olive"]));
    let of_fig = |story: &Story| -> Vec<String> {
        let told = story.told().into_iter();
        told.filter(|told| told.contains("blocked-outlet basin:fig")).collect()
    };
    let before = of_fig(&story);
    assert!(before.iter().any(|told| told.contains("raised")), "{:?}", story.told());
    (75..85).for_each(|n| dose(&mut story, n, &["quince", "olive"]));
    assert!(story.told().iter().any(|told| told.contains("cleared blocked-outlet basin:quince")));
    assert_eq!(of_fig(&story), before);
}

/// Pages tell of water in the past once it has gone, and find what tells of it by this time.
#[test]
fn what_tells_of_standing_water_bears_the_time_since_which_it_stands() {
    for (sensor, kinds) in [
        ("quince/float", &[FindingKind::Ponding, FindingKind::Flooding][..]),
        ("quince/overflow", &[FindingKind::Flooding]),
    ] {
        let mut story = Story::begin();
        story.wet(10, sensor);
        story.wait(500);
        let told: Vec<_> = story
            .effects
            .iter()
            .filter_map(|effect| match effect {
                Effect::Finding(change) => Some(&change.finding),
                Effect::Dose(_) | Effect::Soak(_) | Effect::Forecast(_) => None,
            })
            .collect();
        for kind in kinds {
            let finding = told.iter().find(|finding| finding.kind == *kind).unwrap();
            let since: EventTime = finding.estimate["standing_since"].as_str().unwrap().parse().unwrap();
            assert_eq!(since, EventTime::from_secs(600), "{sensor} {kind}");
            assert_eq!(finding.evidence[0].at, Some(since), "{sensor} {kind}");
        }
    }
}

/// The float rises a quarter of an hour before the first of its eight turns a day to say how it is.
fn rises_before_its_turn(story: &mut Story, turn: i64) {
    story.wet(turn - 15, "quince/float");
    story.wet(turn, "quince/float");
}

/// A pond is told once its float has said so after the time that the basin may take, for the message that it fell may
/// have been lost after an early one; where water stood for too long of late, that is waited for no longer.
#[test]
fn a_float_that_said_early_that_it_is_up_must_say_so_again() {
    let ponds = |story: &Story| story.told().iter().filter(|told| told.contains("raised ponding")).count();
    let mut story = Story::begin();
    for turn in (1..30).map(|day| day * 1440) {
        rises_before_its_turn(&mut story, turn);
        story.dry(turn + 5, "quince/float");
        (1..8).for_each(|later| story.dry(turn + later * 180, "quince/float"));
    }
    assert_eq!(ponds(&story), 0);
    let (lost, pond, next) = (30 * 1440, 31 * 1440, 32 * 1440);
    for turn in [lost, pond, next] {
        rises_before_its_turn(&mut story, turn);
        story.wait(turn + 170);
        assert_eq!(ponds(&story), if turn == next { 2 } else { 0 }, "{:?}", story.told());
        if turn == pond {
            story.wet(turn + 180, "quince/float");
            story.wait(turn + 181);
            assert_eq!(ponds(&story), 1, "{:?}", story.told());
        }
        story.dry(turn + 185, "quince/float");
    }
}
