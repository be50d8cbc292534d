//! One moisture probe: its noise, its drying, and the wettings that stand out from them.

use serde::{Deserialize, Serialize};

use super::block::Block;
use super::ceiling::Ceiling;
use super::drying::Drying;
use super::trace::{Rise as EpisodeRise, Trace};
use super::wetting::{Account, Wetting};
use crate::model::{EventTime, Span};
use crate::stats::robust::{LocationScale, Noise};

/// Readings that the noise estimate remembers.
const NOISE_MEMORY: f64 = 400.0;
/// No probe is better than this, m³/m³ (common practice, no published source).
const LEAST_NOISE: f64 = 0.000_5;
/// Noise of a probe not yet known, m³/m³.
const UNKNOWN_NOISE: f64 = 0.005;
/// Expected rates are never closer than this, m³/m³ an hour, and at first only this close.
const LEAST_DRIFT: f64 = 0.000_7;
const UNKNOWN_DRIFT: f64 = 0.005;
/// After a longer gap the level is taken anew: what happened in between cannot be told.
const GAP: Span = Span::from_hours(6);
/// Reference value and limit of the one-sided CUSUM on standardised misses: false alarms come once in about
/// 100,000 readings.
const REFERENCE: f64 = 1.0;
const LIMIT: f64 = 5.0;
/// One reading counts for no more than this, so that one spike is no wetting.
const SCORE_BOUND: f64 = 4.0;
/// A rise is over when its falls below the peak, less one deviation each, add up to this many deviations, or
/// when the peak is this old.
const TURNED: f64 = 5.0;
const PEAK_STANDS: Span = Span::from_hours(2);
/// A rise that goes on before its peak is that old and this part of it has gone is still the same.
const RESUMED: f64 = 0.25;
/// A wetting that is not this many deviations large is none.
const SIGNIFICANT: f64 = 3.0;
/// A content that has moved by this many deviations is learnt from at once.
const STEEP: f64 = 4.0;
/// Wettings that the usual delay remembers, and how many make it known.
const DELAY_MEMORY: f64 = 60.0;
const DELAY_KNOWN: u32 = 8;

/// Everything known of one probe. Constant size; a reading costs no allocation.
///
/// ```text
///           misses add up                   level turns down
///   quiet ────────────────▶ rising ─────────────────────────▶ quiet, the account still open
///     ▲                                                            │ nothing more comes,
///     └──────────────── account closed: a wetting ─────────────────┘ or the next rise begins
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct ProbeSignal {
    noise: Noise,
    /// Smallest change ever seen: the probe's resolution.
    quantum: f64,
    last_value: f64,
    drying: Drying,
    block: Block,
    level: Option<Level>,
    /// Quiet until misses add up.
    rise: Rise,
    /// The same for falls that drying cannot explain: the level is then taken anew.
    shortfall: f64,
    account: Option<Account>,
    rising: bool,
    /// Sum of the falls below the peak since it was reached, in deviations.
    turn: f64,
    ceiling: Ceiling,
    /// Logarithm of the delays of its wettings, minutes.
    delays: LocationScale,
    trace: Trace,
}

/// The water content behind the noise.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Level {
    at: EventTime,
    content: f64,
    variance: f64,
}

/// Sum of positive misses, and the last level before it left zero.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Rise {
    sum: f64,
    quiet: Level,
    began: EventTime,
}

/// What a reading completed.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Noted {
    /// A wetting that has begun, by the first reading that shows it.
    pub(crate) began: Option<EventTime>,
    /// A wetting that is over.
    pub(crate) ended: Option<Wetting>,
}

impl Default for ProbeSignal {
    fn default() -> Self {
        Self {
            noise: Noise::new(NOISE_MEMORY, LEAST_NOISE),
            quantum: f64::INFINITY,
            last_value: f64::NAN,
            drying: Drying::default(),
            block: Block::default(),
            level: None,
            rise: Rise {
                sum: 0.0,
                quiet: Level { at: EventTime::MIN, content: 0.0, variance: 0.0 },
                began: EventTime::MIN,
            },
            shortfall: 0.0,
            account: None,
            rising: false,
            turn: 0.0,
            ceiling: Ceiling::default(),
            delays: LocationScale::new(DELAY_MEMORY, 0.1),
            trace: Trace::default(),
        }
    }
}

