//! One basin's own page.

use super::alert_row;
use super::finding::{anchor, findings, shown_at};
use super::marks::Marks;
use super::received::{of_basin as received_of, received, volume_words};
use super::system::{SystemRecord, sensors};
use super::timeline::{ticks, timeline};
use super::{Readings, card};
use crate::desk::sheet::{AlertRow, BasinPage, FindingSheet, Received, ReceivedTime, Scatter, Stretch};
use crate::desk::units::Units;
use crate::desk::words;
use crate::ledger::{DoseRecord, ForecastRecord, SoakRecord, StoredAlert, StoredFinding, StoredService};
use crate::model::{BasinIx, Chip, EventTime, FindingKind, Mulch, Span, System};
use crate::stats::trend::{Observation, mann_kendall, theil_sen};
use crate::upkeep::{Day, mulch_due, unmeasured};

/// Soak times that a trend needs at the least, and at most (every pair is looked at).
const ENOUGH: usize = 8;
const AT_MOST: usize = 300;
/// Probability of a trend by chance below which it is told as one.
const SURE: f64 = 0.02;

/// Alerts that are over and are named, the newest.
const PAST: usize = 5;

const RECEIVED_SINCE: &str = "Received since the mulch was renewed";

/// What the ledger knows of one basin beyond its system's record.
#[derive(Clone, Debug)]
pub struct BasinRecord {
    /// The half year that is shown.
    pub half_year: Stretch,
    /// Soak times of that half year.
    pub soaks: Vec<SoakRecord>,
    /// The newest forecast.
    pub forecast: Option<ForecastRecord>,
    /// That of a week before.
    pub week_ago: Option<ForecastRecord>,
    /// When its mulch is due, and that in words, where a task says so.
    pub mulch_due: Option<(EventTime, String)>,
    /// When its mulch was renewed last, as far as it was written down, and how deep it was then.
    pub renewed: Option<(EventTime, Option<f64>)>,
    /// What was written down about it of late, newest first.
    pub services: Vec<StoredService>,
    /// Alerts of its system that are over, newest first.
    pub alerts: Vec<StoredAlert>,
}

/// The page of a basin.
pub fn basin_page(
    system: &System,
    ix: BasinIx,
    record: &SystemRecord,
    basin_record: &BasinRecord,
    units: Units,
) -> BasinPage {
    let BasinRecord { half_year, soaks, renewed, .. } = basin_record;
    let now = record.timeline.now;
    let basin = system.basin(ix);
    let about =
        |stored: &&StoredFinding| super::finding::concerns_basin(&stored.finding.subject, basin.id.as_str());
    let open: Vec<StoredFinding> = record.open.iter().filter(about).cloned().collect();
    let card = card(system, &record.open, &record.latest, now, units);
    let shown = card.basins.into_iter().find(|shown| shown.id == basin.id.as_str());
    let soaks: Vec<&SoakRecord> = soaks.iter().filter(|soak| soak.basin == basin.id).collect();
    let page = format!("/systems/{}/basins/{}", system.id, basin.id);
    let readings = Readings::new(system, &record.latest, now);
    let is_flooded = open.iter().any(|stored| stored.finding.kind == FindingKind::Flooding);
    let mine = format!("{}/", basin.id);
    let findings = shown_at(&page, findings(system, &open, readings, units));
    BasinPage {
        system: (system.id.to_string(), system.name.clone()),
        today: words::today(now, &system.zone),
        basin: shown.expect("a card has every basin of its system"),
        facts: new_mulch(system, basin_record, now)
            .map(|due| ("New mulch", due))
            .into_iter()
            .chain(facts(system, ix, (&record.doses, *renewed), now, units))
            .collect(),
        mulch: ahead(system, ix, (record, basin_record), is_flooded, units),
        past_alerts: past_alerts(system, ix, (&basin_record.alerts, &findings), now),
        findings,
        soak_trend: soak_trend(
            &soaks,
            open.iter().any(|stored| stored.finding.kind == FindingKind::SlowSoak),
        ),
        soaks: (!soaks.is_empty())
            .then(|| soak_times(system, &soaks, (half_year, &basin_record.services), now)),
        past_work: Vec::new(),
        timeline: timeline(system, &record.timeline, &record.stretch, &page, units),
        sensors: sensors(system, &record.open, readings, units)
            .into_iter()
            .filter(|sensor| sensor.name.starts_with(&mine))
            .collect(),
    }
}

