//! The first page.

use std::collections::BTreeSet;

use serde::Deserialize;
use utoipa::IntoParams;

use super::{BasinSheet, ComingRow, FindingSheet, Moment, Urgency};
use crate::advice::WaterNow;
use crate::model::{Course, FindingKind, Id};

/// Every system, most urgent first.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Board {
    /// Systems by urgency.
    pub counts: Counts,
    /// Systems by what they need, then urgency, property and name.
    pub cards: Vec<SystemCard>,
}

/// How many systems are how urgent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Counts([usize; Urgency::ALL.len()]);

/// What a system needs of people. Most urgent first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Need {
    /// Somebody now: a critical finding is open.
    Now,
    /// Something is coming: another finding is open, or a task is due soon.
    Coming,
    /// Nobody knows: it, or some of its sensors, were not heard yet.
    Unheard,
    /// Nothing.
    Fine,
}

/// Which systems an address asks for; what is empty asks for nothing in particular.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Filter {
    /// Words that must all occur, in any case, in a system's names, its basins or its findings.
    #[serde(default)]
    pub text: String,
    /// Of this property only.
    #[serde(default)]
    pub property: String,
    /// `now`, `coming`, `soon`, `visit`, `work`, `unheard` or `fine`.
    #[serde(default)]
    pub state: String,
    /// With an open finding of this kind only.
    #[serde(default)]
    pub kind: String,
}

/// What a filter can be set to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Choices {
    /// Properties, title and id.
    pub properties: BTreeSet<(String, Id)>,
    /// Kinds of findings that are open, by name.
    pub kinds: BTreeSet<&'static str>,
}

/// One system on the first page.
#[derive(Clone, Debug, PartialEq)]
pub struct SystemCard {
    /// Its id.
    pub id: Id,
    /// Its name.
    pub name: String,
    /// Its property.
    pub property: Id,
    /// The most urgent thing about it.
    pub urgency: Urgency,
    /// Open findings, most urgent first.
    pub findings: Vec<FindingSheet>,
    /// The task that is due first, if that is soon.
    pub due: Option<ComingRow>,
    /// Basins in the order in which the drawing meets them.
    pub basins: Vec<BasinSheet>,
    /// Where the diverter sends the water: `None` without a diverter or before it was heard.
    pub diverter: Option<(Course, Moment)>,
    /// It has a diverter, heard or not.
    pub has_diverter: bool,
    /// The latest reading of any of its sensors.
    pub last_heard: Option<Moment>,
    /// Sensors that were heard, of all that it has.
    pub heard: (usize, usize),
    /// Who is at work there, so that nobody is told of anything, as a sentence.
    pub muted: Option<String>,
}

impl Counts {
    /// Counts one system in.
    pub fn add(&mut self, urgency: Urgency) {
        self.0[urgency as usize] += 1;
    }

    /// Systems of that urgency.
    pub fn of(&self, urgency: Urgency) -> usize {
        self.0[urgency as usize]
    }

    /// All systems.
    pub fn all(&self) -> usize {
        self.0.iter().sum()
    }
}

impl SystemCard {
    /// The same with the task that is due first, if one is due soon: then nothing wrong is not yet fine.
    #[must_use]
    pub fn with_due(mut self, due: Option<ComingRow>) -> Self {
        let is_partly_heard = self.urgency == Urgency::Unheard && self.last_heard.is_some();
        if (self.urgency == Urgency::Fine || is_partly_heard) && due.is_some() {
            self.urgency = Urgency::Work;
        }
        self.due = due;
        self
    }

    /// How many of its sensors were heard, while that is not all of them.
    pub fn partly_heard(&self) -> Option<(usize, usize)> {
        let (heard, all) = self.heard;
        (0 < heard && heard < all).then_some((heard, all))
    }

    /// Basins in which water stands that should have gone, as far as anybody knows.
    pub fn flooded(&self) -> impl Iterator<Item = &str> {
        let stands = |finding: &&FindingSheet| {
            matches!(finding.kind, FindingKind::Flooding | FindingKind::Ponding)
                && finding.water != Some(WaterNow::Gone)
        };
        let basins: BTreeSet<&str> =
            self.findings.iter().filter(stands).filter_map(|finding| finding.basin.as_deref()).collect();
        basins.into_iter()
    }

    /// What it needs of people.
    pub fn need(&self) -> Need {
        match self.urgency {
            Urgency::Now => Need::Now,
            Urgency::Soon | Urgency::NextVisit | Urgency::Work => Need::Coming,
            Urgency::Unheard => Need::Unheard,
            Urgency::Fine => Need::Fine,
        }
    }
}

impl Need {
    /// The word for it in addresses.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Now => "now",
            Self::Coming => "coming",
            Self::Unheard => "unheard",
            Self::Fine => "fine",
        }
    }

    /// The heading above such systems.
    pub const fn heading(self) -> &'static str {
        match self {
            Self::Now => "Needs somebody now",
            Self::Coming => "Needs a visit",
            Self::Unheard => "Sensors not heard yet",
            Self::Fine => "Fine",
        }
    }
}

impl Filter {
    /// What a system can be asked to be: the value in the address, and in words.
    pub const STATES: [(&str, &str); 7] = [
        ("now", "needs somebody now"),
        ("coming", "needs a visit"),
        ("soon", "needs a visit soon"),
        ("visit", "something for the next visit"),
        ("work", "planned work is due"),
        ("unheard", "sensors not heard yet"),
        ("fine", "fine"),
    ];

    /// That every name in it is one that there is.
    ///
    /// # Errors
    /// In words: which is not, and what could stand there.
    pub fn check(&self) -> Result<(), String> {
        if !self.state.is_empty() && !Self::STATES.iter().any(|(name, _)| *name == self.state) {
            return Err(format!("`state` must be one of {}", Self::STATES.map(|(name, _)| name).join(", ")));
        }
        if !self.kind.is_empty() && FindingKind::named(&self.kind).is_none() {
            return Err(format!(
                "`kind` must be one of {}",
                FindingKind::ALL.map(FindingKind::name).join(", ")
            ));
        }
        Ok(())
    }

    /// It asks for something.
    pub fn is_set(&self) -> bool {
        *self != Self::default()
    }

    /// Whether it lets `card` through, whose text in lower case is `text`.
    pub fn lets_through(&self, card: &SystemCard, text: &str) -> bool {
        let is = |asked: &str, value: &str| asked.is_empty() || asked == value;
        is(&self.property, card.property.as_str())
            && (is(&self.state, card.need().name()) || self.state == card.urgency.class())
            && (self.kind.is_empty() || card.findings.iter().any(|open| open.kind.name() == self.kind))
            && self.text.split_whitespace().all(|word| text.contains(&word.to_lowercase()))
    }

    /// As the query of an address: `text=quince&state=now`; empty where nothing is asked for.
    pub fn query(&self) -> String {
        let all = [
            ("text", &self.text),
            ("property", &self.property),
            ("state", &self.state),
            ("kind", &self.kind),
        ];
        let set = all.into_iter().filter(|(_, value)| !value.is_empty());
        form_urlencoded::Serializer::new(String::new()).extend_pairs(set).finish()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_filter_is_written_as_an_address_reads_it() {
        assert_eq!(Filter::default().query(), "");
        let filter = Filter { text: "fig & quince".into(), state: "now".into(), ..Filter::default() };
        assert_eq!(filter.query(), "text=fig+%26+quince&state=now");
        assert!(filter.is_set());
    }
}
