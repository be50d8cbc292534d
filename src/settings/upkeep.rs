//! `[upkeep]`: how often things are looked at, and when visits can be made.

use serde::Deserialize;

use super::load::parsed;
use super::{Kind, Section, Setting};
use crate::model::Span;
use crate::upkeep::{Crew, Intervals, Rules, TravelGroups, WorkingDays};

/// How often things are looked at, and when visits can be made.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Upkeep {
    /// Days between looks at an outlet.
    pub inspect_outlets_every: u32,
    /// Days between turns of a diverter.
    pub exercise_diverter_every: u32,
    /// Days between looks at what no sensor sees.
    pub look_every: u32,
    /// Days between renewals of mulch that no sensor foretells.
    pub renew_mulch_every: u32,
    /// `by-data` or `fixed`.
    pub intervals: String,
    /// Days of the week on which visits are made.
    #[serde(deserialize_with = "parsed")]
    pub working_days: WorkingDays,
    /// Hour at which a day of visits begins.
    pub day_begins_at: u32,
    /// Hours of work and travel a day.
    pub hours_a_day: u32,
    /// Minutes to get to a property.
    pub travel_minutes: u32,
    /// Minutes to get to a further property of the same travel group.
    pub nearby_minutes: u32,
    /// Properties near one another.
    #[serde(deserialize_with = "parsed")]
    pub travel_groups: TravelGroups,
    /// Days planned ahead.
    pub plan_ahead: u32,
}

const fn every(key: &'static str, meaning: &'static str) -> Setting {
    Setting { key, kind: Kind::Whole { min: 7, max: 3_650, unit: "days" }, default: "365", meaning }
}

pub(super) const SECTION: Section = Section {
    name: "upkeep",
    meaning: "How often things are looked at where nothing is wrong, and when visits can be made",
    settings: &[
        every("inspect_outlets_every", "How often every outlet is looked at"),
        every("exercise_diverter_every", "How often a diverter is turned to sewer and back"),
        every(
            "look_every",
            "How often somebody looks at what no sensor sees: lids, labels, air gaps, roots, rodents",
        ),
        every("renew_mulch_every", "How often mulch is renewed that no sensor foretells"),
        Setting {
            key: "intervals",
            kind: Kind::OneOf(&["by-data", "fixed"]),
            default: "by-data",
            meaning: "Whether data may put off what demonstrably works, up to twice the interval; fixed where local rules demand it",
        },
        Setting {
            key: "working_days",
            kind: Kind::WorkingDays,
            default: "mon tue wed thu fri",
            meaning: "Days on which visits are made",
        },
        Setting {
            key: "day_begins_at",
            kind: Kind::Whole { min: 0, max: 20, unit: "o'clock" },
            default: "9",
            meaning: "When the first visit of a day begins, on the clock of the yard",
        },
        Setting {
            key: "hours_a_day",
            kind: Kind::Whole { min: 1, max: 16, unit: "hours" },
            default: "6",
            meaning: "Work and travel that fit into a day",
        },
        Setting {
            key: "travel_minutes",
            kind: Kind::Whole { min: 0, max: 480, unit: "minutes" },
            default: "40",
            meaning: "The way to a property",
        },
        Setting {
            key: "nearby_minutes",
            kind: Kind::Whole { min: 0, max: 480, unit: "minutes" },
            default: "10",
            meaning: "The way to a further property of the same travel group",
        },
        Setting {
            key: "travel_groups",
            kind: Kind::TravelGroups,
            default: "",
            meaning: "Properties near one another: ids with spaces between them, a comma between groups",
        },
        Setting {
            key: "plan_ahead",
            kind: Kind::Whole { min: 14, max: 730, unit: "days" },
            default: "120",
            meaning: "How far ahead visits are planned",
        },
    ],
};

impl Upkeep {
    /// How often things are looked at.
    pub fn rules(&self) -> Rules {
        let days = |days: u32| Span::from_days(i64::from(days));
        Rules {
            inspect_outlets_every: days(self.inspect_outlets_every),
            exercise_diverter_every: days(self.exercise_diverter_every),
            look_every: days(self.look_every),
            renew_mulch_every: days(self.renew_mulch_every),
            intervals: if self.intervals == "fixed" { Intervals::Fixed } else { Intervals::ByData },
        }
    }

    /// Who makes the visits.
    pub fn crew(&self) -> Crew {
        Crew {
            days: self.working_days,
            starts_at: 60 * self.day_begins_at,
            minutes_a_day: 60 * self.hours_a_day,
            travel: self.travel_minutes,
            nearby: self.nearby_minutes,
            ahead: i64::from(self.plan_ahead),
            groups: self.travel_groups.clone(),
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::settings::Settings;
    use crate::upkeep::{Crew, Rules};

    #[test]
    fn the_defaults_are_those_of_the_planner() {
        let upkeep = Settings::default().upkeep;
        assert_eq!((upkeep.rules(), upkeep.crew()), (Rules::default(), Crew::default()));
    }
}
