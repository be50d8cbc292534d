//! The one check in the yard that tells two explanations apart.

use crate::model::FindingKind;

/// What to look at first when `a` and `b` are both likely (common practice, no published source); none where no
/// single check tells them apart.
pub const fn separating_check(a: FindingKind, b: FindingKind) -> Option<&'static str> {
    use FindingKind::{BlockedOutlet, NoWater, SensorImplausible, SensorStuck, SlowSoak, UnevenSplit};
    match (a, b) {
        (UnevenSplit, BlockedOutlet) | (BlockedOutlet, UnevenSplit) => Some(
            "Open the outlet and let a bucket of clean water into the line above the splitter. If the outlet runs \
             freely but gets too little, the splitter is off level; if it only drips while the other side runs, \
             the outlet is blocked.",
        ),
        (UnevenSplit, UnevenSplit) => Some(
            "Lay a spirit level across each of the named splitters: the one whose bubble is off is the one.",
        ),
        (BlockedOutlet, BlockedOutlet) => {
            Some("Lift the mulch at each of the named outlets and watch which one runs dry during a dose.")
        }
        (BlockedOutlet | UnevenSplit, SensorImplausible | SensorStuck)
        | (SensorImplausible | SensorStuck, BlockedOutlet | UnevenSplit) => Some(
            "Pour a bucket of clean water beside the probe. If its reading rises within an hour, the probe is \
             sound and the water is missing; if not, it is the probe.",
        ),
        (SlowSoak, BlockedOutlet | UnevenSplit) | (BlockedOutlet | UnevenSplit, SlowSoak) => Some(
            "Pour a bucket of clean water into the basin and time how long it stands: longer than usual means the \
             soil or mulch, as usual means that the basin gets more water than its share.",
        ),
        (NoWater, _) | (_, NoWater) => Some(
            "Run a tap in the house and listen at the diverter: water there means a blockage further down.",
        ),
        _ => None,
    }
}

/// What tells a fault of `kind` from sensors that drifted (common practice, no published source); none where the
/// sensors are not what tells it.
pub const fn drift_check(kind: FindingKind) -> Option<&'static str> {
    let by_probes = matches!(kind, FindingKind::BlockedOutlet | FindingKind::UnevenSplit);
    if !by_probes {
        return None;
    }
    Some(
        "Run clean water at an ordinary flow and catch what each outlet gives in buckets. If they agree with the \
         design, nothing is wrong but the probes; a flow test writes that down.",
    )
}
