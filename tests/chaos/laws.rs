//! What has to be true at the end of every run.

use std::collections::{BTreeMap, BTreeSet};

use basinward::alerts::{AlertNo, Deed, Stage};
use basinward::engine::Effect;
use basinward::fleet::{Fleet, Gathered};
use basinward::ledger::{AlertFilter, DeliveryState, Record, Resolution, View};
use basinward::model::{EventTime, Span};
use basinward::notify::Body;

use crate::daemon::{Handed, PREFIX};
use crate::world::{Taken, World};

/// System, sensor and time of a reading.
type Place = (String, String, EventTime);

/// Holds every law up to the world at rest.
pub(crate) fn hold(world: &mut World) {
    let view = world.daemon().view.clone();
    view.check().expect("the file is whole");
    let stored = stored(world, &view);
    every_acknowledged_reading_is_there_once(world, &stored);
    conclusions_are_those_of_an_undisturbed_replay(world, &view);
    every_alert_is_told_and_no_step_done_twice(world, &view);
    the_reader_has_everything(world, &view, &stored);
}

/// All readings of the ledger.
fn stored(world: &World, view: &View) -> BTreeMap<Place, f64> {
    let mut stored = BTreeMap::new();
    for system in &world.systems {
        for ix in system.sensor_ixs() {
            let sensor = system.sensor_name(ix);
            let history = view.history(&system.id, &sensor, EventTime::MIN, EventTime::MAX, Resolution::Raw);
            for bin in history.expect("the ledger can be read") {
                let place = (system.id.to_string(), sensor.clone(), bin.at);
                assert_eq!(stored.insert(place.clone(), bin.mean), None, "{place:?} is there twice");
            }
        }
    }
    stored
}

/// Time and value that the daemon has to make of a message; none if it has to refuse it.
fn due(handed: &Handed) -> Option<(Place, f64)> {
    let said = &handed.message.said;
    let at = if handed.message.is_dated { said.at } else { handed.received };
    // Not more than 10 minutes ahead of its arrival.
    (at <= handed.received + Span::from_mins(10))
        .then(|| ((said.system.to_owned(), said.sensor.clone(), at), said.value))
}

fn every_acknowledged_reading_is_there_once(world: &World, stored: &BTreeMap<Place, f64>) {
    let mut taken: BTreeSet<usize> = BTreeSet::new();
    let mut due_there: BTreeMap<Place, Vec<f64>> = BTreeMap::new();
    for taken_in in &world.kept {
        let Taken::Message(handed) = taken_in else { continue };
        taken.insert(handed.message.no);
        if let Some((place, value)) = due(handed) {
            due_there.entry(place).or_default().push(value);
        }
    }
    let lost: Vec<_> = world.broker.acknowledged.difference(&taken).collect();
    assert!(lost.is_empty(), "acknowledged, but not stored: {lost:?}");
    for (place, value) in stored {
        let due = due_there.get(place);
        assert!(due.is_some_and(|due| due.contains(value)), "{place:?} = {value}, sent: {due:?}");
    }
    let missing: Vec<_> = due_there.keys().filter(|place| !stored.contains_key(*place)).collect();
    assert!(missing.is_empty(), "{} readings are missing, first {:?}", missing.len(), missing[0]);
}

