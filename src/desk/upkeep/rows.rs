//! Tasks and visits in words.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use serde::Deserialize;

use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::sheet::{ComingRow, Urgency};
use crate::desk::units::Units;
use crate::desk::words;
use crate::model::{EventTime, Id, Severity, Span, Subject, System};
use crate::schedule::Upkeep;
use crate::upkeep::{Day, Material, Task, TaskKey, TaskKind, Visit, skipping, visit_reason};

/// Tasks that a system's page names at most.
const COMING: usize = 6;
/// The first page tells of tasks that are due within these many days.
const SOON: i64 = 14;

/// Which tasks an address asks for.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
pub(in crate::desk) struct Wanted {
    /// Of this property only.
    #[serde(default)]
    pub(in crate::desk) property: String,
    /// Of this system only.
    #[serde(default)]
    pub(in crate::desk) system: String,
    /// Of this kind only.
    #[serde(default)]
    pub(in crate::desk) kind: String,
    /// Due within these many days.
    #[serde(default)]
    pub(in crate::desk) within: String,
    /// Whose words all stand in what is to be done, or where.
    #[serde(default)]
    pub(in crate::desk) text: String,
}

impl Wanted {
    /// It asks for something.
    pub(super) fn is_set(&self) -> bool {
        *self != Self::default()
    }

    /// As the query of an address; empty where nothing is asked for.
    pub(super) fn query(&self) -> String {
        let all = [
            ("text", &self.text),
            ("property", &self.property),
            ("system", &self.system),
            ("kind", &self.kind),
            ("within", &self.within),
        ];
        let set = all.into_iter().filter(|(_, value)| !value.is_empty());
        form_urlencoded::Serializer::new(String::new()).extend_pairs(set).finish()
    }

    /// Whether the words asked for stand in what a task is called, and where it is done.
    fn is_named(&self, task: &Task, system: &System) -> bool {
        if self.text.is_empty() {
            return true;
        }
        let property = words::title(task.property.as_str());
        let called = format!("{} {} {property}", task.key.title(system), system.name).to_lowercase();
        self.text.split_whitespace().all(|word| called.contains(&word.to_lowercase()))
    }
}

/// A task in words.
#[derive(Clone, Debug)]
pub(in crate::desk) struct TaskRow {
    /// The task itself.
    pub(in crate::desk) task: Task,
    /// The system's id and name.
    pub(in crate::desk) system: (String, String),
    /// The property's title.
    pub(in crate::desk) property: String,
    /// What to do and where.
    pub(in crate::desk) title: String,
    /// How soon.
    pub(in crate::desk) urgency: Urgency,
    /// First day on which it is worth doing, the day to meet, and the last one.
    pub(in crate::desk) window: [Day; 3],
    /// Its due day is over.
    pub(in crate::desk) over: bool,
    /// Visit and day on which it is planned.
    pub(in crate::desk) visit: Option<(u64, Day)>,
}

/// A visit in words.
#[derive(Clone, Debug)]
pub(in crate::desk) struct VisitRow {
    /// The visit itself.
    pub(in crate::desk) visit: Visit,
    /// The property's title.
    pub(in crate::desk) property: String,
    /// When it begins.
    pub(in crate::desk) begins: EventTime,
    /// When it begins, as on the yard's clock: `09:00`.
    pub(in crate::desk) clock: String,
    /// Whose clock that is: the city that the yard's time zone is called after.
    pub(in crate::desk) zone: Option<String>,
    /// Why it is on its day.
    pub(in crate::desk) why: String,
    /// What skipping it risks.
    pub(in crate::desk) risk: String,
    /// What is done.
    pub(in crate::desk) tasks: Vec<TaskRow>,
    /// What is used up, summed over the visit.
    pub(in crate::desk) materials: Vec<Material>,
    /// What to bring along.
    pub(in crate::desk) tools: Vec<&'static str>,
    /// What could hurt somebody or break a rule.
    pub(in crate::desk) cautions: Vec<&'static str>,
    /// It was to be over by now.
    pub(in crate::desk) missed: bool,
    /// Tasks whose due day it misses.
    pub(in crate::desk) late: usize,
}

