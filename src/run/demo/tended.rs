//! A simulated yard in which somebody does what a plan says.

use simulators::fault::{Action, Moment, Service};
use simulators::field::Field;
use simulators::radio::Message;
use simulators::scenario::{Scenario, ScenarioError};
use simulators::truth::TrueDose;

use super::deeds::Deed;
use crate::model::{EventTime, Span};

/// A story under way. Work that is decided on the way is put into the story, which is then told again up to now:
/// the same seed gives the same weather, people and sensors.
#[derive(Debug)]
pub struct TendedYard {
    story: Scenario,
    seed: u64,
    field: Field,
    doses: Vec<TrueDose>,
    done: Vec<(EventTime, Deed)>,
}

/// Lets time pass in all yards and returns what their sensors sent, in order of arrival.
pub(super) fn arrived(yards: &mut [TendedYard], until: EventTime) -> Vec<Message> {
    let mut arrived: Vec<Message> = yards.iter_mut().flat_map(|yard| yard.live_until(until)).collect();
    arrived.sort_by_key(|message| message.received_ms);
    arrived
}

impl TendedYard {
    /// Begins a story. The same seed gives the same messages.
    ///
    /// # Errors
    /// The story does not fit its system.
    pub fn begin(story: Scenario, seed: u64) -> Result<Self, ScenarioError> {
        let field = story.begin(seed)?;
        Ok(Self { story, seed, field, doses: Vec::new(), done: Vec::new() })
    }

    /// The id of its system.
    pub fn id(&self) -> &str {
        &self.story.site.id
    }

    /// Its system file.
    pub fn system_file(&self) -> &str {
        &self.story.system_text
    }

    /// When the story begins.
    pub fn begins(&self) -> EventTime {
        EventTime::from_millis(self.story.start_ms)
    }

    /// When it ends.
    pub fn ends(&self) -> EventTime {
        EventTime::from_millis(self.story.end_ms())
    }

    /// How far it has come.
    pub fn now(&self) -> EventTime {
        EventTime::from_millis(self.field.world().now_ms())
    }

    /// The yard as it truly is.
    pub fn field(&mut self) -> &mut Field {
        &mut self.field
    }

    /// Every dose so far, as it truly was.
    pub fn doses(&mut self) -> &[TrueDose] {
        self.doses.extend(self.field.world_mut().take_doses());
        &self.doses
    }

    /// Lets time pass and returns what the sensors sent.
    pub fn live_until(&mut self, at: EventTime) -> Vec<Message> {
        let mut arrived = Vec::new();
        self.field.advance_to(at.millis(), &mut arrived);
        arrived
    }

    /// Somebody does this in turn from now on, each so long after the one before.
    pub fn put_to_work(&mut self, actions: impl IntoIterator<Item = Action>, each: Span) {
        self.put_to(actions.into_iter().map(Deed::Act), each);
    }

    pub(super) fn put_to(&mut self, deeds: impl IntoIterator<Item = Deed>, each: Span) {
        let now = self.now();
        let mut at = now;
        let times = deeds.into_iter().map(|deed| {
            at = at + each;
            (at, deed)
        });
        let deeds: Vec<_> = times.collect();
        self.repeat(deeds, now);
    }

    /// What was done so far, and when.
    pub(super) fn done(&self) -> &[(EventTime, Deed)] {
        &self.done
    }

    /// Does once more what was done, and tells the story up to `now`.
    pub(super) fn repeat(&mut self, deeds: Vec<(EventTime, Deed)>, now: EventTime) {
        if deeds.is_empty() {
            return;
        }
        for (at, deed) in &deeds {
            let at = Moment::At(at.millis());
            match deed {
                Deed::Act(action) => self.story.services.push(Service { at, action: action.clone() }),
                Deed::Mend(sensor) => self.mend(sensor, at),
            }
        }
        self.done.extend(deeds);
        self.doses.clear();
        self.field = self.story.begin(self.seed).expect("work was planned for parts of this yard");
        self.live_until(now);
    }

    /// Ends what is wrong with a sensor, or with the device of its basin.
    fn mend(&mut self, sensor: &str, at: Moment) {
        let (start_ms, basin) = (self.story.start_ms, sensor.split('/').next());
        for trouble in &mut self.story.troubles {
            let on = trouble.on.as_deref();
            let stands = trouble.from_ms(start_ms) <= at.at_ms(start_ms)
                && trouble.until_ms(start_ms) > at.at_ms(start_ms);
            if stands && (on == Some(sensor) || on == basin) {
                trouble.until = Some(at);
            }
        }
    }
}
