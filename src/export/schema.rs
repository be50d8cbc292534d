//! What is written: the measurements with their tags and fields, and how the ledger's records become lines.
//!
//! [`MEASUREMENTS`] is the single source of truth: `deploy/influxdb.md` is made from it, and the dashboards may
//! name nothing else. A change that a query could notice raises [`VERSION`].

use crate::alerts::Deed;
use crate::engine::{Change, FindingChange};
use crate::ledger::{DoseRecord, Latest, LoggedEffect, LoggedStep, Record, SoakRecord};
use crate::model::{EventTime, Id, Severity, SplitterIx, Subject, System};
use crate::stats::interval::Estimate;
use crate::stats::logratio;

use super::Lines;

/// Version of what is written, in the field `schema` of the measurement `export`.
pub const VERSION: i64 = 2;

/// Share below which a basin's water cannot be resolved; bounds `log_ratio` where one side got nothing.
const LEAST_SHARE: f64 = 0.005;

/// One measurement.
#[derive(Debug, Clone, Copy)]
pub struct Measurement {
    /// Its name.
    pub name: &'static str,
    /// What one point of it is, and what its time means.
    pub meaning: &'static str,
    /// Tags: names and meanings.
    pub tags: &'static [(&'static str, &'static str)],
    /// Fields.
    pub fields: &'static [Field],
}

/// One field of a measurement.
#[derive(Debug, Clone, Copy)]
pub struct Field {
    /// Its name, with the unit where it has one.
    pub name: &'static str,
    /// `float`, `integer` or `string`.
    pub kind: &'static str,
    /// What it says.
    pub meaning: &'static str,
}

const fn field(name: &'static str, kind: &'static str, meaning: &'static str) -> Field {
    Field { name, kind, meaning }
}

const SYSTEM: (&str, &str) = ("system", "id of the system");
const PROPERTY: (&str, &str) = ("property", "id of its property; absent once the system file is gone");
const BASIN: (&str, &str) = ("basin", "id of the basin");
const PART: &str = "splitter, basin, sensor, source or diverter";
const SUBJECT: &str = "id of the splitter or basin, name of the sensor; absent for source and diverter";

/// Everything that is written.
pub const MEASUREMENTS: &[Measurement] = &[
    Measurement {
        name: "reading",
        meaning: "One value of one sensor, at the time it was measured",
        tags: &[
            SYSTEM,
            PROPERTY,
            ("basin", "id of the basin; absent for what belongs to the system as a whole"),
            ("quantity", "float, overflow, moisture, temperature, battery, meter, diverter or rain"),
        ],
        fields: &[field(
            "value",
            "float",
            "moisture m³/m³, temperature °C, battery %, meter and rain cumulative counts; float and overflow 1 wet, 0 dry; diverter 1 landscape, 0 sewer",
        )],
    },
    Measurement {
        name: "dose",
        meaning: "One discharge of greywater through a system, at the time it began",
        tags: &[SYSTEM, PROPERTY],
        fields: &[
            field(
                "litres",
                "float",
                "litres; an estimate where no meter counts, absent where nothing could tell",
            ),
            field("quality", "float", "how far its shares can be trusted, 0 to 1"),
        ],
    },
    Measurement {
        name: "share",
        meaning: "What one basin received of one dose, at the time the dose began",
        tags: &[SYSTEM, PROPERTY, BASIN],
        fields: &[
            field("share", "float", "fraction of the dose, 0 to 1"),
            field("design", "float", "fraction that the plan in force when it was written intends"),
            field(
                "litres",
                "float",
                "litres; an estimate where no meter counts, absent where nothing could tell",
            ),
        ],
    },
    Measurement {
        name: "balance",
        meaning: "How one splitter divided one dose, at the time the dose began; only where every basin below it has a share",
        tags: &[SYSTEM, PROPERTY, ("splitter", "id of the splitter")],
        fields: &[
            field("side_a", "float", "fraction that went to the side named first in `feeds`, 0 to 1"),
            field("design_a", "float", "fraction that the plan intends"),
            field("log_ratio", "float", "ln(side a / side b) less that of the plan; 0 is in tune"),
        ],
    },
    Measurement {
        name: "soak",
        meaning: "One stay of standing water in a basin, at the time the float rose",
        tags: &[SYSTEM, PROPERTY, BASIN],
        fields: &[field("soak_time_s", "float", "seconds until the float fell")],
    },
    Measurement {
        name: "finding",
        meaning: "A finding was raised, changed or cleared, at the time the evidence sufficed",
        tags: &[
            SYSTEM,
            PROPERTY,
            ("finding", "its kind, such as blocked-outlet"),
            ("part", PART),
            ("subject", SUBJECT),
        ],
        fields: &[
            field("change", "string", "raised, updated or cleared"),
            field("open", "integer", "1 from when it is raised, 0 once it is cleared"),
            field("severity", "string", "info, warning or critical"),
            field("level", "integer", "the severity as a number: 1, 2 or 3; 0 once it is cleared"),
            field("probability", "float", "probability that it is right, 0 to 1"),
        ],
    },
    Measurement {
        name: "alert",
        meaning: "One step of an alert on its way through people, at the time it was done; names, reasons and notes stay in the ledger",
        tags: &[
            SYSTEM,
            PROPERTY,
            ("finding", "kind of its finding, such as blocked-outlet"),
            ("part", PART),
            ("subject", SUBJECT),
            (
                "step",
                "opened, returned, worsened, eased, cleared, acknowledged, snoozed, woke, withdrawn, closed, reopened, folded or unfolded",
            ),
        ],
        fields: &[
            field("alert", "integer", "number of the alert, as on the pages"),
            field("standing", "integer", "1 while it stands after this step, 0 once it is over"),
            field("by_person", "integer", "1 if a person did it, 0 if the program"),
            field("age_s", "float", "seconds since the alert was opened first"),
        ],
    },
    Measurement {
        name: "export",
        meaning: "The daemon began to write, at that time",
        tags: &[],
        fields: &[
            field("schema", "integer", "version of this schema"),
            field("version", "string", "version of the daemon"),
        ],
    },
];

