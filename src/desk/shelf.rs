//! The first page, kept until something changes.
//!
//! A redraw compares each system's card with the one before and keeps those that did not change, with
//! the HTML that they were drawn as, so that the work of a commit is that of the systems it touched.

use std::collections::{BTreeMap, BTreeSet};
use std::hash::{Hash, Hasher};
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use maud::Markup;
use rustc_hash::FxHasher;
use tokio::sync::Mutex;
use tokio::time::Instant;

use super::office::Desk;
use super::pages::{self, Detail, Group, Part};
use super::sheet::{Board, Choices, Counts, Filter, FindingSheet, Need, SystemCard};
use super::units::Units;
use super::upkeep;
use super::{fetch, gather, mute};
use crate::ledger::{Latest, LedgerFault, StoredAlert, StoredFinding};
use crate::model::{EventTime, FindingKind, Id, Reach, Span, System};
use crate::schedule::Upkeep;

/// A board rests so many times as long as it took to draw, within [`RESTS`]: then drawing keeps a ninth of one
/// processor busy at most, and a small portfolio is told of changes almost at once.
const REST: u32 = 8;
/// Shortest and longest rest.
const RESTS: (Duration, Duration) = (Duration::from_millis(40), Duration::from_millis(400));
/// After this long on the clock the words for times are looked at again.
const WORDS: Span = Span::MINUTE;
/// So many systems are drawn whole; of more, only the first few that need somebody.
const DRAWN: usize = 40;
/// Of more than [`DRAWN`] systems, so many of those that need somebody are drawn whole.
const WHOLE: usize = 8;

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
    upkeep: Arc<Upkeep>,
    now: EventTime,
    /// Until then it serves even if something was committed since.
    rests_until: Instant,
    board: Arc<Drawn>,
}

/// A first page.
#[derive(Debug)]
pub(super) struct Drawn {
    /// Grows with every board that differs from the one before.
    pub(super) stamp: u64,
    /// Stamp of the first board since the desk opened.
    first: u64,
    counts: Counts,
    pub(super) choices: Choices,
    /// Most urgent first.
    cards: Vec<Arc<Card>>,
    /// Stamp of the board since which the order is the same.
    ordered: u64,
}

/// A system, with what it was drawn as so far.
#[derive(Debug)]
struct Card {
    shown: SystemCard,
    need: Need,
    /// What a search looks through.
    text: String,
    /// Stamp of the board that changed it last, and its line.
    changed: u64,
    row_changed: u64,
    row: String,
    whole: OnceLock<Part>,
    brief: OnceLock<Part>,
}

/// What changed on the first page since some stamp.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Changed {
    /// The order, or too much to name.
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
            let same_upkeep = Arc::ptr_eq(&old.upkeep, &self.desk.upkeep.borrow());
            let same_ledger = old.commit == *self.desk.commits.borrow();
            let same_words = self.desk.clock.now() - old.now < WORDS;
            let is_recent = Instant::now() < old.rests_until;
            if (same_systems && same_upkeep && same_ledger && same_words) || (is_recent && !latest) {
                return Ok(Arc::clone(&old.board));
            }
            // One redraw serves all who wait for the lock.
            tokio::time::sleep_until(old.rests_until).await;
        }
        let (commit, now) = (*self.desk.commits.borrow(), self.desk.clock.now());
        let systems = Arc::clone(&self.desk.systems.borrow());
        let upkeep = Arc::clone(&self.desk.upkeep.borrow());
        let (view, previous) = (self.desk.view.clone(), kept.as_ref().map(|old| Arc::clone(&old.board)));
        let (drawn_from, due, began) = (Arc::clone(&systems), Arc::clone(&upkeep), Instant::now());
        let board = tokio::task::spawn_blocking(move || {
            let (mut open, latest) = (view.findings_open()?, view.latest(None)?);
            for stored in open.iter_mut().filter(|stored| stored.finding.kind == FindingKind::SlowSoak) {
                fetch::foretell(&view, stored)?;
            }
            let alerts = fetch::alerts(&view, None, &open)?;
            let mut cards = cards(&drawn_from, (open, alerts), latest, &due, now);
            let muted = view.muted(now)?;
            // They come in the order of the systems.
            for (card, system) in cards.iter_mut().zip(&*drawn_from).filter(|_| !muted.is_empty()) {
                let here = muted.iter().find(|muted| muted.system == system.id);
                card.muted = here.map(|muted| mute::at_work(muted, system, now));
            }
            Ok::<_, LedgerFault>(Arc::new(draw(cards, now, previous.as_deref())))
        })
        .await
        .expect("drawing does not panic and is not aborted")?;
        let rest = (began.elapsed() * REST).clamp(RESTS.0, RESTS.1);
        let rests_until = Instant::now() + rest;
        *kept = Some(Kept { commit, systems, upkeep, now, rests_until, board: Arc::clone(&board) });
        Ok(board)
    }
}

