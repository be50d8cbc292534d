//! What is foreseen is what planning does, minute by minute.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;
use proptest::prelude::*;

use super::plan_tests::{Play, contact, route};
use super::{Contact, Foreseen, Matter, Pace, Route, Rung, foresee};
use crate::model::{EventTime, FindingKind, Severity, Span};

fn denver() -> TimeZone {
    TimeZone::get("America/Denver").unwrap()
}

/// Names, times in minutes since `raised`, and the wait of the step that reaches them.
fn foreseen(contacts: &[(&str, Contact)], routes: Vec<Route>, raised: &str) -> Vec<(String, Option<f64>)> {
    let play = Play::new(raised, contacts, routes);
    let zone = denver();
    let matter =
        Matter { property: None, zone: &zone, kind: FindingKind::Ponding, severity: Severity::Warning };
    let all = foresee(play.now, &play.routing, &matter);
    all.into_iter().map(|it| (it.name.to_owned(), it.at.map(|at| (at - play.now).mins_f64()))).collect()
}

/// 2026-03-08 in Denver: clocks jump from 02:00 to 03:00, so from 22:01 to 06:30 it is 7 h 29 min.
#[test]
fn a_warning_in_the_night_of_the_change_of_clocks_waits_for_the_morning_and_then_goes_up() {
    let up = Route { escalate: vec![Rung { after: Span::HOUR, tell: vec!["ben".into()] }], ..route("ana") };
    let contacts = [("ana", contact(Some("22:00-06:30"))), ("ben", contact(Some("20:00-08:00")))];
    let expected = [("ana".to_owned(), Some(449.0)), ("ben".to_owned(), Some(539.0))];
    assert_eq!(foreseen(&contacts, vec![up], "2026-03-08T05:01:00Z"), expected);
}

#[test]
fn hours_that_are_all_quiet_lead_to_nobody() {
    let by_night = Route { hours: Some("23:00-05:00".parse().unwrap()), ..route("ana") };
    let contacts = [("ana", contact(Some("22:00-06:30")))];
    assert_eq!(foreseen(&contacts, vec![by_night], "2026-03-08T05:01:00Z"), [("ana".to_owned(), None)]);
}

fn hours() -> impl Strategy<Value = Option<&'static str>> {
    prop::sample::select(vec![None, None, Some("22:00-06:30"), Some("07:00-19:00"), Some("02:30-03:30")])
}

fn names() -> impl Strategy<Value = Vec<String>> {
    prop::sample::subsequence(vec!["ana".to_owned(), "ben".to_owned(), "cleo".to_owned()], 1..3)
}

prop_compose! {
    fn any_route()(
        tell in names(), further in prop::option::of(names()), hours in hours(),
        pace in prop::sample::select(vec![Pace::AtOnce, Pace::AtOnce, Pace::Daily, Pace::Weekly]),
        after in prop::sample::select(vec![30_i64, 300, 1_500]),
    ) -> Route {
        let hours = hours.map(|text| text.parse().unwrap());
        let escalate = further.map(|tell| Rung { after: Span::from_mins(after), tell }).into_iter().collect();
        Route { hours, pace, tell, escalate, ..route("ana") }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    /// Around a change of clocks, by whatever routes: who is told first when, nobody acknowledging.
    #[test]
    fn what_is_foreseen_is_what_happens(
        routes in prop::collection::vec(any_route(), 1..4),
        quiet in prop::collection::vec(hours(), 3),
        severity in prop::sample::select(vec![Severity::Info, Severity::Warning, Severity::Critical]),
        minutes in 0..4_000_i64,
    ) {
        let contacts: Vec<_> = ["ana", "ben", "cleo"].into_iter().zip(quiet.into_iter().map(contact)).collect();
        let mut play = Play::new("2026-03-06T20:00:00Z", &contacts, routes);
        play.now = play.now + Span::from_mins(minutes);
        let alert = play.opens(severity);
        play.alerts[alert].zone = denver();
        let zone = denver();
        let matter = Matter { property: None, zone: &zone, kind: FindingKind::Ponding, severity };
        let routing = play.routing.clone();
        let all: Vec<Foreseen<'_>> = foresee(play.now, &routing, &matter);
        let foreseen: BTreeMap<String, EventTime> =
            all.iter().filter_map(|it| Some((it.name.to_owned(), it.at?))).collect();
        play.after(Span::ZERO);
        for _ in 0..9 * 24 * 60 {
            play.after(Span::MINUTE);
        }
        let mut told: BTreeMap<String, EventTime> = BTreeMap::new();
        for (at, notice) in &play.sent {
            told.entry(notice.recipient.clone()).or_insert(*at);
        }
        prop_assert_eq!(foreseen, told);
    }
}