/// Pieces that are counted, one and many.
const PLURALS: &[(&str, &str)] = &[
    ("battery", "batteries"),
    ("spare float", "spare floats"),
    ("spare moisture probe", "spare moisture probes"),
];

/// A quantity in words: `160 L wood chips, coarse`.
pub(in crate::desk) fn material_words(material: &Material, units: Units) -> String {
    if material.unit == "L" {
        return format!("{} {}", units.volume(material.quantity), material.what);
    }
    let number = words::grouped(material.quantity.round() as u64);
    if material.unit.is_empty() {
        let plural = if material.quantity > 1.5 { PLURALS } else { &[] };
        let words =
            plural.iter().find(|(one, _)| *one == material.what).map_or(material.what, |(_, many)| many);
        return format!("{number} {words}");
    }
    format!("{number}\u{a0}{} {}", material.unit, material.what)
}

fn urgency(task: &Task) -> Urgency {
    match (task.mends, task.urgency) {
        (_, Severity::Critical) => Urgency::Now,
        (true, Severity::Warning) => Urgency::Soon,
        (true, Severity::Info) | (false, _) => Urgency::NextVisit,
    }
}

/// The systems in reach, by id.
fn seen(office: &Office, visitor: &Visitor) -> BTreeMap<String, Arc<System>> {
    office.systems(visitor).iter().map(|system| (system.id.to_string(), Arc::clone(system))).collect()
}

/// The first day on which a task is worth doing, the day to meet, and the last one.
fn window(task: &Task, system: &System) -> [Day; 3] {
    [task.window.earliest, task.window.due, task.window.latest].map(|at| Day::of(at, &system.zone))
}

fn row(task: &Task, system: &System, planned: &BTreeMap<&TaskKey, (u64, Day)>, now: EventTime) -> TaskRow {
    let window = window(task, system);
    TaskRow {
        system: (system.id.to_string(), system.name.clone()),
        property: words::title(task.property.as_str()),
        title: task.key.title(system),
        urgency: urgency(task),
        over: window[1] < Day::of(now, &system.zone),
        window,
        visit: planned.get(&task.key).copied(),
        task: task.clone(),
    }
}

/// Visit and day of every task that `is_asked`.
fn planned(upkeep: &Upkeep, is_asked: impl Fn(&TaskKey) -> bool) -> BTreeMap<&TaskKey, (u64, Day)> {
    let visits = upkeep.plan.visits.iter();
    let tasks = visits.flat_map(|visit| visit.tasks.iter().map(move |key| (key, (visit.no, visit.day))));
    tasks.filter(|(key, _)| is_asked(key)).collect()
}

/// The tasks in reach that `wanted` lets through, most urgent first.
pub(in crate::desk) fn tasks(office: &Office, visitor: &Visitor, wanted: &Wanted) -> Vec<TaskRow> {
    first_tasks(office, visitor, wanted, usize::MAX).0
}

/// The first `most` of them, and how many there are beyond. Only these are put into words: a large portfolio has tens
/// of thousands.
pub(super) fn first_tasks(
    office: &Office,
    visitor: &Visitor,
    wanted: &Wanted,
    most: usize,
) -> (Vec<TaskRow>, usize) {
    let upkeep = Arc::clone(&office.desk.upkeep.borrow());
    let (systems, now) = (seen(office, visitor), office.now());
    let kind = TaskKind::named(&wanted.kind);
    let within: Option<i64> = wanted.within.parse().ok();
    let is = |asked: &str, value: &str| asked.is_empty() || asked == value;
    let is_wanted = |task: &&Task| {
        is(&wanted.property, task.property.as_str())
            && is(&wanted.system, task.key.system.as_str())
            && kind.is_none_or(|kind| task.key.kind == kind)
    };
    let chosen = upkeep.tasks.values().filter(is_wanted).filter_map(|task| {
        let system = systems.get(task.key.system.as_str())?;
        let due = Day::of(task.window.due, &system.zone);
        let is_soon = within.is_none_or(|days| due <= Day::of(now, &system.zone).plus(days));
        (is_soon && wanted.is_named(task, system)).then_some((urgency(task), due, task, system))
    });
    let mut chosen: Vec<_> = chosen.collect();
    // They come in the order of their keys, which stands within a day.
    chosen.sort_by_key(|(urgency, due, ..)| (*urgency, *due));
    let more = chosen.len().saturating_sub(most);
    chosen.truncate(most);
    let keys: BTreeSet<&TaskKey> = chosen.iter().map(|(_, _, task, _)| &task.key).collect();
    let planned = planned(&upkeep, |key| keys.contains(key));
    let rows = chosen.into_iter().map(|(_, _, task, system)| row(task, system, &planned, now));
    (rows.collect(), more)
}

