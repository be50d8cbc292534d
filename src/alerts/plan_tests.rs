//! Planning played forward in time, with the ledger's part done in memory.

use std::collections::BTreeMap;

use jiff::civil::Weekday;
use jiff::tz::TimeZone;
use proptest::prelude::*;

use super::{
    AlertNo, Closing, Contact, Facts, Matter, Notice, Pace, Recent, Route, Routing, Rung, Stage, Told, Why,
    plan, time,
};
use crate::model::{EventTime, FindingKind, Id, Severity, Span};

/// Alerts, who was told, and a clock.
pub(super) struct Play {
    pub(super) now: EventTime,
    pub(super) routing: Routing,
    pub(super) alerts: Vec<Facts>,
    pub(super) sent: Vec<(EventTime, Notice)>,
}

pub(super) fn contact(quiet: Option<&str>) -> Contact {
    Contact {
        zone: TimeZone::get("America/Denver").unwrap(),
        quiet: quiet.map(|text| text.parse().unwrap()),
        channels: vec!["mail".into()],
        mail: None,
        most_an_hour: 8,
        digest_at: time("08:00").unwrap(),
        digest_day: Weekday::Monday,
    }
}

pub(super) fn route(tell: &str) -> Route {
    Route {
        name: "all".into(),
        properties: vec![],
        findings: vec![],
        severity: Severity::Info,
        hours: None,
        pace: Pace::AtOnce,
        tell: vec![tell.into()],
        repeat: None,
        escalate: vec![],
    }
}

impl Play {
    pub(super) fn new(at: &str, contacts: &[(&str, Contact)], routes: Vec<Route>) -> Self {
        let contacts = contacts.iter().map(|(name, contact)| ((*name).to_owned(), contact.clone())).collect();
        Self { now: at.parse().unwrap(), routing: Routing { contacts, routes }, alerts: vec![], sent: vec![] }
    }

    pub(super) fn opens(&mut self, severity: Severity) -> usize {
        self.alerts.push(Facts {
            no: AlertNo(self.alerts.len() as u64 + 1),
            property: None,
            zone: TimeZone::UTC,
            kind: FindingKind::Ponding,
            severity,
            stage: Stage::Open { since: self.now },
            calls: 1,
            hushed: false,
            told: BTreeMap::new(),
        });
        self.alerts.len() - 1
    }

    fn closes(&mut self, alert: usize) {
        self.alerts[alert].stage = Stage::Closed { at: self.now, how: Closing::Cleared };
    }

    fn recent(&self) -> BTreeMap<String, Recent> {
        let mut recent: BTreeMap<String, Recent> = BTreeMap::new();
        for (at, notice) in &self.sent {
            let recent = recent.entry(notice.recipient.clone()).or_default();
            if notice.why == Why::Digest {
                recent.digest = Some(*at);
            } else if self.now - *at < Span::HOUR {
                recent.within_the_hour += 1;
            }
        }
        recent
    }

    /// Plans after `later`, and notes what was told as the ledger does.
    pub(super) fn after(&mut self, later: Span) -> Vec<(String, Why, usize)> {
        self.now = self.now + later;
        let plan = plan(self.now, &self.routing, &self.alerts, &self.recent());
        for notice in &plan.notices {
            for (no, calls) in &notice.tells {
                let told = &mut self.alerts[no.0 as usize - 1].told;
                let fresh = Told {
                    first_at: self.now,
                    last_at: self.now,
                    calls: *calls,
                    at_once: false,
                    over: false,
                };
                let known = told.entry(notice.recipient.clone()).or_insert(fresh);
                let at_once = notice.why != Why::Digest;
                // Who was told by a digest is told for the first time when called.
                if known.calls != *calls || (at_once && !known.at_once) {
                    *known = Told { at_once: known.at_once, ..fresh };
                }
                known.last_at = self.now;
                known.at_once |= at_once;
            }
            for no in &notice.over {
                self.alerts[no.0 as usize - 1].told.get_mut(&notice.recipient).unwrap().over = true;
            }
            self.sent.push((self.now, notice.clone()));
        }
        plan.notices.into_iter().map(|n| (n.recipient, n.why, n.tells.len() + n.over.len())).collect()
    }
}

