//! Joins activity at the source and in the basins into one stretch of time: an episode.

use serde::{Deserialize, Serialize};

use crate::engine::signal::Wetting;
use crate::model::{EventTime, Span};

/// Activity this close together is one episode: what one dose brought is not over before.
const JOIN: Span = Span::from_mins(100);
/// With probes that are read seldom, this many of their intervals.
const JOIN_GAPS: f64 = 2.5;
/// An episode is cut after this time, however much goes on.
const LONGEST: Span = Span::from_hours(10);
/// A probe that has not risen for this long is at its peak.
const SETTLES: Span = Span::from_mins(60);
/// The same after a run of water that is known to have ended: nobody need wait for a dose that might follow.
const SETTLES_AFTER_RUN: Span = Span::from_mins(20);
/// This part of the usual time after a run that has ended, what comes is other water: the run's is measured by then.
const RUN_IS_MEASURED: f64 = 0.75;
/// Water is given this long on its way to the probes, and an episode so long in all.
const LONGEST_WAIT: Span = Span::from_hours(6);
const LONGEST_WITH_WAIT: Span = Span::from_hours(14);
/// An episode that goes on is looked at this often.
const GLANCES: Span = Span::from_mins(30);
/// Rain this long before an episode, or during it, touches it.
const RAIN_LINGERS: Span = Span::from_hours(3);
/// What has come fades by this time constant (by the scoreboard's tuning seeds).
const BURST_FADES: Span = Span::from_mins(40);
/// Less than this between two readings of the meter is a drip, not a dose (common practice, no published source).
pub(crate) const DRIP_LITRES: f64 = 3.0;

/// The episode under way.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Gathering {
    current: Option<Episode>,
    last_rain: Option<EventTime>,
    /// When a run was last said to be over; it may be before its water shows in any basin.
    run_ended: Option<EventTime>,
}

/// One stretch of time in which water came.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Episode {
    pub(super) began: EventTime,
    last: EventTime,
    /// Longest gap that still belongs to it.
    join: Span,
    /// When somebody said that no more water would come.
    run_ended: Option<EventTime>,
    /// Water was still on its way through the soil: not finished before this.
    rising_until: EventTime,
    /// When it is looked at in its course.
    glance_at: EventTime,
    /// Litres that the meter counted.
    pub(super) metered: f64,
    /// Of those, what came at once: fading as [`BURST_FADES`] says.
    burst: Burst,
    pub(super) rain: bool,
    /// By basin.
    pub(super) responses: Vec<Response>,
}

/// Litres that came at once: what has come fades as it soaks away.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Burst {
    at: EventTime,
    litres: f64,
    most: f64,
}

/// What one basin showed during an episode, beside its probe's rise.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Response {
    pub(super) wettings: u8,
    /// Water gained in all wettings, m³/m³, and its variance.
    pub(super) gained: f64,
    pub(super) variance: f64,
    /// Logarithm of the delay over the probe's usual one, of the last wetting.
    pub(super) slowness: Option<f64>,
    /// Minutes that the float was up.
    pub(super) float_min: f64,
    /// Since when it has been up.
    float_since: Option<EventTime>,
    /// Whether water of before stood there when the episode began.
    pub(super) stood_before: bool,
}

impl Response {
    /// Whether the float was up, if only for a moment.
    pub(super) fn float_rose(&self) -> bool {
        self.float_min > 0.0 || self.float_since.is_some()
    }
}

impl Gathering {
    /// Water showed at `at`; says whether this began an episode.
    pub(super) fn active(&mut self, at: EventTime, usual_gap: Span, basins: usize) -> bool {
        if let Some(episode) = &mut self.current {
            episode.began = episode.began.min(at.max(episode.began - episode.join));
            if at - episode.began <= LONGEST {
                episode.last = episode.last.max(at);
            }
            return false;
        }
        let join = JOIN.max(usual_gap.scaled(JOIN_GAPS));
        let rain = self.last_rain.is_some_and(|rain| at - rain <= RAIN_LINGERS);
        let responses = vec![Response::default(); basins];
        self.current = Some(Episode {
            began: at,
            last: at,
            join,
            run_ended: self.run_ended.take().filter(|ended| at - *ended <= SETTLES),
            rising_until: EventTime::MIN,
            glance_at: at + GLANCES,
            metered: 0.0,
            burst: Burst::default(),
            rain,
            responses,
        });
        true
    }

