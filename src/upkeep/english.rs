//! The sentences: why a task, why a visit, and what skipping risks.

use jiff::tz::TimeZone;

use super::derive::regular::{Regular, Says};
use super::{Day, Outlook, PastFlood, Standing, Task, TaskKey, TaskKind, Visit};
use crate::advice::{BATTERY_EMPTY, advice, grouped, headline, headline_past, place_words, quoted};
use crate::model::{
    EventTime, FindingKind, Id, Quantity, Severity, Span, Subject, System, UNMEASURED_DOSE_L, Work,
};

fn date(at: EventTime, zone: &TimeZone) -> String {
    Day::of(at, zone).date().strftime("%-d %B %Y").to_string()
}

fn days(span: Span) -> String {
    match span.days_f64().round() as i64 {
        365 => "every year".to_owned(),
        1 => "every day".to_owned(),
        days => format!("every {days} days"),
    }
}

fn capitalised(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + chars.as_str())
}

/// What is wrong since when, whether an empty battery is why, whether somebody tried to mend it, and what it is foretold
/// to come to.
pub(super) fn mend(
    system: &System,
    standing: &Standing,
    tried: Option<EventTime>,
    (outlook, is_battery): (Option<&Outlook>, bool),
) -> String {
    let since = date(standing.since, &system.zone);
    // Whether water still stands, only the floats know.
    let is_of_water = matches!(standing.finding.kind, FindingKind::Flooding | FindingKind::Ponding);
    let says = if is_of_water {
        format!("{}: found on {since} and not over yet", headline_past(&standing.finding, system))
    } else {
        let cause = if is_battery { format!(", {BATTERY_EMPTY}") } else { String::new() };
        format!("{}{cause}; known since {since}", headline(&standing.finding, system))
    };
    let tried = tried.map_or_else(String::new, |at| {
        format!(", and it stands although somebody was there on {}", date(at, &system.zone))
    });
    let foretold =
        outlook.map_or_else(String::new, |outlook| format!("; {}", flood_foretold(system, outlook)));
    format!("{says}{tried}{foretold}.")
}

/// `The “quince tree” basin flooded until 4 December 2026, for the third time in two months; …`
pub(super) fn flood_unseen(system: &System, last: &PastFlood, times: usize) -> String {
    let again = match times {
        0 | 1 => String::new(),
        _ => format!(", {times} times within two months"),
    };
    format!(
        "{} flooded until {}{again}; the water went by itself, and nobody has written down a look since: why it stood is \
         not known.",
        capitalised(&place_words(system, &last.basin)),
        date(last.until, &system.zone),
    )
}

/// `without new chips it is expected to flood around 1 June 2026 (a week ago: …)`. Between which days that lies most
/// likely, the days between which the task is best done say already.
fn flood_foretold(system: &System, outlook: &Outlook) -> String {
    let day = |at| date(at, &system.zone);
    let due = day(outlook.due);
    let before = outlook.week_ago.map(|before| day(before.due)).filter(|before| *before != due);
    let before = before.map_or_else(String::new, |before| format!(" (a week ago: {before})"));
    format!("without new chips it is expected to flood around {due}{before}")
}

/// Why litres of a system without a meter are not exact: what the engine counts where nobody measured.
pub fn unmeasured(system: &System) -> String {
    let has_probe = system.sensors.iter().any(|sensor| sensor.quantity == Quantity::Moisture);
    if has_probe {
        "reckoned by how many people use the system, since no meter counts".to_owned()
    } else {
        format!(
            "reckoned with {UNMEASURED_DOSE_L:.0}\u{a0}L for a usual dose, as of a shower, since no meter counts"
        )
    }
}

fn litres_words(system: &System, litres: f64) -> String {
    let litres = grouped(litres.max(0.0).round() as u64);
    if system.source.is_metered() {
        format!("{litres}\u{a0}L")
    } else {
        format!("about {litres}\u{a0}L ({})", unmeasured(system))
    }
}

pub(super) fn mulch_foretold(system: &System, subject: &Subject, outlook: &Outlook) -> String {
    format!(
        "{} took {} since its mulch was placed and has about {:.0} % of it left; {}.",
        capitalised(&place_words(system, subject)),
        litres_words(system, outlook.litres),
        100.0 * outlook.mulch_left,
        flood_foretold(system, outlook),
    )
}

pub(super) fn mulch_by_interval(
    system: &System,
    subject: &Subject,
    placed: Option<EventTime>,
    every: Span,
) -> String {
    let last = placed.map_or_else(
        || "nobody wrote down when that was last".to_owned(),
        |at| format!("the last time was {}", date(at, &system.zone)),
    );
    format!(
        "Nothing foretells the mulch of {} yet, so it is renewed {}; {last}.",
        place_words(system, subject),
        days(every),
    )
}

