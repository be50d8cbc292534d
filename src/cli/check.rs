//! `basinward check`: are the settings and the system files right?

use std::io::{Write, stdout};
use std::path::PathBuf;

use super::exit::write_faults;
use super::explain::explain;
use super::input::read_systems;
use super::paint::Paint;
use super::summary::{Right, summarise};
use super::told::{Moment, told};
use super::{Failure, SettingsFile};
use crate::clock::Clock;

/// Arguments of `check`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  basinward check
  basinward check --explain              every setting, its value, and where it came from
  basinward check --systems drafts       other system files than those of the settings
  basinward check --told alder-court-east/flooding --at 2026-03-01T02:00
                                         who would be told when of a flood at two in the night

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
    /// Print who would be told of a finding, such as alder-court-east/flooding, and when, as long as nobody
    /// acknowledges it
    #[arg(long, value_name = "SYSTEM/FINDING")]
    pub told: Option<String>,
    /// When it is raised, on the clock of the yard or with an offset [default: now]
    #[arg(long, value_name = "TIME", requires = "told")]
    pub(super) at: Option<Moment>,
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
            let right =
                Right { settings, old_names: &loaded.old_names, settings_file, folder, systems: &systems };
            match &args.told {
                Some(what) => told(what, args.at, Clock::wall().now(), &right, &mut out),
                None => Ok(summarise(&right, &mut out, paint)?),
            }
        }
        Err(faults) => {
            write_faults(&faults, &mut out, paint)?;
            Err(Failure::Told)
        }
    }
}
