//! `basinward run`: the daemon.

use super::{Failure, SettingsFile};

/// Arguments of `run`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  basinward run
  basinward run --config /etc/basinward/basinward.toml
  BASINWARD__MQTT__BROKER=mqtt://broker.example:1883 basinward run

SIGTERM finishes the batch at hand and ends within five seconds. SIGHUP reads the system files \
again; if one of them is wrong, the daemon says so and keeps to the old ones.")]
pub struct RunArgs {
    /// Where the settings come from.
    #[command(flatten)]
    pub settings: SettingsFile,
}

/// Does the work.
pub(super) fn run(_args: &RunArgs) -> Result<(), Failure> {
    Err(Failure::Failed("not built yet".into()))
}
