//! Why a sensor is silent, where another finding tells.

use crate::model::{Finding, FindingKind, Subject};

/// Why a sensor is silent whose battery was nearly empty, as the end of a sentence.
pub const BATTERY_EMPTY: &str = "most likely because the battery there is nearly empty";

/// Whether `silent` is of a sensor that stopped while `battery`, of the same device, was nearly empty. What sits in one
/// basin is taken for one device.
pub fn is_for_want_of_battery(silent: &Finding, battery: &Finding) -> bool {
    let (Subject::Sensor(silent_name), Subject::Sensor(battery_name)) = (&silent.subject, &battery.subject)
    else {
        return false;
    };
    (silent.kind, battery.kind) == (FindingKind::SensorSilent, FindingKind::BatteryLow)
        && !super::is_never_heard(silent)
        && place(silent_name) == place(battery_name)
}

/// The basin in a sensor's name, none for a sensor of the whole system.
fn place(sensor: &str) -> Option<&str> {
    sensor.split_once('/').map(|(basin, _)| basin)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Severity;

    #[test]
    fn a_battery_explains_the_silence_of_its_own_basin_only() {
        let of = |kind, name: &str| Finding {
            kind,
            subject: Subject::Sensor(name.into()),
            severity: Severity::Warning,
            probability: 0.95,
            estimate: serde_json::Map::new(),
            evidence: Vec::new(),
        };
        let battery = of(FindingKind::BatteryLow, "quince/battery");
        let silent = |name| of(FindingKind::SensorSilent, name);
        assert!(is_for_want_of_battery(&silent("quince/moisture"), &battery));
        assert!(!is_for_want_of_battery(&silent("fig/moisture"), &battery));
        assert!(!is_for_want_of_battery(&of(FindingKind::SensorStuck, "quince/moisture"), &battery));
        let mut never = silent("quince/moisture");
        never.estimate.insert("never_heard".to_owned(), true.into());
        assert!(!is_for_want_of_battery(&never, &battery), "it was never connected");
    }
}
