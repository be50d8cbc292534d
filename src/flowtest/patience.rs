//! How long a run by probes takes to be judged.

use super::arrival::Trace;
use crate::model::{EventTime, Span};
use crate::stats::robust::median;

/// Gaps between readings that a rhythm needs at the least.
const ENOUGH: usize = 4;
/// The engine judges a run that is over once no probe has risen for the longer of this, and so many of their intervals.
const SETTLES: Span = Span::from_mins(20);
const INTERVALS: f64 = 2.5;
/// Readings are applied this long after they arrive, so that late ones still come into order.
const IN_ORDER: Span = Span::from_mins(5);
/// Soil may go on rising for so long after the last water left the pipe (seen in simulated loams).
const RISES_ON: Span = Span::HOUR;
/// Times are told in steps of this.
const STEP: Span = Span::from_mins(15);

/// How long it takes from the water being off to a verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Patience {
    /// From one reading of the probes to the next.
    pub interval: Span,
    /// No probe must have risen for so long.
    pub calm: Span,
    /// At the soonest.
    pub soonest: Span,
    /// As a rule no later than this.
    pub latest: Span,
}

impl Patience {
    /// With probes that report every `interval`.
    pub fn with(interval: Span) -> Self {
        let calm = SETTLES.max(interval.scaled(INTERVALS));
        // The last rise shows up to one reading late.
        let soonest = in_steps(interval + calm + IN_ORDER);
        Self { interval, calm, soonest, latest: soonest + RISES_ON }
    }

    /// With probes that read so before `until`: the slowest counts. None where too little was read.
    pub fn of(traces: &[Trace], until: EventTime) -> Option<Self> {
        let interval = |trace: &Trace| {
            let times = trace.moisture.iter().map(|(at, _)| *at).filter(|at| *at <= until);
            let times: Vec<EventTime> = times.collect();
            let mut gaps: Vec<f64> = times.windows(2).map(|two| (two[1] - two[0]).mins_f64()).collect();
            (gaps.len() >= ENOUGH).then(|| Span::from_hours_f64(median(&mut gaps).round() / 60.0))
        };
        traces.iter().filter_map(interval).max().map(Self::with)
    }
}

fn in_steps(span: Span) -> Span {
    STEP.scaled((span.mins_f64() / STEP.mins_f64()).ceil())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seldom_readings_take_longer_and_the_slowest_probe_counts() {
        let every = |mins: i64| Trace {
            moisture: (0..12).map(|n| (EventTime::from_secs(60 * mins * n), 0.2)).collect(),
            float: Vec::new(),
        };
        let of = |traces: &[Trace]| Patience::of(traces, EventTime::MAX);
        let quick = of(&[every(5)]).unwrap();
        assert_eq!((quick.soonest, quick.latest), (Span::from_mins(30), Span::from_mins(90)));
        let slow = of(&[every(5), Trace::default(), every(15)]).unwrap();
        assert_eq!(slow.interval, Span::from_mins(15));
        assert_eq!((slow.soonest, slow.latest), (Span::from_mins(60), Span::from_mins(120)));
        assert_eq!(of(&[Trace::default()]), None);
    }
}