    /// Nothing is made of the episode under way.
    pub(super) fn abandon(&mut self) {
        self.current = None;
    }

    /// The meter passed `litres`.
    pub(super) fn metered(&mut self, at: EventTime, litres: f64) {
        if let Some(episode) = &mut self.current {
            episode.metered += litres;
            episode.burst.take(at, litres);
        }
    }

    /// A wetting is over.
    pub(super) fn wetted(&mut self, basin: usize, wetting: &Wetting) {
        let Some(episode) = &mut self.current else { return };
        let response = &mut episode.responses[basin];
        response.wettings = response.wettings.saturating_add(1);
        response.gained += wetting.gained.value;
        response.variance += wetting.gained.variance;
        response.slowness = wetting.slowness.or(response.slowness);
    }

    /// Water of before stands in a basin as the episode begins.
    pub(super) fn stood_before(&mut self, basin: usize) {
        if let Some(episode) = &mut self.current {
            episode.responses[basin].stood_before = true;
        }
    }

    /// The float of a basin rose.
    pub(super) fn rose(&mut self, basin: usize, at: EventTime) {
        if let Some(episode) = &mut self.current {
            episode.responses[basin].float_since = Some(at);
        }
    }

    /// The float of a basin fell.
    pub(super) fn fell(&mut self, basin: usize, began: EventTime, at: EventTime) {
        if let Some(episode) = &mut self.current {
            let response = &mut episode.responses[basin];
            response.float_min += (at - response.float_since.take().unwrap_or(began)).mins_f64().max(0.0);
        }
    }

    /// Minutes that the float of a basin was up until the episode's end.
    pub(super) fn float_minutes(&self, basin: usize) -> f64 {
        let Some(episode) = &self.current else { return 0.0 };
        let (response, end) = (&episode.responses[basin], episode.closes());
        response.float_min + response.float_since.map_or(0.0, |since| (end - since).mins_f64().max(0.0))
    }

    /// The gauge counted rain.
    pub(super) fn rained(&mut self, at: EventTime) {
        self.last_rain = self.last_rain.max(Some(at));
        if let Some(episode) = &mut self.current {
            episode.rain |= at >= episode.began - RAIN_LINGERS && at <= episode.last + RAIN_LINGERS;
        }
    }

    /// When the episode is finished if nothing else happens.
    pub(super) fn due(&self) -> Option<EventTime> {
        self.current.as_ref().map(|episode| episode.closes().max(episode.rising_until))
    }

    /// When the episode is next looked at in its course.
    pub(super) fn glance_due(&self) -> Option<EventTime> {
        self.current.as_ref().map(|episode| episode.glance_at)
    }

    /// The episode under way, which has now been looked at.
    pub(super) fn glance(&mut self, now: EventTime) -> Option<&Episode> {
        let episode = self.current.as_mut()?;
        episode.glance_at = now + GLANCES;
        Some(episode)
    }

    /// No more water will come.
    pub(super) fn run_ended(&mut self, at: EventTime) {
        self.run_ended = Some(at);
        if let Some(episode) = &mut self.current {
            episode.run_ended = Some(at);
            episode.rising_until = EventTime::MIN;
        }
    }

    /// A probe rose at `grew_at`: the episode waits for it, but not for ever. Says whether it waits beyond `now`.
    pub(super) fn wait(&mut self, grew_at: EventTime, usual_gap: Span, now: EventTime) -> bool {
        let Some(episode) = &mut self.current else { return false };
        let settles = episode.run_ended.map_or(SETTLES, |_| SETTLES_AFTER_RUN);
        let settled = grew_at + settles.max(usual_gap.scaled(JOIN_GAPS));
        let latest = (episode.last + episode.join + LONGEST_WAIT).min(episode.began + LONGEST_WITH_WAIT);
        episode.rising_until = settled.min(episode.cut().map_or(latest, |cut| cut.min(latest)));
        episode.rising_until > now
    }

    /// Takes the episode if it is finished.
    pub(super) fn take(&mut self, now: EventTime) -> Option<Episode> {
        self.due().filter(|&due| due <= now)?;
        self.current.take()
    }
}

impl Burst {
    fn take(&mut self, at: EventTime, litres: f64) {
        let left = (-(at - self.at).max(Span::ZERO).mins_f64() / BURST_FADES.mins_f64()).exp();
        (self.at, self.litres) = (at, self.litres * left + litres);
        self.most = self.most.max(self.litres);
    }
}