/// The visits in reach, by day.
pub(in crate::desk) fn visits(office: &Office, visitor: &Visitor) -> Vec<VisitRow> {
    let upkeep = Arc::clone(&office.desk.upkeep.borrow());
    let (systems, now) = (seen(office, visitor), office.now());
    let planned = planned(&upkeep, |_| true);
    let late: BTreeSet<_> = upkeep.plan.late.iter().map(|late| &late.key).collect();
    let visits = upkeep.plan.visits.iter().filter(|visit| visitor.may_see(&visit.property));
    visits
        .filter_map(|visit| {
            let mut tasks: Vec<&Task> = visit.tasks.iter().filter_map(|key| upkeep.tasks.get(key)).collect();
            // A system file may have gone since the plan was made.
            let system = tasks.iter().find_map(|task| systems.get(task.key.system.as_str()))?;
            // What is due first in front; of one day, what is most urgent.
            tasks.sort_by_key(|task| (Day::of(task.window.due, &system.zone), urgency(task)));
            let first = tasks.first().and_then(|task| systems.get(task.key.system.as_str()));
            let system = first.unwrap_or(system);
            let begins = visit.day.at(visit.starts_at, &system.zone);
            let rows = tasks
                .iter()
                .filter_map(|task| Some(row(task, systems.get(task.key.system.as_str())?, &planned, now)));
            Some(VisitRow {
                property: words::title(visit.property.as_str()),
                begins,
                missed: begins + Span::from_mins(i64::from(visit.minutes)) < now,
                clock: format!("{:02}:{:02}", visit.starts_at / 60, visit.starts_at % 60),
                zone: words::city(&system.zone),
                why: visit_reason(visit, &tasks, system),
                risk: skipping(&tasks),
                tasks: rows.collect(),
                materials: summed(tasks.iter().flat_map(|task| &task.materials)),
                tools: united(&tasks, TaskKind::tools),
                cautions: united(&tasks, TaskKind::cautions),
                late: visit.tasks.iter().filter(|key| late.contains(key)).count(),
                visit: visit.clone(),
            })
        })
        .collect()
}

/// The same things in one sum each.
pub(in crate::desk) fn summed<'a>(materials: impl IntoIterator<Item = &'a Material>) -> Vec<Material> {
    let mut all: Vec<Material> = Vec::new();
    for material in materials {
        match all.iter_mut().find(|known| (known.what, known.unit) == (material.what, material.unit)) {
            Some(known) => known.quantity += material.quantity,
            None => all.push(material.clone()),
        }
    }
    all
}

/// What the tasks name, each once.
fn united(tasks: &[&Task], of: impl Fn(TaskKind) -> &'static [&'static str]) -> Vec<&'static str> {
    let mut all = Vec::new();
    for name in tasks.iter().flat_map(|task| of(task.key.kind)) {
        if !all.contains(name) {
            all.push(*name);
        }
    }
    all
}

/// What is coming at `system`, the soonest first.
pub(in crate::desk) fn coming_rows(upkeep: &Upkeep, system: &System, now: EventTime) -> Vec<ComingRow> {
    let mut tasks: Vec<&Task> = upkeep.tasks.values().filter(|task| task.key.system == system.id).collect();
    tasks.sort_by(|a, b| (urgency(a), a.window.due, &a.key).cmp(&(urgency(b), b.window.due, &b.key)));
    let planned = planned(upkeep, |key| key.system == system.id);
    tasks.into_iter().take(COMING).map(|task| coming_row(task, system, &planned, now)).collect()
}

