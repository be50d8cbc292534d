//! What a visit sheet tells: the stops in the order of the work, each with what is expected there.

use std::collections::BTreeSet;

use crate::advice::place_title;
use crate::desk::gather::{self, Lately};
use crate::desk::sheet::{FindingSheet, Moment, PlanSheet, Urgency};
use crate::desk::units::Units;
use crate::desk::upkeep::{TaskRow, bring, due_words};
use crate::desk::words;
use crate::ledger::{DoseRecord, LastService, Latest, StoredFinding};
use crate::model::{EventTime, FindingKind, Id, Node, SplitterIx, Subject, System, Work};
use crate::upkeep::{Day, Material, TaskKind};

/// One system on the sheet.
#[derive(Debug)]
pub(super) struct SystemSheet {
    pub(super) id: String,
    pub(super) name: String,
    pub(super) plan: Option<PlanSheet>,
    /// None of its sensors was ever heard.
    pub(super) unheard: bool,
    /// What cannot wait: what to do first, and where, each step once.
    pub(super) first: Vec<(&'static str, Vec<String>)>,
    /// Where something is wrong, in the order of the work.
    pub(super) stops: Vec<Stop>,
    /// Everywhere else, from the source down.
    pub(super) others: Vec<Stop>,
}

/// One part to go to.
#[derive(Debug)]
pub(super) struct Stop {
    pub(super) subject: Subject,
    pub(super) place: String,
    pub(super) findings: Vec<FindingSheet>,
    /// What is worth doing on this visit.
    pub(super) tasks: Vec<TaskLine>,
    /// When somebody was here last, and what was done.
    pub(super) last: Option<(Moment, String)>,
    /// That was today.
    pub(super) is_done: bool,
    /// The first day of the system's service, as far as it is known, where nobody wrote down anything here since.
    pub(super) unseen_since: Option<String>,
}

/// A task on the sheet.
#[derive(Debug)]
pub(super) struct TaskLine {
    pub(super) kind: TaskKind,
    pub(super) urgency: Urgency,
    pub(super) title: String,
    pub(super) reason: String,
    pub(super) materials: Vec<Material>,
    pub(super) minutes: u32,
    /// By when, in words.
    pub(super) due: String,
    /// The day to meet.
    pub(super) day: Day,
    /// That day is over.
    pub(super) over: bool,
}

impl TaskLine {
    pub(super) fn of(row: &TaskRow, today: Day, units: Units) -> Self {
        Self {
            kind: row.task.key.kind,
            urgency: row.urgency,
            title: row.title.clone(),
            reason: units.retold(&row.task.reason),
            materials: row.task.materials.clone(),
            minutes: row.task.minutes,
            due: due_words(row.window, row.task.key.kind, today, None),
            day: row.window[1],
            over: row.over,
        }
    }
}

/// The stops of `system`: floods first, then what is most urgent, along the water from the source.
pub(super) fn system(
    system: &System,
    open: &[StoredFinding],
    latest: &[Latest],
    (over, doses): (&[StoredFinding], &[DoseRecord]),
    last: &[LastService],
    due: &[TaskRow],
    (now, units): (EventTime, Units),
) -> SystemSheet {
    let card = gather::card(system, open, latest, now, units);
    let lately = Lately { open, over, doses, now };
    let readings = gather::Readings::new(system, latest, now);
    let mut stops: Vec<(bool, Stop)> = along_the_water(system)
        .into_iter()
        .map(|subject| {
            let here: Vec<&StoredFinding> =
                open.iter().filter(|stored| stop_of(&stored.finding.subject) == subject).collect();
            let floods = here.iter().any(|stored| stored.finding.kind == FindingKind::Flooding);
            let told = |stored: &&StoredFinding| {
                gather::finding_sheet(system, stored, gather::beside(open, stored), readings, units)
            };
            let mut findings: Vec<_> = here.iter().map(told).collect();
            findings.sort_by_key(|finding| (finding.urgency, finding.kind));
            let tasks = due
                .iter()
                .filter(|row| row.task.key.system == system.id && stop_of(&row.task.key.subject) == subject)
                .map(|row| TaskLine::of(row, Day::of(now, &system.zone), units))
                .collect();
            (floods, stop(system, subject, (findings, tasks), last, now))
        })
        .collect();
    // Of what is as urgent, what is due first; of that, what the water reaches first.
    stops.sort_by_key(|(floods, stop)| (!floods, stop.urgency(), stop.due()));
    let (stops, others): (Vec<_>, Vec<_>) =
        stops.into_iter().map(|(_, stop)| stop).partition(Stop::needs_work);
    SystemSheet {
        id: system.id.to_string(),
        name: system.name.clone(),
        plan: gather::plan(system, &card.basins, &lately),
        unheard: card.last_heard.is_none(),
        first: first(&stops),
        stops,
        others,
    }
}

/// The first steps of what cannot wait, with the places that they are for.
fn first(stops: &[Stop]) -> Vec<(&'static str, Vec<String>)> {
    let mut all: Vec<(&'static str, Vec<String>)> = Vec::new();
    for stop in stops {
        for finding in stop.findings.iter().filter(|finding| finding.urgency == Urgency::Now) {
            match all.iter_mut().find(|(step, _)| *step == finding.advice.first) {
                Some((_, places)) if places.contains(&stop.place) => {}
                Some((_, places)) => places.push(stop.place.clone()),
                None => all.push((finding.advice.first, vec![stop.place.clone()])),
            }
        }
    }
    all
}

fn stop(
    system: &System,
    subject: Subject,
    (findings, tasks): (Vec<FindingSheet>, Vec<TaskLine>),
    last: &[LastService],
    now: EventTime,
) -> Stop {
    let here = |it: &&LastService| it.system == system.id && it.subject == subject;
    let newest = last.iter().filter(here).map(|it| it.at).max();
    let last = newest.map(|at| {
        let done: Vec<_> = last
            .iter()
            .filter(here)
            .filter(|it| it.at == at)
            .filter_map(|it| it.work)
            .map(Work::words)
            .collect();
        let done = if done.is_empty() { "looked at".to_owned() } else { done.join(", ") };
        (words::moment(at, now, &system.zone), done)
    });
    let place = place_title(system, &subject);
    let unseen_since = system.commissioned.filter(|_| last.is_none());
    let unseen_since = unseen_since.map(|day| day.strftime("%-d %B %Y").to_string());
    let is_done = newest.is_some_and(|at| at.local_day(&system.zone) == now.local_day(&system.zone));
    Stop { subject, place, findings, tasks, last, is_done, unseen_since }
}

impl SystemSheet {
    /// The most urgent thing to do at it.
    pub(super) fn urgency(&self) -> Urgency {
        self.stops.iter().map(Stop::urgency).min().unwrap_or(Urgency::Fine)
    }
}

impl Stop {
    /// The most urgent thing to do here.
    fn urgency(&self) -> Urgency {
        let findings = self.findings.iter().map(|finding| finding.urgency);
        findings.chain(self.tasks.iter().map(|task| task.urgency)).min().unwrap_or(Urgency::Fine)
    }

    /// The day on which the first of its tasks is due; what is due on no day comes after them.
    fn due(&self) -> Day {
        self.tasks.iter().map(|task| task.day).min().unwrap_or(Day(i64::MAX))
    }

    /// Whether there is more to do than to look, or to look at the whole system is overdue.
    fn needs_work(&self) -> bool {
        !self.findings.is_empty()
            || self.tasks.iter().any(|task| task.kind != TaskKind::YearlyLook || task.over)
    }
}

/// Where somebody goes for a finding about `subject`: sensors are looked after where they are.
fn stop_of(subject: &Subject) -> Subject {
    match subject {
        Subject::Sensor(name) => match name.split_once('/').and_then(|(basin, _)| Id::new(basin).ok()) {
            Some(basin) => Subject::Basin(basin),
            None if name == "diverter" => Subject::Diverter,
            None => Subject::Source,
        },
        other @ (Subject::Splitter(_) | Subject::Basin(_) | Subject::Source | Subject::Diverter) => {
            other.clone()
        }
    }
}

/// Every part that somebody can go to, as the water reaches them.
pub(super) fn along_the_water(system: &System) -> Vec<Subject> {
    let mut parts = vec![Subject::Source];
    parts.extend(system.diverter.then_some(Subject::Diverter));
    // The tree is walked without recursion: side a first.
    let mut waiting = vec![system.tree().root()];
    while let Some(node) = waiting.pop() {
        match node {
            Node::Basin(basin) => parts.push(Subject::Basin(system.basin(basin).id.clone())),
            Node::Splitter(splitter) => {
                parts.push(Subject::Splitter(system.splitter(splitter).id.clone()));
                let [a, b] = system.tree().feeds(splitter);
                waiting.extend([b, a]);
            }
        }
    }
    debug_assert_eq!(
        parts.iter().filter(|part| matches!(part, Subject::Splitter(_))).count(),
        system.splitters.len()
    );
    parts
}

/// What the sheet's findings and tasks ask to bring, and what to take care of, each once.
pub(super) fn bring_and_care(systems: &[SystemSheet], units: Units) -> (Vec<String>, Vec<&'static str>) {
    let stops = || systems.iter().flat_map(|system| system.stops.iter().chain(&system.others));
    let advice: Vec<_> = stops().flat_map(|stop| &stop.findings).map(|finding| finding.advice).collect();
    let tasks: Vec<_> = stops().flat_map(|stop| &stop.tasks).collect();
    let bring = bring(&advice, tasks.iter().map(|task| (task.kind, task.materials.as_slice())), units);
    let cautions = tasks.iter().flat_map(|task| task.kind.cautions().iter().copied());
    let mut seen = BTreeSet::new();
    let care = advice.iter().flat_map(|advice| advice.cautions.iter().copied()).chain(cautions);
    (bring, care.filter(|says| seen.insert(*says)).collect())
}

/// The short address that labels carry. It is printed, so it never changes; where it leads to may.
pub(super) fn short_address(system: &str, subject: &Subject) -> String {
    format!("/at/{system}/{}", subject.key())
}

/// Where somebody is led who stands before a part: to its page, or to where they write down what they find.
pub(super) fn page_of(system: &str, subject: &Subject) -> String {
    match subject {
        Subject::Basin(id) => format!("/systems/{system}/basins/{id}"),
        Subject::Splitter(id) => format!("/systems/{system}/splitters/{id}"),
        Subject::Sensor(_) | Subject::Source | Subject::Diverter => {
            format!("/systems/{system}/record?at={}", subject.key())
        }
    }
}

/// The splitters of a system by index.
pub(super) fn splitters(system: &System) -> impl Iterator<Item = SplitterIx> + use<> {
    (0..system.splitters.len() as u16).map(SplitterIx)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;

    #[test]
    fn stops_follow_the_water() {
        let keys: Vec<_> = along_the_water(&samples::terrace()).iter().map(Subject::key).collect();
        let expected = [
            "source",
            "diverter",
            "splitter:s1",
            "splitter:s2",
            "basin:quince",
            "basin:fig",
            "splitter:s3",
            "basin:plum",
            "basin:pear",
        ];
        assert_eq!(keys, expected);
    }

    #[test]
    fn sensors_are_looked_after_where_they_are() {
        let at = |name: &str| stop_of(&Subject::Sensor(name.into())).key();
        assert_eq!(["quince/float", "meter", "diverter"].map(at), ["basin:quince", "source", "diverter"]);
    }
}