fn conclusions_are_those_of_an_undisturbed_replay(world: &World, view: &View) {
    let mut fleet = Fleet::new(&world.systems, PREFIX);
    let mut gathered = Gathered::default();
    for taken in &world.kept {
        match taken {
            Taken::Message(Handed { received, message, .. }) => {
                fleet.take(*received, &message.topic, message.payload.as_bytes(), &mut gathered);
            }
            Taken::Tick(now) => fleet.tick(*now, &mut gathered),
        }
    }
    let replayed: Vec<String> = gathered
        .effects
        .iter()
        .filter_map(|(at, effect)| {
            let system = &world.systems[*at].id;
            match effect {
                Effect::Finding(change) => Some(format!("{system}: {change:?}")),
                Effect::Dose(dose) => Some(format!("{system}: dose {} {:?}", dose.at, dose.litres)),
                Effect::Soak(soak) => Some(format!("{system}: soak {} {}", soak.began, soak.lasted)),
                // Not in the log: only the newest is kept.
                Effect::Forecast(_) => None,
            }
        })
        .collect();
    let logged: Vec<String> = view
        .changes_since(0, usize::MAX >> 1)
        .expect("the ledger can be read")
        .into_iter()
        .map(|effect| match effect.record {
            Record::Finding(change) => format!("{}: {change:?}", effect.system),
            Record::Dose(dose) => format!("{}: dose {} {:?}", effect.system, dose.at, dose.litres),
            Record::Soak(soak) => format!("{}: soak {} {}", effect.system, soak.began, soak.lasted),
        })
        .collect();
    let differ = replayed.iter().zip(&logged).position(|(a, b)| a != b);
    let differ =
        differ.or_else(|| (replayed.len() != logged.len()).then(|| replayed.len().min(logged.len())));
    if let Some(at) = differ {
        panic!(
            "conclusion {at} of {} and {} differs:\nundisturbed {:?}\nwith faults {:?}",
            replayed.len(),
            logged.len(),
            replayed.get(at),
            logged.get(at)
        );
    }
}

/// In how many messages an alert was told of, and its end.
#[derive(Default)]
struct Mentions {
    calls: u32,
    ends: u32,
}

fn every_alert_is_told_and_no_step_done_twice(world: &World, view: &View) {
    let mut mentions: BTreeMap<AlertNo, Mentions> = BTreeMap::new();
    for (key, bodies) in &world.phone.taken {
        assert!(bodies.iter().all(|body| *body == bodies[0]), "message {key} meant two things: {bodies:#?}");
        let body: Body = serde_json::from_str(&bodies[0]).expect("a body");
        for item in body.items {
            let mention = mentions.entry(item.alert).or_default();
            if item.over {
                mention.ends += 1;
            } else {
                mention.calls += 1;
            }
        }
    }
    let mut notes = BTreeSet::new();
    for alert in view.alerts(&AlertFilter::default(), 100_000).expect("the ledger can be read") {
        let no = alert.no;
        let story = view.alert(no).expect("the ledger can be read").expect("it is listed");
        let told = mentions.remove(&no).unwrap_or_default();
        assert!(told.calls <= alert.calls, "alert {no} called {} times, told {}", alert.calls, told.calls);
        assert!(
            told.ends <= told.calls,
            "the end of alert {no} is told {} times, it {}",
            told.ends,
            told.calls
        );
        let unsettled =
            story.sent.iter().filter(|sent| !matches!(sent.state, DeliveryState::Confirmed { .. }));
        assert_eq!(unsettled.count(), 0, "messages of alert {no} are not confirmed: {:?}", story.sent);
        if matches!(alert.stage, Stage::Open { .. }) && alert.under.is_none() {
            assert!(told.calls > 0, "alert {no} stands and nobody was told: {alert:?}");
        }
        let is_claimed = world.acknowledged.contains(&no);
        let is_written = story.steps.iter().any(|step| step.deed == Deed::Acknowledged);
        assert!(is_written || !is_claimed, "ana was told that she had alert {no}: {:?}", story.steps);
        for step in story.steps {
            if let Deed::Noted { text } = step.deed {
                assert!(notes.insert(text.clone()), "{text} is there twice");
            }
        }
    }
    let lost = world.noted.iter().find(|note| !notes.contains(*note));
    assert_eq!(lost, None, "answered as written down");
    assert!(mentions.is_empty(), "messages about alerts that do not exist: {:?}", mentions.keys());
}

fn the_reader_has_everything(world: &World, view: &View, stored: &BTreeMap<Place, f64>) {
    let points = &world.reader.points;
    let missing = stored.iter().find(|(place, value)| points.get(*place) != Some(*value));
    assert!(missing.is_none(), "the reader lacks {missing:?}; it has {} of {}", points.len(), stored.len());
    let more = points.keys().find(|place| !stored.contains_key(*place));
    assert!(more.is_none(), "the reader has {more:?}, which the ledger has not");
    let logged = view.changes_since(0, usize::MAX >> 1).expect("the ledger can be read");
    assert!(
        logged.iter().eq(world.reader.effects.values()),
        "the reader has other conclusions: {} of {}",
        world.reader.effects.len(),
        logged.len()
    );
}