/// When the mulch of `basin` is due, and that in words; none where no task says so.
pub(in crate::desk) fn mulch_due(
    upkeep: &Upkeep,
    system: &System,
    basin: &Id,
    now: EventTime,
) -> Option<(EventTime, String)> {
    let key = |kind| TaskKey { system: system.id.clone(), kind, subject: Subject::Basin(basin.clone()) };
    // Whoever loosens a basin puts new mulch into it.
    let task = [TaskKind::RenewMulch, TaskKind::LoosenBasin].map(key);
    let task = task.iter().find_map(|key| upkeep.tasks.get(key))?;
    let planned = planned(upkeep, |key| *key == task.key);
    Some((task.window.due, coming_row(task, system, &planned, now).due))
}

/// Flow tests at `system` that would prove what was done to `subject`: of the splitter itself, or of the one that feeds
/// the basin.
pub(in crate::desk) fn proofs(
    upkeep: &Upkeep,
    system: &System,
    subject: &Subject,
    now: EventTime,
) -> Vec<TaskRow> {
    let splitter = match subject {
        Subject::Splitter(_) => Some(subject.clone()),
        Subject::Basin(id) => system
            .find_basin(id.as_str())
            .and_then(|basin| system.tree().parent(basin))
            .map(|step| Subject::Splitter(system.splitter(step.splitter).id.clone())),
        Subject::Sensor(_) | Subject::Source | Subject::Diverter => None,
    };
    let key =
        splitter.map(|subject| TaskKey { system: system.id.clone(), kind: TaskKind::FlowTest, subject });
    let task = key.and_then(|key| upkeep.tasks.get(&key));
    let planned = planned(upkeep, |key| task.is_some_and(|task| task.key == *key));
    task.map(|task| row(task, system, &planned, now)).into_iter().collect()
}

/// The tasks at `system` that are worth doing by now, or planned for the next visit there.
pub(in crate::desk) fn worth_doing<'u>(
    upkeep: &'u Upkeep,
    system: &System,
    now: EventTime,
) -> impl Iterator<Item = &'u Task> {
    let (id, next) = (system.id.clone(), next_visits(upkeep));
    upkeep.tasks.values().filter(move |task| task.key.system == id && is_for_next(task, &next, now))
}

/// The next visit to each property.
pub(in crate::desk) fn next_visits(upkeep: &Upkeep) -> BTreeMap<&Id, &Visit> {
    let mut next: BTreeMap<&Id, &Visit> = BTreeMap::new();
    for visit in &upkeep.plan.visits {
        let known = next.entry(&visit.property).or_insert(visit);
        if (visit.day, visit.starts_at) < (known.day, known.starts_at) {
            *known = visit;
        }
    }
    next
}

/// Whether `task` is done by whoever comes next: it is worth doing by now, or planned for that visit.
pub(in crate::desk) fn is_for_next(task: &Task, next: &BTreeMap<&Id, &Visit>, now: EventTime) -> bool {
    task.window.earliest <= now
        || next.get(&task.property).is_some_and(|visit| visit.tasks.contains(&task.key))
}

/// Of each system that has something due soon, what is due first.
pub(in crate::desk) fn due_soon(
    upkeep: &Upkeep,
    systems: &[Arc<System>],
    now: EventTime,
) -> BTreeMap<Id, ComingRow> {
    let mut first: BTreeMap<&Id, &Task> = BTreeMap::new();
    for task in upkeep.tasks.values() {
        let known = first.entry(&task.key.system).or_insert(task);
        if task.window.due < known.window.due {
            *known = task;
        }
    }
    let planned = planned(upkeep, |key| first.get(&key.system).is_some_and(|task| task.key == *key));
    let row = |system: &Arc<System>| {
        let task = *first.get(&system.id)?;
        let is_soon = Day::of(task.window.due, &system.zone) <= Day::of(now, &system.zone).plus(SOON);
        is_soon.then(|| (system.id.clone(), coming_row(task, system, &planned, now)))
    };
    systems.iter().filter_map(row).collect()
}

fn coming_row(
    task: &Task,
    system: &System,
    planned: &BTreeMap<&TaskKey, (u64, Day)>,
    now: EventTime,
) -> ComingRow {
    let today = Day::of(now, &system.zone);
    let visit = planned.get(&task.key).map(|(_, day)| *day);
    ComingRow {
        title: task.key.title(system),
        urgency: urgency(task),
        due: due_words(window(task, system), task.key.kind, today, visit),
        reason: task.reason.clone(),
    }
}

