//! `basinward completions`: a completion script for a shell.

use std::io::{self, Write, stdout};

use clap::CommandFactory;
use clap_complete::{Shell, generate};

use super::{Cli, Failure};

/// Arguments of `completions`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example:
  basinward completions bash > ~/.local/share/bash-completion/completions/basinward")]
pub struct CompletionsArgs {
    /// Shell to write for
    pub shell: Shell,
}

/// Prints the script.
pub(super) fn completions(args: &CompletionsArgs) -> Result<(), Failure> {
    let mut script = Vec::new();
    generate(args.shell, &mut Cli::command(), "basinward", &mut script);
    io::copy(&mut script.as_slice(), &mut stdout().lock())?;
    stdout().flush()?;
    Ok(())
}
