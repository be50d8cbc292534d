//! Float switches: debounced, as stays of standing water.

use serde::{Deserialize, Serialize};

use super::beat::Beat;
use crate::model::{EventTime, Span};

/// A float that falls and rises again within this span has not fallen: waves make it chatter.
pub(crate) const BRIDGE: Span = Span::from_mins(2);
/// Changes an hour, decayed over an hour, above which a float is not to be believed.
const CHATTER: f32 = 24.0;

/// A reading heard so long after it was taken had been stored on its way.
const STORED: Span = Span::HOUR;
/// What was stored comes in a burst: the next of it is heard within this time.
const BURST: Span = Span::from_mins(10);

/// The state of one float switch.
///
/// ```text
///            wet                  dry
///   down ─────────▶ up ◀─────────────▶ falling ──BRIDGE──▶ down
///                      wet (bridged)
/// ```
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct FloatSignal {
    wet_since: Option<EventTime>,
    falling_since: Option<EventTime>,
    last: Option<(EventTime, bool)>,
    /// When it last said something else than before, or must have.
    changed_at: Option<EventTime>,
    beat: Beat,
    /// The last reading had been stored; until then, more of what was stored may be heard.
    burst_until: Option<EventTime>,
    /// Changes of late, each decaying over an hour.
    changes: f32,
}

/// What a float did.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum FloatEvent {
    /// It rose.
    Rose,
    /// It fell at `at` and stayed down; it had been up since `began`.
    Fell { began: EventTime, at: EventTime },
    /// It is down, of which nothing was known before.
    Down,
}

impl FloatSignal {
    /// Takes a reading in event order.
    pub(crate) fn note(&mut self, at: EventTime, wet: bool) -> Option<FloatEvent> {
        if let Some((before, was_wet)) = self.last {
            self.changes *= (-(at - before).hours_f64().max(0.0)).exp() as f32;
            self.changes += f32::from(u8::from(was_wet != wet));
        }
        // A rise that is told twice, and not in its turn, was told of two rises: the fall between them was lost.
        let is_off_beat = self.beat.note(at, self.last.map(|(before, was_wet)| (before, was_wet == wet)));
        if self.last.is_none_or(|(_, was_wet)| was_wet != wet) || (wet && is_off_beat) {
            self.changed_at = Some(at);
        }
        let is_first = self.last.replace((at, wet)).is_none();
        match (wet, self.wet_since) {
            (true, None) => {
                self.wet_since = Some(at);
                Some(FloatEvent::Rose)
            }
            (true, Some(_)) => {
                self.falling_since = None;
                None
            }
            (false, Some(_)) => {
                self.falling_since.get_or_insert(at);
                None
            }
            (false, None) => is_first.then_some(FloatEvent::Down),
        }
    }

    /// Nobody listened until `at`: whether it is up now, its next report says. What `is_stuck` stays up until it is heard
    /// to fall.
    pub(crate) fn unheard_until(&mut self, at: EventTime, is_stuck: bool) {
        (self.last, self.changed_at, self.burst_until) = (None, None, None);
        self.wet_since = self.wet_since.filter(|_| is_stuck).map(|since| since.max(at));
    }

    /// Takes note that the last reading was heard `now`.
    pub(crate) fn heard(&mut self, now: EventTime) {
        let stored = self.last.is_some_and(|(at, _)| now - at >= STORED);
        self.burst_until = stored.then_some(now + BURST);
    }

    /// When a fall will be believed if no rise comes first.
    pub(crate) fn due(&self) -> Option<EventTime> {
        self.falling_since.map(|at| at + BRIDGE)
    }

    /// Believes a fall whose time has come.
    pub(crate) fn settle(&mut self, now: EventTime) -> Option<FloatEvent> {
        self.due().filter(|&due| due <= now)?;
        let at = self.falling_since.take()?;
        let began = self.wet_since.take()?;
        Some(FloatEvent::Fell { began, at })
    }

    /// When water will have stood (or stood) at the float for `hold`, unless it is falling before that. What was stored
    /// on its way is waited for, unless what was heard of it says enough.
    pub(crate) fn stood_for(&self, hold: Span) -> Option<EventTime> {
        let due = self.wet_since? + hold;
        let seen_wet = self.falling_since.or(self.last.map(|(at, _)| at)).is_some_and(|until| until >= due);
        match self.burst_until {
            _ if seen_wet => Some(due),
            _ if self.falling_since.is_some() => None,
            Some(burst) => Some(due.max(burst)),
            None => Some(due),
        }
    }

