//! `basinward check`: are the settings and the system files right?

use std::io::{Write, stdout};
use std::path::PathBuf;

use super::exit::write_faults;
use super::explain::explain;
use super::input::read_systems;
use super::paint::Paint;
use super::summary::{Right, summarise};
use super::{Failure, SettingsFile};

/// Arguments of `check`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  basinward check
  basinward check --explain              every setting, its value, and where it came from
  basinward check --systems drafts       other system files than those of the settings

Every fault is told at once, with file, line, what is wrong and how to mend it. Exit code \
0 if all is right, 2 if something needs mending.")]
pub struct CheckArgs {
    /// Where the settings come from.
    #[command(flatten)]
    pub settings: SettingsFile,
    /// Print every setting with its value, where it came from, and what it means
    #[arg(long)]
    pub explain: bool,
    /// Folder of the system files [default: as in the settings]
    #[arg(long, value_name = "DIR")]
    pub systems: Option<PathBuf>,
}

/// Checks, prints the verdict to standard output, and fails if there is a fault.
pub(super) fn check(args: &CheckArgs) -> Result<(), Failure> {
    let paint = Paint::for_stream(&stdout());
    let mut out = stdout().lock();
    let loaded = match args.settings.load() {
        Ok(loaded) => loaded,
        Err(faults) => {
            write_faults(&faults, &mut out, paint)?;
            writeln!(out, "The system files come next, once the settings are right.")?;
            return Err(Failure::Told);
        }
    };
    if args.explain {
        explain(&loaded, &mut out, paint)?;
    }
    let settings = &loaded.settings;
    let folder = args.systems.as_ref().unwrap_or(&settings.folders.systems);
    match read_systems(folder, &settings.mqtt.prefix) {
        Ok(systems) => {
            let settings_file = args.settings.found();
            let right = Right { settings, settings_file, folder, systems: &systems };
            summarise(&right, &mut out, paint)?;
            Ok(())
        }
        Err(faults) => {
            write_faults(&faults, &mut out, paint)?;
            Err(Failure::Told)
        }
    }
}
