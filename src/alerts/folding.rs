//! Which alerts are known consequences of others, so that people hear of the cause alone.
//!
//! | cause | folds under it |
//! |---|---|
//! | flooding in a basin | ponding in the same basin: it is the same water |
//! | a blocked outlet | no water in its basin |
//! | an uneven splitter | no water in a basin below it |
//! | no water from the source, or below a splitter | no water further down |
//! | a nearly empty battery | sensors of that place that fell silent |
//! | the first of three or more sensors of a property that fell silent within six hours: a gateway or the broker | the others |
//!
//! Common practice, no published source. A consequence that outlives its cause stands on its own again.

use std::collections::BTreeMap;

use super::AlertNo;
use crate::model::{BasinIx, EventTime, FindingKind, Id, Span, SplitterIx, Subject, System};

/// Silent sensors from which on one device that they share is the likely cause.
const MANY_SILENT: usize = 3;
/// Sensors of one gateway report at different intervals, so they are missed one after the other.
const SILENT_WITHIN: Span = Span::from_hours(6);

/// What folding has to know of a system.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Piping {
    /// Each splitter with the basins below it; few of either, so that looking through them is quick and takes no room.
    splitters: Box<[(Id, Box<[Id]>)]>,
}

/// An alert that is not closed.
#[derive(Clone, Copy, Debug)]
pub struct Standing<'a> {
    /// Its number.
    pub no: AlertNo,
    /// Where.
    pub system: &'a Id,
    /// What.
    pub kind: FindingKind,
    /// What about.
    pub subject: &'a Subject,
    /// When it was opened first.
    pub opened_at: EventTime,
}

impl Piping {
    /// That of `system`.
    pub fn of(system: &System) -> Self {
        let splitters = (0..system.splitters.len() as u16).map(SplitterIx);
        let below = |splitter: SplitterIx| {
            let fed = |ix: &BasinIx| system.tree().side_of(splitter, *ix).is_some();
            system.basin_ixs().filter(fed).map(|ix| system.basin(ix).id.clone()).collect()
        };
        Self { splitters: splitters.map(|ix| (system.splitter(ix).id.clone(), below(ix))).collect() }
    }

    fn below(&self, splitter: &Id) -> Option<&[Id]> {
        self.splitters.iter().find_map(|(id, basins)| (id == splitter).then_some(&**basins))
    }

    fn is_below(&self, basin: &Id, splitter: &Id) -> bool {
        self.below(splitter).is_some_and(|basins| basins.contains(basin))
    }

    /// Whether all that `lower` feeds is below `upper` too, and more.
    fn is_further_up(&self, upper: &Id, lower: &Id) -> bool {
        let (Some(upper), Some(lower)) = (self.below(upper), self.below(lower)) else {
            return false;
        };
        upper.len() > lower.len() && lower.iter().all(|basin| upper.contains(basin))
    }
}