pub(super) fn unproved(
    system: &System,
    splitter: &Id,
    (work, at): (Work, EventTime),
    (seen, enough): (usize, usize),
    in_vain: Option<EventTime>,
) -> String {
    let done = if work == Work::SplitterLevelled { "was levelled" } else { "had an outlet cleared" };
    let tested = in_vain.map_or_else(String::new, |at| {
        format!("; the flow test of {} did not prove it", date(at, &system.zone))
    });
    format!(
        "Splitter {} {done} on {}, and {seen} of the {enough} ordinary doses that would prove it have come{tested}.",
        quoted(splitter.as_str()),
        date(at, &system.zone),
    )
}

/// When it was done last, for the middle of a sentence.
fn last_time(system: &System, regular: &Regular) -> String {
    let date = date(regular.last, &system.zone);
    if regular.never { format!("there is no record of it since {date}") } else { format!("last done {date}") }
}

fn due_by(system: &System, regular: &Regular) -> String {
    match regular.says {
        Says::Rule => format!("the fixed interval makes it due by {}", date(regular.due, &system.zone)),
        Says::Nothing | Says::Free { .. } | Says::Weak { .. } => {
            format!("due by {}", date(regular.due, &system.zone))
        }
    }
}

pub(super) fn inspect_outlet(system: &System, subject: &Subject, regular: &Regular) -> String {
    let place = place_words(system, subject);
    let zone = &system.zone;
    let part = |part: f64| format!("{:.0} % of its design share", 100.0 * part);
    match regular.says {
        Says::Free { doses, last, part: got } => format!(
            "The outlet at {place} flowed freely as late as {}, with {} over {doses} doses, so looking at it can wait until \
             {}, but no longer.",
            date(last, zone),
            part(got),
            date(regular.due, zone),
        ),
        Says::Weak { doses, part: got } => format!(
            "The outlet at {place} got only {} over the last {doses} doses: look at it by {}, sooner than the interval \
             says.",
            part(got),
            date(regular.due, zone),
        ),
        Says::Nothing | Says::Rule => format!(
            "The outlet at {place} is looked at {}; {}, {}.",
            days(regular.every),
            last_time(system, regular),
            due_by(system, regular),
        ),
    }
}

pub(super) fn exercise_diverter(system: &System, regular: &Regular, seen: bool) -> String {
    if seen {
        let zone = &system.zone;
        return format!(
            "The diverter was turned on {} by its own report, so turning it on purpose can wait until {}, but no longer.",
            date(regular.last, zone),
            date(regular.due, zone),
        );
    }
    format!(
        "A diverter that is never turned seizes: it is turned {}; {}, {}.",
        days(regular.every),
        last_time(system, regular),
        due_by(system, regular),
    )
}

pub(super) fn look(system: &System, regular: &Regular) -> String {
    format!(
        "Lids, labels, air gaps, roots and rodents are seen by no sensor and looked at {}; {}, {}.",
        days(regular.every),
        last_time(system, regular),
        due_by(system, regular),
    )
}

