//! Findings, urgencies and probabilities in a few words.

use super::{WaterNow, place_words, sensor_words};
use crate::model::{Finding, FindingKind, Severity, Subject, System};

/// The finding as one sentence without a full stop, by what the floats say of its water now.
pub fn headline_now(finding: &Finding, system: &System, water: Option<WaterNow>) -> String {
    let place = place_words(system, &finding.subject);
    match (finding.kind, water) {
        (FindingKind::Flooding, Some(WaterNow::Sunk)) => {
            capitalised(&format!("{place} flooded, and water still stands in it"))
        }
        (FindingKind::Flooding, Some(WaterNow::Gone)) => {
            capitalised(&format!("{place} flooded; the water has gone since"))
        }
        (FindingKind::Ponding, Some(WaterNow::Gone)) => {
            format!("Water stood too long in {place}; it has gone since")
        }
        _ => headline(finding, system),
    }
}

/// A finding that is over as one sentence without a full stop.
pub fn headline_past(finding: &Finding, system: &System) -> String {
    let place = place_words(system, &finding.subject);
    let text = match (finding.kind, &finding.subject) {
        (FindingKind::Flooding, _) => format!("{place} flooded"),
        (FindingKind::Ponding, _) => format!("water stood too long in {place}"),
        (FindingKind::SlowSoak, _) => format!("{place} soaked its water away more slowly than before"),
        (FindingKind::BlockedOutlet, _) => format!("the outlet at {place} let too little water through"),
        (FindingKind::UnevenSplit, _) => format!("{place} divided the water unevenly"),
        (FindingKind::NoWater, Subject::Basin(_) | Subject::Splitter(_)) => {
            format!("no water reached {place} though use was expected")
        }
        (FindingKind::NoWater, _) => "no water reached the basins though use was expected".to_owned(),
        (FindingKind::UnexpectedWater, Subject::Diverter) => {
            "water reached the basins though the diverter said sewer".to_owned()
        }
        (FindingKind::UnexpectedWater, _) => {
            "water reached the basins though nobody should have been using any".to_owned()
        }
        (FindingKind::SensorSilent, _) => format!("{place} did not report"),
        (FindingKind::SensorStuck, _) => format!("{place} stayed at one value although it should have moved"),
        (FindingKind::SensorImplausible, _) => format!("{place} reported what could not be"),
        (FindingKind::BatteryLow, Subject::Sensor(name)) => {
            format!("{} was nearly empty", sensor_words(system, name))
        }
        (FindingKind::BatteryLow, _) => format!("a battery in {place} was nearly empty"),
    };
    capitalised(&text)
}

/// Whether a sensor is missed that was never heard at all: most likely it was not connected yet.
pub fn is_never_heard(finding: &Finding) -> bool {
    finding.estimate.get("never_heard").is_some_and(|it| it == true)
}

/// The finding as one sentence without a full stop.
pub fn headline(finding: &Finding, system: &System) -> String {
    let place = place_words(system, &finding.subject);
    let text = match (finding.kind, &finding.subject) {
        (FindingKind::Flooding, _) => format!("{place} is flooding"),
        (FindingKind::Ponding, _) => format!("water stands too long in {place}"),
        (FindingKind::SlowSoak, _) => format!("{place} soaks its water away more slowly than it used to"),
        (FindingKind::BlockedOutlet, _) => format!("the outlet at {place} lets too little water through"),
        (FindingKind::UnevenSplit, _) => format!("{place} divides the water unevenly"),
        (FindingKind::NoWater, Subject::Basin(_) | Subject::Splitter(_)) => {
            format!("no water reaches {place} though use is expected")
        }
        (FindingKind::NoWater, _) => "no water reaches the basins though use is expected".to_owned(),
        (FindingKind::UnexpectedWater, Subject::Diverter) => {
            "water reaches the basins though the diverter says sewer".to_owned()
        }
        (FindingKind::UnexpectedWater, _) => {
            "water reaches the basins though nobody should be using any".to_owned()
        }
        (FindingKind::SensorSilent, _) if is_never_heard(finding) => format!("{place} has never reported"),
        (FindingKind::SensorSilent, _) => format!("{place} stopped reporting"),
        (FindingKind::SensorStuck, _) => format!("{place} stays at one value although it should move"),
        (FindingKind::SensorImplausible, _) => format!("{place} reports what cannot be"),
        (FindingKind::BatteryLow, Subject::Sensor(name)) => {
            format!("{} is nearly empty", sensor_words(system, name))
        }
        (FindingKind::BatteryLow, _) => format!("a battery in {place} is nearly empty"),
    };
    capitalised(&text)
}

