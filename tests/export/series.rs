//! A real server that speaks the write interface of InfluxDB 2 (Debian's victoria-metrics), read back exactly.

use std::collections::BTreeMap;
use std::process::{Command, Stdio};
use std::time::Duration;

use basinward::alerts::{Act, AlertNo};
use basinward::engine::{Change, Dose, Effect, Soak};
use basinward::ledger::{AlertOrder, AlertWork, Order};
use basinward::model::{BasinIx, Span};
use support::{Process, free_port, until};
use tempfile::TempDir;

use crate::keeper::Keeper;
use crate::yard::{PROBE, flooding, minute, system, take};

/// Long enough for anything on a busy machine.
const PATIENCE: Duration = Duration::from_mins(1);

/// A time-series server in a folder of its own.
struct SeriesServer {
    folder: TempDir,
    port: u16,
    process: Option<Process>,
}

impl SeriesServer {
    fn start() -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let mut server = Self { folder, port: free_port(), process: None };
        server.launch();
        server
    }

    fn launch(&mut self) {
        let process = Process::start(
            Command::new("victoria-metrics")
                .arg(format!("-storageDataPath={}", self.folder.path().display()))
                .arg(format!("-httpListenAddr=127.0.0.1:{}", self.port))
                .args(["-retentionPeriod=100y", "-memory.allowedBytes=64MB"])
                .stdout(Stdio::null())
                .stderr(Stdio::null()),
        );
        self.process = Some(process);
        until(PATIENCE, "the server answers", || self.get("/health").contains("OK"));
    }

    fn stop(&mut self) {
        let mut process = self.process.take().expect("it runs");
        process.signal("TERM");
        process.wait(PATIENCE);
    }

    fn url(&self) -> String {
        format!("http://127.0.0.1:{}", self.port)
    }

    fn get(&self, target: &str) -> String {
        let url = format!("{}{target}", self.url());
        let output =
            Command::new("curl").args(["--silent", "--globoff", &url]).output().expect("curl is there");
        String::from_utf8(output.stdout).expect("UTF-8")
    }

    /// Every series: its name with its tags, and its values by time in milliseconds.
    fn series(&self) -> BTreeMap<String, BTreeMap<i64, f64>> {
        self.get("/internal/force_flush");
        let mut all = BTreeMap::new();
        for line in self.get("/api/v1/export?match[]={__name__!=\"\"}").lines() {
            let series: serde_json::Value = serde_json::from_str(line).expect("a series");
            let tags = series["metric"].as_object().expect("tags").iter();
            let tags: Vec<String> =
                tags.map(|(key, tag)| format!("{key}={}", tag.as_str().unwrap_or_default())).collect();
            let name = tags.join(" ") + " ";
            let times =
                series["timestamps"].as_array().expect("times").iter().filter_map(serde_json::Value::as_i64);
            let values =
                series["values"].as_array().expect("values").iter().filter_map(serde_json::Value::as_f64);
            let points: BTreeMap<i64, f64> = times.zip(values).collect();
            all.entry(name).or_insert_with(BTreeMap::new).extend(points);
        }
        all
    }
}

