//! What the planner takes and gives.

use serde::{Deserialize, Serialize};

use crate::model::{Id, Severity};
use crate::upkeep::task::TaskKey;
use crate::upkeep::{Day, Task};
use jiff::tz::TimeZone;

/// A task as the planner sees it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Job {
    /// The task.
    pub key: TaskKey,
    /// Where the visit goes.
    pub property: Id,
    /// Minutes on the spot.
    pub minutes: u32,
    /// First day on which it is worth doing.
    pub earliest: Day,
    /// Last day on which it is in time.
    pub due: Day,
    /// Something is wrong already, and the sooner it is mended the better.
    pub mends: bool,
}

/// Tasks done at one property on one day.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Visit {
    /// Its number: the same visit keeps it from plan to plan.
    pub no: u64,
    /// How often its day was moved.
    pub moved: u32,
    /// The property.
    pub property: Id,
    /// The day.
    pub day: Day,
    /// When it begins, minutes after midnight on the yard's clock.
    pub starts_at: u32,
    /// Minutes there.
    pub minutes: u32,
    /// What is done, the first due in front.
    pub tasks: Vec<TaskKey>,
    /// The day stands as in the plan before.
    #[serde(default)]
    pub kept: bool,
}

/// A task whose due day is not met.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Late {
    /// The task.
    pub key: TaskKey,
    /// How late it is done, days.
    pub days: i64,
}

/// All visits within the days planned ahead.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Plan {
    /// By day, and in the order of the day.
    pub visits: Vec<Visit>,
    /// What is not done in time, as no working day or no room is left before.
    #[serde(skip)]
    pub late: Vec<Late>,
    /// The number of the next visit that is new.
    pub next: u64,
}

impl Job {
    /// `task` on the calendar of its yard.
    pub fn of(task: &Task, zone: &TimeZone) -> Self {
        let due = Day::of(task.window.due, zone);
        Self {
            key: task.key.clone(),
            property: task.property.clone(),
            minutes: task.minutes,
            earliest: Day::of(task.window.earliest, zone).min(due),
            due,
            // What can wait for the next visit is left time for another reason to go there.
            mends: task.mends && !(task.key.kind.can_wait() && task.urgency == Severity::Info),
        }
    }
}