fn facts(
    system: &System,
    ix: BasinIx,
    (doses, renewed): (&[DoseRecord], Option<(EventTime, Option<f64>)>),
    now: EventTime,
    units: Units,
) -> Vec<(&'static str, String)> {
    let basin = system.basin(ix);
    let sheet = received(system, doses, now);
    let names =
        [("Received last month", true), ("Received this month", true), ("Received in 30 days", false)];
    let at = usize::from(ix.0);
    let mut facts: Vec<_> = names
        .into_iter()
        .zip(&sheet.times)
        .map(|((name, named), time)| (name, received_words(system, time, at, named, units)))
        .collect();
    facts.push(("Share by design", words::share(system.tree().design_share(ix))));
    facts.push(("Size", format!("{}, {} deep", units.area(basin.area_m2), units.depth(basin.depth_mm))));
    facts.push(("Mulch when placed", mulch_words(system, &basin.mulch, renewed, units)));
    facts.push(("Air gap", units.depth(basin.air_gap_mm)));
    facts
}

/// `200 mm of coarse chips, renewed 3 May 2026`: as it was written down last, or as the system file says where that
/// is newer.
fn mulch_words(
    system: &System,
    mulch: &Mulch,
    renewed: Option<(EventTime, Option<f64>)>,
    units: Units,
) -> String {
    let chip = match mulch.chip {
        Chip::Fine => "fine",
        Chip::Medium => "medium",
        Chip::Coarse => "coarse",
    };
    let renewed = renewed.map(|(at, left_mm)| {
        (at.timestamp().to_zoned_datetime(system.zone.clone()).date(), left_mm.unwrap_or(mulch.depth_mm))
    });
    let (depth_mm, says) = match (renewed, mulch.placed) {
        (Some((day, left_mm)), placed) if placed.is_none_or(|placed| placed <= day) => {
            (left_mm, day.strftime(", renewed %-d %B %Y").to_string())
        }
        (_, Some(placed)) => (mulch.depth_mm, placed.strftime(", placed %-d %B %Y").to_string()),
        (_, None) => (mulch.depth_mm, String::new()),
    };
    format!("{} of {chip} chips{says}", units.depth(depth_mm))
}

/// `1 240 L, 40 % of the water (October 2026); the litres of 3 of 60 doses are not known`
fn received_words(system: &System, time: &ReceivedTime, basin: usize, named: bool, units: Units) -> String {
    let Received { litres, share, says, .. } = &time.basins[basin];
    let mut parts = Vec::new();
    parts.extend(litres.map(|litres| volume_words(system, litres, units)));
    parts.extend(share.map(|share| format!("{} of the water", words::percent(share))));
    let mut told = if parts.is_empty() { "not known".to_owned() } else { parts.join(", ") };
    if named {
        told.extend([" (", &time.words, ")"]);
    }
    if let Some(says) = says {
        told.extend([if parts.is_empty() { ": " } else { ", " }, says]);
    }
    let unmeasured = if parts.is_empty() { 0 } else { time.unmeasured };
    if unmeasured > 0 && unmeasured == time.doses {
        told.push_str("; how many litres is not known: no meter told");
    } else if unmeasured > 0 && time.estimated {
        let some = unmeasured.to_string();
        told.extend(["; of ", &some, " of the doses no litres can be reckoned"]);
    } else if unmeasured > 0 {
        let some = unmeasured.to_string();
        told.extend(["; the meter told nothing of ", &some]);
    }
    told
}

/// When the engine next estimates a mulch that is newer than its last estimate.
fn next_estimate(system: &System, renewed: EventTime, now: EventTime) -> &'static str {
    if renewed.local_day(&system.zone) == now.local_day(&system.zone) {
        "tomorrow morning"
    } else {
        "with the next water"
    }
}