/// Every system as the board shows it.
fn cards(
    systems: &[Arc<System>],
    (mut open, mut alerts): (Vec<StoredFinding>, Vec<StoredAlert>),
    mut latest: Vec<Latest>,
    upkeep: &Upkeep,
    now: EventTime,
) -> Vec<SystemCard> {
    open.sort_by(|a, b| a.system.cmp(&b.system));
    alerts.sort_by(|a, b| a.system.cmp(&b.system));
    latest.sort_by(|a, b| a.system.cmp(&b.system));
    let mut due = upkeep::due_soon(upkeep, systems, now);
    let card = |system: &Arc<System>| {
        let open = run(&open, |finding| finding.system.cmp(&system.id));
        let latest = run(&latest, |reading| reading.system.cmp(&system.id));
        let mut card = gather::card(system, open, latest, now, Units::Metric);
        let alerts = run(&alerts, |alert| alert.system.cmp(&system.id));
        gather::name_alerts(&mut card.findings, system, alerts, now);
        card.with_due(due.remove(&system.id))
    };
    systems.iter().map(card).collect()
}

/// The board of `cards`, taking over from `previous` what is the same.
fn draw(cards: Vec<SystemCard>, now: EventTime, previous: Option<&Drawn>) -> Drawn {
    let Board { counts, cards } = gather::board(cards);
    let stamp = previous.map_or_else(|| now.millis().unsigned_abs(), |old| old.stamp + 1);
    let choices = gather::choices(&cards);
    let old: BTreeMap<&Id, &Arc<Card>> =
        previous.into_iter().flat_map(|old| &old.cards).map(|card| (&card.shown.id, card)).collect();
    let cards = cards.into_iter().map(|shown| match old.get(&shown.id) {
        Some(same) if same.shown == shown => Arc::clone(same),
        before => Arc::new(Card::new(shown, stamp, before.map(|before| &***before))),
    });
    let first = previous.map_or(stamp, |old| old.first);
    let mut board = Drawn { stamp, first, counts, choices, cards: cards.collect(), ordered: stamp };
    if let Some(old) = previous.filter(|old| old.order().eq(board.order())) {
        board.ordered = old.ordered;
    }
    board
}

/// The items of a sorted list that `compare` calls equal.
fn run<T>(sorted: &[T], compare: impl Fn(&T) -> std::cmp::Ordering) -> &[T] {
    let from = sorted.partition_point(|item| compare(item).is_lt());
    let length = sorted[from..].partition_point(|item| compare(item).is_eq());
    &sorted[from..from + length]
}

impl Card {
    fn new(shown: SystemCard, changed: u64, before: Option<&Self>) -> Self {
        let row = pages::first_row(&shown);
        let same_row = before.filter(|before| before.row == row);
        Self {
            need: shown.need(),
            text: gather::search_text(&shown),
            changed,
            row_changed: same_row.map_or(changed, |before| before.row_changed),
            row,
            whole: OnceLock::new(),
            brief: OnceLock::new(),
            shown,
        }
    }

    /// The card drawn as `detail`; none where that is a line.
    fn part(&self, detail: Detail) -> Option<&Part> {
        let kept = match detail {
            Detail::Whole => &self.whole,
            Detail::Brief => &self.brief,
            Detail::Row => return None,
        };
        Some(kept.get_or_init(|| pages::first_card(&self.shown, detail)))
    }

