//! Where the water of a flood or pond stands now, by the last readings of the basin's floats.

use super::Readings;
use crate::advice::{WaterNow, basin_words};
use crate::desk::sheet::{FloatSheet, Moment};
use crate::ledger::{Latest, StoredFinding};
use crate::model::{BasinIx, EventTime, Evidence, Finding, FindingKind, Quantity, Span, Subject, System};

/// A flood that was raised this soon after the water began to stand is one of the overflow float, which is waited for
/// two minutes; a hold of a float is hours (contract of `replay`).
const AT_ONCE: Span = Span::from_mins(5);

/// What is known now of the water of a finding.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Water {
    pub(super) now: WaterNow,
    /// In a sentence or two; why the finding stands where the water has gone.
    pub(super) says: String,
    /// When it began to stand, and what is told of that, once it is no longer where it was.
    stood: Option<(EventTime, String)>,
}

/// What the floats say of the water of `stored`; none for findings of other kinds or that
/// are over, and for basins without a float.
pub(super) fn water(system: &System, stored: &StoredFinding, readings: Readings<'_>) -> Option<Water> {
    if !is_of_water(stored.finding.kind) || stored.cleared_at.is_some() {
        return None;
    }
    let Subject::Basin(id) = &stored.finding.subject else { return None };
    let basin = system.find_basin(id.as_str())?;
    let floats = Floats::of(basin, readings);
    let since = standing_since(&stored.finding);
    let was_at_rim = was_at_rim(stored, since, &floats);
    let now = floats.tell(was_at_rim)?;
    let raised = readings.moment(stored.raised_at).words;
    let says = match now {
        WaterNow::AtRim => format!("Water stands at the rim now: {}.", floats.last()),
        WaterNow::AtFloat => format!("Water stands in it now: {}.", floats.last()),
        WaterNow::Sunk => {
            format!("It was at the rim {raised} and has sunk since, but still stands: {}.", floats.last())
        }
        WaterNow::Gone => format!(
            "The water of {raised} has gone since: {}. This stands until the floats have been down for half an hour, \
             in case the next shower fills the basin again.",
            floats.last()
        ),
        WaterNow::Unheard => {
            format!("Nobody knows whether the water still stands: {}.", floats.last())
        }
    };
    let stood = since.zip(stood(system, basin, now, was_at_rim));
    Some(Water { now, says, stood })
}

/// Whether a finding of `kind` is about water that stands.
pub(in crate::desk) const fn is_of_water(kind: FindingKind) -> bool {
    matches!(kind, FindingKind::Flooding | FindingKind::Ponding)
}

/// Where the water of `stored` stands now and the same in words, by the `latest` readings of its system.
pub(in crate::desk) fn water_of(
    system: &System,
    stored: &StoredFinding,
    latest: &[Latest],
    now: EventTime,
) -> Option<(WaterNow, String)> {
    water(system, stored, Readings::new(system, latest, now)).map(|water| (water.now, water.says))
}

impl Water {
    /// A fact of the finding as it is to be told now: that water stands, in the past once it is no longer where it was,
    /// or it would contradict the float beside it.
    pub(super) fn tell(&self, fact: &Evidence) -> String {
        match &self.stood {
            Some((since, says)) if fact.at == Some(*since) => says.clone(),
            _ => fact.says.clone(),
        }
    }
}

/// What is told of water that began to stand and is no longer where it was.
fn stood(system: &System, basin: BasinIx, now: WaterNow, was_at_rim: bool) -> Option<String> {
    let place = basin_words(system, basin);
    match now {
        WaterNow::Gone | WaterNow::Sunk if was_at_rim => {
            Some(format!("The overflow float near the rim of {place} became wet."))
        }
        WaterNow::Gone => Some(format!("Water began to stand at the float in {place}.")),
        WaterNow::AtRim | WaterNow::AtFloat | WaterNow::Sunk | WaterNow::Unheard => None,
    }
}

/// Since when the water of a finding stood.
fn standing_since(finding: &Finding) -> Option<EventTime> {
    finding.estimate.get("standing_since")?.as_str()?.parse().ok()
}

/// Whether the overflow float told of the flood.
fn was_at_rim(stored: &StoredFinding, since: Option<EventTime>, floats: &Floats) -> bool {
    stored.finding.kind == FindingKind::Flooding
        && floats.overflow.is_some()
        && since.is_some_and(|since| stored.raised_at - since <= AT_ONCE)
}

/// The floats of a basin as they were heard last.
struct Floats {
    float: Option<FloatSheet>,
    overflow: Option<FloatSheet>,
}

impl Floats {
    fn of(basin: BasinIx, readings: Readings<'_>) -> Self {
        Self {
            float: readings.float(basin, Quantity::Float),
            overflow: readings.float(basin, Quantity::Overflow),
        }
    }

    fn tell(&self, was_at_rim: bool) -> Option<WaterNow> {
        let heard: Vec<_> = [&self.float, &self.overflow].into_iter().flatten().collect();
        let is_up = |float: &Option<FloatSheet>| float.as_ref().is_some_and(FloatSheet::is_wet);
        match (is_up(&self.overflow), is_up(&self.float)) {
            _ if heard.is_empty() => None,
            (true, _) => Some(WaterNow::AtRim),
            (false, true) if was_at_rim => Some(WaterNow::Sunk),
            (false, true) => Some(WaterNow::AtFloat),
            // A float that was down long ago, and one that was never heard, say nothing of the water of today.
            (false, false) if heard.iter().all(|float| tells_of_today(float)) => Some(WaterNow::Gone),
            (false, false) => Some(WaterNow::Unheard),
        }
    }

