//! The first page.

use std::collections::BTreeSet;

use crate::desk::sheet::{Board, Choices, Counts, SystemCard};
use crate::desk::words;

/// Sorts cards: what they need, then urgency, property and name.
pub fn board(cards: impl IntoIterator<Item = SystemCard>) -> Board {
    let mut cards: Vec<SystemCard> = cards.into_iter().collect();
    let mut counts = Counts::default();
    for card in &cards {
        counts.add(card.urgency);
    }
    cards.sort_by(|a, b| {
        let key = |card: &SystemCard| (card.need(), card.urgency);
        key(a).cmp(&key(b)).then_with(|| (&a.property, &a.name).cmp(&(&b.property, &b.name)))
    });
    Board { counts, cards }
}

/// What a filter over `cards` can be set to.
pub fn choices<'a>(cards: impl IntoIterator<Item = &'a SystemCard>) -> Choices {
    let (mut properties, mut kinds) = (BTreeSet::new(), BTreeSet::new());
    for card in cards {
        properties.insert(&card.property);
        kinds.extend(card.findings.iter().map(|open| open.kind.name()));
    }
    let titled = properties.into_iter().map(|id| (words::title(id.as_str()), id.clone()));
    Choices { properties: titled.collect(), kinds }
}

/// What a search looks through, in lower case: names, basins, and what is wrong.
pub fn search_text(card: &SystemCard) -> String {
    let mut text = format!("{}\n{}\n{}\n", card.id, card.name, words::title(card.property.as_str()));
    text.push_str(card.property.as_str());
    for basin in &card.basins {
        text.extend(["\n", &basin.id, "\n", &basin.label]);
    }
    for open in &card.findings {
        text.extend(["\n", &open.headline]);
    }
    text.to_lowercase()
}
