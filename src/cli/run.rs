//! `basinward run`: the daemon.

use tracing::warn;

use super::{Failure, Fault, SettingsFile};
use crate::run::RunFault;
use crate::telemetry::{abort_on_panic, start_logging};

/// Arguments of `run`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  basinward run
  basinward run --config /etc/basinward/basinward.toml
  BASINWARD__MQTT__BROKER=mqtt://broker.example:1883 basinward run

SIGTERM finishes the batch at hand and ends within five seconds. SIGHUP reads again the system files, \
who is told of alerts (contacts, channels and routes), and the pages' certificate; if one of them is \
wrong, the daemon says so and keeps to the old ones. A system file with a fault keeps its own system \
from being watched at the next start, and no other.")]
pub struct RunArgs {
    /// Where the settings come from.
    #[command(flatten)]
    pub settings: SettingsFile,
}

/// Runs the daemon until it is told to stop.
pub(super) fn run(args: &RunArgs) -> Result<(), Failure> {
    let loaded = args.settings.load()?;
    start_logging(&loaded.settings.log)?;
    abort_on_panic();
    loaded.old_names.iter().for_each(|old_name| warn!(%old_name, "the settings use an old name"));
    crate::run::run(&loaded.settings, || args.settings.again()).map_err(|fault| {
        if let RunFault::Systems(faults) = fault {
            Failure::BadInput(faults.into_iter().map(Fault::from).collect())
        } else {
            Failure::Failed(Box::new(fault))
        }
    })
}