    /// How much to show of it, as number `at` of `of` systems.
    fn detail(&self, at: usize, of: usize) -> Detail {
        match self.need {
            _ if of <= DRAWN => Detail::Whole,
            Need::Now | Need::Coming if at < WHOLE => Detail::Whole,
            Need::Now | Need::Coming if at < DRAWN => Detail::Brief,
            Need::Now | Need::Coming | Need::Unheard | Need::Fine => Detail::Row,
        }
    }
}

impl Drawn {
    /// What lies within `reach`, as if there were nothing else.
    fn within(self: Arc<Self>, reach: &Reach) -> Arc<Self> {
        if *reach == Reach::Everywhere {
            return self;
        }
        let in_reach = |card: &&Arc<Card>| reach.covers(&card.shown.property);
        let cards: Vec<_> = self.cards.iter().filter(in_reach).cloned().collect();
        let mut counts = Counts::default();
        for card in &cards {
            counts.add(card.shown.urgency);
        }
        let choices = gather::choices(cards.iter().map(|card| &card.shown));
        let Self { stamp, first, ordered, .. } = *self;
        Arc::new(Self { stamp, first, counts, choices, cards, ordered })
    }

    /// Basins in which water stands, most urgent system first.
    fn flooded(&self) -> Vec<&str> {
        self.cards.iter().flat_map(|card| card.shown.flooded()).collect()
    }

    fn order(&self) -> impl Iterator<Item = (Need, &Id)> {
        self.cards.iter().map(|card| (card.need, &card.shown.id))
    }

    /// The open findings of some systems, by their anchors.
    pub(super) fn findings(&self, systems: &BTreeSet<&Id>) -> BTreeMap<&str, &FindingSheet> {
        let cards = self.cards.iter().filter(|card| systems.contains(&card.shown.id));
        cards.flat_map(|card| &card.shown.findings).map(|open| (open.anchor.as_str(), open)).collect()
    }

    /// The systems that `filter` lets through, most urgent first.
    pub(super) fn chosen<'a>(&'a self, filter: &'a Filter) -> impl Iterator<Item = &'a SystemCard> {
        self.kept_by(filter).map(|card| &card.shown)
    }

    fn kept_by<'a>(&'a self, filter: &'a Filter) -> impl Iterator<Item = &'a Arc<Card>> {
        self.cards.iter().filter(|card| filter.lets_through(&card.shown, &card.text))
    }

    fn groups<'a>(&'a self, filter: &'a Filter) -> Vec<Group<'a>> {
        let chosen: Vec<_> = self.kept_by(filter).collect();
        let of = chosen.len();
        let mut groups: Vec<Group<'_>> = Vec::new();
        for (at, card) in chosen.into_iter().enumerate() {
            if groups.last().is_none_or(|last| last.need != card.need) {
                groups.push(Group { need: card.need, cards: Vec::new(), rows: Vec::new() });
            }
            let group = groups.last_mut().expect("there is one by now");
            let property = &card.shown.property;
            match (card.part(card.detail(at, of)), group.rows.last_mut()) {
                (Some(part), _) => group.cards.push(part),
                (None, Some((of, rows))) if *of == property => rows.push(&card.row),
                (None, _) => group.rows.push((property, vec![card.row.as_str()])),
            }
        }
        groups
    }

    /// What is inside the page's `main`; `unwatched` systems are not on the board, since their files cannot be read.
    pub(super) fn main(&self, filter: &Filter, unwatched: usize) -> Markup {
        let flooded = self.flooded();
        pages::first_main((&self.counts, &flooded), unwatched, &self.choices, filter, &self.groups(filter))
    }

    /// The summary and the parts called `names`, one after the other.
    pub(super) fn parts(&self, filter: &Filter, names: &[&str]) -> String {
        let mut html = pages::first_summary(&self.counts, &self.flooded()).html;
        for group in self.groups(filter) {
            let wanted = group.cards.iter().filter(|part| names.contains(&part.name.as_str()));
            html.extend(wanted.map(|part| part.html.as_str()));
            if names.contains(&pages::rows_name(group.need).as_str()) {
                html.push_str(&pages::first_rows(&group).html);
            }
        }
        html
    }

