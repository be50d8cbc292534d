//! A simulated yard in which somebody does what a plan says.

use basinward::model::{EventTime, Span};
use simulators::fault::{Action, FaultKind, Moment, Service};
use simulators::field::Field;
use simulators::radio::Message;
use simulators::scenario::Scenario;
use simulators::standing::{Level, Spell};

const YARD: &str = include_str!("yard.toml");
const STORY: &str = include_str!("story.toml");
const SEED: u64 = 7;
/// Water that stands longer than this is a flood, for this soil and depth.
const HOLD: Span = Span::from_hours(6);

/// The story under way. Work that is decided on the way is put into the story, which is then told again up to now:
/// the same seed gives the same weather, people and sensors.
pub(super) struct SimulatedYard {
    story: Scenario,
    field: Field,
}

impl SimulatedYard {
    pub(super) fn new() -> Self {
        let story = Scenario::parse("year", STORY, &|_| Ok(YARD.to_owned())).expect("the story is sound");
        let field = story.begin(SEED).expect("it begins");
        Self { story, field }
    }

    /// Its system file.
    pub(super) const fn system_file() -> &'static str {
        YARD
    }

    pub(super) fn begins(&self) -> EventTime {
        EventTime::from_millis(self.story.start_ms)
    }

    pub(super) fn ends(&self) -> EventTime {
        EventTime::from_millis(self.story.end_ms())
    }

    fn now(&self) -> EventTime {
        EventTime::from_millis(self.field.world().now_ms())
    }

    /// Lets time pass and returns what the sensors sent.
    pub(super) fn live_until(&mut self, at: EventTime) -> Vec<Message> {
        let mut arrived = Vec::new();
        self.field.advance_to(at.millis(), &mut arrived);
        arrived
    }

    /// Somebody does this in turn from now on, each so long after the one before.
    pub(super) fn put_to_work(&mut self, actions: impl IntoIterator<Item = Action>, each: Span) {
        let now = self.now();
        let mut at = now;
        for action in actions {
            at = at + each;
            self.story.services.push(Service { at: Moment::At(at.millis()), action });
        }
        if at > now {
            self.field = self.story.begin(SEED).expect("work fits the yard");
            self.live_until(now);
        }
    }

    /// Litres that truly left the fixtures, and that truly reached each basin, since this was last asked.
    pub(super) fn water(&mut self) -> (f64, Vec<f64>) {
        let doses = self.field.world_mut().take_doses();
        let basins = self.story.site.basins.len();
        let into = (0..basins).map(|basin| doses.iter().map(|dose| dose.basin_litres[basin]).sum());
        (doses.iter().map(|dose| dose.litres).sum(), into.collect())
    }

    /// Every spell in which water stood above a float for longer than 6 hours or at the rim, since this was last
    /// asked: by day on which it began.
    pub(super) fn floods(&mut self) -> Vec<EventTime> {
        self.field.close_spells();
        let long = |spell: &Spell| spell.until_ms - spell.from_ms > HOLD.millis();
        let spells = self.field.take_spells().into_iter().map(|(_, spell)| spell);
        let floods = spells.filter(|spell| spell.level == Level::Rim || long(spell));
        floods.map(|spell| EventTime::from_millis(spell.from_ms)).collect()
    }

    /// Days that a splitter stood off level until now.
    pub(super) fn days_off_level(&self) -> f64 {
        let faults = self.field.world().faults();
        let tilts = faults.iter().filter(|fault| matches!(fault.kind, FaultKind::Tilt { .. }));
        let time = EventTime::from_millis;
        tilts.map(|it| (it.end_ms.map_or(self.now(), time) - time(it.start_ms)).days_f64().max(0.0)).sum()
    }
}
