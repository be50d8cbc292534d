//! The first page, drawn once and kept until something changes.
//!
//! A redraw compares each system's card with the one before and keeps the finished HTML of those
//! that did not change, so that the work of a commit is that of the systems it touched.

use std::sync::Arc;
use std::time::Duration;

use maud::Markup;
use tokio::sync::Mutex;
use tokio::time::Instant;

use super::gather;
use super::office::Desk;
use super::pages::{self, Detail, Part};
use super::sheet::{Board, Counts, SystemCard, Urgency};
use crate::ledger::{Latest, LedgerFault, StoredFinding};
use crate::model::{EventTime, Id, Reach, Span, System};

/// Up to this age a board serves even if something was committed since.
const RECENT: Duration = Duration::from_millis(300);
/// After this long on the clock the words for times are looked at again.
const WORDS: Span = Span::MINUTE;
/// Portfolios up to this size are drawn whole; of a larger one only the most urgent systems.
const DRAWN: usize = 40;

/// Keeps the newest board.
#[derive(Debug)]
pub(super) struct Shelf {
    desk: Desk,
    kept: Mutex<Option<Kept>>,
}

#[derive(Debug)]
struct Kept {
    /// What it was drawn from.
    commit: u64,
    systems: Arc<Vec<Arc<System>>>,
    now: EventTime,
    drawn_at: Instant,
    board: Arc<Drawn>,
}

/// A finished first page.
#[derive(Debug)]
pub(super) struct Drawn {
    /// Grows with every board that differs from the one before.
    pub(super) stamp: u64,
    /// Stamp of the first board since the desk opened.
    first: u64,
    counts: Counts,
    summary: Stamped<Part>,
    /// Properties, each with its cards, as laid out.
    properties: Vec<(Id, String, Vec<Arc<Card>>)>,
    /// Stamp of the board since which the layout is the same.
    laid_out: u64,
}

/// A thing with the stamp of the board that changed it last.
#[derive(Clone, Debug)]
struct Stamped<T> {
    changed: u64,
    thing: T,
}

#[derive(Debug)]
struct Card {
    shown: SystemCard,
    detail: Detail,
    part: Stamped<Part>,
}

/// What changed on the first page since some stamp.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Changed {
    /// Layout, or too much to name.
    Everything,
    /// These parts.
    Parts(Vec<String>),
}

impl Shelf {
    pub(super) fn new(desk: Desk) -> Self {
        Self { desk, kept: Mutex::default() }
    }

    /// A board that was right not long ago, with what lies within `reach`.
    pub(super) async fn recent(&self, reach: &Reach) -> Result<Arc<Drawn>, LedgerFault> {
        Ok(self.board(false).await?.within(reach))
    }

    /// A board with everything committed before the call, with what lies within `reach`.
    pub(super) async fn latest(&self, reach: &Reach) -> Result<Arc<Drawn>, LedgerFault> {
        Ok(self.board(true).await?.within(reach))
    }

    async fn board(&self, latest: bool) -> Result<Arc<Drawn>, LedgerFault> {
        let mut kept = self.kept.lock().await;
        if let Some(old) = &*kept {
            let same_systems = Arc::ptr_eq(&old.systems, &self.desk.systems.borrow());
            let same_ledger = old.commit == *self.desk.commits.borrow();
            let same_words = self.desk.clock.now() - old.now < WORDS;
            let is_recent = old.drawn_at.elapsed() < RECENT;
            if (same_systems && same_ledger && same_words) || (is_recent && !latest) {
                return Ok(Arc::clone(&old.board));
            }
            // One redraw serves all who wait for the lock.
            tokio::time::sleep_until(old.drawn_at + RECENT).await;
        }
        let (commit, now) = (*self.desk.commits.borrow(), self.desk.clock.now());
        let systems = Arc::clone(&self.desk.systems.borrow());
        let (view, previous) = (self.desk.view.clone(), kept.as_ref().map(|old| Arc::clone(&old.board)));
        let (drawn_from, drawn_at) = (Arc::clone(&systems), Instant::now());
        let board = tokio::task::spawn_blocking(move || {
            let rows = (view.findings_open()?, view.latest(None)?);
            Ok::<_, LedgerFault>(Arc::new(draw(&drawn_from, rows.0, rows.1, now, previous.as_deref())))
        })
        .await
        .expect("drawing does not panic and is not aborted")?;
        *kept = Some(Kept { commit, systems, now, drawn_at, board: Arc::clone(&board) });
        Ok(board)
    }
}

