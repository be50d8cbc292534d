//! Plays a recording to a fleet and tells what it concludes.

use std::io::{self, BufRead, Write};
use std::sync::Arc;

use super::recording::{LineFault, RecordingReader};
use super::told::{DoseTold, FindingTold, ForecastTold, Summary, Told};
use crate::engine::{Effect, Engine};
use crate::fleet::{Fleet, Gathered};
use crate::model::{EventTime, Span, System};

/// Systems that hear nothing are told the time at least this often, so that what they conclude
/// from silence appears near its place in the output.
const TICK: Span = Span::from_mins(15);

/// What to play and what to tell.
#[derive(Clone, Copy, Debug, Default)]
pub struct Options {
    /// Tell every dose.
    pub doses: bool,
    /// Tell at the end when each basin's mulch is due.
    pub forecast: bool,
    /// Leave out messages received after this.
    pub until: Option<EventTime>,
}

/// Why a replay broke off.
#[derive(Debug, thiserror::Error)]
pub enum ReplayFault {
    /// A line of the recording is faulty.
    #[error("line {line}: {fault}")]
    Recording {
        /// Line, from 1.
        line: u64,
        /// What is wrong with it.
        fault: LineFault,
    },
    /// The output cannot be written.
    #[error("cannot write the output")]
    Output(#[from] io::Error),
}

/// A fleet that works no forecasts out by the week: what is due is asked at the end, if at all.
fn fleet(systems: &[Arc<System>], prefix: &str) -> Fleet {
    let engine = |system: &Arc<System>| {
        let mut engine = Engine::new(Arc::clone(system));
        engine.foretell(false);
        engine
    };
    Fleet::with_engines(systems.iter().map(engine).collect(), prefix)
}

/// Plays `recording` to `systems` and writes what they conclude to `out`, one JSON object a line.
///
/// # Errors
/// When a line of the recording cannot be read, or the output cannot be written.
pub fn replay(
    systems: &[Arc<System>],
    prefix: &str,
    recording: impl BufRead,
    options: Options,
    out: &mut impl Write,
) -> Result<(), ReplayFault> {
    let mut fleet = fleet(systems, prefix);
    let mut reader = RecordingReader::new(recording);
    let mut gathered = Gathered::default();
    let mut summary = Summary { systems: systems.len(), ..Summary::default() };
    let mut ticked = EventTime::MIN;
    let mut end = None;
    loop {
        let next = reader.next_message();
        let message = match next {
            Ok(Some(message)) => message,
            Ok(None) => break,
            Err(fault) => return Err(ReplayFault::Recording { line: reader.line_number(), fault }),
        };
        if options.until.is_some_and(|until| message.received > until) {
            end = options.until;
            break;
        }
        end = end.max(Some(message.received));
        if message.received >= ticked + TICK {
            ticked = message.received;
            fleet.tick(ticked, &mut gathered);
        }
        fleet.take(message.received, &message.topic, &message.payload, &mut gathered);
        tell(systems, &mut gathered, options, &mut summary, out)?;
    }
    if let Some(end) = end {
        fleet.finish(end, &mut gathered);
        tell(systems, &mut gathered, options, &mut summary, out)?;
    }
    if options.forecast {
        tell_forecasts(&fleet, out)?;
    }
    write_line(&Told::Summary(&summary), out)?;
    Ok(out.flush()?)
}

fn tell(
    systems: &[Arc<System>],
    gathered: &mut Gathered,
    options: Options,
    summary: &mut Summary,
    out: &mut impl Write,
) -> io::Result<()> {
    summary.messages += gathered.messages;
    summary.readings += gathered.decoded.readings.len() as u64;
    summary.unassigned += gathered.decoded.unassigned.len() as u64;
    for refusal in &gathered.decoded.refusals {
        *summary.refused.entry(refusal.reason.name()).or_default() += 1;
    }
    for (system, effect) in &gathered.effects {
        let system = &systems[*system];
        match effect {
            Effect::Finding(change) => write_line(&Told::Finding(FindingTold::new(system, change)), out)?,
            Effect::Dose(dose) if options.doses => write_line(&Told::Dose(DoseTold::new(system, dose)), out)?,
            Effect::Dose(_) | Effect::Soak(_) | Effect::Forecast(_) => {}
        }
    }
    gathered.clear();
    Ok(())
}

fn tell_forecasts(fleet: &Fleet, out: &mut impl Write) -> io::Result<()> {
    for engine in fleet.engines() {
        for forecast in engine.forecasts() {
            write_line(&Told::Forecast(ForecastTold::new(engine.system(), &forecast)), out)?;
        }
    }
    Ok(())
}

fn write_line(told: &Told<'_>, out: &mut impl Write) -> io::Result<()> {
    serde_json::to_writer(&mut *out, told)?;
    out.write_all(b"\n")
}
