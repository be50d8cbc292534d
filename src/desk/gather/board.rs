//! The first page.

use std::collections::BTreeMap;

use crate::desk::sheet::{Board, Counts, PropertySheet, SystemCard};
use crate::desk::words;
use crate::model::Id;

/// Sorts cards into properties, most urgent first; equals by name.
pub fn board(cards: impl IntoIterator<Item = SystemCard>) -> Board {
    let mut counts = Counts::default();
    let mut properties: BTreeMap<Id, Vec<SystemCard>> = BTreeMap::new();
    for card in cards {
        counts.add(card.urgency);
        properties.entry(card.property.clone()).or_default().push(card);
    }
    let mut properties: Vec<PropertySheet> = properties
        .into_iter()
        .map(|(id, mut systems)| {
            systems.sort_by(|a, b| (a.urgency, &a.name).cmp(&(b.urgency, &b.name)));
            PropertySheet { name: words::title(id.as_str()), id, systems }
        })
        .collect();
    properties.sort_by(|a, b| (a.systems[0].urgency, &a.name).cmp(&(b.systems[0].urgency, &b.name)));
    Board { counts, properties }
}
