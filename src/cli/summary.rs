//! What `check` says about files that are right: each system in short, and advice.

use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::paint::Paint;
use crate::model::{Quantity, System};
use crate::settings::{BrokerAddress, OldName, ServerAddress, Settings};
use crate::systemfile;
use crate::upkeep::{design, design_words};

/// What was found to be right.
pub(super) struct Right<'a> {
    pub(super) settings: &'a Settings,
    pub(super) old_names: &'a [OldName],
    pub(super) settings_file: Option<PathBuf>,
    pub(super) folder: &'a Path,
    pub(super) systems: &'a [Arc<System>],
}

/// Writes the settings and each system in short, with advice on what is allowed but could be better.
pub(super) fn summarise(right: &Right<'_>, out: &mut impl Write, paint: Paint) -> io::Result<()> {
    let file = right.settings_file.as_ref();
    let file = file.map_or("no file, defaults only".to_owned(), |path| path.display().to_string());
    writeln!(out, "{}  {file}", paint.strong("settings"))?;
    let mut pieces = write_advice(&settings_advice(right), out, paint)?;

    let (count, folder) = (right.systems.len(), right.folder.display());
    writeln!(out, "{}   {count} in {folder}", paint.strong("systems"))?;
    if right.systems.is_empty() {
        let advice = format!("no system file is there yet; put one <id>.toml a system into {folder}");
        pieces += write_advice(&[advice], out, paint)?;
    }
    for system in right.systems {
        writeln!(out, "\n{}  {}", paint.strong(system.id.as_str()), system.name)?;
        writeln!(out, "    {}", parts(system))?;
        writeln!(out, "    sensors: {}", sensors(system))?;
        writeln!(out, "    design check:")?;
        for sentence in design_words(system, &design(system)) {
            writeln!(out, "      {sentence}")?;
        }
        pieces += write_advice(&systemfile::advice(system), out, paint)?;
    }
    match pieces {
        0 => writeln!(out, "\nNo faults."),
        1 => writeln!(out, "\nNo faults; one piece of advice."),
        _ => writeln!(out, "\nNo faults; {pieces} pieces of advice."),
    }
}

/// Writes the pieces of advice and tells how many there were.
fn write_advice(advice: &[String], out: &mut impl Write, paint: Paint) -> io::Result<usize> {
    for piece in advice {
        writeln!(out, "    {} {piece}", paint.helpful("advice:"))?;
    }
    Ok(advice.len())
}

fn parts(system: &System) -> String {
    let basins = counted(system.basins.len(), "basin");
    let splitters = counted(system.splitters.len(), "splitter");
    format!("{basins}, {splitters}, soil {}", system.soil.name())
}

/// How many sensors of each quantity the file declares.
fn sensors(system: &System) -> String {
    let declared = |quantity| system.sensors.iter().filter(|s| s.declared && s.quantity == quantity).count();
    let counts: Vec<String> = Quantity::ALL
        .into_iter()
        .map(|quantity| (declared(quantity), quantity))
        .filter(|(count, _)| *count > 0)
        .map(|(count, quantity)| format!("{count} {quantity}"))
        .collect();
    if counts.is_empty() { "none".to_owned() } else { counts.join(", ") }
}

fn counted(count: usize, thing: &str) -> String {
    if count == 1 { format!("1 {thing}") } else { format!("{count} {thing}s") }
}

fn settings_advice(right: &Right<'_>) -> Vec<String> {
    let settings = right.settings;
    let mut advice: Vec<String> = right.old_names.iter().map(ToString::to_string).collect();
    if !settings.desk.listen.ip().is_loopback() && settings.desk.certificate_file.is_none() {
        let listen = settings.desk.listen;
        advice.push(format!(
            "the pages at {listen} travel in the clear, passwords too; let only a proxy with TLS reach them, or set `certificate_file` and `key_file`"
        ));
    }
    let in_the_clear = |broker: &BrokerAddress| !broker.tls && !broker.is_on_this_machine();
    if settings.mqtt.password.is_some() && settings.mqtt.broker.as_ref().is_some_and(in_the_clear) {
        advice
            .push("the broker's password travels in the clear; prefer mqtts:// beyond your own wires".into());
    }
    let exposed = |url: &ServerAddress| !url.tls && !url.is_on_this_machine();
    if settings.influxdb.token.is_some() && settings.influxdb.url.as_ref().is_some_and(exposed) {
        advice.push("InfluxDB's token travels in the clear; prefer https:// beyond your own wires".into());
    }
    advice
}