/// Draws the board, taking over from `previous` what is the same.
fn draw(
    systems: &[Arc<System>],
    mut open: Vec<StoredFinding>,
    mut latest: Vec<Latest>,
    now: EventTime,
    previous: Option<&Drawn>,
) -> Drawn {
    open.sort_by(|a, b| a.system.cmp(&b.system));
    latest.sort_by(|a, b| a.system.cmp(&b.system));
    let cards = systems.iter().map(|system| {
        let open = run(&open, |finding| finding.system.cmp(&system.id));
        let latest = run(&latest, |reading| reading.system.cmp(&system.id));
        gather::card(system, open, latest, now)
    });
    let Board { counts, properties } = gather::board(cards);
    let stamp = previous.map_or_else(|| now.millis().unsigned_abs(), |old| old.stamp + 1);
    let mut whole = if counts.all() <= DRAWN { usize::MAX } else { DRAWN };
    let mut old_cards: Vec<&Arc<Card>> = previous.map(|old| old.cards().collect()).unwrap_or_default();
    old_cards.sort_by(|a, b| a.shown.id.cmp(&b.shown.id));
    let mut finish = |card: SystemCard| {
        let detail = if whole > 0 && (counts.all() <= DRAWN || card.urgency < Urgency::Fine) {
            Detail::Whole
        } else {
            Detail::Brief
        };
        whole = whole.saturating_sub(1);
        let old = old_cards.binary_search_by(|old| old.shown.id.cmp(&card.id)).ok().map(|at| old_cards[at]);
        match old.filter(|old| old.detail == detail && old.shown == card) {
            Some(same) => Arc::clone(same),
            None => Arc::new(Card {
                part: Stamped { changed: stamp, thing: pages::first_card(&card, detail) },
                shown: card,
                detail,
            }),
        }
    };
    let properties: Vec<_> = properties
        .into_iter()
        .map(|property| {
            (property.id, property.name, property.systems.into_iter().map(&mut finish).collect::<Vec<_>>())
        })
        .collect();
    let summary = previous.filter(|old| old.counts == counts).map_or_else(
        || Stamped { changed: stamp, thing: pages::first_summary(&counts) },
        |old| old.summary.clone(),
    );
    let first = previous.map_or(stamp, |old| old.first);
    let mut board = Drawn { stamp, first, counts, summary, properties, laid_out: stamp };
    if let Some(old) = previous.filter(|old| old.layout().eq(board.layout())) {
        board.laid_out = old.laid_out;
    }
    board
}

/// The items of a sorted list that `compare` calls equal.
fn run<T>(sorted: &[T], compare: impl Fn(&T) -> std::cmp::Ordering) -> &[T] {
    let from = sorted.partition_point(|item| compare(item).is_lt());
    let length = sorted[from..].partition_point(|item| compare(item).is_eq());
    &sorted[from..from + length]
}

impl Drawn {
    /// What lies within `reach`, as if there were nothing else.
    fn within(self: Arc<Self>, reach: &Reach) -> Arc<Self> {
        if *reach == Reach::Everywhere {
            return self;
        }
        let properties: Vec<_> =
            self.properties.iter().filter(|(id, ..)| reach.covers(id)).cloned().collect();
        let mut counts = Counts::default();
        let mut changed = self.first;
        for card in properties.iter().flat_map(|(_, _, cards)| cards) {
            counts.add(card.shown.urgency);
            changed = changed.max(card.part.changed);
        }
        let summary = Stamped { changed, thing: pages::first_summary(&counts) };
        let Self { stamp, first, laid_out, .. } = *self;
        Arc::new(Self { stamp, first, counts, summary, properties, laid_out })
    }

    fn cards(&self) -> impl Iterator<Item = &Arc<Card>> {
        self.properties.iter().flat_map(|(_, _, cards)| cards)
    }

    fn layout(&self) -> impl Iterator<Item = (&Id, &Id)> {
        self.properties.iter().flat_map(|(id, _, cards)| cards.iter().map(move |card| (id, &card.shown.id)))
    }

    /// What is inside the page's `main`.
    pub(super) fn main(&self) -> Markup {
        let properties = self
            .properties
            .iter()
            .map(|(id, name, cards)| (id, name.as_str(), cards.iter().map(|card| &card.part.thing)));
        pages::first_main(&self.summary.thing, properties)
    }

