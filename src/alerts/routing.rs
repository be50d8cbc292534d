//! Who hears what.

use std::collections::BTreeMap;

use jiff::civil::{Time, Weekday};
use jiff::tz::TimeZone;

use super::Hours;
use crate::model::{EventTime, FindingKind, Id, Severity, Span};

/// Everybody who may be told, and the routes that lead to them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Routing {
    /// By name.
    pub contacts: BTreeMap<String, Contact>,
    /// An alert takes every route that fits it.
    pub routes: Vec<Route>,
}

/// Somebody who can be told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Contact {
    /// Time zone of their own clock.
    pub zone: TimeZone,
    /// When only what is critical gets through.
    pub quiet: Option<Hours>,
    /// Channels that carry what they are told.
    pub channels: Vec<String>,
    /// Address for channels that need one.
    pub mail: Option<String>,
    /// Most messages in any hour.
    pub most_an_hour: usize,
    /// When digests come, on their clock.
    pub digest_at: Time,
    /// Day of weekly digests.
    pub digest_day: Weekday,
}

/// Which alerts go to whom.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Route {
    /// Its name.
    pub name: String,
    /// Properties; none means all.
    pub properties: Vec<Id>,
    /// Kinds of finding; none means all.
    pub findings: Vec<FindingKind>,
    /// This severe or more.
    pub severity: Severity,
    /// When it is open, on the clock of the yard; none means always.
    pub hours: Option<Hours>,
    /// How soon people are told.
    pub pace: Pace,
    /// Who.
    pub tell: Vec<String>,
    /// They are told again after this time, as long as nobody acknowledges.
    pub repeat: Option<Span>,
    /// Who else, as long as nobody acknowledges.
    pub escalate: Vec<Rung>,
}

/// A step of escalation.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rung {
    /// How long after the first were told.
    pub after: Span,
    /// Who.
    pub tell: Vec<String>,
}

/// How soon people are told, the soonest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Pace {
    /// Right away.
    AtOnce,
    /// Once a day, together.
    Daily,
    /// Once a week, together.
    Weekly,
}

/// What a route looks at.
#[derive(Clone, Copy, Debug)]
pub struct Matter<'a> {
    /// Property, if the system is known.
    pub property: Option<&'a Id>,
    /// Clock of the yard.
    pub zone: &'a TimeZone,
    /// What is wrong.
    pub kind: FindingKind,
    /// How severe it is.
    pub severity: Severity,
}

impl Route {
    /// Whether the route is for `matter`, whatever the hour.
    pub fn fits(&self, matter: &Matter<'_>) -> bool {
        let property = || matter.property.is_some_and(|property| self.properties.contains(property));
        matter.severity >= self.severity
            && (self.properties.is_empty() || property())
            && (self.findings.is_empty() || self.findings.contains(&matter.kind))
    }

    /// Whether it is open at `now`.
    pub fn is_open(&self, matter: &Matter<'_>, now: EventTime) -> bool {
        self.hours.is_none_or(|hours| hours.contains(now, matter.zone))
    }
}

impl Contact {
    /// Whether somebody may be told of something of that severity at `now`.
    pub fn may_hear(&self, severity: Severity, now: EventTime) -> bool {
        severity == Severity::Critical || !self.quiet.is_some_and(|quiet| quiet.contains(now, &self.zone))
    }
}
