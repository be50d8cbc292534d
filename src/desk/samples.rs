//! Systems for the tests of this module.

use super::gather::{self, Lately};
use super::sheet::PlanSheet;
use crate::model::{EventTime, System};
use crate::systemfile;

fn parsed(file: &str, text: &str) -> System {
    systemfile::parse(file, text).unwrap_or_else(|faults| panic!("{faults:?}"))
}

/// Two levels of splitters over four basins, all placed on the plan, with every kind of sensor.
pub(super) fn terrace() -> System {
    parsed(
        "terrace.toml",
        r#"
        id = "terrace"
        name = "Terrace"
        property = "alder-court"
        timezone = "America/Denver"
        soil = "sandy-loam"
        [diverter]
        [[splitter]]
        id = "s1"
        feeds = ["s2", "s3"]
        at = [2.0, 3.0]
        [[splitter]]
        id = "s2"
        feeds = ["quince", "fig"]
        at = [4.0, 4.0]
        [[splitter]]
        id = "s3"
        feeds = ["plum", "pear"]
        at = [4.0, 2.0]
        [[basin]]
        id = "quince"
        plant = "quince tree"
        area_m2 = 1.2
        at = [7.0, 5.0]
        float = {}
        overflow = {}
        moisture = {}
        [[basin]]
        id = "fig"
        area_m2 = 1.2
        at = [7.0, 3.8]
        float = {}
        [[basin]]
        id = "plum"
        area_m2 = 1.2
        at = [7.0, 2.4]
        moisture = {}
        [[basin]]
        id = "pear"
        area_m2 = 1.2
        at = [7.0, 1.0]
        "#,
    )
}

/// One basin and no splitter, not placed on a plan.
pub(super) fn single() -> System {
    parsed(
        "single.toml",
        r#"
        id = "single"
        name = "Single"
        timezone = "UTC"
        soil = "clay"
        [[basin]]
        id = "fig"
        area_m2 = 1.2
        float = {}
        "#,
    )
}

/// The plan of a system of which nothing was heard.
pub(super) fn plan(system: &System) -> PlanSheet {
    let now = EventTime::from_secs(1_772_323_200);
    let lately = Lately { open: &[], doses: &[], now };
    gather::plan(system, &[], &lately).expect("every part has a place")
}
