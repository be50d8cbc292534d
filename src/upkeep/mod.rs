//! Maintenance from what really happened: tasks with their windows, and visits that do them.
//!
//! Tasks are derived from findings, forecasts, past work and the doses of late ([`tasks`]); a planner puts them
//! into the fewest visits that meet every due date ([`plan`]). Everything here is pure: time is an argument, and
//! the same facts give the same tasks and visits. How often things are looked at where no data says otherwise is
//! common practice, no published source.

mod compare;
mod crew;
mod day;
mod derive;
mod design;
mod english;
mod facts;
mod rules;
#[cfg(test)]
mod samples;
mod task;
mod visits;

pub use compare::{CALENDARS, Comparison, Course, Past, PastFinding, Side, Way, compare};
pub use crew::{Crew, TravelGroups, WorkingDays};
pub use day::Day;
pub use derive::{mulch_due, tasks};
pub use design::{BasinLoad, Design, design, design_words};
pub use english::{skipping, unmeasured, visit_reason};
pub use facts::{Dose, Earlier, Facts, LastDone, Outlook, PastFlood, Standing, Tested, shows_outlet};
pub use rules::{Intervals, Rules};
pub use task::{Material, Task, TaskKey, TaskKind, Window};
pub use visits::{Job, Late, Plan, Visit, plan};
