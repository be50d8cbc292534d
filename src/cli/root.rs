//! The commands as a whole, and the dispatch to each.

use std::process::ExitCode;

use clap::{Parser, Subcommand};

use super::{
    BackupArgs, CheckArgs, CompletionsArgs, DecodeArgs, DemoArgs, Failure, ManArgs, NotifyArgs, PasswordArgs,
    PersonArgs, RecordArgs, ReplayArgs, RunArgs, VisitsArgs, backup, check, completions, decode, demo, exit,
    man, notify, password, person, record, replay, run, visits,
};

/// What stands below the help of the whole program.
const AFTER_HELP: &str = "\
Examples:
  basinward demo                           look at it: invented yards, live, nothing to set up
  basinward check                          are the settings and the system files right?
  basinward run                            watch the real yards
  basinward replay --systems yards < log   what would it have said about this recording?

Exit codes:
  0  fine
  1  the work failed while running
  2  bad input: command line, settings, system file or recording; file and line are named";

/// Watches branched-drain greywater systems: what floods, what clogs, which splitter is off level, and what to
/// do about it.
#[derive(Debug, Parser)]
#[command(name = "basinward", version, after_help = AFTER_HELP, max_term_width = 100)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Show invented yards at work, with live pages, in one go
    Demo(DemoArgs),
    /// Watch the real systems: the daemon itself
    Run(RunArgs),
    /// Check the settings and every system file, and say how to mend each fault
    Check(CheckArgs),
    /// Run a recording through the engine and print what it concludes
    Replay(ReplayArgs),
    /// Show what the daemon would make of one message, and why not
    Decode(DecodeArgs),
    /// Write down what the sensors send, for `replay`
    Record(RecordArgs),
    /// Send a test message, or list messages that do not get through
    Notify(NotifyArgs),
    /// Print the visits that are due, or compare a year by plan with a year by the calendar
    Visits(VisitsArgs),
    /// Copy the ledger to a file, also while the daemon runs
    Backup(BackupArgs),
    /// Make a line for the password file of the embedded broker
    Password(PasswordArgs),
    /// Let people in to the pages, list them, or give them a new password
    Person(PersonArgs),
    /// Print a completion script for your shell
    Completions(CompletionsArgs),
    /// Print the manual page, or write all of them into a folder
    Man(ManArgs),
}

/// The whole program, from the command line to the exit code.
pub fn main() -> ExitCode {
    exit::report(dispatch(Cli::parse().command))
}

fn dispatch(command: Command) -> Result<(), Failure> {
    match command {
        Command::Demo(args) => demo::demo(&args),
        Command::Run(args) => run::run(&args),
        Command::Check(args) => check::check(&args),
        Command::Replay(args) => replay::replay(&args),
        Command::Decode(args) => decode::decode(&args),
        Command::Record(args) => record::record(&args),
        Command::Notify(args) => notify::notify(&args),
        Command::Visits(args) => visits::visits(&args),
        Command::Backup(args) => backup::backup(&args),
        Command::Password(args) => password::password(&args),
        Command::Person(args) => person::person(&args),
        Command::Completions(args) => completions::completions(&args),
        Command::Man(args) => man::man(&args),
    }
}

#[cfg(test)]
mod tests {
    use super::Cli;
    use clap::CommandFactory;

    #[test]
    fn the_definitions_of_all_commands_are_sound() {
        Cli::command().debug_assert();
    }
}