    /// The parts called `names`, one after the other.
    pub(super) fn parts(&self, names: &[&str]) -> String {
        let parts = self.stamped().map(|part| &part.thing);
        parts.filter(|part| names.contains(&part.name.as_str())).map(|part| part.html.as_str()).collect()
    }

    fn stamped(&self) -> impl Iterator<Item = &Stamped<Part>> {
        std::iter::once(&self.summary).chain(self.cards().map(|card| &card.part))
    }

    /// What changed after the board stamped `since`.
    pub(super) fn changed_since(&self, since: u64) -> Changed {
        /// Beyond this many parts, fetching the whole page is less work.
        const MANY: usize = 20;
        if since < self.first || since > self.stamp || self.laid_out > since {
            return Changed::Everything;
        }
        let changed = self.stamped().filter(|part| part.changed > since);
        let names: Vec<String> = changed.map(|part| part.thing.name.clone()).take(MANY + 1).collect();
        if names.len() > MANY { Changed::Everything } else { Changed::Parts(names) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;
    use crate::model::Quantity;

    fn reading(system: &System, sensor: &str, quantity: Quantity, at: EventTime, value: f64) -> Latest {
        Latest { system: system.id.clone(), sensor: sensor.into(), quantity, at, value }
    }

    #[test]
    fn only_what_changed_is_drawn_again() {
        let systems = [Arc::new(samples::terrace()), Arc::new(samples::single())];
        let at: EventTime = "2026-03-01T08:15:00Z".parse().unwrap();
        let moist = |content| vec![reading(&systems[0], "quince/moisture", Quantity::Moisture, at, content)];
        let first = draw(&systems, Vec::new(), moist(0.2), at, None);
        let same = draw(&systems, Vec::new(), moist(0.2), at, Some(&first));
        assert_eq!(same.changed_since(first.stamp), Changed::Parts(Vec::new()));
        let wetter = draw(&systems, Vec::new(), moist(0.3), at, Some(&same));
        assert_eq!(wetter.changed_since(first.stamp), Changed::Parts(vec!["s-terrace".into()]));
        assert_eq!(wetter.changed_since(wetter.stamp), Changed::Parts(Vec::new()));
        assert!(wetter.parts(&["s-terrace"]).contains("30\u{a0}%"));
        assert!(!wetter.parts(&["s-terrace"]).contains("Single"));
    }

    #[test]
    fn a_limited_reach_leaves_nothing_else_on_the_board() {
        let systems = [Arc::new(samples::terrace()), Arc::new(samples::single())];
        let at: EventTime = "2026-03-01T08:15:00Z".parse().unwrap();
        let moist = |content| vec![reading(&systems[0], "quince/moisture", Quantity::Moisture, at, content)];
        let first = Arc::new(draw(&systems, Vec::new(), moist(0.2), at, None));
        let second = Arc::new(draw(&systems, Vec::new(), moist(0.3), at, Some(&first)));
        let reach = Reach::Properties([systems[1].property.clone()].into());
        let seen = Arc::clone(&second).within(&reach);
        let html = seen.main().into_string();
        assert!(html.contains("Single") && !html.contains("Terrace"), "{html}");
        assert_eq!(seen.counts.all(), 1);
        assert_eq!(seen.parts(&["s-terrace"]), "");
        assert_eq!(
            seen.changed_since(first.stamp),
            Changed::Parts(Vec::new()),
            "the terrace is out of sight"
        );
        assert_eq!(second.within(&Reach::Everywhere).counts.all(), 2);
    }

    #[test]
    fn a_system_that_becomes_more_urgent_changes_the_layout() {
        let systems = [Arc::new(samples::terrace()), Arc::new(samples::single())];
        let at: EventTime = "2026-03-01T08:15:00Z".parse().unwrap();
        let first = draw(&systems, Vec::new(), Vec::new(), at, None);
        let float = reading(&systems[1], "fig/float", Quantity::Float, at, 0.0);
        let heard = draw(&systems, Vec::new(), vec![float], at, Some(&first));
        assert_eq!(heard.counts.of(Urgency::Fine), 1);
        assert_eq!(
            heard.changed_since(first.stamp),
            Changed::Parts(vec!["summary".into(), "s-single".into()])
        );
        let gone = draw(&systems[..1], Vec::new(), Vec::new(), at, Some(&heard));
        assert_eq!(gone.changed_since(first.stamp), Changed::Everything);
        assert_eq!(gone.changed_since(first.stamp - 1), Changed::Everything, "from before the desk opened");
    }
}
