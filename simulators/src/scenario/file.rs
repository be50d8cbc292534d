//! A scenario file, read and checked against its system.

use jiff::Timestamp;
use serde::Deserialize;

use super::error::{ScenarioError, nearest};
use super::expect::Expect;
use crate::fault::{Fault, Service};
use crate::field::Field;
use crate::people::Household;
use crate::radio::RadioProfile;
use crate::sensor::{Ailment, Exception, Profiles, Trouble};
use crate::site::Site;
use crate::sky::Climate;
use crate::span::Span;
use crate::wiring::Wiring;

/// First part of all topics, unless the system file says otherwise.
const PREFIX: &str = "greywater";
/// Longest scenario.
const LONGEST: Span = Span::days(3653);

/// A whole scenario, ready to run.
#[derive(Debug, Clone)]
pub struct Scenario {
    /// Its file's name without ending.
    pub name: String,
    /// What it shows, in one line.
    pub shows: String,
    /// Text of the system file.
    pub system_text: String,
    /// The system as built.
    pub site: Site,
    /// The system's sensors.
    pub wiring: Wiring,
    /// When it starts (Unix ms).
    pub start_ms: i64,
    /// How long it lasts.
    pub duration: Span,
    /// Who lives there.
    pub household: Household,
    /// The weather.
    pub climate: Climate,
    /// How the sensors measure and write.
    pub sensors: Profiles,
    /// Sensors that differ from their kind.
    pub exceptions: Vec<Exception>,
    /// The link.
    pub radio: RadioProfile,
    /// What goes wrong with the system.
    pub faults: Vec<Fault>,
    /// What goes wrong with sensors and link.
    pub troubles: Vec<Trouble>,
    /// What people do about it.
    pub services: Vec<Service>,
    /// What should be found.
    pub expect: Expect,
}

/// The file as written.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ScenarioFile {
    shows: String,
    system: String,
    start: Timestamp,
    duration: Span,
    #[serde(default)]
    household: Household,
    #[serde(default)]
    climate: Climate,
    #[serde(default)]
    sensors: Profiles,
    #[serde(default)]
    sensor: Vec<Exception>,
    #[serde(default)]
    radio: RadioProfile,
    #[serde(default)]
    fault: Vec<Fault>,
    #[serde(default)]
    trouble: Vec<Trouble>,
    #[serde(default)]
    service: Vec<Service>,
    #[serde(default)]
    expect: Expect,
}

impl Scenario {
    /// Reads a scenario from its text. `find_system` gives the text of a system file by its id.
    pub fn parse(
        name: &str,
        text: &str,
        find_system: &dyn Fn(&str) -> Result<String, ScenarioError>,
    ) -> Result<Self, ScenarioError> {
        let file_name = format!("{name}.toml");
        let file: ScenarioFile =
            toml::from_str(text).map_err(|error| ScenarioError::of_toml(&file_name, text, &error))?;
        let system_text = find_system(&file.system)?;
        let system_name = format!("{}.toml", file.system);
        let site = Site::parse(&system_text)
            .map_err(|source| ScenarioError::System { file: system_name.clone(), source })?;
        let wiring = Wiring::parse(&system_text, PREFIX)
            .map_err(|error| ScenarioError::of_toml(&system_name, &system_text, &error))?;
        let scenario = Self {
            name: name.to_owned(),
            shows: file.shows,
            system_text,
            site,
            wiring,
            start_ms: file.start.as_millisecond(),
            duration: file.duration,
            household: file.household,
            climate: file.climate,
            sensors: file.sensors,
            exceptions: file.sensor,
            radio: file.radio,
            faults: file.fault,
            troubles: file.trouble,
            services: file.service,
            expect: file.expect,
        };
        scenario.check(&file_name)?;
        Ok(scenario)
    }

    /// When it ends (Unix ms).
    pub fn end_ms(&self) -> i64 {
        self.start_ms + self.duration.ms()
    }

    /// Builds its world and sensors.
    pub fn begin(&self, seed: u64) -> Result<Field, ScenarioError> {
        Field::new(self, seed).map_err(|source| ScenarioError::Misfit {
            file: format!("{}.toml", self.name),
            part: "the world".to_owned(),
            source,
        })
    }

