//! A day on which neither the mail server nor the time-series server answers, by a clock that is set ahead hour by hour.

use std::collections::BTreeSet;
use std::process::{Command, Stdio};

use basinward::ledger::{AlertFilter, DeliveryState, StoredDelivery};
use basinward::model::FindingKind;
use serde_json::json;
use support::{Mosquitto, Process, free_port, until};

use crate::house::now_s;
use crate::mail::{Mailbox, online};
use crate::other_clock::OtherClock;
use crate::rig::{PATIENCE, Yard};

const HOURS: u64 = 24;
/// Readings of an hour.
const READINGS: u64 = 12;
/// Every so many hours one more yard is flooded.
const FLOOD_EVERY: u64 = 3;

fn settings(mail: u16, series: u16) -> String {
    format!(
        "[influxdb]\nurl = \"http://127.0.0.1:{series}\"\norg = \"yards\"\nbucket = \"greywater\"\n\
         [channels.mail]\nkind = \"mail\"\nserver = \"localhost:{mail}\"\nfrom = \"yard@example.org\"\ntls = \"never\"\n\
         [contacts.ana]\nchannels = [\"mail\"]\nmail = \"ana@example.org\"\n\
         [routes.floods]\nseverity = \"critical\"\ntell = [\"ana\"]\n"
    )
}

/// Every message of every flood.
fn deliveries(yard: &Yard) -> Vec<StoredDelivery> {
    let view = yard.view();
    let floods = view.alerts(&AlertFilter::default(), 1000).expect("the alerts").into_iter();
    let floods = floods.filter(|alert| alert.finding.kind == FindingKind::Flooding);
    let mut all: Vec<_> =
        floods.flat_map(|alert| view.alert(alert.no).expect("reads").expect("is there").sent).collect();
    all.sort_by_key(|delivery| delivery.no);
    all.dedup_by_key(|delivery| delivery.no);
    all
}

/// Readings at the time-series server.
fn passed_on(port: u16) -> u64 {
    let get = |target: &str| {
        let url = format!("http://127.0.0.1:{port}{target}");
        let output =
            Command::new("curl").args(["--silent", "--globoff", &url]).output().expect("curl is there");
        String::from_utf8(output.stdout).expect("UTF-8")
    };
    get("/internal/force_flush");
    // The daemon's day is ahead of the server's.
    let found = get("/api/v1/export?end=9999999999&match[]=reading_value{quantity=\"moisture\"}");
    let series = found.lines().map(|line| serde_json::from_str::<serde_json::Value>(line).expect("a series"));
    series.map(|series| series["timestamps"].as_array().expect("times").len() as u64).sum()
}

#[test]
fn a_day_without_mail_and_time_series_server_loses_nothing_and_tells_nobody_twice() {
    let Some(clock) = OtherClock::found() else { return };
    if !online() {
        return;
    }
    let (broker, mail, series) = (Mosquitto::start(), free_port(), free_port());
    let yards = HOURS / FLOOD_EVERY;
    let yard = clock.drive(Yard::new(yards as usize).listening_to(broker.port()));
    yard.write("basinward.toml", &settings(mail, series));
    let _daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);
    let begun = now_s();
    for hour in 0..HOURS {
        clock.goes_ahead_by(&format!("{hour}h"));
        let tell = |quantity: &str, value: serde_json::Value, seconds: u64| {
            let time = begun + hour * 3600 + seconds - 120;
            let topic = format!("greywater/yard-{}/quince/{quantity}", hour / FLOOD_EVERY);
            broker.publish(&topic, json!({ "value": value, "time": time }).to_string());
        };
        for n in 0..READINGS {
            tell("moisture", json!(30.0 + n as f64 / 10.0), n);
        }
        if hour % FLOOD_EVERY == 0 {
            tell("overflow", json!("wet"), 0);
            tell("overflow", json!("wet"), 120);
            let floods = (hour / FLOOD_EVERY + 1) as usize;
            until(PATIENCE, &format!("flood {floods} is to be told"), || deliveries(&yard).len() >= floods);
        }
    }
    let sent = HOURS * READINGS;
    clock.goes_ahead_by(&format!("{HOURS}h"));
    until(PATIENCE, "mail was tried to the end of the day", || {
        let waiting = |delivery: &StoredDelivery| matches!(delivery.state, DeliveryState::Waiting { .. });
        deliveries(&yard).iter().all(|delivery| waiting(delivery) && delivery.tries > 0)
    });

    let folder = tempfile::tempdir().expect("a folder");
    let _series_server = Process::start(
        Command::new("victoria-metrics")
            .arg(format!("-storageDataPath={}", folder.path().display()))
            .arg(format!("-httpListenAddr=127.0.0.1:{series}"))
            .args(["-retentionPeriod=100y", "-memory.allowedBytes=64MB"])
            .stdout(Stdio::null())
            .stderr(Stdio::null()),
    );
    let mailbox = Mailbox::start_at(mail, &[]);
    // Past the longest pause between two attempts.
    clock.goes_ahead_by(&format!("{}m", HOURS * 60 + 16));
    let confirmed = |delivery: &StoredDelivery| matches!(delivery.state, DeliveryState::Confirmed { .. });
    until(PATIENCE * 2, "every message is confirmed", || deliveries(&yard).iter().all(confirmed));
    until(PATIENCE * 3, "every reading is passed on", || passed_on(series) == sent);
    let (told, mails) = (deliveries(&yard), mailbox.mails());
    let different: BTreeSet<_> = mails.iter().map(|mail| mail["headers"]["message-id"].to_string()).collect();
    println!(
        "mail and time-series server away for {HOURS} h: {yards} floods in {} messages, {} received, {} of them twice; \
         {sent} readings, {} passed on",
        told.len(),
        different.len(),
        mails.len() - different.len(),
        passed_on(series)
    );
    assert_eq!((different.len(), mails.len()), (told.len(), told.len()));
}