fn ana(why: Why) -> Vec<(String, Why, usize)> {
    vec![("ana".to_owned(), why, 1)]
}

const NOTHING: Vec<(String, Why, usize)> = Vec::new();

#[test]
fn somebody_is_told_once_and_once_more_when_it_is_over() {
    let mut play = Play::new("2026-11-25T18:00:00Z", &[("ana", contact(None))], vec![route("ana")]);
    let alert = play.opens(Severity::Warning);
    assert_eq!(play.after(Span::ZERO), NOTHING, "a cause may still be found");
    assert_eq!(play.after(Span::MINUTE), ana(Why::Opened));
    assert_eq!(play.after(Span::DAY), NOTHING);
    play.closes(alert);
    assert_eq!(play.after(Span::MINUTE), ana(Why::Over));
    assert_eq!(play.after(Span::DAY), NOTHING);
}

#[test]
fn a_flood_is_told_at_once_even_if_a_sensor_with_a_clock_that_is_ahead_saw_it() {
    let mut play = Play::new("2026-11-25T18:00:00Z", &[("ana", contact(None))], vec![route("ana")]);
    let alert = play.opens(Severity::Critical);
    play.alerts[alert].stage = Stage::Open { since: play.now + Span::from_mins(9) };
    assert_eq!(play.after(Span::ZERO), ana(Why::Opened));
    assert_eq!(play.after(Span::from_mins(10)), NOTHING);
}

#[test]
fn without_acknowledgement_it_is_repeated_and_goes_further_up() {
    let rung = Rung { after: Span::from_mins(30), tell: vec!["ben".into()] };
    let up = Route { repeat: Some(Span::HOUR), escalate: vec![rung], ..route("ana") };
    let contacts = [("ana", contact(None)), ("ben", contact(None))];
    let mut play = Play::new("2026-11-25T18:00:00Z", &contacts, vec![up]);
    let alert = play.opens(Severity::Critical);
    assert_eq!(play.after(Span::ZERO), ana(Why::Opened));
    assert_eq!(play.after(Span::from_mins(29)), NOTHING);
    assert_eq!(play.after(Span::MINUTE), [("ben".to_owned(), Why::Escalated, 1)]);
    assert_eq!(play.after(Span::from_mins(30)), ana(Why::Reminder));
    play.alerts[alert].stage = Stage::Acknowledged { at: play.now, by: "ben".into() };
    assert_eq!(play.after(Span::DAY), NOTHING);
}

#[test]
fn the_night_holds_back_all_but_what_is_critical() {
    // 2026-03-08 in Denver: clocks jump from 02:00 to 03:00, so 06:30 MDT is 12:30 UTC.
    let quiet = contact(Some("22:00-06:30"));
    let mut play = Play::new("2026-03-08T08:00:00Z", &[("ana", quiet)], vec![route("ana")]);
    play.opens(Severity::Warning);
    assert_eq!(play.after(Span::HOUR), NOTHING);
    play.opens(Severity::Critical);
    assert_eq!(play.after(Span::ZERO), ana(Why::Opened));
    assert_eq!(play.after(Span::from_mins(209)), NOTHING, "06:29");
    assert_eq!(play.after(Span::MINUTE), ana(Why::Opened), "06:30");
}

