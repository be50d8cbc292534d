//! What `check` says about files that are right: each system in short, and advice.

use std::io::{self, Write};
use std::path::Path;
use std::sync::Arc;

use super::paint::Paint;
use crate::model::{Quantity, System};
use crate::settings::Settings;
use crate::systemfile;

/// Writes each system in short, with advice on what is allowed but could be better.
pub(super) fn summarise(
    settings: &Settings,
    folder: &Path,
    systems: &[Arc<System>],
    out: &mut impl Write,
    paint: Paint,
) -> io::Result<()> {
    let mut pieces = 0;
    for system in systems {
        writeln!(out, "\n{}  {}", paint.strong(system.id.as_str()), system.name)?;
        writeln!(out, "    {}", parts(system))?;
        writeln!(out, "    sensors: {}", sensors(system))?;
        let advice = systemfile::advice(system);
        pieces += advice.len();
        write_advice(&advice, out, paint)?;
    }
    writeln!(out)?;
    let mut advice = settings_advice(settings);
    if systems.is_empty() {
        advice.push(format!("no system file is there; put one <id>.toml a system into {}", folder.display()));
    }
    pieces += advice.len();
    write_advice(&advice, out, paint)?;
    match pieces {
        0 => writeln!(out, "No faults."),
        1 => writeln!(out, "No faults; one piece of advice."),
        _ => writeln!(out, "No faults; {pieces} pieces of advice."),
    }
}

fn write_advice(advice: &[String], out: &mut impl Write, paint: Paint) -> io::Result<()> {
    advice.iter().try_for_each(|piece| writeln!(out, "    {} {piece}", paint.helpful("advice:")))
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

fn settings_advice(settings: &Settings) -> Vec<String> {
    let mut advice = Vec::new();
    if !settings.desk.listen.ip().is_loopback() {
        let listen = settings.desk.listen;
        advice.push(format!(
            "the pages at {listen} ask nobody to sign in; let only a proxy with sign-in and TLS reach them"
        ));
    }
    if settings.mqtt.broker.as_ref().is_some_and(|broker| !broker.tls) && settings.mqtt.password.is_some() {
        advice
            .push("the broker's password travels in the clear; prefer mqtts:// beyond your own wires".into());
    }
    advice
}