/// That the mulch is newer than what was forecast of it, so that the day that follows from that says nothing any more.
fn renewed_since_forecast(system: &System, of_basin: &BasinRecord, now: EventTime) -> Option<String> {
    let (renewed, _) = of_basin.renewed?;
    of_basin.forecast.as_ref().filter(|made| made.made < renewed)?;
    let day = Day::of(renewed, &system.zone).date().strftime("%-d %b %Y");
    Some(format!("Renewed {day}; the next forecast comes {}", next_estimate(system, renewed, now)))
}

/// When new mulch is due, and whether that day has moved within a week where it was foretold.
fn new_mulch(system: &System, of_basin: &BasinRecord, now: EventTime) -> Option<String> {
    if let Some(says) = renewed_since_forecast(system, of_basin, now) {
        return Some(says);
    }
    let (due, words) = of_basin.mulch_due.as_ref()?;
    let day = |at: EventTime| Day::of(at, &system.zone);
    let foretold = |it: &ForecastRecord| day(mulch_due(it.earliest, it.due));
    let is_foretold = of_basin.forecast.as_ref().is_some_and(|made| foretold(made) == day(*due));
    let is_of_this_mulch =
        |before: &&ForecastRecord| of_basin.renewed.is_none_or(|(renewed, _)| renewed < before.made);
    let before = of_basin.week_ago.as_ref().filter(is_of_this_mulch).filter(|_| is_foretold);
    let moved = before.map_or_else(String::new, |before| match foretold(before) {
        same if same == day(*due) => "; that is as it was a week ago".to_owned(),
        other => format!("; a week ago it was due {}", other.date().strftime("%-d %b %Y")),
    });
    Some(words::capitalised(words) + &moved)
}

/// What is expected of a basin; while its mulch is newer than the last estimate, what is known since.
fn ahead(
    system: &System,
    ix: BasinIx,
    (record, of_basin): (&SystemRecord, &BasinRecord),
    is_flooded: bool,
    units: Units,
) -> Vec<(&'static str, String)> {
    let now = record.timeline.now;
    let Some(made) = &of_basin.forecast else { return Vec::new() };
    let Some((renewed, _)) = of_basin.renewed.filter(|(at, _)| *at > made.made) else {
        let before = of_basin
            .week_ago
            .as_ref()
            .filter(|before| of_basin.renewed.is_none_or(|(renewed, _)| renewed < before.made));
        return outlook(system, (made, before), is_flooded, now, units).collect();
    };
    let since = &record.doses[record.doses.partition_point(|dose| dose.at < renewed)..];
    let litres = if since.is_empty() { Some(0.0) } else { received_of(system, ix, since).litres };
    let next = next_estimate(system, renewed, now);
    let when = words::moment(renewed, now, &system.zone).words;
    vec![
        (
            RECEIVED_SINCE,
            litres.map_or_else(
                || "not known: no meter told".to_owned(),
                |litres| volume_words(system, litres, units),
            ),
        ),
        ("Mulch that is left", format!("renewed {when}; the next estimate comes {next}")),
    ]
}

/// What a basin took in by the engine's reckoning, which is an estimate where nobody measured.
fn received_since(system: &System, litres: f64, units: Units) -> String {
    if system.source.is_metered() {
        return units.volume(litres);
    }
    let told = units.volume_told(litres, true);
    format!("about {told}, {}", units.retold(&unmeasured(system)))
}

/// What the engine expects of a basin, what it expected `before`, and from how much water.
fn outlook(
    system: &System,
    (made, before): (&ForecastRecord, Option<&ForecastRecord>),
    is_flooded: bool,
    now: EventTime,
    units: Units,
) -> impl Iterator<Item = (&'static str, String)> + use<> {
    let day = |at: EventTime| {
        at.timestamp().to_zoned_datetime(system.zone.clone()).strftime("%-d %b %Y").to_string()
    };
    let between = || {
        let [due, earliest, latest] = [made.due, made.earliest, made.latest].map(day);
        let before = before.map(|before| day(before.due)).filter(|before| *before != due);
        let before = before.map_or_else(String::new, |before| format!(" (a week ago: {before})"));
        format!("around {due}{before}; most likely between {earliest} and {latest}")
    };
    let due = if made.due <= now { "any day now".to_owned() } else { between() };
    let flood = ("First flood, if the mulch is not renewed", due);
    // While one stands, none is foretold.
    let flood = (!is_flooded).then_some(flood);
    let rests_on = [
        (
            "Mulch that is left",
            format!("about {}, by the model of its decay", words::percent(made.mulch_left)),
        ),
        (RECEIVED_SINCE, received_since(system, made.litres, units)),
    ];
    flood.into_iter().chain(rests_on)
}