#[test]
fn a_route_takes_the_properties_kinds_and_severities_that_it_names() {
    let here = Id::new("alder-court").unwrap();
    let narrow = Route {
        properties: vec![here.clone()],
        findings: vec![FindingKind::Ponding, FindingKind::Flooding],
        severity: Severity::Warning,
        ..route("ana")
    };
    let fits = |property: Option<&Id>, kind, severity| {
        narrow.fits(&Matter { property, zone: &TimeZone::UTC, kind, severity })
    };
    let elsewhere = Id::new("birch-lane").unwrap();
    assert!(fits(Some(&here), FindingKind::Ponding, Severity::Warning));
    assert!(fits(Some(&here), FindingKind::Flooding, Severity::Critical));
    assert!(!fits(Some(&here), FindingKind::Ponding, Severity::Info));
    assert!(!fits(Some(&here), FindingKind::NoWater, Severity::Warning));
    assert!(!fits(Some(&elsewhere), FindingKind::Ponding, Severity::Warning));
    assert!(!fits(None, FindingKind::Ponding, Severity::Warning), "of a system that is gone");
}

#[test]
fn a_muted_system_is_told_of_when_the_work_is_done() {
    let mut play = Play::new("2026-11-25T18:00:00Z", &[("ana", contact(None))], vec![route("ana")]);
    let alert = play.opens(Severity::Critical);
    play.alerts[alert].hushed = true;
    assert_eq!(play.after(Span::HOUR), NOTHING);
    play.alerts[alert].hushed = false;
    assert_eq!(play.after(Span::ZERO), ana(Why::Opened));
}

#[test]
fn lesser_things_come_together_once_a_day_and_only_if_there_is_news() {
    let daily = Route { pace: Pace::Daily, ..route("ana") };
    let mut play = Play::new("2026-11-25T18:00:00Z", &[("ana", contact(None))], vec![daily]);
    play.opens(Severity::Info);
    play.opens(Severity::Info);
    assert_eq!(play.after(Span::from_hours(20)), NOTHING, "07:00 in Denver");
    assert_eq!(play.after(Span::HOUR), [("ana".to_owned(), Why::Digest, 2)]);
    assert_eq!(play.after(Span::DAY), NOTHING);
    play.opens(Severity::Info);
    assert_eq!(play.after(Span::DAY), [("ana".to_owned(), Why::Digest, 3)]);
}

#[test]
fn ten_thousand_alerts_at_once_stay_within_the_ceiling_and_all_are_told() {
    let mut play = Play::new("2026-11-25T18:00:00Z", &[("ana", contact(None))], vec![route("ana")]);
    for _ in 0..10_000 {
        play.opens(Severity::Warning);
    }
    assert_eq!(play.after(Span::MINUTE), [("ana".to_owned(), Why::Summary, 10_000)]);
    assert_eq!(play.after(Span::from_mins(90)), NOTHING);
}

proptest! {
    /// Whatever opens and closes when: no hour holds more messages than allowed, and in the end everybody knows of
    /// everything that stands, and that the rest of what they heard of is over.
    #[test]
    fn the_ceiling_holds_and_nothing_is_forgotten(
        happens in prop::collection::vec((0..20_i64, 0..3_u8, any::<prop::sample::Index>()), 1..150)
    ) {
        let mut play = Play::new("2026-11-25T18:00:00Z", &[("ana", contact(Some("22:00-06:30")))], vec![route("ana")]);
        for (minutes, what, which) in happens {
            match what {
                0 => drop(play.opens(Severity::Critical)),
                1 => drop(play.opens(Severity::Warning)),
                _ if play.alerts.is_empty() => {}
                _ => { let alert = which.index(play.alerts.len()); play.closes(alert); }
            }
            play.after(Span::from_mins(minutes));
        }
        for _ in 0..20 * 60 {
            play.after(Span::MINUTE);
        }
        for (at, _) in &play.sent {
            let hour = play.sent.iter().filter(|(other, _)| *other >= *at && *other - *at < Span::HOUR).count();
            prop_assert!(hour <= 8, "{hour} messages in the hour from {at}");
        }
        for facts in &play.alerts {
            let told = facts.told.get("ana");
            if facts.stage.is_closed() {
                prop_assert!(told.is_none_or(|told| told.over));
            } else {
                prop_assert!(told.is_some_and(|told| told.calls == facts.calls));
            }
        }
    }
}