/// Says which schema follows.
pub(super) fn beginning(lines: &mut Lines, now: EventTime) {
    lines.line("export").whole("schema", VERSION).text("version", env!("CARGO_PKG_VERSION")).at(now);
}

/// Adds a reading; `system` is its system if it is still in force.
pub fn reading(lines: &mut Lines, reading: &Latest, system: Option<&System>) {
    let basin = reading.sensor.split_once('/').map_or("", |(basin, _)| basin);
    lines
        .line("reading")
        .tag("basin", basin)
        .tag("property", property(system))
        .tag("quantity", reading.quantity.name())
        .tag("system", reading.system.as_str())
        .number("value", reading.value)
        .at(reading.at);
}

/// Adds a conclusion; `system` is its system if it is still in force.
pub fn effect(lines: &mut Lines, effect: &LoggedEffect, system: Option<&System>) {
    let place = Place { id: &effect.system, system };
    match &effect.record {
        Record::Dose(dose) => place.dose(lines, dose),
        Record::Soak(soak) => place.soak(lines, soak),
        Record::Finding(change) => place.finding(lines, change),
    }
}

/// Adds a step of an alert; `system` is its system if it is still in force.
pub fn alert_step(lines: &mut Lines, logged: &LoggedStep, system: Option<&System>) {
    let LoggedStep { alert, finding, step, .. } = logged;
    let (part, subject) = part(&finding.subject);
    let (name, standing) = match &step.deed {
        Deed::Opened => ("opened", 1),
        Deed::Returned => ("returned", 1),
        Deed::Worsened { .. } => ("worsened", 1),
        Deed::Eased { .. } => ("eased", 1),
        Deed::Cleared => ("cleared", 0),
        Deed::Acknowledged => ("acknowledged", 1),
        Deed::Snoozed { .. } => ("snoozed", 1),
        Deed::Woke => ("woke", 1),
        Deed::Withdrawn => ("withdrawn", 1),
        Deed::Closed { .. } => ("closed", 0),
        Deed::Reopened { .. } => ("reopened", 1),
        Deed::Folded { .. } => ("folded", 1),
        Deed::Unfolded => ("unfolded", 1),
        Deed::Noted { .. } => return,
    };
    lines
        .line("alert")
        .tag("finding", finding.kind.name())
        .tag("part", part)
        .tag("property", property(system))
        .tag("step", name)
        .tag("subject", subject)
        .tag("system", logged.system.as_str())
        .whole("alert", alert.0 as i64)
        .whole("standing", standing)
        .whole("by_person", i64::from(step.by.is_some()))
        .number("age_s", (step.at - logged.opened_at).secs_f64())
        .at(step.at);
}

/// Tag values for what something is about.
fn part(subject: &Subject) -> (&'static str, &str) {
    match subject {
        Subject::Splitter(id) => ("splitter", id.as_str()),
        Subject::Basin(id) => ("basin", id.as_str()),
        Subject::Sensor(name) => ("sensor", name.as_str()),
        Subject::Source => ("source", ""),
        Subject::Diverter => ("diverter", ""),
    }
}

/// Where something was concluded.
struct Place<'a> {
    id: &'a Id,
    system: Option<&'a System>,
}