/// For each of the `standing` alerts of one property that is a consequence, its cause. A cause is never
/// a consequence itself.
pub fn fold(standing: &[Standing<'_>], piping: &BTreeMap<&Id, &Piping>) -> BTreeMap<AlertNo, AlertNo> {
    let none = Piping::default();
    let mut systems: BTreeMap<&Id, Vec<&Standing<'_>>> = BTreeMap::new();
    for alert in standing {
        systems.entry(alert.system).or_default().push(alert);
    }
    let mut causes: BTreeMap<AlertNo, AlertNo> = BTreeMap::new();
    for (system, alerts) in systems {
        let pipes = piping.get(system).copied().unwrap_or(&none);
        for consequence in &alerts {
            let cause = alerts.iter().filter(|cause| {
                covers((cause.kind, cause.subject), (consequence.kind, consequence.subject), pipes)
            });
            causes.extend(cause.map(|cause| cause.no).min().map(|cause| (consequence.no, cause)));
        }
    }
    gather_silent(standing, &mut causes);
    let roots: Vec<_> = causes.keys().map(|no| (*no, root(*no, &causes))).collect();
    roots.into_iter().collect()
}

/// Follows causes to the first one. Each link goes up the table of this module, so there is no circle.
fn root(no: AlertNo, causes: &BTreeMap<AlertNo, AlertNo>) -> AlertNo {
    let mut at = no;
    while let Some(cause) = causes.get(&at) {
        at = *cause;
    }
    at
}

fn covers(cause: (FindingKind, &Subject), consequence: (FindingKind, &Subject), pipes: &Piping) -> bool {
    use FindingKind::{BatteryLow, BlockedOutlet, Flooding, NoWater, Ponding, SensorSilent, UnevenSplit};
    match (cause, consequence) {
        ((Flooding, a), (Ponding, b)) | ((BlockedOutlet, a), (NoWater, b)) => a == b,
        ((UnevenSplit | NoWater, Subject::Splitter(splitter)), (NoWater, Subject::Basin(basin))) => {
            pipes.is_below(basin, splitter)
        }
        ((NoWater, Subject::Splitter(upper)), (NoWater, Subject::Splitter(lower))) => {
            pipes.is_further_up(upper, lower)
        }
        ((NoWater, Subject::Source), (NoWater, Subject::Splitter(_) | Subject::Basin(_))) => true,
        ((BatteryLow, Subject::Sensor(battery)), (SensorSilent, Subject::Sensor(silent))) => {
            place(battery) == place(silent)
        }
        _ => false,
    }
}

/// The basin in a sensor's name, none for a sensor of the whole system.
fn place(sensor: &str) -> Option<&str> {
    sensor.split_once('/').map(|(basin, _)| basin)
}

/// Folds sensors that fell silent together under the first of them.
fn gather_silent(standing: &[Standing<'_>], causes: &mut BTreeMap<AlertNo, AlertNo>) {
    let silent = standing.iter().filter(|alert| alert.kind == FindingKind::SensorSilent);
    let mut silent: Vec<_> = silent.filter(|alert| !causes.contains_key(&alert.no)).collect();
    silent.sort_by_key(|alert| (alert.opened_at, alert.no));
    let mut rest = &silent[..];
    while let Some((first, others)) = rest.split_first() {
        let together = others.partition_point(|other| other.opened_at - first.opened_at <= SILENT_WITHIN);
        if together + 1 < MANY_SILENT {
            rest = others;
            continue;
        }
        causes.extend(others[..together].iter().map(|other| (other.no, first.no)));
        rest = &others[together..];
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use proptest::prelude::*;

    fn id(text: &str) -> Id {
        Id::new(text).unwrap()
    }

    /// s1 feeds s2 and fig; s2 feeds quince and plum.
    fn pipes() -> BTreeMap<Id, Piping> {
        let set = |ids: &[&str]| ids.iter().map(|text| id(text)).collect::<Box<[_]>>();
        let basins = [(id("s1"), set(&["fig", "quince", "plum"])), (id("s2"), set(&["quince", "plum"]))];
        BTreeMap::from([(id("east"), Piping { splitters: basins.into() })])
    }

    struct Yard(Vec<(u64, Id, FindingKind, Subject, EventTime)>);

    impl Yard {
        fn folded(&self) -> BTreeMap<u64, u64> {
            let standing: Vec<_> = self
                .0
                .iter()
                .map(|(no, system, kind, subject, opened_at)| Standing {
                    no: AlertNo(*no),
                    system,
                    kind: *kind,
                    subject,
                    opened_at: *opened_at,
                })
                .collect();
            let pipes = pipes();
            fold(&standing, &pipes.iter().collect()).into_iter().map(|(a, b)| (a.0, b.0)).collect()
        }
    }

    fn east(alerts: &[(FindingKind, Subject)]) -> Yard {
        let row = |(no, (kind, subject)): (u64, &(FindingKind, Subject))| {
            (no, id("east"), *kind, subject.clone(), EventTime::from_secs(no as i64))
        };
        Yard((1..).zip(alerts).map(row).collect())
    }

    fn basin(text: &str) -> Subject {
        Subject::Basin(id(text))
    }

    #[test]
    fn the_dry_basin_of_a_blocked_outlet_is_not_a_second_alert() {
        let yard = east(&[
            (FindingKind::NoWater, basin("quince")),
            (FindingKind::BlockedOutlet, basin("quince")),
            (FindingKind::NoWater, basin("fig")),
        ]);
        assert_eq!(yard.folded(), BTreeMap::from([(1, 2)]));
    }

    #[test]
    fn water_missing_further_up_explains_what_is_missing_below() {
        let splitter = |text| Subject::Splitter(id(text));
        let yard = east(&[
            (FindingKind::NoWater, basin("quince")),
            (FindingKind::NoWater, splitter("s2")),
            (FindingKind::NoWater, splitter("s1")),
            (FindingKind::NoWater, Subject::Source),
        ]);
        assert_eq!(yard.folded(), BTreeMap::from([(1, 4), (2, 4), (3, 4)]));
        let yard = east(&[(FindingKind::NoWater, basin("fig")), (FindingKind::UnevenSplit, splitter("s2"))]);
        assert_eq!(yard.folded(), BTreeMap::new(), "fig is not below s2");
    }

    #[test]
    fn forty_silent_sensors_are_one_dead_gateway_but_two_are_two() {
        let silent = |n: usize| {
            east(
                &(0..n)
                    .map(|i| (FindingKind::SensorSilent, Subject::Sensor(format!("b{i}/float"))))
                    .collect::<Vec<_>>(),
            )
        };
        assert_eq!(silent(2).folded(), BTreeMap::new());
        let folded = silent(40).folded();
        assert_eq!((folded.len(), folded.values().collect::<BTreeSet<_>>()), (39, BTreeSet::from([&1])));
    }

    #[test]
    fn sensors_that_fall_silent_on_different_days_have_nothing_to_do_with_each_other() {
        let mut yard = east(
            &(0..3)
                .map(|i| (FindingKind::SensorSilent, Subject::Sensor(format!("b{i}/float"))))
                .collect::<Vec<_>>(),
        );
        yard.0[2].4 = EventTime::from_secs(7 * 3600);
        assert_eq!(yard.folded(), BTreeMap::new());
    }

    #[test]
    fn a_flat_battery_explains_the_silence_of_its_place() {
        let sensor = |name: &str| Subject::Sensor(name.to_owned());
        let yard = east(&[
            (FindingKind::BatteryLow, sensor("quince/battery")),
            (FindingKind::SensorSilent, sensor("quince/float")),
            (FindingKind::SensorSilent, sensor("fig/float")),
        ]);
        assert_eq!(yard.folded(), BTreeMap::from([(2, 1)]));
    }

    fn alert() -> impl Strategy<Value = (FindingKind, Subject, i64)> {
        let subjects = vec![
            basin("quince"),
            basin("plum"),
            basin("fig"),
            Subject::Splitter(id("s1")),
            Subject::Splitter(id("s2")),
            Subject::Source,
            Subject::Sensor("quince/float".into()),
            Subject::Sensor("quince/battery".into()),
            Subject::Sensor("fig/float".into()),
            Subject::Sensor("plum/float".into()),
        ];
        (prop::sample::select(FindingKind::ALL.to_vec()), prop::sample::select(subjects), 0..100_000i64)
    }

    proptest! {
        /// Every consequence has a cause that stands and is none itself, so somebody always hears of it.
        #[test]
        fn every_cause_stands_on_its_own(alerts in prop::collection::vec(alert(), 0..40)) {
            let rows = (1..).zip(alerts).map(|(no, (kind, subject, secs))| {
                (no, id("east"), kind, subject, EventTime::from_secs(secs))
            });
            let yard = Yard(rows.collect());
            let folded = yard.folded();
            for (consequence, cause) in &folded {
                prop_assert!(!folded.contains_key(cause), "{consequence} under {cause}, which is folded");
                prop_assert!(yard.0.iter().any(|row| row.0 == *cause));
            }
        }
    }
}