    /// Since when water has stood at the float.
    pub(crate) fn wet_since(&self) -> Option<EventTime> {
        self.wet_since
    }

    /// Since when water would have stood if `further` readings (in event order) were true as well.
    pub(crate) fn wet_since_with(
        &self,
        further: impl Iterator<Item = (EventTime, bool)>,
    ) -> Option<EventTime> {
        let mut ahead = self.clone();
        for (at, wet) in further {
            ahead.settle(at);
            ahead.note(at, wet);
        }
        ahead.wet_since.filter(|_| ahead.falling_since.is_none())
    }

    /// It had fallen in between, unheard, and rose again at `at`: how long water stood before nobody knows.
    pub(crate) fn rose_again(&mut self, at: EventTime) {
        self.wet_since = Some(at);
    }

    /// When it last said something else than before.
    pub(crate) fn changed_at(&self) -> Option<EventTime> {
        self.changed_at
    }

    /// Last reading.
    pub(crate) fn last(&self) -> Option<(EventTime, bool)> {
        self.last
    }

    /// Whether it changes more often than water can.
    pub(crate) fn chatters(&self) -> bool {
        self.changes > CHATTER
    }

    /// Whether it has become calm again after chattering.
    pub(crate) fn is_calm(&self) -> bool {
        self.changes < CHATTER / 4.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(secs: i64) -> EventTime {
        EventTime::from_secs(secs)
    }

    #[test]
    fn short_dips_are_bridged() {
        let mut float = FloatSignal::default();
        assert_eq!(float.note(at(0), true), Some(FloatEvent::Rose));
        assert_eq!(float.note(at(60), false), None);
        assert_eq!(float.note(at(100), true), None);
        assert_eq!(float.settle(at(1000)), None);
        assert_eq!(float.note(at(1200), false), None);
        assert_eq!(float.settle(at(1200)), None);
        assert_eq!(float.settle(at(1320)), Some(FloatEvent::Fell { began: at(0), at: at(1200) }));
        assert_eq!(float.wet_since(), None);
    }

    #[test]
    fn what_was_stored_is_waited_for() {
        let hold = Span::from_hours(6);
        let mut float = FloatSignal::default();
        let now = at(48 * 3600);
        float.note(at(0), true);
        float.heard(now);
        assert_eq!(float.stood_for(hold), Some(now + BURST), "its fall may be on its way");
        let mut fell = float.clone();
        fell.note(at(1800), false);
        fell.heard(now);
        assert_eq!(fell.stood_for(hold), None);
        float.note(at(7 * 3600), true);
        float.heard(now);
        assert_eq!(float.stood_for(hold), Some(at(6 * 3600)), "it was seen to stand for long enough");
    }

    #[test]
    fn looking_ahead_changes_nothing() {
        let mut float = FloatSignal::default();
        float.note(at(0), true);
        let before = float.clone();
        assert_eq!(float.wet_since_with([(at(60), true)].into_iter()), Some(at(0)));
        assert_eq!(float.wet_since_with([(at(60), false)].into_iter()), None);
        assert_eq!(float.wet_since_with([(at(60), false), (at(600), true)].into_iter()), Some(at(600)));
        assert_eq!(float, before);
    }

    #[test]
    fn what_was_up_before_nobody_listened_is_unknown_until_it_is_heard() {
        let mut float = FloatSignal::default();
        assert_eq!(float.note(at(-60), false), Some(FloatEvent::Down));
        float.note(at(0), true);
        let (mut down, mut up, mut stuck) = (float.clone(), float.clone(), float);
        let (back, hold) = (at(40 * 86_400), Span::from_hours(6));
        down.unheard_until(back, false);
        assert_eq!((down.stood_for(hold), down.wet_since()), (None, None));
        assert_eq!(down.note(back + Span::HOUR, false), Some(FloatEvent::Down));
        assert_eq!(down.note(back + Span::DAY, false), None);
        up.unheard_until(back, false);
        assert_eq!(up.note(back + Span::HOUR, true), Some(FloatEvent::Rose));
        assert_eq!(up.wet_since(), Some(back + Span::HOUR));
        stuck.unheard_until(back, true);
        assert_eq!(stuck.note(back + Span::HOUR, true), None);
        assert_eq!(stuck.wet_since(), Some(back));
    }

    #[test]
    fn constant_change_is_chatter_until_it_calms() {
        let mut float = FloatSignal::default();
        for i in 0..60 {
            float.note(at(i * 20), i % 2 == 0);
        }
        assert!(float.chatters());
        float.note(at(4 * 3600), false);
        assert!(!float.chatters() && float.is_calm());
    }
}
