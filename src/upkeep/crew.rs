//! Who makes the visits, and when they can.

use std::fmt;
use std::str::FromStr;

use super::Day;
use crate::model::Id;

/// Days of the week on which visits are made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WorkingDays([bool; 7]);

/// Properties so near one another that one journey serves them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TravelGroups(Vec<Vec<Id>>);

/// Who makes the visits, and when they can.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Crew {
    /// Days of the week.
    pub days: WorkingDays,
    /// When the first visit of a day begins, minutes after midnight on the yard's clock.
    pub starts_at: u32,
    /// Minutes of work and travel a day.
    pub minutes_a_day: u32,
    /// Minutes to get to a property.
    pub travel: u32,
    /// Minutes to get to a further property of the same travel group.
    pub nearby: u32,
    /// Days that are planned ahead.
    pub ahead: i64,
    /// Properties near one another.
    pub groups: TravelGroups,
}

const NAMES: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

impl WorkingDays {
    /// Whether visits are made on `day`.
    pub fn has(self, day: Day) -> bool {
        self.0[(day.weekday().to_monday_zero_offset()) as usize]
    }

    /// The first working day that is not before `day`.
    pub fn from(self, day: Day) -> Day {
        (0..7).map(|ahead| day.plus(ahead)).find(|day| self.has(*day)).unwrap_or(day)
    }

    /// The last working day that is not after `day`.
    pub fn until(self, day: Day) -> Day {
        (0..7).map(|back| day.plus(-back)).find(|day| self.has(*day)).unwrap_or(day)
    }
}

impl FromStr for WorkingDays {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let mut days = [false; 7];
        for word in text.split([' ', ',']).filter(|word| !word.is_empty()) {
            let word = word.to_ascii_lowercase();
            let known = NAMES.iter().position(|name| *name == word);
            days[known.ok_or_else(|| format!("`{word}` is none of {}", NAMES.join(", ")))?] = true;
        }
        if days == [false; 7] {
            return Err("without a working day no visit can be made".to_owned());
        }
        Ok(Self(days))
    }
}

impl fmt::Display for WorkingDays {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let days: Vec<_> =
            NAMES.into_iter().zip(self.0).filter(|(_, on)| *on).map(|(name, _)| name).collect();
        f.write_str(&days.join(" "))
    }
}

impl Crew {
    /// The working days of `from..=until`.
    pub(super) fn open_days(&self, (from, until): (Day, Day)) -> impl Iterator<Item = Day> + use<> {
        let days = self.days;
        (from.0..=until.0).map(Day).filter(move |day| days.has(*day))
    }
}

impl TravelGroups {
    /// The group that `property` belongs to.
    pub fn of(&self, property: &Id) -> Option<usize> {
        self.0.iter().position(|group| group.contains(property))
    }
}

impl FromStr for TravelGroups {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let mut groups = Vec::new();
        let mut known = std::collections::BTreeSet::new();
        for part in text.split(',').map(str::trim).filter(|part| !part.is_empty()) {
            let ids = part.split_whitespace().map(|id| Id::new(id).map_err(|fault| fault.to_string()));
            let ids: Vec<Id> = ids.collect::<Result<_, _>>()?;
            if let Some(twice) = ids.iter().find(|id| !known.insert((*id).clone())) {
                return Err(format!("`{twice}` stands in it twice"));
            }
            groups.push(ids);
        }
        Ok(Self(groups))
    }
}

impl Default for Crew {
    fn default() -> Self {
        Self {
            days: WorkingDays([true, true, true, true, true, false, false]),
            starts_at: 9 * 60,
            minutes_a_day: 6 * 60,
            travel: 40,
            nearby: 10,
            ahead: 120,
            groups: TravelGroups::default(),
        }
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::Weekday;

    use super::*;

    #[test]
    fn working_days_are_read_and_found() {
        let days: WorkingDays = "mon, Wed fri".parse().unwrap();
        assert_eq!(days.to_string(), "mon wed fri");
        let sunday = Day(3); // 1970-01-04
        assert_eq!(sunday.weekday(), Weekday::Sunday);
        assert_eq!((days.from(sunday), days.until(sunday)), (Day(4), Day(1)));
        assert!("".parse::<WorkingDays>().is_err());
        assert!("mon funday".parse::<WorkingDays>().unwrap_err().contains("funday"));
    }

    #[test]
    fn a_property_stands_in_one_group_only() {
        let groups: TravelGroups = "alder-court birch-lane, cedar-row".parse().unwrap();
        let of = |id: &str| groups.of(&Id::new(id).unwrap());
        assert_eq!((of("birch-lane"), of("cedar-row"), of("elm")), (Some(0), Some(1), None));
        assert!("a-b, a-b".parse::<TravelGroups>().is_err());
        assert!("A!".parse::<TravelGroups>().is_err());
    }
}