/// The kind as people say it.
pub const fn kind_words(kind: FindingKind) -> &'static str {
    match kind {
        FindingKind::Flooding => "flooding",
        FindingKind::Ponding => "standing water",
        FindingKind::SlowSoak => "soaking slowly",
        FindingKind::BlockedOutlet => "blocked outlet",
        FindingKind::UnevenSplit => "uneven split",
        FindingKind::NoWater => "no water",
        FindingKind::UnexpectedWater => "unexpected water",
        FindingKind::SensorSilent => "sensor silent",
        FindingKind::SensorStuck => "sensor stuck",
        FindingKind::SensorImplausible => "sensor implausible",
        FindingKind::BatteryLow => "battery low",
    }
}

/// The same by what the floats say of its water now.
pub const fn kind_words_now(kind: FindingKind, water: Option<WaterNow>) -> &'static str {
    match (kind, water) {
        (FindingKind::Flooding, Some(WaterNow::Sunk)) => "flooded, water still stands",
        (FindingKind::Flooding, Some(WaterNow::Gone)) => "flooded, dry since",
        (FindingKind::Ponding, Some(WaterNow::Gone)) => "water stood, dry since",
        _ => kind_words(kind),
    }
}

/// How soon somebody should act.
pub const fn severity_words(severity: Severity) -> &'static str {
    match severity {
        Severity::Critical => "now",
        Severity::Warning => "soon",
        Severity::Info => "at the next visit",
    }
}

/// A probability in words: each step holds from its bound upwards.
pub fn probability_words(probability: f64) -> &'static str {
    match probability {
        p if p >= 0.99 => "as good as certain",
        p if p >= 0.9 => "very likely",
        p if p >= 0.7 => "likely",
        p if p >= 0.5 => "more likely than not",
        p if p >= 0.0 => "possible",
        _ => "unknown",
    }
}

fn capitalised(text: &str) -> String {
    let mut rest = text.chars();
    rest.next().map_or_else(String::new, |first| first.to_uppercase().chain(rest).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::advice::samples;

    #[test]
    fn a_headline_follows_the_water() {
        let system = samples::orchard();
        let says =
            |kind, water| headline_now(&samples::finding(kind, samples::basin("quince")), &system, water);
        let flood = |water| says(FindingKind::Flooding, Some(water));
        assert_eq!(flood(WaterNow::AtRim), "The “quince tree” basin is flooding");
        assert_eq!(flood(WaterNow::Sunk), "The “quince tree” basin flooded, and water still stands in it");
        assert_eq!(flood(WaterNow::Gone), "The “quince tree” basin flooded; the water has gone since");
        let pond = says(FindingKind::Ponding, Some(WaterNow::Gone));
        let over = headline_past(&samples::finding(FindingKind::Flooding, samples::basin("fig")), &system);
        assert_eq!(over, "Basin “fig” flooded");
        assert_eq!(pond, "Water stood too long in the “quince tree” basin; it has gone since");
        assert_eq!(
            says(FindingKind::SlowSoak, None),
            headline(&samples::finding(FindingKind::SlowSoak, samples::basin("quince")), &system)
        );
    }

    #[test]
    fn a_headline_names_the_place_as_people_do() {
        let system = samples::orchard();
        let says = |kind, subject| headline(&samples::finding(kind, subject), &system);
        assert_eq!(
            says(FindingKind::Flooding, samples::basin("quince")),
            "The “quince tree” basin is flooding"
        );
        assert_eq!(
            says(FindingKind::SensorStuck, Subject::Sensor("fig/float".into())),
            "The float in basin “fig” stays at one value although it should move"
        );
        assert_eq!(
            says(FindingKind::BatteryLow, Subject::Sensor("quince/battery".into())),
            "The battery in the “quince tree” basin is nearly empty"
        );
        assert_eq!(
            says(FindingKind::UnexpectedWater, Subject::Diverter),
            "Water reaches the basins though the diverter says sewer"
        );
        assert_eq!(
            says(FindingKind::SensorSilent, Subject::Sensor("gone/float".into())),
            "Sensor “gone/float” stopped reporting"
        );
        let mut unheard = samples::finding(FindingKind::SensorSilent, Subject::Sensor("quince/float".into()));
        unheard.estimate.insert("never_heard".to_owned(), true.into());
        assert_eq!(headline(&unheard, &system), "The float in the “quince tree” basin has never reported");
    }

    #[test]
    fn words_for_probabilities_change_at_their_bounds() {
        assert_eq!(probability_words(0.995), "as good as certain");
        assert_eq!(probability_words(0.9), "very likely");
        assert_eq!(probability_words(0.89), "likely");
        assert_eq!(probability_words(0.2), "possible");
        assert_eq!(probability_words(f64::NAN), "unknown");
    }
}
