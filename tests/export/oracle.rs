//! Every line that our encoder can write, judged by a strict parser: Debian's influxdb 1.6, whose line protocol is
//! that of version 2, read back through its query interface.

use std::collections::BTreeSet;
use std::fs;
use std::process::{Command, Stdio};
use std::sync::LazyLock;
use std::time::Duration;

use basinward::export::Lines;
use basinward::model::EventTime;
use proptest::prelude::*;
use serde_json::Value;
use support::{Process, free_port, until};
use tempfile::TempDir;

/// Long enough for anything on a busy machine.
const PATIENCE: Duration = Duration::from_mins(1);

/// One server for all cases.
static ORACLE: LazyLock<Oracle> = LazyLock::new(Oracle::start);

struct Oracle {
    _folder: TempDir,
    _process: Process,
    port: u16,
}

impl Oracle {
    fn start() -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let (port, inner) = (free_port(), free_port());
        let path = folder.path().display();
        let settings = format!(
            "reporting-disabled = true\nbind-address = \"127.0.0.1:{inner}\"\n\
             [meta]\ndir = \"{path}/meta\"\n[data]\ndir = \"{path}/data\"\nwal-dir = \"{path}/wal\"\n\
             [http]\nbind-address = \"127.0.0.1:{port}\"\nlog-enabled = false\nmax-row-limit = 0\n\
             [monitor]\nstore-enabled = false\n"
        );
        fs::write(folder.path().join("influxdb.conf"), settings).expect("writes");
        let process = Process::start(
            Command::new("influxd")
                .arg("-config")
                .arg(folder.path().join("influxdb.conf"))
                .env("INFLUXDB_CONFIG_PATH", "")
                .stdout(Stdio::null())
                .stderr(Stdio::null()),
        );
        let oracle = Self { _folder: folder, _process: process, port };
        until(PATIENCE, "the oracle answers", || oracle.query("", "SHOW DATABASES").is_some());
        oracle
    }

    fn curl(arguments: &[&str]) -> String {
        let output = Command::new("curl").arg("--silent").args(arguments).output().expect("curl is there");
        String::from_utf8(output.stdout).expect("UTF-8")
    }

    fn query(&self, database: &str, question: &str) -> Option<Value> {
        let url = format!("http://127.0.0.1:{}/query?db={database}&epoch=ms", self.port);
        serde_json::from_str(&Self::curl(&[&url, "--data-urlencode", &format!("q={question}")])).ok()
    }

    /// Writes lines into `database`, emptied first; what the server has against them, nothing if it takes them all.
    fn judge(&self, database: &str, lines: &str) -> String {
        for what in ["DROP", "CREATE"] {
            self.query(database, &format!("{what} DATABASE {database}")).expect("an answer");
        }
        let folder = tempfile::tempdir().expect("a temporary folder");
        let body = folder.path().join("body");
        fs::write(&body, lines).expect("writes");
        let url = format!("http://127.0.0.1:{}/write?db={database}&precision=ms", self.port);
        Self::curl(&[&url, "--data-binary", &format!("@{}", body.display())])
    }

    /// Tag, text and number of every point of the measurement `m`.
    fn points(&self, database: &str) -> BTreeSet<(String, String, String)> {
        let answer = self.query(database, r#"SELECT "tag", "says", "number" FROM "m""#).expect("an answer");
        let rows = answer["results"][0]["series"][0]["values"].as_array().cloned().unwrap_or_default();
        let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
        rows.iter().map(|row| (text(&row[1]), text(&row[2]), row[3].to_string())).collect()
    }
}

/// What a name becomes that has no spelling in the protocol; a second statement of what `lines` promises.
fn spelt(name: &str) -> String {
    let spelt: String = name
        .chars()
        .map(|c| {
            if c == '\\' {
                '/'
            } else if c.is_control() {
                ' '
            } else {
                c
            }
        })
        .collect();
    if spelt.starts_with('#') { format!("_{spelt}") } else { spelt }
}

/// Text with what the protocol finds special more often than chance would have it.
fn text() -> impl Strategy<Value = String> {
    let special = prop::sample::select(vec![
        ",", "=", " ", "\\", "\"", "\n", "\r\n", "\t", "#", "'", "é", "水", "\u{0}", "\\n", "\\,", "=\\",
        "i", "-", "\u{85}",
    ]);
    prop::collection::vec(
        prop_oneof![3 => special.prop_map(str::to_owned), 2 => "[ -~]{0,6}", 1 => "\\PC{0,4}"],
        0..6,
    )
    .prop_map(|pieces| pieces.concat())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn every_tag_and_text_is_taken_and_read_back(
        rows in prop::collection::vec((text(), text(), -1e9..1e9f64), 1..20),
    ) {
        let mut lines = Lines::default();
        let mut wanted = BTreeSet::new();
        for (n, (tag, says, number)) in rows.iter().enumerate() {
            lines.line("m").tag("tag", tag).text("says", says).number("number", *number)
                .at(EventTime::from_millis(1_700_000_000_000 + n as i64));
            let said: String = says.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
            wanted.insert((spelt(tag), said, serde_json::json!(number).to_string()));
        }
        let judged = ORACLE.judge("texts", lines.text(0..lines.len()));
        prop_assert!(judged.is_empty(), "{judged}\n{}", lines.text(0..lines.len()));
        let found = ORACLE.points("texts");
        let number = |text: &str| text.parse::<f64>().expect("a number").to_bits();
        let bits = |set: &BTreeSet<(String, String, String)>| -> BTreeSet<(String, String, u64)> {
            set.iter().map(|(tag, says, n)| (tag.clone(), says.clone(), number(n))).collect()
        };
        prop_assert_eq!(bits(&found), bits(&wanted));
    }

    #[test]
    fn every_measurement_and_key_is_taken(
        names in prop::collection::vec((text(), text(), text(), any::<i64>(), any::<f64>()), 1..20),
    ) {
        let mut lines = Lines::default();
        for (n, (measurement, tag, field, whole, number)) in names.iter().enumerate() {
            lines.line(measurement).tag(&format!("t{tag}"), "x").whole(&format!("w{n}{field}"), *whole)
                .number(&format!("f{n}{field}"), *number).at(EventTime::from_millis(n as i64));
        }
        let judged = ORACLE.judge("names", lines.text(0..lines.len()));
        prop_assert!(judged.is_empty(), "{judged}\n{}", lines.text(0..lines.len()));
    }
}

#[test]
fn the_oracle_is_strict() {
    for wrong in ["m,t= f=1 1\n", "m f=NaN 1\n", "m,t=a\\ f=1 1\n", "m f=\"a\\\" 1\n", "m 1\n"] {
        assert!(ORACLE.judge("wrong", wrong).contains("error"), "{wrong:?} was taken");
    }
}