/// Heights at which soak times are marked: as many hours as that each, as few marks as possible above one.
const MARKS_H: [f64; 9] = [0.25, 0.5, 1.0, 2.0, 6.0, 12.0, 24.0, 48.0, 168.0];
/// Marks that a drawing has at most.
const MARKS: f64 = 4.0;

/// Alerts about a basin that are over; one that somebody closed stands with its finding as long as that stands.
fn past_alerts(
    system: &System,
    ix: BasinIx,
    (alerts, open): (&[StoredAlert], &[FindingSheet]),
    now: EventTime,
) -> Vec<AlertRow> {
    let id = system.basin(ix).id.as_str();
    let about = alerts.iter().filter(|alert| super::finding::concerns_basin(&alert.finding.subject, id));
    let row = |alert: &StoredAlert| {
        let anchor = anchor(&system.id, alert.finding.kind, &alert.finding.subject);
        alert_row(system, alert, open.iter().find(|finding| finding.anchor == anchor), now)
    };
    about.map(row).filter(AlertRow::is_past).take(PAST).collect()
}

fn soak_times(
    system: &System,
    soaks: &[&SoakRecord],
    (stretch, services): (&Stretch, &[StoredService]),
    now: EventTime,
) -> Scatter {
    let stretch = &stretch.since(soaks.first().map(|soak| soak.began));
    let longest = soaks.iter().map(|soak| soak.lasted.hours_f64()).fold(0.5, f64::max) * 1.1;
    let height = |hours: f64| hours / longest;
    let point = |soak: &&SoakRecord| {
        let when = words::moment(soak.began, now, &system.zone).words;
        (
            stretch.place(soak.began),
            height(soak.lasted.hours_f64()),
            format!("{}, {when}", words::span(soak.lasted)),
        )
    };
    // A line through chance would say more than the words beside it.
    let trend = slope(soaks).filter(|_| is_sure(soaks)).map(|(slope, intercept)| {
        let at = |time: EventTime| height(intercept + slope * days(time));
        (at(stretch.from), at(stretch.to))
    });
    let mark = MARKS_H.into_iter().find(|mark| longest / mark < MARKS + 1.0).unwrap_or(MARKS_H[8]);
    let heights = (1..).map(|n| f64::from(n) * mark).take_while(|hours| *hours <= longest);
    let marks = Marks { system, stretch, now };
    let guide = |hours: f64| (height(hours), words::span(Span::from_hours_f64(hours)), false);
    Scatter {
        stretch: *stretch,
        words: format!(
            "How long water stood, {}",
            words::between(stretch.from, stretch.to, now, &system.zone)
        ),
        ticks: ticks(system, stretch),
        points: soaks.iter().map(point).collect(),
        guides: heights.map(guide).collect(),
        trend,
        marks: marks.within(services.iter().map(|stored| marks.service(stored)).collect()),
    }
}

fn days(at: EventTime) -> f64 {
    (at - EventTime::from_millis(0)).days_f64()
}

fn observations(soaks: &[&SoakRecord]) -> Vec<Observation> {
    let latest = &soaks[soaks.len().saturating_sub(AT_MOST)..];
    latest.iter().map(|soak| Observation::exact(days(soak.began), soak.lasted.hours_f64())).collect()
}

/// Hours a day, and hours at day 0.
fn slope(soaks: &[&SoakRecord]) -> Option<(f64, f64)> {
    let observed = observations(soaks);
    let slope = (observed.len() >= ENOUGH).then(|| theil_sen(&observed, 0.8)).flatten()?;
    Some((slope.slope, slope.intercept))
}

fn is_sure(soaks: &[&SoakRecord]) -> bool {
    mann_kendall(&observations(soaks)).is_some_and(|test| test.p_two_sided < SURE)
}