impl ProbeSignal {
    /// Takes a believable reading, m³/m³, in event order.
    pub(crate) fn note(&mut self, at: EventTime, value: f64) -> Noted {
        let change = (value - self.last_value).abs();
        if change > 1e-9 {
            self.quantum = self.quantum.min(change);
        }
        self.last_value = value;
        let noted = match self.level {
            Some(level) if at - level.at <= GAP => self.follow(level, at, value),
            _ => {
                let ended = self.close_account();
                self.start(at, value);
                Noted { began: None, ended }
            }
        };
        if let Some(level) = self.level {
            self.trace.note(at, value, level.content, &self.drying);
        }
        noted
    }

    /// An episode of water began in the system: how far this probe rises is measured from now.
    pub(crate) fn open_episode(&mut self, at: EventTime) {
        self.trace.open(at, &self.drying);
    }

    /// How far this probe rose in the episode under way.
    pub(crate) fn episode(&self) -> Option<&EpisodeRise> {
        self.trace.rise()
    }

    /// The episode is over.
    pub(crate) fn close_episode(&mut self) {
        self.trace.close();
    }

    /// Whether a content is as high as this probe can show.
    pub(crate) fn is_at_ceiling(&self, content: f64) -> bool {
        self.ceiling.is_reached(content, 3.0 * self.deviation())
    }

    /// Standard deviation of one reading, m³/m³.
    pub(crate) fn deviation(&self) -> f64 {
        // Rounding to a step of q has a deviation of q/√12 when noise is larger than the step; a quiet probe
        // that sits on the edge of a step shows up to half of it.
        let rounding = if self.quantum.is_finite() { 0.7 * self.quantum } else { 0.0 };
        self.noise.deviation().unwrap_or(UNKNOWN_NOISE).max(rounding).max(LEAST_NOISE)
    }

    /// The least gain that would be noticed now, m³/m³: what is smaller is not nothing.
    pub(crate) fn resolution(&self) -> f64 {
        let variance = self.level.map_or(0.0, |level| level.variance);
        (0.5 * LIMIT + REFERENCE) * (variance + self.deviation().powi(2)).sqrt()
    }

    /// The water content behind the noise, m³/m³.
    pub(crate) fn content(&self) -> Option<f64> {
        self.level.map(|level| level.content)
    }

    #[cfg(test)]
    /// How this probe dries.
    pub(crate) fn drying(&self) -> &Drying {
        &self.drying
    }

    #[cfg(test)]
    /// Since when water has been coming.
    pub(crate) fn rising_since(&self) -> Option<EventTime> {
        self.account.filter(|_| self.rising).map(|account| account.began())
    }

    /// Nobody listened for a while: the level is taken anew, and of water that was coming nothing is made.
    pub(crate) fn unheard(&mut self) {
        (self.level, self.account, self.rising) = (None, None, false);
        self.trace = Trace::default();
        self.interrupt();
    }

    fn start(&mut self, at: EventTime, value: f64) {
        let level = Level { at, content: value, variance: self.deviation().powi(2) };
        self.level = Some(level);
        self.rise = Rise { sum: 0.0, quiet: level, began: at };
        self.shortfall = 0.0;
        self.rising = false;
        self.interrupt();
    }

    /// Nothing is learnt across this moment.
    fn interrupt(&mut self) {
        self.noise.interrupt();
        self.block.interrupt();
    }

    fn follow(&mut self, before: Level, at: EventTime, value: f64) -> Noted {
        let expected = self.drying.expect(before.content, before.at, at);
        let hours = (at - before.at).hours_f64();
        let drift_rate = self.drift_variance_an_hour(hours);
        let drift = drift_rate * hours;
        let noise = self.deviation().powi(2);
        let miss = value - expected;
        let score = miss / (before.variance + drift + noise).sqrt();
        let mut noted = Noted::default();
        if !self.rising {
            self.note_shortfall(score);
            self.note_excess(before, at, score);
            if self.rise.sum > LIMIT {
                noted = self.water_comes();
            }
        }
        // A rising level, or one taken anew, follows its readings as far as they exceed the noise.
        let free = if self.rising || self.shortfall > LIMIT { (miss * miss - noise).max(0.0) } else { 0.0 };
        let prior = (before.variance + drift).max(free);
        let gain = prior / (prior + noise);
        let bound = SCORE_BOUND * (prior + noise).sqrt();
        let level = Level {
            at,
            content: expected + gain * miss.clamp(-bound, bound),
            variance: (1.0 - gain) * prior,
        };
        if self.shortfall > LIMIT {
            self.shortfall = 0.0;
        }
        self.level = Some(level);
        self.keep_account(level, drift_rate, &mut noted);
        if !self.rising {
            self.learn(at, value);
        }
        noted
    }

