//! The whole set: the shipped rules at a real Mosquitto over TLS, the daemon, and a time-series server; and a restore.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use support::{Certificates, Mosquitto, Process, free_port, until};
use tempfile::TempDir;

/// Long enough for anything on a busy machine.
pub(crate) const PATIENCE: Duration = Duration::from_mins(1);
const SYSTEM: &str = include_str!("../../deploy/systems/alder-court-east.toml");

/// Mosquitto with the shipped configuration, its paths pointed into a folder of its own.
fn broker() -> Mosquitto {
    Mosquitto::with_files(|folder| {
        Certificates::make(folder);
        let passwords = folder.join("passwords");
        for (n, user) in ["basinward", "alder-court-east", "elsewhere"].iter().enumerate() {
            let mut make = Command::new("mosquitto_passwd");
            make.args(if n == 0 { &["-c", "-b"][..] } else { &["-b"][..] })
                .arg(&passwords)
                .args([user, "secret"]);
            assert!(
                make.stderr(Stdio::null()).status().is_ok_and(|status| status.success()),
                "mosquitto_passwd"
            );
        }
        fs::copy("deploy/mosquitto/acl", folder.join("acl")).expect("copies");
        let shipped = fs::read_to_string("deploy/mosquitto/tls.conf").expect("it is there");
        let (_, settings) = shipped.split_once("listener 8883\n").expect("it has a listener of its own");
        settings
            .replace("/etc/mosquitto/certs", &folder.display().to_string())
            .replace("/etc/mosquitto", &folder.display().to_string())
    })
}

/// Publishes over TLS as a gateway would.
fn publish(broker: &Mosquitto, user: &str, topic: &str, payload: &str) {
    let port = broker.port().to_string();
    let ca = broker.folder().join("ca.pem");
    let status = Command::new("mosquitto_pub")
        .args([
            "-h",
            "localhost",
            "-p",
            &port,
            "-q",
            "1",
            "-u",
            user,
            "-P",
            "secret",
            "-t",
            topic,
            "-m",
            payload,
        ])
        .arg("--cafile")
        .arg(ca)
        .status();
    assert!(status.expect("mosquitto_pub is installed").success(), "{user} publishes");
}

fn get(url: &str) -> String {
    let output =
        Command::new("curl").args(["--silent", "--globoff", url]).output().expect("curl is installed");
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// A daemon's folder with the shipped example system.
fn yard() -> TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    fs::create_dir(folder.path().join("systems")).expect("a folder");
    fs::write(folder.path().join("systems/alder-court-east.toml"), SYSTEM).expect("a system file");
    folder
}

fn daemon(folder: &Path, settings: &[(&str, String)]) -> Process {
    let log = fs::File::create(folder.join("log")).expect("a log file");
    let mut command = Command::new(env!("CARGO_BIN_EXE_basinward"));
    command.arg("run").current_dir(folder).envs(settings.iter().cloned()).stdout(Stdio::null()).stderr(log);
    Process::start(&mut command)
}

#[test]
fn readings_come_in_over_tls_within_the_rules_and_reach_the_time_series_server() {
    let broker = broker();
    let (series, desk) = (free_port(), free_port());
    let storage = tempfile::tempdir().expect("a temporary folder");
    let _server = Process::start(
        Command::new("victoria-metrics")
            .arg(format!("-storageDataPath={}", storage.path().display()))
            .arg(format!("-httpListenAddr=127.0.0.1:{series}"))
            .stdout(Stdio::null())
            .stderr(Stdio::null()),
    );
    let yard = yard();
    let _daemon = daemon(
        yard.path(),
        &[
            ("BASINWARD__MQTT__BROKER", format!("mqtts://localhost:{}", broker.port())),
            ("BASINWARD__MQTT__USER", "basinward".to_owned()),
            ("BASINWARD__MQTT__PASSWORD", "secret".to_owned()),
            ("BASINWARD__MQTT__CA_FILE", broker.folder().join("ca.pem").display().to_string()),
            ("BASINWARD__DESK__LISTEN", format!("127.0.0.1:{desk}")),
            ("BASINWARD__INFLUXDB__URL", format!("http://127.0.0.1:{series}")),
            ("BASINWARD__INFLUXDB__ORG", "yards".to_owned()),
            ("BASINWARD__INFLUXDB__BUCKET", "greywater".to_owned()),
        ],
    );
    until(PATIENCE, "the daemon is ready", || get(&format!("http://127.0.0.1:{desk}/readyz")) == "ready\n");
    assert_eq!(get(&format!("http://127.0.0.1:{desk}/healthz")), "ok\n");
    // Another gateway may not speak for this system; its message must not overtake, so it goes first.
    publish(&broker, "elsewhere", "greywater/alder-court-east/fig/moisture", "11.5");
    publish(&broker, "alder-court-east", "greywater/alder-court-east/quince/moisture", "31.4");
    let written = || {
        get(&format!("http://127.0.0.1:{series}/internal/force_flush"));
        get(&format!("http://127.0.0.1:{series}/api/v1/export?match[]=reading_value"))
    };
    until(PATIENCE, "the reading is written", || written().contains("0.314"));
    let written = written();
    assert!(written.contains("quince") && !written.contains("fig"), "{written}");
}

#[test]
fn a_backup_is_restored_whole_and_never_under_a_daemon() {
    let yard = yard();
    fs::write(yard.path().join("basinward.toml"), "").expect("settings");
    let (desk, embedded) = (free_port(), free_port());
    let settings = [
        ("BASINWARD__DESK__LISTEN", format!("127.0.0.1:{desk}")),
        ("BASINWARD__EMBEDDED_BROKER__LISTEN", format!("127.0.0.1:{embedded}")),
    ];
    let mut running = daemon(yard.path(), &settings);
    until(PATIENCE, "the daemon is ready", || get(&format!("http://127.0.0.1:{desk}/readyz")) == "ready\n");
    let mut device = support::Device::connect(embedded, None).expect("it connects");
    device.publish("greywater/alder-court-east/quince/moisture", b"31.4").expect("acknowledged");

    let root = std::env::current_dir().expect("a folder");
    let script = |name: &str, arguments: [&Path; 2]| {
        let mut command = Command::new(root.join("deploy/backup").join(name));
        command.args(arguments).env("BASINWARD", env!("CARGO_BIN_EXE_basinward"));
        command.output().expect("the script runs")
    };
    let copies = yard.path().join("copies");
    let backed_up = script("backup", [&copies, &yard.path().join("basinward.toml")]);
    assert!(backed_up.status.success(), "{backed_up:?}");
    let copy = String::from_utf8(backed_up.stdout).expect("UTF-8");
    let copy = Path::new(copy.lines().last().expect("the script names the copy"));

    let data = yard.path().join("data");
    let refused = script("restore", [copy, &data]);
    assert!(!refused.status.success() && String::from_utf8_lossy(&refused.stderr).contains("stop it first"));
    running.kill();
    fs::write(data.join("ledger.db"), "what a failing disk left").expect("spoils it");
    let restored = script("restore", [copy, &data]);
    assert!(restored.status.success(), "{restored:?}");
    let view = basinward::ledger::View::open(&data).expect("a ledger again");
    view.check().expect("whole");
    assert_eq!(view.totals().expect("totals").readings, 1);
}