impl TaskKind {
    /// What to do, as a sentence that `{}` stands in for the place: `Clear the outlet at {}`.
    const fn title(self) -> &'static str {
        match self {
            Self::LoosenBasin => "Clean out and loosen {}",
            Self::ClearOutlet => "Clear the outlet at {}",
            Self::ClearLine => "Clear the pipe from {}",
            Self::FindLeak => "Find where water comes from at {}",
            Self::LevelSplitter => "Level {}",
            Self::CheckSlope => "Check the slope and the ground at {}",
            Self::RenewMulch => "Renew the mulch of {}",
            Self::FlowTest => "Prove {} by a flow test",
            Self::CheckProbe => "Check {}",
            Self::ChangeBattery => "Change {}",
            Self::InspectOutlet => "Inspect the outlet at {}",
            Self::ExerciseDiverter => "Turn {} to sewer and back",
            Self::YearlyLook => "Look over the whole system from {}",
        }
    }

    /// Tools to bring.
    pub const fn tools(self) -> &'static [&'static str] {
        match self {
            Self::LoosenBasin => {
                &["waterproof gloves", "boots", "garden fork", "rake", "bucket or barrow for spent mulch"]
            }
            Self::RenewMulch => {
                &["waterproof gloves", "rake", "bucket or barrow for spent mulch", "folding rule"]
            }
            Self::ClearOutlet => {
                &["waterproof gloves", "hand trowel", "pruning saw", "bucket of clean water"]
            }
            Self::ClearLine => &["waterproof gloves", "drain rods", "bucket of clean water"],
            Self::FindLeak => &["waterproof gloves", "torch", "food dye"],
            Self::LevelSplitter => &["spirit level, best a digital one", "hand trowel", "sand to bed it on"],
            Self::CheckSlope => &["long spirit level", "hand trowel", "probing rod"],
            Self::FlowTest => &["bucket with a litre scale", "watch"],
            Self::CheckProbe => &["hand trowel", "bucket of clean water", "dry cloth"],
            Self::ChangeBattery => &["screwdriver", "dry cloth"],
            Self::InspectOutlet => &["waterproof gloves", "torch", "folding rule"],
            Self::ExerciseDiverter => &["waterproof gloves", "valve spanner"],
            Self::YearlyLook => &["waterproof gloves", "torch", "folding rule", "spare labels"],
        }
    }

    /// What could hurt somebody or break a rule.
    pub fn cautions(self) -> &'static [&'static str] {
        let finding = match self {
            Self::LoosenBasin => FindingKind::Flooding,
            Self::RenewMulch => FindingKind::SlowSoak,
            Self::ClearOutlet | Self::InspectOutlet | Self::YearlyLook => FindingKind::BlockedOutlet,
            Self::LevelSplitter | Self::CheckSlope | Self::FlowTest => FindingKind::UnevenSplit,
            Self::ClearLine => FindingKind::NoWater,
            Self::FindLeak | Self::ExerciseDiverter => FindingKind::UnexpectedWater,
            Self::CheckProbe => FindingKind::SensorStuck,
            Self::ChangeBattery => FindingKind::BatteryLow,
        };
        advice(finding, None).cautions
    }

    const fn risk(self) -> &'static str {
        match self {
            Self::LoosenBasin => "water goes on standing, draws mosquitoes and can reach a neighbour",
            Self::RenewMulch => "the basin soaks slower until water stands in it",
            Self::ClearOutlet => "the outlet closes altogether and its water floods the basins beside it",
            Self::ClearLine => "water backs up towards the house",
            Self::FindLeak => "water nobody counts goes on soaking one place",
            Self::LevelSplitter => "one side drowns and the other dries",
            Self::CheckSlope => "the splitter tilts again and the work on it was for nothing",
            Self::FlowTest => "nobody knows whether the work did any good",
            Self::CheckProbe => "faults in that basin are not seen",
            Self::ChangeBattery => "a sensor falls silent, and what it watches is not seen",
            Self::InspectOutlet => "roots or mulch at the outlet grow unseen",
            Self::ExerciseDiverter => "the valve seizes and cannot be turned when a basin floods",
            Self::YearlyLook => "a broken lid, a lost label or a nest stays as it is",
        }
    }
}

impl TaskKey {
    /// What to do and where: `Clear the outlet at the “quince tree” basin`.
    pub fn title(&self, system: &System) -> String {
        self.kind.title().replace("{}", &place_words(system, &self.subject))
    }
}

/// Why a visit is on its day. `tasks` are those of the visit, the one that is due first in front; that one is of
/// `system`.
pub fn visit_reason(visit: &Visit, tasks: &[&Task], system: &System) -> String {
    let Some(first) = tasks.first() else { return String::new() };
    let due = Day::of(first.window.due, &system.zone);
    let what = format!("“{}” decides the day", inner_quotes(&first.key.title(system)));
    let before = due.0 - visit.day.0;
    let lead = if before < 0 {
        format!("{what}: it was due by {due}, and this is the first working day with room")
    } else if first.mends {
        format!("{what}: it mends what is wrong already, and should be done by {due} at the latest")
    } else {
        let spare = match before {
            0 => String::new(),
            1 => "; the visit lies a day before, which leaves room for rain or sickness".to_owned(),
            days => format!("; the visit lies {days} days before, which leaves room for rain or sickness"),
        };
        format!("{what}: it is due by {due}{spare}")
    };
    let others = match tasks.len() - 1 {
        0 => String::new(),
        1 => "; one more task can be done on the same way".to_owned(),
        more => format!("; {more} more tasks can be done on the same way"),
    };
    let moved = match (visit.moved, visit.kept) {
        (0, true) => ". The day stands as it was first planned".to_owned(),
        (0, false) => String::new(),
        (1, _) => ". The visit was first planned for another day".to_owned(),
        (times, _) => format!(". The visit was first planned for another day, and was moved {times} times"),
    };
    format!("{}{others}{moved}.", capitalised(&lead))
}

/// Quotes within quotes are single ones.
fn inner_quotes(text: &str) -> String {
    text.replace('“', "‘").replace('”', "’")
}

/// What skipping a visit risks, by its most urgent kinds of task.
pub fn skipping(tasks: &[&Task]) -> String {
    let mut sorted: Vec<_> = tasks.to_vec();
    sorted.sort_by_key(|task| (std::cmp::Reverse(task.urgency), task.window.latest));
    let mut kinds: Vec<TaskKind> = Vec::new();
    for task in &sorted {
        if !kinds.contains(&task.key.kind) {
            kinds.push(task.key.kind);
        }
    }
    let worst = sorted.first().map_or(Severity::Info, |task| task.urgency);
    let risks: Vec<_> = kinds.into_iter().take(2).map(TaskKind::risk).collect();
    let lead = match worst {
        Severity::Critical => "At once: ",
        Severity::Warning | Severity::Info => "",
    };
    if risks.is_empty() { String::new() } else { capitalised(&format!("{lead}{}.", risks.join("; "))) }
}