    fn note_shortfall(&mut self, score: f64) {
        self.shortfall = (self.shortfall - score.max(-SCORE_BOUND) - REFERENCE).max(0.0);
    }

    fn note_excess(&mut self, before: Level, at: EventTime, score: f64) {
        if self.rise.sum <= 0.0 {
            self.rise = Rise { sum: 0.0, quiet: before, began: at };
        }
        self.rise.sum = (self.rise.sum + score.min(SCORE_BOUND) - REFERENCE).max(0.0);
    }

    /// Water comes: the open account goes on if its rise had hardly turned, else it is closed as it stood at
    /// the last quiet reading and another opened.
    fn water_comes(&mut self) -> Noted {
        let quiet = self.rise.quiet;
        let mut noted = Noted::default();
        let resumed = |account: &Account| {
            let recent = quiet.at - account.peaked() < PEAK_STANDS;
            recent && account.peak() - quiet.content < RESUMED * account.amplitude()
        };
        if !self.account.as_ref().is_some_and(resumed) {
            noted = Noted { began: Some(self.rise.began), ended: self.close_account() };
            self.account = Some(Account::open(self.rise.began, quiet.at, quiet.content, quiet.variance));
        }
        self.rising = true;
        self.turn = 0.0;
        self.rise.sum = 0.0;
        self.shortfall = 0.0;
        self.interrupt();
        noted
    }

    /// The account goes on while water rises and while all is quiet, but waits where misses begin to add up:
    /// they may belong to the next wetting.
    fn keep_account(&mut self, level: Level, drift_rate: f64, noted: &mut Noted) {
        let deviation = self.deviation();
        let Some(account) = &mut self.account else { return };
        if !self.rising && self.rise.sum > 0.0 {
            return;
        }
        account.go_on(&self.drying, (level.at, level.content), drift_rate);
        if self.rising {
            let fallen = (account.peak() - level.content) / deviation;
            self.turn = if fallen > 0.0 { (self.turn + fallen - 1.0).max(0.0) } else { 0.0 };
            let stands = level.at - account.peaked() >= PEAK_STANDS || account.is_settled();
            if self.turn > TURNED || stands {
                self.rising = false;
                self.rise = Rise { sum: 0.0, quiet: level, began: level.at };
            }
        } else if account.is_settled() {
            noted.ended = self.close_account();
        }
    }

    fn close_account(&mut self) -> Option<Wetting> {
        self.rising = false;
        let account = self.account.take()?;
        let level_variance = self.level?.variance;
        let tolerance = 3.0 * self.deviation();
        let censored = self.ceiling.note(account.peak(), tolerance);
        let mut wetting = account.close(level_variance, censored);
        let least = (SIGNIFICANT * wetting.gained.variance.sqrt()).max(2.0 * self.deviation());
        if wetting.gained.value <= least {
            return None;
        }
        let log_delay = wetting.delay.mins_f64().max(1.0).ln();
        let usual = self.delays.location().filter(|_| self.delays.count() >= DELAY_KNOWN);
        wetting.slowness = usual.map(|usual| log_delay - usual);
        self.delays.observe(log_delay);
        Some(wetting)
    }

    fn learn(&mut self, at: EventTime, value: f64) {
        self.noise.observe(at.millis() as f64 / 3_600_000.0, value);
        let step = STEEP * self.deviation();
        if let Some((from, to)) = self.block.take(at, value, step) {
            self.drying.learn(from, to);
        }
    }

    /// Variance that the expected level gains an hour, at a step of some hours: drying is wrong by its usual
    /// miss, for about an hour at a time. What the noise of the readings adds to the misses is taken off.
    fn drift_variance_an_hour(&self, step_h: f64) -> f64 {
        let noise = self.block.rate_variance(self.deviation().powi(2), step_h);
        let square = self.drying.usual_miss().map_or(UNKNOWN_DRIFT.powi(2), |miss| miss * miss - noise);
        square.max(LEAST_DRIFT.powi(2))
    }
}