/// `slow` where a finding says that it became slower, load for load.
fn soak_trend(soaks: &[&SoakRecord], slow: bool) -> String {
    let Some((slope, _)) = slope(soaks) else {
        return "Water has stood too seldom of late to tell a trend.".to_owned();
    };
    let change = words::span(Span::from_hours_f64(slope.abs() * 30.0));
    match is_sure(soaks) {
        true if slope > 0.0 => format!("It takes {change} longer every 30 days."),
        true => format!("It takes {change} less every 30 days."),
        false if slow => {
            "These times alone show no trend, since loads differ; compared load for load it has become slower.".to_owned()
        }
        false => "No trend: it soaks away as it did.".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;
    use crate::desk::samples;

    #[test]
    fn new_mulch_says_whether_its_day_has_moved_within_a_week() {
        let system = samples::terrace();
        let at = |text: &str| text.parse::<EventTime>().unwrap();
        let made = |earliest: &str, due: &str| ForecastRecord {
            basin: system.basins[0].id.clone(),
            made: at("2026-05-20T12:00:00Z"),
            due: at(due),
            earliest: at(earliest),
            latest: at("2026-12-01T12:00:00Z"),
            basis: String::new(),
            litres: 900.0,
            mulch_left: 0.4,
        };
        let (earliest, flood) = ("2026-06-01T12:00:00Z", "2026-06-21T12:00:00Z");
        let told = |before: Option<ForecastRecord>, renewed: Option<&str>| {
            let due = mulch_due(at(earliest), at(flood));
            let of_basin = BasinRecord {
                half_year: Stretch::between(at("2026-01-01T12:00:00Z"), at("2026-05-21T12:00:00Z")),
                soaks: Vec::new(),
                forecast: Some(made(earliest, flood)),
                week_ago: before,
                mulch_due: Some((due, "due 11 Jun 2026".to_owned())),
                renewed: renewed.map(|day| (at(day), None)),
                services: Vec::new(),
                alerts: Vec::new(),
            };
            new_mulch(&system, &of_basin, at("2026-05-21T18:00:00Z")).unwrap()
        };
        assert_eq!(told(None, None), "Due 11 Jun 2026");
        assert_eq!(told(Some(made(earliest, flood)), None), "Due 11 Jun 2026; that is as it was a week ago");
        let later = || Some(made(earliest, "2026-06-25T12:00:00Z"));
        assert_eq!(told(later(), None), "Due 11 Jun 2026; a week ago it was due 13 Jun 2026");
        // What was thought of the mulch before says nothing of the new one.
        let newer = told(later(), Some("2026-05-21T09:00:00Z"));
        assert_eq!(newer, "Renewed 21 May 2026; the next forecast comes tomorrow morning");
        let older =
            ForecastRecord { made: at("2026-05-13T12:00:00Z"), ..made(earliest, "2026-06-25T12:00:00Z") };
        assert_eq!(told(Some(older), Some("2026-05-15T12:00:00Z")), "Due 11 Jun 2026");
    }

    #[test]
    fn mulch_is_told_as_it_was_renewed_last() {
        let system = samples::terrace();
        let told = |placed, renewed| {
            let mulch = Mulch { depth_mm: 200.0, chip: Chip::Coarse, placed };
            mulch_words(&system, &mulch, renewed, Units::Metric).replace('\u{a0}', " ")
        };
        let placed = Some(date(2025, 4, 12));
        // Still the evening before in Denver.
        let renewed = |left_mm| Some(("2026-05-03T02:00:00Z".parse().unwrap(), left_mm));
        assert_eq!(told(None, None), "200 mm of coarse chips");
        assert_eq!(told(placed, None), "200 mm of coarse chips, placed 12 April 2025");
        assert_eq!(told(placed, renewed(Some(180.0))), "180 mm of coarse chips, renewed 2 May 2026");
        assert_eq!(told(None, renewed(None)), "200 mm of coarse chips, renewed 2 May 2026");
        let since = Some(date(2026, 6, 1));
        assert_eq!(
            told(since, renewed(None)),
            "200 mm of coarse chips, placed 1 June 2026",
            "the file is newer"
        );
    }
}