    /// What changed after the board stamped `since`, of what `filter` lets through.
    pub(super) fn changed_since(&self, since: u64, filter: &Filter) -> Changed {
        if since < self.first || since > self.stamp || self.ordered > since {
            return Changed::Everything;
        }
        let chosen: Vec<_> = self.kept_by(filter).collect();
        let mut names = Vec::new();
        for (at, card) in chosen.iter().enumerate() {
            let name = match card.detail(at, chosen.len()) {
                Detail::Row => (card.row_changed > since).then(|| pages::rows_name(card.need)),
                Detail::Whole | Detail::Brief => {
                    (card.changed > since).then(|| format!("s-{}", card.shown.id))
                }
            };
            names.extend(name.filter(|name| names.last() != Some(name)));
        }
        Changed::Parts(names)
    }

    /// Whether the system called `id` changed after the board stamped `since`.
    pub(super) fn is_newer(&self, id: &str, since: u64) -> bool {
        let card = self.cards.iter().find(|card| card.shown.id.as_str() == id);
        since < self.first || since > self.stamp || card.is_none_or(|card| card.changed > since)
    }

    /// A digest of which systems `filter` lets through, in their order.
    pub(super) fn choice(&self, filter: &Filter) -> u64 {
        let mut hasher = FxHasher::default();
        self.kept_by(filter).for_each(|card| card.shown.id.as_str().hash(&mut hasher));
        hasher.finish()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;
    use crate::desk::sheet::Urgency;
    use crate::model::Quantity;

    fn reading(system: &System, sensor: &str, quantity: Quantity, at: EventTime, value: f64) -> Latest {
        Latest { system: system.id.clone(), sensor: sensor.into(), quantity, at, value }
    }

    fn board(
        systems: &[Arc<System>],
        latest: Vec<Latest>,
        now: EventTime,
        previous: Option<&Drawn>,
    ) -> Drawn {
        draw(cards(systems, Default::default(), latest, &Upkeep::default(), now), now, previous)
    }

    const ALL: &Filter =
        &Filter { text: String::new(), property: String::new(), state: String::new(), kind: String::new() };

    fn none() -> Changed {
        Changed::Parts(Vec::new())
    }

    #[test]
    fn only_what_changed_is_drawn_again() {
        let systems = [Arc::new(samples::terrace()), Arc::new(samples::single())];
        let at: EventTime = "2026-03-01T08:15:00Z".parse().unwrap();
        let moist = |content| vec![reading(&systems[0], "quince/moisture", Quantity::Moisture, at, content)];
        let first = board(&systems, moist(0.2), at, None);
        let same = board(&systems, moist(0.2), at, Some(&first));
        assert_eq!(same.changed_since(first.stamp, ALL), none());
        let wetter = board(&systems, moist(0.3), at, Some(&same));
        assert_eq!(wetter.changed_since(first.stamp, ALL), Changed::Parts(vec!["s-terrace".into()]));
        assert_eq!(wetter.changed_since(wetter.stamp, ALL), none());
        assert!(wetter.is_newer("terrace", first.stamp) && !wetter.is_newer("single", first.stamp));
        let single = Filter { text: "SINGLE fig".into(), ..Filter::default() };
        assert_eq!(wetter.changed_since(first.stamp, &single), none(), "the terrace is not looked at");
        assert!(wetter.parts(ALL, &["s-terrace"]).contains("30\u{a0}%"));
        assert!(!wetter.parts(ALL, &["s-terrace"]).contains("Single"));
    }

    #[test]
    fn a_filter_leaves_what_is_asked_for() {
        let systems = [Arc::new(samples::terrace()), Arc::new(samples::single())];
        let at: EventTime = "2026-03-01T08:15:00Z".parse().unwrap();
        let all = systems[0].sensor_ixs().filter(|ix| systems[0].sensor(*ix).declared);
        let heard = all.map(|ix| {
            reading(&systems[0], &systems[0].sensor_name(ix), systems[0].sensor(ix).quantity, at, 0.0)
        });
        let drawn = board(&systems, heard.collect(), at, None);
        let names = |filter: Filter| drawn.chosen(&filter).map(|card| card.name.clone()).collect::<Vec<_>>();
        assert_eq!(names(Filter { text: "quince ALDER".into(), ..Filter::default() }), ["Terrace"]);
        assert_eq!(names(Filter { text: "quince clay".into(), ..Filter::default() }), [""; 0]);
        assert_eq!(names(Filter { state: "unheard".into(), ..Filter::default() }), ["Single"]);
        assert_eq!(names(Filter { state: "fine".into(), ..Filter::default() }), ["Terrace"]);
        assert_eq!(names(Filter { property: "alder-court".into(), ..Filter::default() }), ["Terrace"]);
        assert_eq!(names(Filter { kind: "flooding".into(), ..Filter::default() }), [""; 0]);
        assert_eq!(names(Filter::default()), ["Single", "Terrace"]);
    }

    #[test]
    fn two_thousand_systems_fit_one_page() {
        let named = |at: usize| {
            let (id, property) = (format!("larkmere-terrace-{at}"), format!("larkmere-house-{}", at / 8));
            Arc::new(samples::terrace_called(&id, &format!("Larkmere, terrace {at}"), &property))
        };
        let systems: Vec<_> = (0..2_000).map(named).collect();
        let at: EventTime = "2026-03-01T08:15:00Z".parse().unwrap();
        let finding = |system: &Arc<System>| samples::flood(system, "quince", at);
        let open: Vec<_> = systems.iter().step_by(10).map(finding).collect();
        let heard = systems.iter().map(|it| reading(it, "quince/moisture", Quantity::Moisture, at, 0.2));
        let drawn =
            draw(cards(&systems, (open, Vec::new()), heard.collect(), &Upkeep::default(), at), at, None);
        let html = drawn.main(ALL, 0).into_string();
        assert!(html.len() <= 300 * 1024, "{} bytes", html.len());
        assert_eq!(html.matches("href=\"/systems/larkmere-terrace-1999\"").count(), 1);
    }

    #[test]
    fn a_limited_reach_leaves_nothing_else_on_the_board() {
        let systems = [Arc::new(samples::terrace()), Arc::new(samples::single())];
        let at: EventTime = "2026-03-01T08:15:00Z".parse().unwrap();
        let moist = |content| vec![reading(&systems[0], "quince/moisture", Quantity::Moisture, at, content)];
        let first = Arc::new(board(&systems, moist(0.2), at, None));
        let second = Arc::new(board(&systems, moist(0.3), at, Some(&first)));
        let reach = Reach::Properties([systems[1].property.clone()].into());
        let seen = Arc::clone(&second).within(&reach);
        let html = seen.main(ALL, 0).into_string();
        assert!(html.contains("Single") && !html.contains("Terrace"), "{html}");
        assert_eq!(seen.counts.all(), 1);
        assert_eq!(seen.parts(ALL, &["s-terrace"]), pages::first_summary(&seen.counts, &seen.flooded()).html);
        assert_eq!(
            seen.changed_since(first.stamp, ALL),
            Changed::Parts(Vec::new()),
            "the terrace is out of sight"
        );
        assert_eq!(second.within(&Reach::Everywhere).counts.all(), 2);
    }

    #[test]
    fn a_system_that_becomes_more_urgent_changes_the_layout() {
        let systems = [Arc::new(samples::terrace()), Arc::new(samples::single())];
        let at: EventTime = "2026-03-01T08:15:00Z".parse().unwrap();
        let first = board(&systems, Vec::new(), at, None);
        let float = reading(&systems[1], "fig/float", Quantity::Float, at, 0.0);
        let heard = board(&systems, vec![float], at, Some(&first));
        assert_eq!(heard.counts.of(Urgency::Fine), 1);
        assert_eq!(heard.changed_since(first.stamp, ALL), Changed::Everything);
        let gone = board(&systems[..1], Vec::new(), at, Some(&heard));
        assert_eq!(gone.changed_since(first.stamp, ALL), Changed::Everything);
        assert_eq!(
            gone.changed_since(first.stamp - 1, ALL),
            Changed::Everything,
            "from before the desk opened"
        );
    }
}
