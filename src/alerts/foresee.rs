//! Whom a finding would reach, and when: planning looked at from the moment at which it is raised.

use std::collections::BTreeMap;

use super::hours::next_at;
use super::plan::settle;
use super::routing::Matter;
use super::{Contact, Pace, Route, Routing};
use crate::model::{EventTime, Span};

/// Nobody waits longer than this for a route's hours to meet the end of somebody's quiet hours: both come daily.
const LONGEST_WAIT: Span = Span::from_days(2);

/// Somebody whom a finding will reach.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Foreseen<'a> {
    /// Who.
    pub name: &'a str,
    /// The route that reaches them first.
    pub route: &'a Route,
    /// The time that a step of escalation gives those who were told before, if it is one that reaches them.
    pub after: Option<Span>,
    /// When; none if all hours of the route are quiet ones.
    pub at: Option<EventTime>,
}

/// Everybody whom something raised at `raised` would reach, in order, as long as nobody acknowledges it and it
/// stays as it is.
pub fn foresee<'a>(raised: EventTime, routing: &'a Routing, matter: &Matter<'_>) -> Vec<Foreseen<'a>> {
    let mut first = at_once(raised, routing, matter);
    for (name, digest) in digests(raised, routing, matter) {
        match first.get(name) {
            Some(known) if is_no_later(known, &digest) => {}
            Some(_) | None => drop(first.insert(name, digest)),
        }
    }
    let mut all: Vec<_> = first.into_values().collect();
    all.sort_by_key(|foreseen| (foreseen.at.unwrap_or(EventTime::MAX), foreseen.after));
    all
}

/// What comes by messages of its own. A step of escalation counts from when anybody whom its route names was told,
/// by whatever route, so one contact's time may bring another's forward.
fn at_once<'a>(
    raised: EventTime,
    routing: &'a Routing,
    matter: &Matter<'_>,
) -> BTreeMap<&'a str, Foreseen<'a>> {
    let mut first: BTreeMap<&str, Foreseen<'_>> = BTreeMap::new();
    loop {
        let before = first.clone();
        for route in fitting(routing, matter).filter(|route| route.pace == Pace::AtOnce) {
            let mut reach = |name: &'a String, after: Option<Span>, from: EventTime| {
                let Some(contact) = routing.contacts.get(name) else { return };
                let at = first_chance(from, route, contact, matter);
                let reached = Foreseen { name, route, after, at };
                if !first.get(name.as_str()).is_some_and(|known| is_no_later(known, &reached)) {
                    first.insert(name, reached);
                }
            };
            let settled = raised + settle(matter.kind, matter.severity);
            route.tell.iter().for_each(|name| reach(name, None, settled));
            let told = before.iter().filter(|(name, _)| route.tell.iter().any(|it| it == *name));
            let Some(told) = told.filter_map(|(_, foreseen)| foreseen.at).min() else { continue };
            for rung in &route.escalate {
                rung.tell.iter().for_each(|name| reach(name, Some(rung.after), told + rung.after));
            }
        }
        if first == before {
            return first;
        }
    }
}

/// What comes with digests.
fn digests<'a>(
    raised: EventTime,
    routing: &'a Routing,
    matter: &Matter<'_>,
) -> impl Iterator<Item = (&'a str, Foreseen<'a>)> {
    let routes: Vec<&Route> = fitting(routing, matter).filter(|route| route.pace != Pace::AtOnce).collect();
    routes.into_iter().flat_map(move |route| {
        route.tell.iter().filter_map(move |name| {
            let contact = routing.contacts.get(name)?;
            let day = (route.pace == Pace::Weekly).then_some(contact.digest_day);
            let at = next_at(raised, &contact.zone, contact.digest_at, day);
            Some((name.as_str(), Foreseen { name, route, after: None, at: Some(at) }))
        })
    })
}

fn fitting<'a>(routing: &'a Routing, matter: &Matter<'_>) -> impl Iterator<Item = &'a Route> {
    routing.routes.iter().filter(|route| route.fits(matter))
}

fn is_no_later(one: &Foreseen<'_>, other: &Foreseen<'_>) -> bool {
    one.at.unwrap_or(EventTime::MAX) <= other.at.unwrap_or(EventTime::MAX)
}

/// The first time from `from` on at which the route is open and the contact may be told. All hours begin and end
/// with a minute.
fn first_chance(from: EventTime, route: &Route, contact: &Contact, matter: &Matter<'_>) -> Option<EventTime> {
    let minute = Span::MINUTE.millis();
    let next_minute = EventTime::from_millis((from.millis().div_euclid(minute) + 1) * minute);
    let minutes = (0..LONGEST_WAIT.millis() / minute).map(|n| next_minute + Span::MINUTE.scaled(n as f64));
    std::iter::once(from)
        .chain(minutes)
        .find(|at| route.is_open(matter, *at) && contact.may_hear(matter.severity, *at))
}
