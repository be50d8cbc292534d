//! Who is told what now: a pure function of what stands, what was told already, and the time.
//!
//! It looks at states, not at events: an alert that calls and of which somebody does not know yet is
//! told, however that came about. So nothing is lost by an outage, and nothing repeated by a restart,
//! as long as what was told is stored before it is sent.

use std::collections::BTreeMap;

use super::hours::last_at;
use super::routing::Matter;
use super::{AlertNo, Closing, Contact, Pace, Route, Routing, Stage};
use crate::model::{EventTime, FindingKind, Id, Severity, Span};

use jiff::tz::TimeZone;

/// More than this many messages at one moment become one.
const TOGETHER: usize = 5;
/// What is not critical waits this long, so that a cause can be found for it first.
const SETTLE: Span = Span::MINUTE;
/// As [`SETTLE`], for sensors: those of one gateway fall silent one after the other.
const SETTLE_SILENT: Span = Span::from_mins(10);

/// An alert as planning sees it.
#[derive(Clone, Debug)]
pub struct Facts {
    /// Its number.
    pub no: AlertNo,
    /// The property, if its system is in force.
    pub property: Option<Id>,
    /// The clock of the yard.
    pub zone: TimeZone,
    /// What is wrong.
    pub kind: FindingKind,
    /// How severe it is.
    pub severity: Severity,
    /// Where it stands.
    pub stage: Stage,
    /// How often it called.
    pub calls: u32,
    /// Folded under another, or its system is muted: nobody is told of it now.
    pub hushed: bool,
    /// Who knows what of it.
    pub told: BTreeMap<String, Told>,
}

/// How far somebody knows of an alert.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Told {
    /// When they were told of its latest call first.
    pub first_at: EventTime,
    /// When they were told last.
    pub last_at: EventTime,
    /// The call that they know of.
    pub calls: u32,
    /// By a message of its own, not a digest.
    pub at_once: bool,
    /// They know that it is over, or need not.
    pub over: bool,
}

/// What somebody was told lately.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Recent {
    /// Messages within the last hour, digests left out.
    pub within_the_hour: usize,
    /// The last digest.
    pub digest: Option<EventTime>,
}

/// One thing to tell somebody.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    /// Who.
    pub recipient: String,
    /// Why.
    pub why: Why,
    /// Alerts and the call of each that this tells of.
    pub tells: Vec<(AlertNo, u32)>,
    /// Alerts that this says are over.
    pub over: Vec<AlertNo>,
}

/// Why somebody is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Why {
    /// Something is wrong.
    Opened,
    /// It calls again: it returned, woke or became worse.
    Again,
    /// Nobody has acknowledged it so far.
    Escalated,
    /// As before, and they know of it.
    Reminder,
    /// It is over.
    Over,
    /// Several at once, so that the ceiling holds.
    Summary,
    /// The lesser things, once in a while.
    Digest,
}

/// Everything to be done at one moment.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Plan {
    /// What to tell.
    pub notices: Vec<Notice>,
    /// Endings of which somebody need not be told.
    pub let_rest: Vec<(AlertNo, String)>,
    /// Snoozes that are up.
    pub wake: Vec<AlertNo>,
}

impl Why {
    /// The word for it in what is stored and sent.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Opened => "opened",
            Self::Again => "again",
            Self::Escalated => "escalated",
            Self::Reminder => "reminder",
            Self::Over => "over",
            Self::Summary => "summary",
            Self::Digest => "digest",
        }
    }

    /// The one called `name`.
    pub fn named(name: &str) -> Option<Self> {
        let all = [
            Self::Opened,
            Self::Again,
            Self::Escalated,
            Self::Reminder,
            Self::Over,
            Self::Summary,
            Self::Digest,
        ];
        all.into_iter().find(|why| why.name() == name)
    }
}

/// Something that one contact should hear.
#[derive(Clone, Copy, Debug)]
struct Want<'a> {
    facts: &'a Facts,
    why: Why,
}

