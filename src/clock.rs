//! The clock: the only place in the daemon that asks what time it is.

use std::time::{Duration, SystemTime, UNIX_EPOCH};

use tokio::time::Instant;

use crate::model::EventTime;

/// A source of event time, real or fast.
#[derive(Debug, Clone)]
pub struct Clock(Pace);

#[derive(Debug, Clone)]
enum Pace {
    Wall,
    Scaled { start: EventTime, began: Instant, speed: f64 },
}

/// Longest single sleep on the wall clock, so that setting the machine's clock is noticed soon.
const LONGEST_NAP: Duration = Duration::from_secs(10);

impl Clock {
    /// The machine's own clock.
    pub fn wall() -> Self {
        Self(Pace::Wall)
    }

    /// A clock that stands at `start` now and then runs `speed` times as fast as real time.
    ///
    /// `speed` is above 0; anything else stands still.
    pub fn scaled(start: EventTime, speed: f64) -> Self {
        let speed = if speed.is_finite() { speed.max(0.0) } else { 0.0 };
        Self(Pace::Scaled { start, began: Instant::now(), speed })
    }

    /// The time now.
    pub fn now(&self) -> EventTime {
        EventTime::from_millis(self.now_ms())
    }

    /// The time now, in milliseconds since 1970-01-01T00:00:00Z.
    #[expect(clippy::disallowed_methods, reason = "this is the one place that may ask the time")]
    pub fn now_ms(&self) -> i64 {
        match &self.0 {
            Pace::Wall => match SystemTime::now().duration_since(UNIX_EPOCH) {
                Ok(since) => i64::try_from(since.as_millis()).unwrap_or(i64::MAX),
                Err(before) => i64::try_from(before.duration().as_millis()).map_or(i64::MIN, |ms| -ms),
            },
            Pace::Scaled { start, began, speed } => {
                let passed = began.elapsed().as_secs_f64() * 1000.0 * speed;
                start.millis().saturating_add(passed as i64) // a float cast saturates
            }
        }
    }

    /// Waits until this clock shows `at`; returns at once if it does already. Safe to drop at any time.
    pub async fn sleep_until(&self, at: EventTime) {
        loop {
            let left_ms = at.millis().saturating_sub(self.now_ms());
            if left_ms <= 0 {
                return;
            }
            tokio::time::sleep(self.nap(left_ms)).await;
        }
    }

    /// How long to sleep, in real time, when `left_ms` of this clock's time are left.
    fn nap(&self, left_ms: i64) -> Duration {
        match &self.0 {
            Pace::Wall => Duration::from_millis(left_ms.unsigned_abs()).min(LONGEST_NAP),
            Pace::Scaled { speed, .. } => {
                let real_s = left_ms as f64 / 1000.0 / speed;
                // At least a millisecond, so that rounding cannot spin; a clock that stands still naps on.
                Duration::from_secs_f64(real_s.clamp(0.001, LONGEST_NAP.as_secs_f64()))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Span;

    #[test]
    fn the_wall_clock_is_past_the_day_this_was_written() {
        let written: EventTime = "2025-01-01T00:00:00Z".parse().expect("a time");
        assert!(Clock::wall().now() > written);
    }

    #[tokio::test]
    async fn a_fast_clock_reaches_tomorrow_soon() {
        let start = EventTime::from_secs(1_000_000);
        let clock = Clock::scaled(start, 86_400_000.0);
        let tomorrow = start + Span::DAY;
        clock.sleep_until(tomorrow).await;
        assert!(clock.now() >= tomorrow);
    }

    #[tokio::test]
    async fn waiting_for_the_past_returns_at_once() {
        Clock::wall().sleep_until(EventTime::from_secs(0)).await;
    }

    #[test]
    fn a_speed_that_makes_no_sense_stands_still() {
        let start = EventTime::from_secs(5);
        for speed in [-1.0, 0.0, f64::NAN, f64::INFINITY] {
            assert_eq!(Clock::scaled(start, speed).now(), start);
        }
    }
}
