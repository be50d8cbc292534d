//! `check --explain`: every setting with its value, where it came from, and what it means.

use std::io::{self, Write};

use super::paint::Paint;
use crate::settings::{Entry, Loaded};

/// Writes every setting, section by section.
pub(super) fn explain(loaded: &Loaded, out: &mut impl Write, paint: Paint) -> io::Result<()> {
    for section in loaded.entries.chunk_by(|a, b| a.section.name == b.section.name) {
        let Some(first) = section.first() else { continue };
        let heading = format!("[{}]", first.section.name);
        writeln!(out, "{}  {}", paint.strong(&heading), first.section.meaning)?;
        for entry in section {
            explain_entry(entry, out, paint)?;
        }
        writeln!(out)?;
    }
    Ok(())
}

fn explain_entry(entry: &Entry, out: &mut impl Write, paint: Paint) -> io::Result<()> {
    let value = match entry.setting.kind.unit() {
        Some(unit) => format!("{} {unit}", entry.shown),
        None => entry.shown.clone(),
    };
    let origin = format!("({})", entry.origin);
    writeln!(out, "  {:<17} {value:<26} {}", entry.setting.key, paint.quiet(&origin))?;
    writeln!(out, "      {}", paint.quiet(entry.setting.meaning))
}
