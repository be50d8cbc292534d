//! The command line: one file a command, each a function of its parsed arguments.

mod backup;
mod check;
mod completions;
mod decode;
mod demo;
mod exit;
mod explain;
mod input;
mod man;
mod notify;
mod paint;
mod password;
mod person;
mod record;
mod replay;
mod root;
mod run;
mod summary;
mod told;
mod visits;

pub use backup::BackupArgs;
pub use check::CheckArgs;
pub use completions::CompletionsArgs;
pub use decode::DecodeArgs;
pub use demo::DemoArgs;
pub use exit::{Failure, Fault};
pub use input::SettingsFile;
pub use man::ManArgs;
pub use notify::NotifyArgs;
pub use password::PasswordArgs;
pub use person::{PersonArgs, PersonCommand};
pub use record::RecordArgs;
pub use replay::ReplayArgs;
pub use root::{Cli, Command, main};
pub use run::RunArgs;
pub use visits::VisitsArgs;
