//! The first page: every system, most urgent first, and the form that narrows it down.

use maud::{Markup, PreEscaped, html};

use super::card::{self, Detail};
use super::layout::{Page, layout_with};
use super::part::Part;
use crate::advice::kind_words;
use crate::desk::assets;
use crate::desk::sheet::{Choices, Chrome, Counts, Filter, Need, SystemCard};
use crate::desk::words;
use crate::model::{FindingKind, Id};

/// With more properties than this the form does not list them; a search finds them by name.
pub const LISTED: usize = 200;

/// Systems that need the same of people.
pub struct Group<'a> {
    /// What they need.
    pub need: Need,
    /// Drawn as cards.
    pub cards: Vec<&'a Part>,
    /// The others, one line each, by property.
    pub rows: Vec<(&'a Id, Vec<&'a str>)>,
}

/// The page around its `main`.
pub fn first(chrome: &Chrome, filter: &Filter, main: &Markup) -> String {
    let query = filter.query();
    let with = |path: &str| if query.is_empty() { path.to_owned() } else { format!("{path}?{query}") };
    let (here, fragment) = (with("/"), with("/fragments/first"));
    let page = Page { title: "Systems", here: &here, fragment: &fragment, live: true };
    layout_with(chrome, &page, &[&assets::FORMS], main).into_string()
}

/// Where water stands, then the state of all systems in one sentence.
pub fn first_summary(counts: &Counts, flooded: &[&str]) -> Part {
    let summary = words::summary(counts, flooded);
    Part::new("summary", |print| {
        html! { h1 class="summary" data-part="summary" data-print=(print) data-say { (summary) } }
    })
}

/// One system as a card.
pub fn first_card(card: &SystemCard, detail: Detail) -> Part {
    Part::new(format!("s-{}", card.id), |print| card::card(card, detail, print))
}

/// One system as a line.
pub fn first_row(card: &SystemCard) -> String {
    card::row(card).into_string()
}

/// Name of the part with the lines of those that need `need`.
pub fn rows_name(need: Need) -> String {
    format!("rows-{}", need.name())
}

/// The lines of a group.
pub fn first_rows(group: &Group<'_>) -> Part {
    let name = rows_name(group.need);
    Part::new(name.clone(), |print| {
        html! {
            div class="lines" data-part=(name) data-print=(print) {
                @for (property, rows) in &group.rows {
                    @if matches!(group.need, Need::Unheard | Need::Fine) {
                        h3 { a href={ "/?property=" (property) } { (words::title(property.as_str())) } }
                    }
                    ul { @for row in rows { (PreEscaped(row)) } }
                }
            }
        }
    })
}

/// What is inside `main`, beside `unwatched` systems whose files cannot be read: the summary, the form, then the systems that it lets through, by what they need.
pub fn first_main(
    (counts, flooded): (&Counts, &[&str]),
    unwatched: usize,
    choices: &Choices,
    filter: &Filter,
    groups: &[Group<'_>],
) -> Markup {
    html! {
        @if counts.all() == 0 && unwatched > 0 {
            h1 class="summary" { "No system is watched: no system file can be read." }
        } @else { (first_summary(counts, flooded).markup()) }
        @if counts.all() == 0 && unwatched == 0 {
            p { "Is there one? " a class="target" href="/setup" { "Set up the first system" } }
        } @else if counts.all() > 1 || filter.is_set() {
            (form(choices, filter).markup())
        }
        @if groups.is_empty() && filter.is_set() {
            p { "No system is like this. " a class="target" href="/" { "Show them all" } }
        }
        @for group in groups {
            section class="need" aria-labelledby={ "need-" (group.need.name()) } {
                @let heading = html! { h2 id={ "need-" (group.need.name()) } { (group.need.heading()) ": " (words::grouped(group.size() as u64)) } };
                // What is fine is folded away, unless it is all that there is to see.
                @if group.need == Need::Fine && groups.len() > 1 {
                    details class="rest" { summary { (heading) } (systems(group)) }
                } @else { (heading) (systems(group)) }
            }
        }
        @if counts.all() > 0 { p { a class="target" href="/sensors" { "Sensors in doubt, of all systems" } } }
    }
}

fn systems(group: &Group<'_>) -> Markup {
    html! {
        @if !group.cards.is_empty() { div class="systems" { @for card in &group.cards { (card.markup()) } } }
        @if !group.rows.is_empty() { (first_rows(group).markup()) }
    }
}

impl Group<'_> {
    fn size(&self) -> usize {
        self.cards.len() + self.rows.iter().map(|(_, rows)| rows.len()).sum::<usize>()
    }
}

fn form(choices: &Choices, filter: &Filter) -> Part {
    let option = |value: &str, chosen: &str, words: &str| {
        html! { option value=(value) selected[value == chosen] { (words) } }
    };
    let kinds = choices.kinds.iter().filter_map(|name| FindingKind::named(name));
    let narrowed = [&filter.property, &filter.state, &filter.kind].iter().any(|asked| !asked.is_empty());
    Part::new("choose", |print| {
        html! {
            search data-part="choose" data-print=(print) {
                form method="get" action="/" {
                    p class="acts" {
                        label class="act" { span { "Search" } " " input type="search" name="text" value=(filter.text) maxlength="100" autocomplete="off"; }
                        button type="submit" { "Show" }
                        @if filter.is_set() { a class="target" href="/" { "Show all systems" } }
                    }
                    details open[narrowed] {
                        summary { "Narrow down" span class="unseen" { " by property, state or what is wrong" } }
                        div class="acts" {
                            @if choices.properties.len() > LISTED {
                                @if !filter.property.is_empty() { input type="hidden" name="property" value=(filter.property); }
                            } @else {
                                label class="act" { "Property " select name="property" {
                                    (option("", &filter.property, "all"))
                                    @for (title, id) in &choices.properties { (option(id.as_str(), &filter.property, title)) }
                                } }
                            }
                            label class="act" { "State " select name="state" {
                                (option("", &filter.state, "any"))
                                @for (value, words) in Filter::STATES { (option(value, &filter.state, words)) }
                            } }
                            label class="act" { "What is wrong " select name="kind" {
                                (option("", &filter.kind, "anything"))
                                @for kind in kinds { (option(kind.name(), &filter.kind, kind_words(kind))) }
                            } }
                        }
                    }
                }
            }
        }
    })
}
