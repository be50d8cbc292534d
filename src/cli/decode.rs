//! `basinward decode`: what the daemon would make of one message, and why not.

use std::io::{Read, Write, stdin, stdout};
use std::path::PathBuf;
use std::sync::Arc;

use super::input::read_systems;
use super::paint::Paint;
use super::{Failure, SettingsFile};
use crate::clock::Clock;
use crate::intake::{Decoded, Heard, Refused, Router};
use crate::model::{Course, EventTime, Quantity, Reading, SensorIx, System, Value};

/// Largest payload that is read: more than the daemon takes, so that it can say so.
const LARGEST: u64 = 1 << 20;
/// Topics named when one is not known.
const ALIKE: usize = 3;

/// Arguments of `decode`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  echo 31.4 | basinward decode greywater/alder-court-east/quince/moisture
  basinward decode yard/probes/7 < payload.json
  mosquitto_sub -t yard/probes/7 -C 1 | basinward decode yard/probes/7

The payload is read from standard input to its end; one line feed at the end does not count. Nothing is sent or \
stored. Exit code 0 if every record was understood, 2 if any was not.")]
pub struct DecodeArgs {
    /// Topic that the message comes on
    pub topic: String,
    /// When it arrives, such as 2026-03-01T08:15:00Z [default: now]
    #[arg(long, value_name = "TIME")]
    pub received: Option<EventTime>,
    /// Folder of the system files [default: as in the settings]
    #[arg(long, value_name = "DIR")]
    pub systems: Option<PathBuf>,
    /// Where the settings come from.
    #[command(flatten)]
    pub settings: SettingsFile,
}

/// Reads a payload from standard input and prints what the daemon would understand.
pub(super) fn decode(args: &DecodeArgs) -> Result<(), Failure> {
    let settings = args.settings.load()?.settings;
    let folder = args.systems.as_ref().unwrap_or(&settings.folders.systems);
    let systems = read_systems(folder, &settings.mqtt.prefix)?;
    let mut payload = Vec::new();
    stdin().lock().take(LARGEST).read_to_end(&mut payload)?;
    let payload = payload.strip_suffix(b"\n").unwrap_or(&payload);
    let received = args.received.unwrap_or_else(|| Clock::wall().now());
    let mut decoded = Decoded::default();
    Router::new(&systems, &settings.mqtt.prefix).decode(received, &args.topic, payload, &mut decoded);

    let report =
        Report { systems: &systems, prefix: &settings.mqtt.prefix, paint: Paint::for_stream(&stdout()) };
    let mut out = stdout().lock();
    decoded.readings.iter().try_for_each(|(at, reading)| report.reading(*at, reading, &mut out))?;
    decoded.refusals.iter().try_for_each(|refused| report.refusal(refused, &mut out))?;
    decoded.unassigned.iter().try_for_each(|heard| report.unassigned(heard, &mut out))?;
    let understood = decoded.readings.len();
    if understood + decoded.refusals.len() + decoded.unassigned.len() == 0 {
        writeln!(out, "nothing: the message holds no record with a value")?;
    }
    if understood > 0 && decoded.refusals.is_empty() && decoded.unassigned.is_empty() {
        return Ok(());
    }
    Err(Failure::Told)
}

/// Says what was understood and what was not.
struct Report<'a> {
    systems: &'a [Arc<System>],
    prefix: &'a str,
    paint: Paint,
}

impl Report<'_> {
    fn reading(&self, system: usize, reading: &Reading, out: &mut impl Write) -> std::io::Result<()> {
        let system = &self.systems[system];
        let sensor = format!("{} {}", system.id, system.sensor_name(reading.sensor));
        let says = value(system, reading.sensor, reading.value);
        writeln!(out, "{}  {says}  measured {}", self.paint.strong(&sensor), reading.at)
    }

    fn refusal(&self, refused: &Refused, out: &mut impl Write) -> std::io::Result<()> {
        let reason = format!("refused, {}", refused.reason);
        writeln!(out, "{}: {}", self.paint.strong(&reason), refused.detail)?;
        writeln!(out, "    {} {}", self.paint.helpful("to mend:"), refused.reason.mend())
    }

    fn unassigned(&self, heard: &Heard, out: &mut impl Write) -> std::io::Result<()> {
        writeln!(out, "{}: no system file claims {}", self.paint.strong("heard, not assigned"), heard.topic)?;
        let alike = self.alike(&heard.topic);
        let how = match alike.as_slice() {
            [] => "write a system file, or point --systems at the folder of those you have".to_owned(),
            topics => {
                format!("publish to one of these, or give a sensor this `topic`: {}", topics.join(", "))
            }
        };
        writeln!(out, "    {} {how}", self.paint.helpful("to mend:"))
    }

    /// The known topics that are most like `topic`.
    fn alike(&self, topic: &str) -> Vec<String> {
        let mut known: Vec<(usize, String)> = self
            .systems
            .iter()
            .flat_map(|system| system.sensor_ixs().map(move |ix| (system, ix)))
            .filter(|(system, ix)| system.sensor(*ix).declared)
            .map(|(system, ix)| system.topic(ix, self.prefix))
            .map(|known| (strsim::damerau_levenshtein(topic, &known), known))
            .collect();
        known.sort();
        known.dedup();
        known.into_iter().take(ALIKE).map(|(_, topic)| topic).collect()
    }
}

/// A value with its unit, as people read it.
fn value(system: &System, sensor: SensorIx, value: Value) -> String {
    let unit = match system.sensor(sensor).quantity {
        Quantity::Moisture => " m³/m³",
        Quantity::Temperature => " °C",
        Quantity::Battery => " %",
        Quantity::Meter | Quantity::Rain => " counts",
        Quantity::Float | Quantity::Overflow | Quantity::Diverter => "",
    };
    match value {
        Value::Wet(true) => "wet".to_owned(),
        Value::Wet(false) => "dry".to_owned(),
        Value::Course(Course::Landscape) => "landscape".to_owned(),
        Value::Course(Course::Sewer) => "sewer".to_owned(),
        Value::Number(number) => format!("{number}{unit}"),
    }
}