    fn check(&self, file: &str) -> Result<(), ScenarioError> {
        for (i, fault) in self.faults.iter().enumerate() {
            let part = format!("fault {}", i + 1);
            fault.kind.check(&self.site).map_err(|source| ScenarioError::Misfit {
                file: file.to_owned(),
                part,
                source,
            })?;
        }
        for (i, service) in self.services.iter().enumerate() {
            let part = format!("service {}", i + 1);
            service.action.check(&self.site).map_err(|source| ScenarioError::Misfit {
                file: file.to_owned(),
                part,
                source,
            })?;
        }
        for exception in &self.exceptions {
            self.check_sensor(file, "sensor", &exception.name)?;
        }
        for trouble in &self.troubles {
            self.check_trouble(file, trouble)?;
        }
        for expected in &self.expect.findings {
            self.check_subject(file, &expected.subject)?;
        }
        self.check_ranges(file)
    }

    fn check_sensor(&self, file: &str, part: &str, name: &str) -> Result<(), ScenarioError> {
        let known: Vec<&str> = self.wiring.sensors.iter().map(|sensor| sensor.name.as_str()).collect();
        self.known(file, part, name, &known)
    }

    fn check_trouble(&self, file: &str, trouble: &Trouble) -> Result<(), ScenarioError> {
        let part = format!("trouble {}", trouble.kind.word());
        match (&trouble.kind, trouble.on.as_deref()) {
            (Ailment::GatewayOut { .. }, None) => Ok(()),
            (Ailment::GatewayOut { .. }, Some(name)) => self.known(file, &part, name, &[]),
            (Ailment::BatteryDying { .. }, on) => {
                let basins: Vec<&str> = self.wiring.basins.iter().map(String::as_str).collect();
                self.known(file, &part, on.unwrap_or("nothing"), &basins)
            }
            (_, on) => self.check_sensor(file, &part, on.unwrap_or("nothing")),
        }
    }

    fn check_subject(&self, file: &str, subject: &str) -> Result<(), ScenarioError> {
        let splitters = self.site.splitters.iter().map(|splitter| splitter.id.as_str());
        let basins = self.wiring.basins.iter().map(String::as_str);
        let sensors = self.wiring.sensors.iter().map(|sensor| sensor.name.as_str());
        let known: Vec<&str> =
            ["source", "diverter"].into_iter().chain(splitters).chain(basins).chain(sensors).collect();
        self.known(file, "expect", subject, &known)
    }

    fn known(&self, file: &str, part: &str, name: &str, known: &[&str]) -> Result<(), ScenarioError> {
        if known.contains(&name) {
            return Ok(());
        }
        Err(ScenarioError::NoSuchPart {
            file: file.to_owned(),
            part: part.to_owned(),
            name: name.to_owned(),
            system: self.site.id.clone(),
            nearest: nearest(name, known.iter().copied()),
        })
    }

    fn check_ranges(&self, file: &str) -> Result<(), ScenarioError> {
        let range = |key: &str, value: String, range| {
            Err(ScenarioError::Range { file: file.to_owned(), key: key.to_owned(), value, range })
        };
        if self.duration > LONGEST || self.duration < Span::hours(1) {
            return range("duration", self.duration.to_string(), "between 1h and 3653d");
        }
        let fractions = [
            ("radio.loss", self.radio.loss),
            ("radio.late", self.radio.late),
            ("radio.duplicate", self.radio.duplicate),
        ];
        if let Some((key, value)) = fractions.into_iter().find(|(_, value)| !(0.0..=1.0).contains(value)) {
            return range(key, value.to_string(), "0 to 1");
        }
        let kinds = [
            ("sensors.moisture.every", self.sensors.moisture.every),
            ("sensors.float.heartbeat", self.sensors.float.heartbeat),
            ("sensors.temperature.every", self.sensors.temperature.every),
            ("sensors.battery.every", self.sensors.battery.every),
            ("sensors.meter.every", self.sensors.meter.every),
            ("sensors.rain.every", self.sensors.rain.every),
            ("sensors.diverter.heartbeat", self.sensors.diverter.heartbeat),
        ];
        let single = self.exceptions.iter().filter_map(|it| it.every.map(|every| ("sensor.every", every)));
        for (key, every) in kinds.into_iter().chain(single) {
            if every < Span::minutes(1) {
                return range(key, every.to_string(), "1min or longer");
            }
        }
        Ok(())
    }
}
