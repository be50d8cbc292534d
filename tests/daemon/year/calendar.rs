//! The same yard looked after by a calendar, whatever its sensors say.

use std::collections::BTreeSet;

use basinward::model::Span;
use basinward::upkeep::Day;
use simulators::fault::Action;

use super::yard;

/// Grounds that are looked after get four rounds a year (common practice, no published source).
const EVERY: i64 = 91;
/// A household calls once its yard has stood under water so long (common practice, no published source).
const COMPLAINT: i64 = 3;

/// What a year came to.
#[derive(Debug)]
pub(super) struct ByCalendar {
    pub(super) visits: usize,
    pub(super) flood_days: usize,
    pub(super) days_off_level: f64,
}

/// Lives through the year: each round levels every splitter and renews the mulch of basins that water stood in, and
/// so does the visit that a complaint brings.
pub(super) fn by_calendar(zone: &jiff::tz::TimeZone) -> ByCalendar {
    let mut yard = yard::begin();
    let first = Day::of(yard.begins(), zone);
    let (mut visits, mut flooded, mut complaint) = (0, BTreeSet::new(), None);
    let mut standing = false;
    for day in 1..=365 {
        let today = first.plus(day);
        yard.live_until(today.at(12 * 60, zone));
        let before = flooded.len();
        // Work makes the yard tell its story again from the start: a day counts once.
        flooded.extend(yard::floods(&mut yard).into_iter().map(|at| Day::of(at, zone)));
        if flooded.len() > before && !standing {
            (standing, complaint) = (true, Some(day + COMPLAINT));
        }
        if day % EVERY == 0 || complaint == Some(day) {
            visits += 1;
            let levelled = ["s1", "s2", "s3"].map(|id| Action::LevelSplitter(id.to_owned()));
            let renewed = standing.then(|| Action::RenewMulch("quince".to_owned()));
            yard.put_to_work(levelled.into_iter().chain(renewed), Span::from_mins(20));
            (standing, complaint) = (false, None);
        }
    }
    ByCalendar { visits, flood_days: flooded.len(), days_off_level: yard::days_off_level(&mut yard) }
}
