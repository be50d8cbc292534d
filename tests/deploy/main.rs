//! What is shipped beside the program: unit, rules, dashboards.

mod log;
mod set;
mod whole;

use std::collections::BTreeSet;
use std::fs;
use std::path::PathBuf;
use std::process::Command;

use basinward::export::schema::MEASUREMENTS;
use serde_json::Value;

const METRICS: &str = include_str!("../../src/desk/operations.rs");

/// Every metric that the daemon can show.
fn metrics() -> BTreeSet<&'static str> {
    METRICS
        .split('"')
        .filter(|text| text.starts_with("basinward_"))
        .map(|text| text.split(' ').next().unwrap_or_default())
        .collect()
}

/// Names of metrics in an expression.
fn metrics_in(text: &str) -> impl Iterator<Item = &str> {
    text.split(|c: char| !c.is_ascii_alphanumeric() && c != '_').filter(|word| word.starts_with("basinward_"))
}

fn dashboards() -> Vec<(PathBuf, Value)> {
    let folder = fs::read_dir("dashboards/grafana/dashboards").expect("the folder is there");
    let paths = folder.map(|entry| entry.expect("an entry").path());
    paths
        .map(|path| {
            (path.clone(), serde_json::from_str(&fs::read_to_string(path).expect("text")).expect("JSON"))
        })
        .collect()
}

/// All texts under keys called `key`.
fn texts<'v>(value: &'v Value, key: &str, found: &mut Vec<&'v str>) {
    match value {
        Value::Object(map) => map.iter().for_each(|(name, inside)| {
            if let (true, Some(text)) = (name == key, inside.as_str()) {
                found.push(text);
            }
            texts(inside, key, found);
        }),
        Value::Array(list) => list.iter().for_each(|inside| texts(inside, key, found)),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

/// What a query compares `r.NAME` with.
fn compared<'q>(query: &'q str, name: &str) -> Vec<&'q str> {
    let before = format!("r.{name} == \"");
    query.split(&before).skip(1).filter_map(|rest| rest.split('"').next()).collect()
}

#[test]
fn the_unit_leaves_little_to_attack() {
    let judged = Command::new("systemd-analyze")
        .args([
            "security",
            "--offline=true",
            "--threshold=20",
            "--no-pager",
            "deploy/systemd/basinward.service",
        ])
        .output()
        .expect("systemd is installed");
    let says = String::from_utf8_lossy(&judged.stdout);
    assert!(judged.status.success(), "an exposure of 2.0 or more:\n{says}");
}

#[test]
fn the_alert_rules_are_right_and_name_only_what_the_daemon_shows() {
    let rules = "deploy/prometheus/alerts.yml";
    let judged =
        Command::new("promtool").args(["check", "rules", rules]).output().expect("promtool is installed");
    assert!(judged.status.success(), "{}", String::from_utf8_lossy(&judged.stderr));
    let text = fs::read_to_string(rules).expect("it is there");
    let shown = metrics();
    for metric in metrics_in(&text) {
        assert!(shown.contains(metric), "{metric} is not shown by the daemon");
    }
}

#[test]
fn each_alert_rule_is_silent_while_all_is_well_and_speaks_when_it_is_not() {
    let stories = "tests/deploy/alerts.yml";
    let judged =
        Command::new("promtool").args(["test", "rules", stories]).output().expect("promtool is installed");
    assert!(judged.status.success(), "{}", String::from_utf8_lossy(&judged.stderr));
    let rules = fs::read_to_string("deploy/prometheus/alerts.yml").expect("it is there");
    let stories = fs::read_to_string(stories).expect("it is there");
    let names: Vec<_> = rules.lines().filter_map(|line| line.trim().strip_prefix("- alert: ")).collect();
    assert!(names.len() > 5, "the rules were found: {names:?}");
    for name in names {
        // Only what has to speak is written on lines of its own.
        assert!(stories.contains(&format!("- alertname: {name}\n")), "no story lets {name} speak");
        assert!(stories.contains(&format!("{{ alertname: {name}, ")), "no story keeps {name} silent");
    }
}

#[test]
fn the_guide_says_what_every_figure_means() {
    let guide = fs::read_to_string("deploy/README.md").expect("it is there");
    for metric in metrics() {
        // Those of passing on stand in one row, shortened.
        let short = metric.strip_prefix("basinward_export").map(|rest| format!("`…{rest}`"));
        let explained = guide.contains(metric) || short.is_some_and(|short| guide.contains(&short));
        assert!(explained, "deploy/README.md does not explain {metric}");
    }
}

#[test]
fn the_dashboards_name_only_what_is_written() {
    let shown = metrics();
    let (mut queries, mut expressions) = (0, 0);
    for (path, dashboard) in dashboards() {
        let (mut flux, mut promql) = (Vec::new(), Vec::new());
        texts(&dashboard["panels"], "query", &mut flux);
        texts(&dashboard["panels"], "expr", &mut promql);
        queries += flux.len();
        expressions += promql.len();
        for query in flux {
            let named = compared(query, "_measurement");
            let [name] = named[..] else { panic!("{}: one measurement a query: {query}", path.display()) };
            let measurement = MEASUREMENTS.iter().find(|it| it.name == name);
            let measurement =
                measurement.unwrap_or_else(|| panic!("{}: no measurement {name}", path.display()));
            for field in compared(query, "_field") {
                assert!(
                    measurement.fields.iter().any(|it| it.name == field),
                    "{}: {name}.{field}",
                    path.display()
                );
            }
            // A word that something is compared with is a value, not a tag.
            let named_in = query.replace("== \"", "== ");
            for tag in
                ["system", "property", "basin", "quantity", "splitter", "finding", "part", "subject", "step"]
            {
                let named =
                    named_in.contains(&format!("r.{tag} ")) || named_in.contains(&format!("\"{tag}\""));
                let written = measurement.tags.iter().any(|(it, _)| *it == tag);
                assert!(!named || written, "{}: {name} has no tag {tag}", path.display());
            }
        }
        for metric in promql.iter().flat_map(|expr| metrics_in(expr)) {
            assert!(shown.contains(metric), "{}: {metric}", path.display());
        }
    }
    assert!(queries > 10 && expressions > 4, "the dashboards were found: {queries}, {expressions}");
}

#[test]
fn the_guide_says_what_every_panel_shows() {
    let guide = fs::read_to_string("deploy/influxdb.md").expect("it is there");
    for (path, dashboard) in dashboards() {
        let name = path.file_stem().expect("a name").to_string_lossy().into_owned();
        for panel in dashboard["panels"].as_array().expect("panels") {
            let text = |key: &str| panel[key].as_str().unwrap_or_default().to_owned();
            let row = format!("| {name} | {} | {} | {} |", text("title"), text("type"), text("description"));
            assert!(guide.contains(&row), "deploy/influxdb.md lacks the row\n{row}");
        }
    }
}
