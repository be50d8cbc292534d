//! The truth file: what was wrong, what flowed where, where water stood, what was done, what should be found.

use std::collections::BTreeMap;

use jiff::Timestamp;
use serde::Serialize;
use serde_json::{Value as Json, json};

use super::lines::timestamp;
use crate::fault::{Fault, FaultKind, Moment};
use crate::run::Truth;
use crate::scenario::Scenario;
use crate::sensor::{Ailment, Trouble};
use crate::standing::{Level, Spell};
use crate::truth::{DoseKind, FaultSpan, TrueDose};

/// One line of the truth file.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "truth", rename_all = "kebab-case")]
pub enum Answer {
    /// The run as a whole; the first line.
    Scenario {
        /// Name of the scenario.
        scenario: String,
        /// What it shows.
        shows: String,
        /// Seed of all draws.
        seed: u64,
        /// The system.
        system: String,
        /// Start.
        from: Timestamp,
        /// End.
        until: Timestamp,
    },
    /// Something wrong with the system, a sensor or the link.
    Fault {
        /// What.
        kind: String,
        /// Where: `{"splitter":…}`, `{"basin":…}`, `{"sensor":…}`, `{"source":true}`, `{"diverter":true}` or
        /// `{"gateway":true}`.
        subject: Json,
        /// When it began.
        onset: Timestamp,
        /// How it came on, from nothing to its full size.
        course: Json,
        /// When it had reached its full size, unless mended before.
        full: Timestamp,
        /// When it ended, if it did.
        end: Option<Timestamp>,
        /// How large it was in the end.
        size: Json,
    },
    /// A finding that should be made.
    Expect {
        /// Its kind.
        finding: String,
        /// Its subject's name.
        subject: String,
        /// From when it is right.
        from: Timestamp,
        /// By when it should be made.
        until: Timestamp,
    },
    /// Work done.
    Service {
        /// When.
        at: Timestamp,
        /// What.
        action: Json,
    },
    /// One dose as it really went.
    Dose {
        /// When the first water left a fixture.
        start: Timestamp,
        /// When the last had reached the basins.
        end: Timestamp,
        /// What brought it.
        kind: DoseKind,
        /// Litres that left the fixtures.
        litres: f64,
        /// Litres of these that went to the sewer.
        sewer_litres: f64,
        /// Litres into each basin.
        basins: BTreeMap<String, f64>,
        /// Each basin's part of what reached the basins.
        shares: BTreeMap<String, f64>,
        /// Whether it rained meanwhile.
        rain: bool,
    },
    /// Water above a basin's float (above 20 mm without one) for half an hour or more.
    Standing(Stood),
    /// Water above a basin's overflow float (at the rim without one) for two minutes or more.
    Flood(Stood),
}

/// One spell of standing water.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stood {
    /// The basin.
    pub basin: String,
    /// When it rose.
    pub from: Timestamp,
    /// When it fell, or the end of the scenario.
    pub until: Timestamp,
    /// Highest water above the floor (mm).
    pub peak_mm: f64,
}

/// All lines of the truth file, in order.
pub fn answers(scenario: &Scenario, seed: u64, truth: &Truth) -> Vec<Answer> {
    let start_ms = scenario.start_ms;
    let mut all = vec![Answer::Scenario {
        scenario: scenario.name.clone(),
        shows: scenario.shows.clone(),
        seed,
        system: scenario.site.id.clone(),
        from: timestamp(start_ms),
        until: timestamp(scenario.end_ms()),
    }];
    all.extend(truth.faults.iter().zip(&scenario.faults).map(|(span, fault)| physical(span, fault)));
    all.extend(scenario.troubles.iter().map(|trouble| of_sensor(trouble, scenario)));
    all.extend(scenario.expect.findings.iter().map(|expected| {
        let from_ms = expected.from.at_ms(start_ms);
        let until_ms = expected.within.map_or(i64::MAX, |days| Moment::Days(days).at_ms(from_ms));
        Answer::Expect {
            finding: expected.finding.clone(),
            subject: expected.subject.clone(),
            from: timestamp(from_ms),
            until: timestamp(until_ms.min(scenario.end_ms())),
        }
    }));
    all.extend(scenario.services.iter().map(|service| Answer::Service {
        at: timestamp(service.at.at_ms(start_ms)),
        action: json!(service.action),
    }));
    all.extend(truth.doses.iter().map(|dose| of_dose(dose, scenario)));
    all.extend(truth.spells.iter().map(|(basin, spell)| of_spell(&scenario.wiring.basins[*basin], spell)));
    all
}