    /// `the float was up today 13:22, the overflow float was down today 13:23`; what was never heard is told where
    /// nothing else was.
    fn last(&self) -> String {
        let named = [("the float", &self.float), ("the overflow float", &self.overflow)];
        let named = || named.into_iter().filter_map(|(name, float)| Some((name, float.as_ref()?)));
        let was_heard = |float: &FloatSheet| *float != FloatSheet::Unheard;
        let any = named().any(|(_, float)| was_heard(float));
        let told = named().filter(|(_, float)| was_heard(float) || !any);
        told.map(|(name, float)| heard(name, float)).collect::<Vec<_>>().join(", ")
    }
}

fn heard(name: &str, float: &FloatSheet) -> String {
    match float {
        FloatSheet::Unheard => format!("{name} was never heard"),
        FloatSheet::Read { wet, read: Moment { words, .. }, old } => {
            let level = if *wet { "up" } else { "down" };
            let since = if *old { ", and not heard since" } else { "" };
            format!("{name} was {level} {words}{since}")
        }
    }
}

fn tells_of_today(float: &FloatSheet) -> bool {
    matches!(float, FloatSheet::Read { old: false, .. })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;

    fn at(text: &str) -> EventTime {
        text.parse().unwrap()
    }

    /// A flood of the quince, raised at 12:02, and what its floats said at these hours.
    fn told(since: &str, floats: &[(&str, &str, f64)]) -> Option<Water> {
        let system = samples::terrace();
        let mut flood = samples::flood(&system, "quince", at("2026-03-02T12:02:00Z"));
        flood.finding.estimate.insert("standing_since".into(), since.into());
        let latest: Vec<_> = floats
            .iter()
            .map(|(quantity, time, value)| Latest {
                system: system.id.clone(),
                sensor: format!("quince/{quantity}").into(),
                quantity: Quantity::named(quantity).unwrap(),
                at: at(time),
                value: *value,
            })
            .collect();
        water(&system, &flood, Readings::new(&system, &latest, at("2026-03-02T20:00:00Z")))
    }

    const AT_NOON: &str = "2026-03-02T12:00:00Z";
    const LONG_BEFORE: &str = "2026-03-02T04:00:00Z";

    #[test]
    fn words_follow_the_floats() {
        let now = |since, floats: &[(&str, &str, f64)]| told(since, floats).unwrap().now;
        let (float, overflow) =
            (|wet| ("float", "2026-03-02T19:50:00Z", wet), |wet| ("overflow", "2026-03-02T19:55:00Z", wet));
        assert_eq!(now(AT_NOON, &[float(1.0), overflow(1.0)]), WaterNow::AtRim);
        assert_eq!(now(AT_NOON, &[float(1.0), overflow(0.0)]), WaterNow::Sunk);
        assert_eq!(
            now(LONG_BEFORE, &[float(1.0), overflow(0.0)]),
            WaterNow::AtFloat,
            "it never was at the rim"
        );
        assert_eq!(now(AT_NOON, &[float(0.0), overflow(0.0)]), WaterNow::Gone);
        let old = ("float", "2026-03-01T19:50:00Z", 0.0);
        assert_eq!(
            now(AT_NOON, &[old, overflow(0.0)]),
            WaterNow::Unheard,
            "a reading of yesterday says nothing"
        );
        assert_eq!(now(AT_NOON, &[overflow(0.0)]), WaterNow::Unheard);
    }

    #[test]
    fn what_was_seen_is_told_in_the_past_once_it_is_over() {
        let fact = |time: &str| Evidence { at: Some(at(time)), says: "as the engine says".to_owned() };
        let (up, down) =
            (("overflow", "2026-03-02T19:55:00Z", 1.0), ("overflow", "2026-03-02T19:55:00Z", 0.0));
        let (float_up, float_down) =
            (("float", "2026-03-02T19:50:00Z", 1.0), ("float", "2026-03-02T19:50:00Z", 0.0));
        let tells = |since, floats: &[_]| told(since, floats).unwrap().tell(&fact(since));
        let wet = "The overflow float near the rim of the “quince tree” basin became wet.";
        assert_eq!(tells(AT_NOON, &[float_up, up]), "as the engine says", "it still is at the rim");
        assert_eq!(tells(AT_NOON, &[float_up, down]), wet);
        assert_eq!(tells(AT_NOON, &[float_down, down]), wet);
        let began = "Water began to stand at the float in the “quince tree” basin.";
        assert_eq!(tells(LONG_BEFORE, &[float_down, down]), began);
        assert_eq!(
            tells(LONG_BEFORE, &[float_up, down]),
            "as the engine says",
            "it still stands at the float"
        );
        let gone = told(LONG_BEFORE, &[float_down, down]).unwrap();
        assert_eq!(gone.tell(&fact(AT_NOON)), "as the engine says", "another fact stays as it is");
    }

    #[test]
    fn a_flood_that_is_gone_says_when_it_was_and_why_it_still_stands() {
        let says = told(
            AT_NOON,
            &[("float", "2026-03-02T19:50:00Z", 0.0), ("overflow", "2026-03-02T19:55:00Z", 0.0)],
        );
        let says = says.unwrap().says;
        assert!(
            says.starts_with("The water of today 05:02 has gone since: the float was down today 12:50"),
            "{says}"
        );
        assert!(says.contains("until the floats have been down for half an hour"), "{says}");
    }
}
