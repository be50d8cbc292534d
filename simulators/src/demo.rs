//! The demonstration portfolio: five systems on three properties, each with its own story.
//!
//! Places and people are invented. The stories are the scenarios `demo-…`, begun at a chosen time: by day 60 some
//! things are wrong and one basin has just flooded, more follows in the weeks after, and what people did about it
//! shows in between. Past its story a system simply goes on.

use crate::field::Field;
pub use crate::radio::Message;
use crate::scenario::{Scenario, ScenarioError};

/// Name, scenario and system file of each story.
const STORIES: [(&str, &str, &str); 5] = [
    (
        "demo-larkmere-terrace",
        include_str!("../scenarios/demo-larkmere-terrace.toml"),
        include_str!("../systems/larkmere-terrace.toml"),
    ),
    (
        "demo-larkmere-orchard",
        include_str!("../scenarios/demo-larkmere-orchard.toml"),
        include_str!("../systems/larkmere-orchard.toml"),
    ),
    (
        "demo-wattlecombe-north",
        include_str!("../scenarios/demo-wattlecombe-north.toml"),
        include_str!("../systems/wattlecombe-north.toml"),
    ),
    (
        "demo-brisera-huerto",
        include_str!("../scenarios/demo-brisera-huerto.toml"),
        include_str!("../systems/brisera-huerto.toml"),
    ),
    (
        "demo-brisera-patio",
        include_str!("../scenarios/demo-brisera-patio.toml"),
        include_str!("../systems/brisera-patio.toml"),
    ),
];

/// The portfolio under way.
#[derive(Debug)]
pub struct Demo {
    systems: Vec<(String, String)>,
    fields: Vec<Field>,
}

impl Demo {
    /// Begins all stories at `start_ms` (Unix). The same seed gives the same messages.
    pub fn new(start_ms: i64, seed: u64) -> Self {
        let mut demo = Self { systems: Vec::new(), fields: Vec::new() };
        for (name, scenario, system) in STORIES {
            let field = story(name, scenario, system, start_ms)
                .and_then(|scenario| {
                    demo.systems.push((scenario.site.id.clone(), scenario.system_text.clone()));
                    scenario.begin(seed)
                })
                .expect("the stories are compiled in and a test begins each of them");
            demo.fields.push(field);
        }
        demo
    }

    /// Id and system file of each system.
    pub fn systems(&self) -> Vec<(String, String)> {
        self.systems.clone()
    }

    /// Lets time pass and returns the messages received up to and including `t_ms`, in order of arrival. Memory
    /// holds what one call returns: step by days, not by years.
    pub fn advance_to(&mut self, t_ms: i64) -> Vec<Message> {
        let mut arrived = Vec::new();
        for field in &mut self.fields {
            field.advance_to(t_ms, &mut arrived);
        }
        arrived.sort_by_key(|message| message.received_ms);
        arrived
    }
}

fn story(name: &str, text: &str, system: &str, start_ms: i64) -> Result<Scenario, ScenarioError> {
    let mut scenario = Scenario::parse(name, text, &|_| Ok(system.to_owned()))?;
    scenario.start_ms = start_ms;
    Ok(scenario)
}