impl Episode {
    /// The most litres that came at once, if a meter counted any.
    pub(super) fn burst(&self) -> Option<f64> {
        (self.burst.most > 0.0).then_some(self.burst.most)
    }

    /// When it is over if no probe still rises.
    fn closes(&self) -> EventTime {
        let usual = self.last + self.join;
        self.run_ended
            .zip(self.cut())
            .map_or(usual, |(ended, cut)| (ended.max(self.last) + SETTLES_AFTER_RUN).min(cut))
    }

    /// After a run that has ended: when it is over whatever else comes.
    fn cut(&self) -> Option<EventTime> {
        self.run_ended.map(|ended| ended.max(self.began) + self.join.scaled(RUN_IS_MEASURED))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(mins: i64) -> EventTime {
        EventTime::from_secs(mins * 60)
    }

    #[test]
    fn activity_close_together_is_one_episode() {
        let mut gathering = Gathering::default();
        assert!(gathering.active(at(0), Span::ZERO, 2));
        gathering.metered(at(0), 40.0);
        assert!(!gathering.active(at(80), Span::ZERO, 2));
        gathering.rose(1, at(80));
        gathering.fell(1, at(80), at(95));
        assert_eq!(gathering.take(at(179)), None);
        assert!((gathering.float_minutes(1) - 15.0).abs() < 1e-9);
        let episode = gathering.take(at(180)).unwrap();
        assert!((episode.metered - 40.0).abs() < 1e-9);
        assert!(gathering.active(at(181), Span::ZERO, 2));
    }

    #[test]
    fn an_episode_does_not_go_on_for_ever() {
        let mut gathering = Gathering::default();
        (0..40).for_each(|i| _ = gathering.active(at(30 * i), Span::ZERO, 1));
        assert_eq!(gathering.due(), Some(at(600 + 100)));
    }

    #[test]
    fn an_episode_waits_for_a_probe_that_still_rises_but_not_for_ever() {
        let mut gathering = Gathering::default();
        gathering.active(at(0), Span::ZERO, 1);
        assert!(gathering.wait(at(90), Span::ZERO, at(100)));
        assert_eq!(gathering.take(at(149)), None);
        assert!(!gathering.wait(at(90), Span::ZERO, at(150)));
        assert!(gathering.wait(at(440), Span::ZERO, at(450)));
        assert_eq!(gathering.due(), Some(at(100 + 360)));
        assert!(gathering.take(at(460)).is_some());
    }

    #[test]
    fn a_run_that_has_ended_is_judged_when_its_probes_have_settled() {
        let mut gathering = Gathering::default();
        gathering.active(at(0), Span::ZERO, 1);
        gathering.run_ended(at(12));
        assert_eq!(gathering.due(), Some(at(32)));
        assert!(gathering.wait(at(30), Span::ZERO, at(32)));
        assert_eq!(gathering.take(at(49)), None);
        assert!(gathering.take(at(50)).is_some());
    }

    #[test]
    fn a_run_may_be_over_before_its_water_shows() {
        let mut gathering = Gathering::default();
        gathering.run_ended(at(60));
        gathering.active(at(75), Span::ZERO, 1);
        assert_eq!(gathering.due(), Some(at(95)));
        assert!(gathering.take(at(95)).is_some());
        gathering.run_ended(at(100));
        gathering.active(at(170), Span::ZERO, 1);
        assert_eq!(gathering.due(), Some(at(270)), "that is other water");
    }

    #[test]
    fn water_that_comes_after_a_run_is_not_waited_for() {
        let mut gathering = Gathering::default();
        gathering.active(at(0), Span::ZERO, 1);
        gathering.run_ended(at(10));
        gathering.active(at(70), Span::ZERO, 1);
        assert_eq!(gathering.due(), Some(at(85)));
        assert!(!gathering.wait(at(80), Span::ZERO, at(85)));
        assert!(gathering.take(at(85)).is_some() && gathering.active(at(90), Span::ZERO, 1));
    }

    #[test]
    fn rain_before_and_during_touches_an_episode() {
        let mut gathering = Gathering::default();
        gathering.rained(at(0));
        gathering.active(at(100), Span::ZERO, 1);
        assert!(gathering.take(at(1000)).unwrap().rain);
        gathering.active(at(1000), Span::ZERO, 1);
        gathering.rained(at(1030));
        assert!(gathering.take(at(2000)).unwrap().rain);
    }
}
