//! The truth that is written beside the traffic agrees with the traffic.

#![expect(clippy::unwrap_used, reason = "a test may stop at the first thing that is not as it must be")]

use serde_json::Value as Json;
use simulators::radio::Message;
use simulators::record::{Answer, answers};
use simulators::run::{Truth, run};
use simulators::scenario::{Library, Scenario, ScenarioError};
use simulators::span::Span;
use simulators::standing::Level;
use simulators::truth::TrueDose;

const DAY_MS: i64 = Span::days(1).ms();

struct Played {
    scenario: Scenario,
    messages: Vec<Message>,
    truth: Truth,
}

fn play(name: &str) -> Played {
    play_changed(name, |_| {})
}

fn play_changed(name: &str, change: impl FnOnce(&mut Scenario)) -> Played {
    let mut scenario = Library::shipped().load(name).unwrap();
    change(&mut scenario);
    let mut messages = Vec::new();
    let mut hear = |message: &Message| {
        messages.push(message.clone());
        Ok::<(), ScenarioError>(())
    };
    let truth = run(&scenario, 11, &mut hear, &mut |_| {}).unwrap();
    Played { scenario, messages, truth }
}

impl Played {
    fn of(&self, sensor: &str) -> impl Iterator<Item = (&Message, Json)> {
        let topic = format!("greywater/{}/{sensor}", self.scenario.site.id);
        let mine = self.messages.iter().filter(move |message| message.topic == topic);
        mine.map(|message| (message, serde_json::from_slice(&message.payload).unwrap()))
    }

    fn day(&self, days: f64) -> i64 {
        self.scenario.start_ms + (days * DAY_MS as f64) as i64
    }
}

fn unreliable_never(scenario: &mut Scenario) {
    scenario.radio.loss = 0.0;
    scenario.radio.late = 0.0;
    scenario.radio.duplicate = 0.0;
    scenario.radio.reboots_per_year = 0.0;
}

#[test]
fn the_meter_counts_what_left_the_fixtures() {
    let played = play_changed("tilt-step", unreliable_never);
    let counts: Vec<f64> = played.of("meter").map(|(_, json)| json["value"].as_f64().unwrap()).collect();
    let counted = counts.last().unwrap() - counts.first().unwrap();
    let litres: f64 = played.truth.doses.iter().map(|dose| dose.litres).sum();
    // A count is a litre; the first and last quarter of an hour may hold a shower each.
    assert!((counted - litres).abs() < 200.0, "{counted} counted, {litres} true");
    assert!(counts.is_sorted());
}

#[test]
fn what_leaves_the_fixtures_reaches_the_basins_or_the_sewer() {
    let played = play("healthy-sewer-season");
    let fixtures: f64 = played.truth.doses.iter().map(|dose| dose.litres).sum();
    let sewer: f64 = played.truth.doses.iter().map(|dose| dose.sewer_litres).sum();
    let basins: f64 = played.truth.doses.iter().flat_map(|dose| &dose.basin_litres).sum();
    assert!(sewer > 0.1 * fixtures, "80 days of 365 went to the sewer: {sewer} of {fixtures}");
    assert!((fixtures - sewer - basins).abs() < 0.01 * fixtures, "{fixtures} = {sewer} + {basins}");
    assert!(played.truth.balance.residual().abs() < 0.001 * played.truth.balance.inflow());
}

#[test]
fn a_closed_outlet_gets_nothing_and_its_sibling_gets_both_shares() {
    let played = play("outlet-blocked");
    let fig = played.scenario.site.basin_index("fig").unwrap();
    let mulberry = played.scenario.site.basin_index("mulberry").unwrap();
    let onset = played.day(60.3);
    let mean = |basin: usize, after: bool| {
        let doses = played.truth.doses.iter().filter(|dose| (dose.start_ms > onset) == after);
        let shares: Vec<f64> = doses.filter_map(TrueDose::shares).map(|shares| shares[basin]).collect();
        shares.iter().sum::<f64>() / shares.len() as f64
    };
    assert!((mean(fig, false) - 0.25).abs() < 0.06);
    assert!(mean(fig, true) < 0.01);
    assert!((mean(mulberry, true) - 0.5).abs() < 0.1);
}

#[test]
fn a_float_says_wet_whenever_water_truly_stood_above_it() {
    let played = play_changed("outlet-blocked", unreliable_never);
    let mut checked = 0;
    for (basin, spell) in played.truth.spells.iter().filter(|(_, spell)| spell.level == Level::Float) {
        let sensor = format!("{}/float", played.scenario.wiring.basins[*basin]);
        // The float's hysteresis and ripples shift its moments by a few minutes, and hold it through short dips.
        let slack = Span::minutes(20).ms();
        let (mut before, mut within) = (false, false);
        for (message, json) in played.of(&sensor) {
            if message.received_ms < spell.from_ms - slack {
                before = json["value"] == true;
            } else if message.received_ms < spell.until_ms + slack {
                within |= json["value"] == true;
            }
        }
        assert!(before || within || spell.peak_mm < 46.0, "{sensor} never wet during {spell:?}");
        checked += 1;
    }
    assert!(checked >= 5, "only {checked} spells");
}

