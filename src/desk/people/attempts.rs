//! How often somebody may guess.
//!
//! Failures are counted by the name tried from one address, by the name, and by the address. Each count
//! runs out by itself, and the bound on a name alone is wide, so that nobody can lock another out by
//! guessing at their name for long.

use std::collections::BTreeMap;
use std::net::IpAddr;

use crate::model::{EventTime, Span};

/// How long failures count.
const WINDOW: Span = Span::from_mins(15);
/// Counts kept at once; a flood of names and addresses beyond it drops the oldest.
const KEPT: usize = 20_000;

/// What failures are counted by.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum By {
    Pair(String, IpAddr),
    Name(String),
    Address(IpAddr),
}

impl By {
    /// Failures allowed within the window.
    fn allowed(&self) -> u32 {
        match self {
            Self::Pair(..) => 5,
            Self::Name(_) => 50,
            Self::Address(_) => 30,
        }
    }
}

/// Failed attempts of late.
#[derive(Debug, Default)]
pub(super) struct Attempts {
    counts: BTreeMap<By, (u32, EventTime)>,
}

impl Attempts {
    fn keys(name: &str, from: IpAddr) -> [By; 3] {
        let name: String = name.trim().to_lowercase().chars().take(64).collect();
        [By::Pair(name.clone(), from), By::Name(name), By::Address(from)]
    }

    /// How long to wait before trying `name` from `from`, if at all.
    pub(super) fn wait(&self, name: &str, from: IpAddr, now: EventTime) -> Option<Span> {
        let left = |by: By| {
            let (count, ends) = self.counts.get(&by)?;
            (*count >= by.allowed() && *ends > now).then(|| *ends - now)
        };
        Self::keys(name, from).into_iter().filter_map(left).max()
    }

    /// Counts a failure; the window begins with the first.
    pub(super) fn failed(&mut self, name: &str, from: IpAddr, now: EventTime) {
        if self.counts.len() >= KEPT {
            self.make_room(now);
        }
        for by in Self::keys(name, from) {
            let count = self.counts.entry(by).or_insert((0, now + WINDOW));
            *count = if count.1 > now { (count.0 + 1, count.1) } else { (1, now + WINDOW) };
        }
    }

    /// Forgets the failures of somebody who got it right.
    pub(super) fn succeeded(&mut self, name: &str, from: IpAddr) {
        let [pair, name, _] = Self::keys(name, from);
        self.counts.remove(&pair);
        self.counts.remove(&name);
    }

    fn make_room(&mut self, now: EventTime) {
        self.counts.retain(|_, (_, ends)| *ends > now);
        if self.counts.len() >= KEPT {
            let mut ends: Vec<EventTime> = self.counts.values().map(|(_, ends)| *ends).collect();
            ends.sort_unstable();
            let middle = ends[ends.len() / 2];
            self.counts.retain(|_, (_, ends)| *ends > middle);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HERE: IpAddr = IpAddr::V4(std::net::Ipv4Addr::new(192, 0, 2, 1));
    const THERE: IpAddr = IpAddr::V4(std::net::Ipv4Addr::new(192, 0, 2, 2));

    fn at(minute: i64) -> EventTime {
        EventTime::from_secs(minute * 60)
    }

    #[test]
    fn five_failures_close_the_door_for_a_while_and_for_that_address_only() {
        let mut attempts = Attempts::default();
        (0..5).for_each(|n| {
            assert_eq!(attempts.wait("maria", HERE, at(n)), None);
            attempts.failed("Maria ", HERE, at(n));
        });
        assert_eq!(attempts.wait("maria", HERE, at(5)), Some(Span::from_mins(10)));
        assert_eq!(attempts.wait("maria", THERE, at(5)), None);
        assert_eq!(attempts.wait("maria", HERE, at(15)), None, "it opens by itself");
    }

    #[test]
    fn many_names_from_one_address_are_stopped_as_well() {
        let mut attempts = Attempts::default();
        (0..30).for_each(|n| attempts.failed(&format!("guess {n}"), HERE, at(0)));
        assert!(attempts.wait("maria", HERE, at(1)).is_some());
        attempts.succeeded("maria", HERE);
        assert!(attempts.wait("maria", HERE, at(1)).is_some(), "one right guess does not clear the address");
    }

    #[test]
    fn a_flood_of_names_does_not_fill_the_memory() {
        let mut attempts = Attempts::default();
        for n in 0..30_000_u32 {
            let from = IpAddr::V4(std::net::Ipv4Addr::from(n));
            attempts.failed(&format!("guess {n}"), from, at(i64::from(n) / 3000));
        }
        assert!(attempts.counts.len() <= KEPT + 3);
    }
}
