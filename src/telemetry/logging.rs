//! Log lines on standard error, as text or JSON.

use std::io::{IsTerminal, stderr};

use tracing_subscriber::filter::{LevelFilter, Targets};
use tracing_subscriber::layer::SubscriberExt;
use tracing_subscriber::util::{SubscriberInitExt, TryInitError};
use tracing_subscriber::{Layer, fmt, registry};

use crate::settings::{Format, Level, Log};

/// Logging was started before in this process.
#[derive(Debug, thiserror::Error)]
#[error("start logging")]
pub struct AlreadyLogging(#[source] TryInitError);

/// Starts writing log lines to standard error for the rest of the process.
///
/// # Errors
/// If it was called before.
pub fn start_logging(log: &Log) -> Result<(), AlreadyLogging> {
    let lines = match log.format {
        Format::Text => fmt::layer().with_writer(stderr).with_ansi(wants_colour(&stderr())).boxed(),
        Format::Json => {
            fmt::layer().json().flatten_event(true).with_current_span(false).with_writer(stderr).boxed()
        }
    };
    registry().with(lines.with_filter(targets(log))).try_init().map_err(AlreadyLogging)
}

/// Whether `stream` is a terminal whose owner has not asked for plain text (`NO_COLOR`, see no-color.org).
pub fn wants_colour(stream: &impl IsTerminal) -> bool {
    stream.is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
}

/// The level set is for the daemon's own modules. Libraries speak up from warnings on, unless the filter names
/// them: what they call information is of use to nobody who runs a daemon.
fn targets(log: &Log) -> Targets {
    let level = match log.level {
        Level::Error => LevelFilter::ERROR,
        Level::Warn => LevelFilter::WARN,
        Level::Info => LevelFilter::INFO,
        Level::Debug => LevelFilter::DEBUG,
        Level::Trace => LevelFilter::TRACE,
    };
    let own = [("basinward", level), ("simulators", level)];
    let filter = match log.filter.as_str() {
        "" => Targets::new(),                     // parsed, it would mean "everything"
        some => some.parse().unwrap_or_default(), // the settings refuse what does not parse
    };
    let libraries = filter.default_level().unwrap_or(LevelFilter::WARN.min(level));
    Targets::new().with_default(libraries).with_targets(own).with_targets(filter)
}

#[cfg(test)]
mod tests {
    use super::*;
    use tracing::Level as Heard;

    fn would_write(level: Level, filter: &str, target: &str, heard: Heard) -> bool {
        let log = Log { level, format: Format::Text, filter: filter.to_owned() };
        targets(&log).would_enable(target, &heard)
    }

    #[test]
    fn the_level_is_for_our_own_modules() {
        assert!(would_write(Level::Info, "", "basinward::link", Heard::INFO));
        assert!(!would_write(Level::Info, "", "basinward::link", Heard::DEBUG));
        assert!(!would_write(Level::Info, "", "rumqttc", Heard::INFO));
        assert!(would_write(Level::Info, "", "rumqttc", Heard::WARN));
        assert!(!would_write(Level::Error, "", "rumqttc", Heard::WARN));
    }

    #[test]
    fn the_filter_overrides_single_modules() {
        let filter = "basinward::link=debug,rumqttc=info";
        assert!(would_write(Level::Info, filter, "basinward::link::mqtt", Heard::DEBUG));
        assert!(!would_write(Level::Info, filter, "basinward::ledger", Heard::DEBUG));
        assert!(would_write(Level::Info, filter, "rumqttc::state", Heard::INFO));
    }
}
