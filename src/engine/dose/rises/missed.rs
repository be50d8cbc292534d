//! What has been missed of one float: two sequential tests, and what they rest on.

use serde::{Deserialize, Serialize};

use crate::engine::dose::alarm::Test;
use crate::model::{BasinIx, EventTime};
use crate::stats::bayes::{logistic, logit};

/// Sums from which nothing is learnt, and from which something counts as wrong.
const SUSPICION: f64 = 4.0;
const LIMIT: f64 = 9.0;
/// The same for a float that no neighbour speaks of: seasons move what raises it.
const JAMMED_LIMIT: f64 = 12.0;
/// So many doses must it have missed: one whose habit has moved, nobody knows how far, rises in none of n with a
/// probability of 1/(n + 1) (Laplace's rule of succession).
const JAMMED_DOSES: u16 = 10;
/// So much of it must be that its own float stays down: a neighbour's floor that silts up makes that float rise more too.
const OWN: f32 = 2.0;
/// How often a float that stays down is jammed, before its neighbours are asked (common practice, no published source),
/// and how much of what they say counts: floats in one yard err alike.
const JAMMED: f64 = 0.12;
const TEMPER: f64 = 0.5;
/// Where it may be jammed as likely as this, more must be seen before anything counts as wrong.
const MAY_BE_JAMMED: f64 = 0.2;

/// What is tested of one basin: that its outlet passes nothing, and that its float is jammed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Tests {
    blocked: Missed,
    jammed: Missed,
}

/// What was missed of one float since a test began.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Missed {
    test: Test,
    /// What its own float said, without its neighbours, and what those said for a blocked outlet rather than a jam.
    own: f32,
    rather_blocked: f32,
    /// Episodes, and how it rose in them.
    asked: u16,
    risen: Risen,
    /// The same of the floats beside it.
    beside: Risen,
}

/// In how many episodes floats rose, and would usually have risen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(in crate::engine::dose) struct Risen {
    pub(in crate::engine::dose) times: u16,
    pub(in crate::engine::dose) expected: f32,
}

/// What one episode says of one basin, as log likelihood ratios.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(in crate::engine::dose) struct Says {
    /// For its outlet passing nothing.
    pub(in crate::engine::dose) blocked: f64,
    /// For its float being jammed.
    pub(super) jammed: f64,
    /// For nothing coming to its float, without asking its neighbours.
    pub(super) own: f64,
    /// How likely its float was to rise, and whether it did.
    pub(super) usual: f64,
    pub(super) rose: bool,
}

/// A float that stays down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::engine::dose) struct Missing {
    pub(in crate::engine::dose) basin: BasinIx,
    /// The first episode.
    pub(in crate::engine::dose) since: EventTime,
    /// Log likelihood ratio.
    pub(in crate::engine::dose) sum: f64,
    /// Probability that it is jammed, and that the only basin beside it silts up, if anything is wrong.
    pub(in crate::engine::dose) jammed: f64,
    pub(in crate::engine::dose) silts: Option<(BasinIx, f64)>,
    /// Episodes that were looked at, and how it and those beside it rose in them.
    pub(in crate::engine::dose) asked: u16,
    pub(in crate::engine::dose) risen: Risen,
    pub(in crate::engine::dose) beside: Risen,
}

impl Says {
    pub(super) fn risen(&self) -> Risen {
        Risen { times: u16::from(self.rose), expected: self.usual as f32 }
    }
}

impl std::ops::AddAssign for Risen {
    fn add_assign(&mut self, more: Self) {
        self.times = self.times.saturating_add(more.times);
        self.expected += more.expected;
    }
}

impl Tests {
    pub(super) fn take(&mut self, at: EventTime, says: &Says, beside: Risen) {
        if *says != Says::default() {
            self.blocked.take(at, says.blocked, says, beside);
            self.jammed.take(at, says.jammed, says, beside);
        }
        // What rises is not jammed, however seldom it does.
        if says.rose {
            self.jammed = Missed::default();
        }
    }

    /// Whether there is something to it, perhaps.
    pub(super) fn is_suspicious(&self) -> bool {
        self.blocked.test.sum().max(self.jammed.test.sum()) >= SUSPICION
    }

    /// Whether anything counts as wrong.
    pub(super) fn is_signal(&self) -> bool {
        let is_blocked = self.blocked.test.signal(LIMIT).is_some() && self.blocked.own >= OWN;
        self.jammed.is_jam() || (is_blocked && self.missed().1 < MAY_BE_JAMMED)
    }

    /// What counts as a jam where something else tells that water came.
    pub(super) fn is_jammed(&self, basin: BasinIx) -> Option<Missing> {
        self.jammed.is_jam().then(|| self.jammed.told(basin, 1.0))
    }

    /// What was missed, by the test that says more.
    pub(super) fn missing(&self, basin: BasinIx) -> Missing {
        let (missed, jammed) = self.missed();
        missed.told(basin, jammed)
    }

    /// That with the probability that the float is jammed, if anything is wrong.
    fn missed(&self) -> (Missed, f64) {
        let missed =
            if self.blocked.test.sum() >= self.jammed.test.sum() { self.blocked } else { self.jammed };
        (missed, logistic(logit(JAMMED) - TEMPER * f64::from(missed.rather_blocked)))
    }

    /// What its own float says for a blocked outlet.
    pub(super) fn own(&self) -> f64 {
        f64::from(self.blocked.own)
    }

    /// Whether floats beside it say so too.
    pub(super) fn rests_on_neighbours(&self) -> bool {
        self.blocked.test.sum() > self.own()
    }
}

impl Missed {
    fn take(&mut self, at: EventTime, ratio: f64, says: &Says, beside: Risen) {
        if self.test.sum() <= 0.0 {
            *self = Self::default();
        }
        self.test.note(at, ratio);
        self.own += says.own as f32;
        self.rather_blocked += (says.blocked - says.jammed) as f32;
        self.asked = self.asked.saturating_add(1);
        self.risen += says.risen();
        self.beside += beside;
    }

    /// Whether a float that missed so much counts as jammed.
    fn is_jam(&self) -> bool {
        self.asked >= JAMMED_DOSES && self.test.signal(JAMMED_LIMIT).is_some()
    }

    fn told(self, basin: BasinIx, jammed: f64) -> Missing {
        Missing {
            basin,
            since: self.test.onset(),
            sum: self.test.sum(),
            jammed,
            silts: None,
            asked: self.asked,
            risen: self.risen,
            beside: self.beside,
        }
    }
}