impl Place<'_> {
    fn dose(&self, lines: &mut Lines, dose: &DoseRecord) {
        let litres = dose.litres.unwrap_or(f64::NAN); // which leaves the field out
        lines
            .line("dose")
            .tag("property", property(self.system))
            .tag("system", self.id.as_str())
            .number("litres", litres)
            .number("quality", dose.quality)
            .at(dose.at);
        for (basin, share) in &dose.shares {
            let planned =
                self.system.and_then(|s| Some(s.tree().design_share(s.find_basin(basin.as_str())?)));
            lines
                .line("share")
                .tag("basin", basin.as_str())
                .tag("property", property(self.system))
                .tag("system", self.id.as_str())
                .number("share", *share)
                .number("design", planned.unwrap_or(f64::NAN))
                .number("litres", litres * share)
                .at(dose.at);
        }
        if let Some(system) = self.system {
            (0..system.splitters.len()).for_each(|n| balance(lines, system, SplitterIx(n as u16), dose));
        }
    }

    fn soak(&self, lines: &mut Lines, soak: &SoakRecord) {
        lines
            .line("soak")
            .tag("basin", soak.basin.as_str())
            .tag("property", property(self.system))
            .tag("system", self.id.as_str())
            .number("soak_time_s", soak.lasted.secs_f64())
            .at(soak.began);
    }

    fn finding(&self, lines: &mut Lines, change: &FindingChange) {
        let finding = &change.finding;
        let (part, subject) = part(&finding.subject);
        let (word, open) = match change.change {
            Change::Raised => ("raised", 1),
            Change::Updated => ("updated", 1),
            Change::Cleared => ("cleared", 0),
        };
        let level = match finding.severity {
            Severity::Info => 1,
            Severity::Warning => 2,
            Severity::Critical => 3,
        };
        lines
            .line("finding")
            .tag("finding", finding.kind.name())
            .tag("part", part)
            .tag("property", property(self.system))
            .tag("subject", subject)
            .tag("system", self.id.as_str())
            .text("change", word)
            .whole("open", open)
            .text("severity", finding.severity.name())
            .whole("level", level * open)
            .number("probability", finding.probability)
            .at(change.at);
    }
}

fn property(system: Option<&System>) -> &str {
    system.map_or("", |system| system.property.as_str())
}

/// How `splitter` divided `dose`, if every basin below it has a share and any water came.
fn balance(lines: &mut Lines, system: &System, splitter: SplitterIx, dose: &DoseRecord) {
    let mut sides = [0.0; 2];
    for ix in system.basin_ixs() {
        if let Some(side) = system.tree().side_of(splitter, ix) {
            let Some(share) = dose.shares.get(&system.basin(ix).id) else { return };
            sides[side] += share;
        }
    }
    let [a, b] = sides;
    if a + b < LEAST_SHARE {
        return;
    }
    let exact = |value| Estimate { value, variance: 0.0 };
    let split = system.splitter(splitter).split;
    let ratio = |[a, b]: [f64; 2]| logratio::amalgamated(exact(a), exact(b), LEAST_SHARE).value;
    lines
        .line("balance")
        .tag("property", system.property.as_str())
        .tag("splitter", system.splitter(splitter).id.as_str())
        .tag("system", system.id.as_str())
        .number("side_a", a / (a + b))
        .number("design_a", split[0])
        .number("log_ratio", ratio(sides) - ratio(split))
        .at(dose.at);
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fmt::Write;

    /// The tables of `deploy/influxdb.md`.
    fn tables() -> String {
        let mut text = format!("Schema {VERSION}. Times are in milliseconds.\n");
        for it in MEASUREMENTS {
            let _ = write!(text, "\n### `{}`\n\n{}.\n\n", it.name, it.meaning);
            text.push_str("| | name | kind | meaning |\n|---|---|---|---|\n");
            for (name, meaning) in it.tags {
                let _ = writeln!(text, "| tag | `{name}` | | {meaning} |");
            }
            for field in it.fields {
                let _ = writeln!(text, "| field | `{}` | {} | {} |", field.name, field.kind, field.meaning);
            }
        }
        text
    }

    /// `UPDATE=1 cargo test the_committed_tables` writes them anew.
    #[test]
    fn the_committed_tables_are_the_generated_ones() {
        const MARK: &str = "<!-- made from src/export/schema.rs -->\n";
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("deploy/influxdb.md");
        let text = std::fs::read_to_string(&path).expect("deploy/influxdb.md is there");
        let (prose, committed) = text.split_once(MARK).expect("it has the mark");
        if std::env::var_os("UPDATE").is_some() {
            std::fs::write(&path, format!("{prose}{MARK}{}", tables())).expect("deploy/ can be written");
        } else {
            assert_eq!(committed, tables());
        }
    }
}