/// What one contact should hear, before the ceiling.
#[derive(Debug, Default)]
struct Wants<'a> {
    now: BTreeMap<AlertNo, Want<'a>>,
    /// All that the digest would list, by how often it comes.
    digest: BTreeMap<AlertNo, (&'a Facts, Pace)>,
}

/// Plans what to tell at `now`.
pub fn plan(now: EventTime, routing: &Routing, alerts: &[Facts], recent: &BTreeMap<String, Recent>) -> Plan {
    let mut plan = Plan::default();
    let mut wants: BTreeMap<&str, Wants<'_>> = BTreeMap::new();
    for facts in alerts {
        match &facts.stage {
            Stage::Closed { how, .. } => say_over(now, routing, facts, how, &mut wants, &mut plan),
            Stage::Snoozed { until, .. } if *until <= now => plan.wake.push(facts.no),
            Stage::Open { .. } | Stage::Acknowledged { .. } | Stage::Snoozed { .. } => {}
        }
        if facts.hushed || facts.stage.is_closed() {
            continue;
        }
        let matter = facts.matter();
        for route in routing.routes.iter().filter(|route| route.fits(&matter)) {
            if route.pace != Pace::AtOnce {
                for name in &route.tell {
                    let digest = &mut wants.entry(name).or_default().digest;
                    let (_, pace) = digest.entry(facts.no).or_insert((facts, route.pace));
                    *pace = route.pace.min(*pace);
                }
            } else if facts.has_settled(now) && route.is_open(&matter, now) {
                call(now, routing, route, facts, &mut wants);
            }
        }
    }
    let none = Recent::default();
    for (name, wants) in wants {
        let Some(contact) = routing.contacts.get(name) else { continue };
        let recent = recent.get(name).unwrap_or(&none);
        plan.notices.extend(digest(now, name, contact, &wants, recent));
        plan.notices.extend(under_the_ceiling(name, contact, wants.now, recent));
    }
    plan
}

impl Facts {
    fn matter(&self) -> Matter<'_> {
        Matter {
            property: self.property.as_ref(),
            zone: &self.zone,
            kind: self.kind,
            severity: self.severity,
        }
    }

    fn has_settled(&self, now: EventTime) -> bool {
        let Stage::Open { since } = self.stage else { return false };
        // At once, also where a sensor's clock is ahead and the finding seems to begin later than now.
        self.severity == Severity::Critical || now - since >= settle(self.kind, self.severity)
    }
}

/// How long something waits before anybody is told.
pub(super) fn settle(kind: FindingKind, severity: Severity) -> Span {
    match (severity, kind) {
        (Severity::Critical, _) => Span::ZERO,
        (Severity::Warning | Severity::Info, FindingKind::SensorSilent) => SETTLE_SILENT,
        (Severity::Warning | Severity::Info, _) => SETTLE,
    }
}

/// Calls those whom `route` names, and those further up whose time has come.
fn call<'a>(
    now: EventTime,
    routing: &'a Routing,
    route: &'a Route,
    facts: &'a Facts,
    wants: &mut BTreeMap<&'a str, Wants<'a>>,
) {
    let knows = |name: &String| facts.told.get(name).filter(|told| told.calls == facts.calls && told.at_once);
    let first = route.tell.iter().filter_map(knows).map(|told| told.first_at).min();
    let due = route.escalate.iter().filter(|rung| first.is_some_and(|first| now - first >= rung.after));
    let further = due.flat_map(|rung| &rung.tell).map(|name| (name, true));
    for (name, is_further) in route.tell.iter().map(|name| (name, false)).chain(further) {
        if !routing.contacts.get(name).is_some_and(|contact| contact.may_hear(facts.severity, now)) {
            continue;
        }
        let why = match (facts.told.get(name), knows(name)) {
            (_, Some(told)) if route.repeat.is_some_and(|repeat| now - told.last_at >= repeat) => {
                Why::Reminder
            }
            (_, Some(_)) => continue,
            (_, None) if is_further => Why::Escalated,
            (Some(told), None) if told.at_once => Why::Again,
            (Some(_) | None, None) => Why::Opened,
        };
        let wanted = wants.entry(name).or_default().now.entry(facts.no).or_insert(Want { facts, why });
        wanted.why = wanted.why.min(why);
    }
}