// The exporter goes on while this waits for what it writes last.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_the_ledger_holds_is_read_back_exactly() {
    let server = SeriesServer::start();
    let keeper = Keeper::new(system("east", &["quince", "fig"]));
    keeper.commit(|batch, no| {
        (0..6000).for_each(|n| take(batch, no, PROBE, minute(n), (n % 400) as f64 / 1000.0));
        let shares = vec![(BasinIx(0), 0.7), (BasinIx(1), 0.3)];
        batch.conclude(no, Effect::Dose(Dose { at: minute(10), litres: Some(50.0), shares, quality: 0.9 }));
        batch.conclude(
            no,
            Effect::Soak(Soak { basin: BasinIx(1), began: minute(12), lasted: Span::from_mins(30) }),
        );
        batch.conclude(no, flooding(Change::Raised, "quince", minute(40), 0.9));
    });
    let mut export = keeper.export(&server.url());
    export.until(|state| state.past >= 1.0).await;
    keeper.commit(|batch, _| {
        let work = AlertWork::Step { alert: AlertNo(1), act: Act::Acknowledge };
        batch.order(Order::Alert(AlertOrder { at: minute(45), by: Some("ana".to_owned()), work }));
    });
    keeper.commit(|batch, no| {
        (6000..6100).for_each(|n| take(batch, no, PROBE, minute(n), 0.25));
        batch.conclude(no, flooding(Change::Cleared, "quince", minute(50), 0.9));
    });
    export.until(|state| state.commit >= 3 && state.effect >= 4).await;
    // What reaches the server last: the steps of the alert that the finding opened.
    let alert = |field: &str, step: &str| {
        let about = format!("step={step} subject=quince system=east ");
        format!("__name__=alert_{field} finding=flooding part=basin property=alder-court {about}")
    };
    let cleared = alert("standing", "cleared");
    until(PATIENCE, "the alert's end is written", || server.series().contains_key(&cleared));

    let series = server.series();
    let of =
        |name: &str| series.get(name).unwrap_or_else(|| panic!("{name} is not among {:?}", series.keys()));
    let one = |name: &str, minutes: i64| of(name)[&minute(minutes).millis()];
    let readings =
        of("__name__=reading_value basin=quince property=alder-court quantity=moisture system=east ");
    let kept: BTreeMap<i64, f64> = (0..6000)
        .map(|n| (minute(n).millis(), (n % 400) as f64 / 1000.0))
        .chain((6000..6100).map(|n| (minute(n).millis(), 0.25)))
        .collect();
    assert_eq!(*readings, kept);
    let east = "property=alder-court";
    assert_close(one(&format!("__name__=dose_litres {east} system=east "), 10), 50.0);
    assert_close(one(&format!("__name__=dose_quality {east} system=east "), 10), 0.9);
    for (basin, share) in [("fig", 0.3), ("quince", 0.7)] {
        assert_close(one(&format!("__name__=share_share basin={basin} {east} system=east "), 10), share);
        assert_close(one(&format!("__name__=share_design basin={basin} {east} system=east "), 10), 0.5);
        assert_close(
            one(&format!("__name__=share_litres basin={basin} {east} system=east "), 10),
            50.0 * share,
        );
    }
    // ln(0.7 / 0.3) = 0.8473 (logit of 0.7).
    let ratio = one(&format!("__name__=balance_log_ratio {east} splitter=s1 system=east "), 10);
    assert!((ratio - 0.8473).abs() < 1e-4, "{ratio}");
    assert_close(one(&format!("__name__=balance_side_a {east} splitter=s1 system=east "), 10), 0.7);
    assert_close(one(&format!("__name__=soak_soak_time_s basin=fig {east} system=east "), 12), 1800.0);
    let finding = format!("__name__=finding_open {}", "finding=flooding part=basin");
    let finding = format!("{finding} property=alder-court subject=quince system=east ");
    assert_close(one(&finding, 40), 1.0);
    assert_close(one(&finding, 50), 0.0);
    for (step, minutes, standing, by_person) in
        [("opened", 40, 1.0, 0.0), ("acknowledged", 45, 1.0, 1.0), ("cleared", 50, 0.0, 0.0)]
    {
        assert_close(one(&alert("alert", step), minutes), 1.0);
        assert_close(one(&alert("standing", step), minutes), standing);
        assert_close(one(&alert("by_person", step), minutes), by_person);
        assert_close(one(&alert("age_s", step), minutes), (minutes - 40) as f64 * 60.0);
    }
}

fn assert_close(found: f64, wanted: f64) {
    assert!((found - wanted).abs() < 1e-9, "{found} for {wanted}");
}

#[tokio::test]
async fn an_outage_of_the_server_loses_nothing() {
    let mut server = SeriesServer::start();
    let keeper = Keeper::new(system("east", &["quince"]));
    let mut export = keeper.export(&server.url());
    let commit = |from: i64, to: i64| {
        keeper.commit(move |batch, no| {
            (from..to).for_each(|n| take(batch, no, PROBE, minute(n), n as f64 / 1000.0));
        });
    };
    commit(0, 100);
    export.until(|state| state.commit >= 1 && state.past >= 1.0).await;
    server.stop();
    (1..6).for_each(|n| commit(n * 100, n * 100 + 100));
    export.until(|state| state.failures > 1).await;
    server.launch();
    export.until(|state| state.commit >= 6).await;
    let series = server.series();
    let name = "__name__=reading_value basin=quince property=alder-court quantity=moisture system=east ";
    assert_eq!(series[name].len(), 600);
    export.end().await;
}
