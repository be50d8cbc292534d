//! The state of every system and basin, for home and building controllers: retained messages over MQTT.
//!
//! `<topic>/<system>` and `<topic>/<system>/<basin>`, by default below `basinward/state`, each JSON:
//! `{"state":"fine"|"alert"|"acknowledged"|"snoozed","severity":"critical"|"warning"|"info"|null,"alerts":[…]}`
//! with `alert`, `finding`, `severity`, `stage` and `since` of each alert, most severe first. A basin
//! shows its own alerts and those of its sensors, the system all of them. What no system file has any more is taken
//! away from the broker by an empty message, as MQTT 3.1.1 says in section 3.3.1.3.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Duration;

use bytes::Bytes;
use serde_json::{Value, json};
use tokio::sync::watch;
use tokio::time::Instant;
use tracing::{debug, error};

use crate::alerts::Stage;
use crate::ledger::{AlertFilter, LedgerFault, StoredAlert, View};
use crate::link::Publisher;
use crate::model::{Id, Subject, System};
use crate::telemetry::chain;

/// Everything is published again after this long, should the broker have lost it.
const AGAIN: Duration = Duration::from_mins(10);
/// Standing alerts that are looked at.
const STANDING: usize = 100_000;

/// Keeps the states at the broker right.
pub(super) struct States {
    pub(super) view: View,
    pub(super) systems: watch::Receiver<Arc<Vec<Arc<System>>>>,
    pub(super) commits: watch::Receiver<u64>,
    pub(super) publisher: Publisher,
    pub(super) topic: String,
}

impl States {
    /// Works until dropped.
    pub(super) async fn run(mut self) {
        let mut published: BTreeMap<String, String> = BTreeMap::new();
        let (mut seen, mut since, mut complete) = (None, Instant::now(), false);
        let mut taken_away = false;
        loop {
            let step = self.view.last_alert_step().ok();
            taken_away &= !self.systems.has_changed().unwrap_or(false);
            let changed = step != seen || !taken_away;
            if since.elapsed() > AGAIN {
                published.clear();
                since = Instant::now();
                complete = false;
            }
            if changed || !complete {
                self.systems.mark_unchanged();
                match self.publish(&mut published).await {
                    Ok(all) => (seen, complete) = (step, all),
                    Err(fault) => error!(fault = %chain(&fault), "cannot read the states of systems"),
                }
            }
            if !taken_away {
                match self.take_away(&mut published).await {
                    Ok(all) => taken_away = all,
                    Err(fault) => error!(fault = %chain(&fault), "cannot read the states of systems"),
                }
            }
            // A commit a moment ago and the next one may be told of together.
            tokio::time::sleep(Duration::from_millis(100)).await;
            let _ = tokio::time::timeout(Duration::from_secs(5), self.commits.changed()).await;
        }
    }

    /// Publishes what changed; says whether everything is at the broker now.
    async fn publish(&self, published: &mut BTreeMap<String, String>) -> Result<bool, LedgerFault> {
        let (view, systems) = (self.view.clone(), Arc::clone(&self.systems.borrow()));
        let standing = AlertFilter { standing: Some(true), ..AlertFilter::default() };
        let alerts = tokio::task::spawn_blocking(move || view.alerts(&standing, STANDING))
            .await
            .expect("reading does not panic and is not aborted")?;
        let mut by_system: BTreeMap<&Id, Vec<&StoredAlert>> = BTreeMap::new();
        for alert in &alerts {
            by_system.entry(&alert.system).or_default().push(alert);
        }
        let none = Vec::new();
        for system in systems.iter() {
            let alerts = by_system.get(&system.id).unwrap_or(&none);
            for (part, state) in states(system, alerts) {
                let (topic, state) = (format!("{}/{part}", self.topic), state.to_string());
                if published.get(&topic) == Some(&state) {
                    continue;
                }
                if let Err(fault) = self.publisher.publish(&topic, state.clone().into(), true).await {
                    debug!(%fault, topic, "a state waits to be published");
                    return Ok(false);
                }
                published.insert(topic, state);
            }
        }
        Ok(true)
    }

    /// Empties the topics of what the ledger knows and no system file has any more; says whether all are.
    async fn take_away(&self, published: &mut BTreeMap<String, String>) -> Result<bool, LedgerFault> {
        let (view, systems) = (self.view.clone(), Arc::clone(&self.systems.borrow()));
        let ever = tokio::task::spawn_blocking(move || view.places_ever())
            .await
            .expect("reading does not panic and is not aborted")?;
        let standing: BTreeSet<(&Id, Option<&Id>)> =
            systems.iter().flat_map(|system| places(system)).collect();
        let gone = ever.iter().filter(|(system, basin)| !standing.contains(&(system, basin.as_ref())));
        for topic in
            gone.map(|(system, basin)| format!("{}/{}", self.topic, topic_of(system, basin.as_ref())))
        {
            if let Err(fault) = self.publisher.publish(&topic, Bytes::new(), true).await {
                debug!(%fault, topic, "a state waits to be taken away");
                return Ok(false);
            }
            published.remove(&topic);
        }
        Ok(true)
    }
}

/// A system and its basins.
fn places(system: &System) -> impl Iterator<Item = (&Id, Option<&Id>)> {
    let basins = system.basins.iter().map(|basin| Some(&basin.id));
    std::iter::once(None).chain(basins).map(|basin| (&system.id, basin))
}

/// The end of the topic of a system or of one of its basins.
fn topic_of(system: &Id, basin: Option<&Id>) -> String {
    basin.map_or_else(|| system.to_string(), |basin| format!("{system}/{basin}"))
}

/// The state of a system and of each of its basins, by the end of their topics.
fn states(system: &System, alerts: &[&StoredAlert]) -> Vec<(String, Value)> {
    let mut states = vec![(topic_of(&system.id, None), state_of(alerts.iter().copied()))];
    for basin in &system.basins {
        let own = alerts.iter().copied().filter(|alert| match &alert.finding.subject {
            Subject::Basin(id) => *id == basin.id,
            Subject::Sensor(name) => {
                name.split_once('/').is_some_and(|(place, _)| place == basin.id.as_str())
            }
            Subject::Splitter(_) | Subject::Source | Subject::Diverter => false,
        });
        states.push((topic_of(&system.id, Some(&basin.id)), state_of(own)));
    }
    states
}

/// What is published of something with these standing alerts.
pub fn state_of<'a>(alerts: impl Iterator<Item = &'a StoredAlert>) -> Value {
    let mut alerts: Vec<_> = alerts.collect();
    alerts.sort_by_key(|alert| (std::cmp::Reverse(alert.finding.severity), alert.no));
    let any = |wanted: fn(&Stage) -> bool| alerts.iter().any(|alert| wanted(&alert.stage));
    let state = if any(Stage::is_open) {
        "alert"
    } else if any(|stage| matches!(stage, Stage::Acknowledged { .. })) {
        "acknowledged"
    } else if any(|stage| matches!(stage, Stage::Snoozed { .. })) {
        "snoozed"
    } else {
        "fine"
    };
    json!({
        "state": state,
        "severity": alerts.first().map(|alert| alert.finding.severity),
        "alerts": alerts.iter().map(|alert| json!({
            "alert": alert.no,
            "finding": alert.finding.kind,
            "severity": alert.finding.severity,
            "stage": alert.stage.name(),
            "since": alert.opened_at,
        })).collect::<Vec<_>>(),
    })
}