/// `due 3 Mar 2026, planned for Tuesday 24 February 2026`; of mulch, whose day is foretold, with the days between which
/// it is worth renewing: `due 3 Mar 2026 (best between 1 Feb 2026 and 9 May 2026)`.
pub(in crate::desk) fn due_words(
    [earliest, due, latest]: [Day; 3],
    kind: TaskKind,
    today: Day,
    planned: Option<Day>,
) -> String {
    let date = |day: Day| day.date().strftime("%-d %b %Y").to_string();
    let lead = match due.0 - today.0 {
        0 => "due today".to_owned(),
        1 => "due tomorrow".to_owned(),
        late if late < 0 => format!("was due {}", date(due)),
        _ => format!("due {}", date(due)),
    };
    let from = earliest.max(today);
    let lead = if kind == TaskKind::RenewMulch && today <= due && from < latest {
        format!("{lead} (best between {} and {})", date(from), date(latest))
    } else {
        lead
    };
    match planned {
        Some(day) if day < today => format!("{lead}; it was planned for {day} and is planned anew"),
        Some(day) => format!("{lead}, planned for {day}"),
        None => lead,
    }
}

/// Where the work is written down, or the test is run.
pub(in crate::desk) fn record_address(row: &TaskRow) -> String {
    if row.task.key.kind == TaskKind::FlowTest {
        return format!("/systems/{}/tests", row.system.0);
    }
    let TaskKey { kind, subject, .. } = &row.task.key;
    format!("/systems/{}/record?at={}&task={kind}", row.system.0, subject.key())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;

    #[test]
    fn work_at_a_basin_is_proved_at_the_splitter_that_feeds_it() {
        let (system, now) = (samples::terrace(), "2026-06-01T12:00:00Z".parse().unwrap());
        let basin = system.find_basin("quince").unwrap();
        let above = system.tree().parent(basin).unwrap().splitter;
        let subject = Subject::Splitter(system.splitter(above).id.clone());
        let task = samples::task(&system, TaskKind::FlowTest, subject, now);
        let key = task.key.clone();
        let upkeep = Upkeep { tasks: [(key.clone(), task)].into(), ..Upkeep::default() };
        let of = |subject| proofs(&upkeep, &system, &subject, now);
        let found = of(Subject::Basin(system.basin(basin).id.clone()));
        assert_eq!(found.iter().map(record_address).collect::<Vec<_>>(), ["/systems/terrace/tests"]);
        assert_eq!(of(key.subject).len(), 1);
        assert!(of(Subject::Diverter).is_empty());
        let none = proofs(&Upkeep::default(), &system, &Subject::Basin(system.basin(basin).id.clone()), now);
        assert!(none.is_empty());
    }

    #[test]
    fn a_day_that_is_over_is_not_planned() {
        let today = Day(20_785);
        let window = [today, today.plus(3), today.plus(30)];
        let words = |planned: i64| due_words(window, TaskKind::FlowTest, today, Some(today.plus(planned)));
        assert!(words(0).contains(", planned for ") && words(2).contains(", planned for "), "{}", words(0));
        assert!(
            words(-1).contains("it was planned for ") && words(-1).ends_with("planned anew"),
            "{}",
            words(-1)
        );
    }

    #[test]
    fn mulch_is_due_between_two_days() {
        let today = Day(20_785);
        let words =
            |from: i64, kind| due_words([today.plus(from), today.plus(9), today.plus(30)], kind, today, None);
        let date = |days: i64| today.plus(days).date().strftime("%-d %b %Y").to_string();
        let mulch = words(2, TaskKind::RenewMulch);
        assert_eq!(mulch, format!("due {} (best between {} and {})", date(9), date(2), date(30)));
        let begun = words(-5, TaskKind::RenewMulch);
        assert!(begun.contains(&format!("between {} and", date(0))), "what is over is not offered: {begun}");
        assert_eq!(words(2, TaskKind::InspectOutlet), format!("due {}", date(9)));
        let late =
            due_words([today.plus(-9), today.plus(-3), today.plus(5)], TaskKind::RenewMulch, today, None);
        assert_eq!(late, format!("was due {}", date(-3)), "the best days are over");
    }
}
