//! The set of containers, as far as it goes without an engine: its parts are made by the shipped script, every file
//! that it mounts is there, and broker and Prometheus run on what they would find inside.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use support::{Process, free_port, until};
use tempfile::TempDir;

use crate::whole::PATIENCE;

const COMPOSE: &str = include_str!("../../deploy/compose/compose.yml");

/// A copy of what is shipped, prepared for one gateway.
struct Set {
    folder: TempDir,
    gateway_password: String,
}

impl Set {
    fn prepare() -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let copied = Command::new("cp").args(["-r", "deploy", "dashboards"]).arg(folder.path()).status();
        assert!(copied.is_ok_and(|status| status.success()), "copies");
        let mut prepare = Command::new(folder.path().join("deploy/compose/prepare"));
        let made = prepare.args(["yards.example", "alder-court-east"]).output().expect("the script runs");
        assert!(made.status.success(), "{made:?}");
        let said = String::from_utf8(made.stdout).expect("text");
        let (_, rest) = said.split_once("gateway alder-court-east: password ").expect("the password is told");
        let gateway_password = rest.split(',').next().unwrap_or_default().to_owned();
        Self { folder, gateway_password }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join("deploy/compose").join(name)
    }

    /// Where `service` finds what of this machine: paths inside, and here.
    fn mounts(&self, service: &str) -> BTreeMap<&'static str, PathBuf> {
        let (_, own) = COMPOSE.split_once(&format!("\n  {service}:\n")).expect("it is there");
        let own = own.lines().take_while(|line| line.starts_with("    "));
        let mounts =
            own.filter_map(|line| line.trim().strip_prefix("- ")).filter(|line| line.starts_with('.'));
        mounts
            .filter_map(|line| line.split_once(':'))
            .map(|(here, inside)| (inside.trim_end_matches(":ro"), self.path(here)))
            .collect()
    }

    /// `text` with the paths of the inside turned into those of this machine.
    fn outside(&self, service: &str, text: &str) -> String {
        let mounts = self.mounts(service);
        // The longest first, so that a folder does not hide a file in it.
        let mut inside: Vec<_> = mounts.iter().collect();
        inside.sort_by_key(|(inside, _)| std::cmp::Reverse(inside.len()));
        inside.into_iter().fold(text.to_owned(), |text, (inside, here)| {
            text.replace(inside, &here.canonicalize().expect("it is there").display().to_string())
        })
    }

    fn secret(&self, name: &str) -> String {
        let all = fs::read_to_string(self.path(".env")).expect("secrets");
        let value = all.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix('='));
        value.expect("it was made").to_owned()
    }
}

fn mosquitto(name: &str, port: u16, ca: &Path, (user, password): (&str, &str)) -> Command {
    let mut command = Command::new(name);
    command.args(["-h", "localhost", "-p", &port.to_string(), "-q", "1", "-u", user, "-P", password]);
    command.arg("--cafile").arg(ca).stdout(Stdio::piped()).stderr(Stdio::null());
    command
}

#[test]
fn every_file_that_the_set_mounts_is_there_and_every_secret_is_made() {
    let set = Set::prepare();
    let services: Vec<&str> = COMPOSE
        .lines()
        .filter_map(|line| line.strip_prefix("  ")?.strip_suffix(':'))
        .filter(|name| !name.starts_with(' '))
        .collect();
    assert_eq!(services, ["broker", "basinward", "influxdb", "prometheus", "grafana"]);
    let mounts = services.iter().flat_map(|service| set.mounts(service));
    let missing: Vec<_> = mounts.filter(|(_, here)| !here.exists()).collect();
    assert!(missing.is_empty(), "{missing:?}");
    let names = COMPOSE.split("${").skip(1).filter_map(|rest| rest.split('}').next());
    assert!(names.into_iter().all(|name| set.secret(name).len() == 48));
    let key = fs::metadata(set.path("broker/ca.key")).expect("the authority's key");
    assert_eq!(std::os::unix::fs::MetadataExt::mode(&key) & 0o077, 0, "nobody else can read it");
}

#[test]
fn the_broker_of_the_set_lets_a_gateway_speak_for_its_system_over_tls() {
    let set = Set::prepare();
    let mounts = set.mounts("broker");
    let included = mounts.iter().filter(|(inside, _)| inside.starts_with("/mosquitto/config/basinward/"));
    let mut text = fs::read_to_string(&mounts["/mosquitto/config/mosquitto.conf"]).expect("settings");
    assert!(text.contains("include_dir /mosquitto/config/basinward\n"));
    text = text.replace("include_dir /mosquitto/config/basinward\n", "");
    for (_, here) in included {
        text += &fs::read_to_string(here).expect("settings");
    }
    let port = free_port();
    let text = set.outside("broker", &text).replace("listener 8883", &format!("listener {port}"));
    let data = tempfile::tempdir().expect("a folder");
    let text = text.replace("/mosquitto/data/", &format!("{}/", data.path().display()));
    let file = data.path().join("mosquitto.conf");
    fs::write(&file, format!("{text}\nuser root\nlog_dest none\n")).expect("writes");
    let _broker = Process::start(Command::new("mosquitto").arg("-c").arg(&file));
    let ca = set.path("broker/certs/ca.pem");
    let gateway = || mosquitto("mosquitto_pub", port, &ca, ("alder-court-east", &set.gateway_password));
    let publish = |system: &str, payload: &str| {
        gateway().args(["-t", &format!("greywater/{system}/quince/moisture"), "-m", payload]).status()
    };
    until(PATIENCE, "the broker takes the gateway's message", || {
        publish("alder-court-east", "1").is_ok_and(|status| status.success())
    });
    let password = set.secret("MQTT_PASSWORD");
    let mut daemon = mosquitto("mosquitto_sub", port, &ca, ("basinward", &password));
    let daemon = daemon.args(["-t", "greywater/#", "-C", "1", "-W", "30", "-v"]).spawn().expect("it runs");
    // Nothing may come of another system, so what is heard first is its own; repeated until the other end listens.
    let mut ended = false;
    let mut daemon = Some(daemon);
    until(PATIENCE, "the daemon's user hears it", || {
        let _ = publish("elsewhere", "2");
        let _ = publish("alder-court-east", "31.4");
        ended = daemon.as_mut().is_some_and(|daemon| daemon.try_wait().is_ok_and(|status| status.is_some()));
        ended
    });
    let heard = daemon.take().expect("it ran").wait_with_output().expect("it ended");
    assert_eq!(String::from_utf8_lossy(&heard.stdout), "greywater/alder-court-east/quince/moisture 31.4\n");
}

#[test]
fn prometheus_of_the_set_finds_its_rules_and_its_key() {
    let set = Set::prepare();
    let shipped =
        fs::read_to_string(&set.mounts("prometheus")["/etc/prometheus/prometheus.yml"]).expect("settings");
    let file = set.folder.path().join("prometheus.yml");
    fs::write(&file, set.outside("prometheus", &shipped)).expect("writes");
    let judged = Command::new("promtool").args(["check", "config"]).arg(&file).output().expect("promtool");
    let says = String::from_utf8_lossy(&judged.stdout);
    assert!(judged.status.success() && says.contains("rules found"), "{judged:?}");
}
