//! How a command ends: exit codes, and what it says when it did not go well.

use std::error::Error;
use std::io::{self, ErrorKind, Write, stderr};
use std::process::ExitCode;

use super::paint::Paint;
use crate::settings::SettingFault;
use crate::systemfile;
use crate::telemetry::{AlreadyLogging, chain};

/// Why a command did not end well.
#[derive(Debug)]
pub enum Failure {
    /// The input was right, but the work failed while running: exit code 1.
    Failed(Box<dyn Error>),
    /// The input was wrong; every fault is told: exit code 2.
    BadInput(Vec<Fault>),
    /// The input was wrong and the command has told so already: exit code 2.
    Told,
}

/// One thing wrong with the input, ready for a person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Where: a file with line and column, an environment variable, an argument.
    pub place: String,
    /// What is wrong.
    pub what: String,
    /// How to mend it.
    pub how: String,
}

impl From<SettingFault> for Fault {
    fn from(fault: SettingFault) -> Self {
        Self { place: fault.origin.to_string(), what: fault.what.to_string(), how: fault.what.how() }
    }
}

impl From<systemfile::Fault> for Fault {
    fn from(fault: systemfile::Fault) -> Self {
        let place = match fault.line {
            0 => fault.file,
            line => format!("{}:{line}:{}", fault.file, fault.column),
        };
        Self { place, what: fault.what, how: fault.how }
    }
}

impl From<AlreadyLogging> for Failure {
    fn from(error: AlreadyLogging) -> Self {
        Self::Failed(Box::new(error))
    }
}

impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Self {
        Self::Failed(Box::new(error))
    }
}

impl Fault {
    /// Writes the fault: place and what on one line, as editors read it, and how to mend it below.
    pub(super) fn write(&self, out: &mut impl Write, paint: Paint) -> io::Result<()> {
        writeln!(out, "{}: {}", paint.strong(&self.place), self.what)?;
        writeln!(out, "    {} {}", paint.helpful("to mend:"), self.how)
    }
}

/// Tells the person about a failure and gives the exit code.
pub(super) fn report(result: Result<(), Failure>) -> ExitCode {
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(Failure::Told) => ExitCode::from(2),
        Err(Failure::BadInput(faults)) => {
            // Nothing is left to do if standard error is gone too.
            let _ = write_faults(&faults, &mut stderr().lock(), Paint::for_stream(&stderr()));
            ExitCode::from(2)
        }
        Err(Failure::Failed(error)) if is_closed_pipe(&*error) => ExitCode::SUCCESS,
        Err(Failure::Failed(error)) => {
            let _ = writeln!(stderr(), "basinward: {}", chain(&*error));
            ExitCode::FAILURE
        }
    }
}

/// Writes all faults and their number.
pub(super) fn write_faults(faults: &[Fault], out: &mut impl Write, paint: Paint) -> io::Result<()> {
    for fault in faults {
        fault.write(out, paint)?;
    }
    let count = faults.len();
    writeln!(out, "\n{count} {}", if count == 1 { "fault" } else { "faults" })
}

/// Whoever read our output has seen enough (`basinward replay … | head`): that is no failure.
fn is_closed_pipe(error: &(dyn Error + 'static)) -> bool {
    error.downcast_ref::<io::Error>().is_some_and(|e| e.kind() == ErrorKind::BrokenPipe)
}