#[test]
fn a_dead_probe_is_silent_and_a_frozen_one_repeats_itself() {
    let dead = play("probe-dead");
    let after = dead.day(60.3) + Span::hours(4).ms();
    assert!(dead.of("fig/moisture").all(|(message, _)| message.received_ms < after));
    assert!(dead.of("fig/temperature").any(|(message, _)| message.received_ms > after));

    let frozen = play("probe-frozen");
    let late: Vec<Json> = frozen
        .of("fig/moisture")
        .filter(|(message, _)| message.received_ms > after)
        .map(|(_, json)| json["value"].clone())
        .collect();
    assert!(late.len() > 2000 && late.windows(2).all(|pair| pair[0] == pair[1]));
}

#[test]
fn a_shifted_probe_moves_by_what_the_truth_says() {
    let played = play("probe-shifted");
    let near = |from: f64, until: f64| {
        let (from, until) = (played.day(from), played.day(until));
        let values: Vec<f64> = played
            .of("medlar/moisture")
            .filter(|(message, _)| (from..until).contains(&message.received_ms))
            .map(|(_, json)| json["value"].as_f64().unwrap())
            .collect();
        values.iter().sum::<f64>() / values.len() as f64
    };
    let moved = near(60.31, 60.36) - near(60.24, 60.29);
    assert!((moved - 0.10).abs() < 0.04, "{moved}");
}

#[test]
fn a_float_stuck_wet_says_so_until_the_end() {
    let played = play("float-stuck-wet");
    let onset = played.day(60.31);
    let after: Vec<Json> = played
        .of("mulberry/float")
        .filter(|(message, _)| message.received_ms > onset)
        .map(|(_, json)| json["value"].clone())
        .collect();
    assert!(after.len() > 50 && after.iter().all(|value| *value == true));
}

#[test]
fn a_dying_battery_sinks_and_then_its_device_is_silent() {
    let played = play_changed("battery-dying", unreliable_never);
    let charges: Vec<f64> =
        played.of("fig/battery").map(|(_, json)| json["value"].as_f64().unwrap()).collect();
    assert!(*charges.last().unwrap() < 10.0);
    let gone = played.day(60.3 + 21.0);
    for sensor in ["fig/moisture", "fig/temperature", "fig/float"] {
        assert!(played.of(sensor).all(|(message, _)| message.received_ms < gone), "{sensor}");
    }
    assert!(played.of("quince/moisture").any(|(message, _)| message.received_ms > gone));
}

#[test]
fn an_outage_loses_messages_or_delivers_them_late_with_their_own_times() {
    let (from, until) = (60.3, 62.3);
    let lost = play("gateway-outage");
    let within = lost.day(from)..lost.day(until);
    assert!(lost.messages.iter().all(|message| !within.contains(&message.received_ms)));

    let stored = play("gateway-outage-stored");
    let late = stored
        .of("quince/moisture")
        .filter(|(message, json)| {
            let taken: jiff::Timestamp = json["time"].as_str().unwrap().parse().unwrap();
            within.contains(&taken.as_millisecond()) && message.received_ms >= within.end
        })
        .count();
    assert!((180..=200).contains(&late), "two days of quarters of an hour: {late}");
}

#[test]
fn the_truth_file_tells_faults_doses_standing_water_and_services() {
    let played = play("blocked-and-cured");
    let lines: Vec<Json> = answers(&played.scenario, 11, &played.truth)
        .iter()
        .map(|answer: &Answer| serde_json::to_value(answer).unwrap())
        .collect();
    let of = |kind: &str| lines.iter().filter(|line| line["truth"] == kind).cloned().collect::<Vec<Json>>();
    let fault = &of("fault")[0];
    assert_eq!(fault["kind"], "blockage");
    assert_eq!(fault["subject"], serde_json::json!({ "basin": "fig" }));
    assert_eq!(fault["course"], "step");
    let cleared: jiff::Timestamp = fault["end"].as_str().unwrap().parse().unwrap();
    assert!((cleared.as_millisecond() - played.day(75.4)).abs() < Span::hours(1).ms());
    assert_eq!(of("service").len(), 2);
    assert_eq!(of("expect")[0]["finding"], "blocked-outlet");
    assert!(of("dose").iter().any(|dose| dose["kind"] == "flow-test"));
    for dose in of("dose") {
        let shares = dose["shares"].as_object().unwrap();
        let sum: f64 = shares.values().map(|share| share.as_f64().unwrap()).sum();
        assert!(shares.is_empty() || (sum - 1.0).abs() < 1e-9, "{dose}");
    }
}