/// Tells those who were told of an alert that it is over.
fn say_over<'a>(
    now: EventTime,
    routing: &'a Routing,
    facts: &'a Facts,
    how: &Closing,
    wants: &mut BTreeMap<&'a str, Wants<'a>>,
    plan: &mut Plan,
) {
    for (name, told) in facts.told.iter().filter(|(_, told)| !told.over) {
        let themselves = matches!(how, Closing::Dismissed { by, .. } if by == name);
        match routing.contacts.get(name) {
            Some(contact) if told.at_once && !themselves => {
                if contact.may_hear(Severity::Info, now) {
                    let want = Want { facts, why: Why::Over };
                    wants.entry(name).or_default().now.insert(facts.no, want);
                }
            }
            Some(_) | None => plan.let_rest.push((facts.no, name.clone())),
        }
    }
}

/// The digest of one contact, if its time has come and there is something new.
fn digest(
    now: EventTime,
    name: &str,
    contact: &Contact,
    wants: &Wants<'_>,
    recent: &Recent,
) -> Option<Notice> {
    let last = recent.digest.unwrap_or(EventTime::MIN);
    let is_due = |pace: Pace| {
        let day = (pace == Pace::Weekly).then_some(contact.digest_day);
        let due = last_at(now, &contact.zone, contact.digest_at, day);
        (due > last).then_some(due)
    };
    let (daily, weekly) = (is_due(Pace::Daily), is_due(Pace::Weekly));
    let is_new = |facts: &Facts, due: EventTime| {
        let known = facts.told.get(name).is_some_and(|told| told.calls == facts.calls);
        !known && matches!(facts.stage, Stage::Open { since } if since <= due)
    };
    let due = |pace| if pace == Pace::Weekly { weekly } else { daily };
    if !wants.digest.values().any(|(facts, pace)| due(*pace).is_some_and(|due| is_new(facts, due))) {
        return None;
    }
    let tells = wants.digest.values().filter(|(_, pace)| due(*pace).is_some());
    let tells = tells.map(|(facts, _)| (facts.no, facts.calls)).collect();
    Some(Notice { recipient: name.to_owned(), why: Why::Digest, tells, over: Vec::new() })
}

/// Messages for one contact, together if they are many or the hour has no room for each. A quarter of
/// the hour's messages is kept for what is critical.
fn under_the_ceiling(
    name: &str,
    contact: &Contact,
    wants: BTreeMap<AlertNo, Want<'_>>,
    recent: &Recent,
) -> Vec<Notice> {
    let mut wants: Vec<Want<'_>> = wants.into_values().collect();
    let urgency = |want: &Want<'_>| if want.why == Why::Over { Severity::Info } else { want.facts.severity };
    wants.sort_by_key(|want| (std::cmp::Reverse(urgency(want)), want.facts.no));
    let Some(first) = wants.first() else { return Vec::new() };
    let most = match urgency(first) {
        Severity::Critical => contact.most_an_hour,
        Severity::Warning | Severity::Info => contact.most_an_hour - contact.most_an_hour / 4,
    };
    let room = most.saturating_sub(recent.within_the_hour);
    let apart = wants.len() <= TOGETHER && (wants.len() < room || (wants.len() == 1 && room == 1));
    if room == 0 {
        return Vec::new();
    }
    let notice = |why, wants: &[Want<'_>]| {
        let (over, tells): (Vec<Want<'_>>, Vec<Want<'_>>) =
            wants.iter().copied().partition(|want| want.why == Why::Over);
        Notice {
            recipient: name.to_owned(),
            why,
            tells: tells.iter().map(|want| (want.facts.no, want.facts.calls)).collect(),
            over: over.iter().map(|want| want.facts.no).collect(),
        }
    };
    if apart {
        return wants.iter().map(|want| notice(want.why, std::slice::from_ref(want))).collect();
    }
    vec![notice(Why::Summary, &wants)]
}