fn physical(span: &FaultSpan, fault: &Fault) -> Answer {
    let (kind, size) = tagged(json!(span.kind));
    Answer::Fault {
        kind,
        subject: subject(&span.kind),
        onset: timestamp(span.start_ms),
        course: json!(fault.course),
        full: timestamp(span.full_ms),
        end: span.end_ms.map(timestamp),
        size,
    }
}

/// Takes `{"tilt":{…}}` or `"diverter-turned"` apart.
fn tagged(whole: Json) -> (String, Json) {
    match whole {
        Json::Object(members) => members.into_iter().next().unwrap_or_default(),
        Json::String(word) => (word, Json::Null),
        other @ (Json::Null | Json::Bool(_) | Json::Number(_) | Json::Array(_)) => {
            (other.to_string(), Json::Null)
        }
    }
}

fn subject(kind: &FaultKind) -> Json {
    match kind {
        FaultKind::Tilt { splitter, .. } => json!({ "splitter": splitter }),
        FaultKind::Blockage { basin, .. } | FaultKind::MulchClogging { basin, .. } => {
            json!({ "basin": basin })
        }
        FaultKind::DiverterTurned => json!({ "diverter": true }),
        FaultKind::ColdWetSoil { .. }
        | FaultKind::Overload { .. }
        | FaultKind::SourceLost { .. }
        | FaultKind::Leak { .. } => json!({ "source": true }),
    }
}

fn of_sensor(trouble: &Trouble, scenario: &Scenario) -> Answer {
    let onset_ms = trouble.from_ms(scenario.start_ms);
    let until_ms = trouble.until_ms(scenario.start_ms);
    let (course, full_ms) = match &trouble.kind {
        Ailment::BatteryDying { within } => {
            let days = within.ms() as f64 / 86_400_000.0;
            (json!({ "linear": { "days": days } }), onset_ms + within.ms())
        }
        Ailment::Dead
        | Ailment::Frozen
        | Ailment::Shifted { .. }
        | Ailment::Spiking { .. }
        | Ailment::StuckWet
        | Ailment::StuckDry
        | Ailment::GatewayOut { .. } => (json!("step"), onset_ms),
    };
    let size = match trouble.kind {
        Ailment::Shifted { by } => json!({ "by": by }),
        Ailment::Spiking { share, size } => json!({ "share": share, "size": size }),
        Ailment::GatewayOut { stored } => json!({ "stored": stored }),
        Ailment::Dead
        | Ailment::Frozen
        | Ailment::StuckWet
        | Ailment::StuckDry
        | Ailment::BatteryDying { .. } => Json::Null,
    };
    let subject = match (&trouble.kind, &trouble.on) {
        (Ailment::BatteryDying { .. }, Some(basin)) => json!({ "sensor": format!("{basin}/battery") }),
        (_, Some(sensor)) => json!({ "sensor": sensor }),
        (_, None) => json!({ "gateway": true }),
    };
    Answer::Fault {
        kind: trouble.kind.word().to_owned(),
        subject,
        onset: timestamp(onset_ms),
        course,
        full: timestamp(full_ms),
        end: trouble.until.map(|_| timestamp(until_ms)),
        size,
    }
}

fn of_dose(dose: &TrueDose, scenario: &Scenario) -> Answer {
    let named = |values: &[f64]| scenario.wiring.basins.iter().cloned().zip(values.iter().copied()).collect();
    Answer::Dose {
        start: timestamp(dose.start_ms),
        end: timestamp(dose.end_ms),
        kind: dose.kind,
        litres: dose.litres,
        sewer_litres: dose.sewer_litres,
        basins: named(&dose.basin_litres),
        shares: dose.shares().map(|shares| named(&shares)).unwrap_or_default(),
        rain: dose.rain,
    }
}

fn of_spell(basin: &str, spell: &Spell) -> Answer {
    let stood = Stood {
        basin: basin.to_owned(),
        from: timestamp(spell.from_ms),
        until: timestamp(spell.until_ms),
        peak_mm: spell.peak_mm,
    };
    match spell.level {
        Level::Float => Answer::Standing(stood),
        Level::Rim => Answer::Flood(stood),
    }
}
