//! Mulch that falls due.

use super::Draft;
use crate::model::{Chip, EventTime, FindingKind, Severity, Span, Subject, System, Work};
use crate::upkeep::task::{Material, Task, TaskKind, Window};
use crate::upkeep::{Day, Facts, Outlook, Rules, english};

/// Chips come in bags and barrows: quantities are rounded up to this, litres.
const ROUNDED_TO: f64 = 10.0;
/// Mulch of unknown age is renewed within this once a system is watched.
const CATCH_UP: Span = Span::from_days(60);
/// Beyond this a forecast is a guess that nobody plans by.
const FAR: Span = Span::from_days(3 * 365);

pub(super) fn tasks(facts: &Facts<'_>, rules: &Rules) -> Vec<Task> {
    let basins = facts.system.basins.iter();
    basins
        .filter_map(|basin| {
            let subject = Subject::Basin(basin.id.clone());
            let draft = match outlook(facts, &subject) {
                // Foretold of the mulch that was there before: the next day tells of the new one.
                Some(outlook) if facts.done(&subject, Work::MulchRenewed) > Some(outlook.made) => {
                    return None;
                }
                Some(outlook) => foretold(facts, subject, outlook)?,
                None => by_interval(facts, subject, rules),
            };
            Some(draft.at(facts))
        })
        .collect()
}

/// What is foretold of the basin that `subject` is.
pub(super) fn outlook<'a>(facts: &Facts<'a>, subject: &Subject) -> Option<&'a Outlook> {
    let Subject::Basin(id) = subject else { return None };
    facts.outlooks.iter().find(|outlook| outlook.basin == *id)
}

/// Whether the basin that `subject` is floods now, so that nothing is said of when it first will.
pub(super) fn floods(facts: &Facts<'_>, subject: &Subject) -> bool {
    let standing = facts.standing.iter().map(|standing| &standing.finding);
    standing.into_iter().any(|finding| finding.kind == FindingKind::Flooding && finding.subject == *subject)
}

/// When mulch is due whose basin is expected to flood at `flood`, and unlikely to before `earliest`: half-way. If what is
/// foretold is spread evenly about its middle, water stands before that in about one case of four. Soaking that slows
/// shows well before a flood, and then the finding sets the day.
pub fn due(earliest: EventTime, flood: EventTime) -> EventTime {
    earliest + (flood - earliest).scaled(0.5)
}

fn foretold(facts: &Facts<'_>, subject: Subject, outlook: &Outlook) -> Option<Draft> {
    if outlook.due > facts.now + FAR {
        return None;
    }
    let due = due(outlook.earliest, outlook.due);
    let window = Window { earliest: outlook.earliest, due, latest: outlook.due };
    Some(Draft {
        kind: TaskKind::RenewMulch,
        window,
        urgency: Severity::Info,
        mends: false,
        reason: english::mulch_foretold(facts.system, &subject, outlook),
        materials: chips(facts.system, &subject, outlook.mulch_left).into_iter().collect(),
        subject,
    })
}

/// Where no sensor tells anything, the interval alone decides.
fn by_interval(facts: &Facts<'_>, subject: Subject, rules: &Rules) -> Draft {
    let placed = facts.done(&subject, Work::MulchRenewed).or_else(|| placed(facts, &subject));
    let last = placed.unwrap_or(facts.begun());
    let every = rules.renew_mulch_every;
    let due = if placed.is_some() { last + every } else { (last + every).max(facts.since + CATCH_UP) };
    let window = Window { earliest: due - every.scaled(0.25), due, latest: due + every.scaled(0.25) };
    Draft {
        kind: TaskKind::RenewMulch,
        window,
        urgency: Severity::Info,
        mends: false,
        reason: english::mulch_by_interval(facts.system, &subject, placed, every),
        materials: chips(facts.system, &subject, 0.5).into_iter().collect(),
        subject,
    }
}

fn placed(facts: &Facts<'_>, subject: &Subject) -> Option<EventTime> {
    let Subject::Basin(id) = subject else { return None };
    let basin = facts.system.basin(facts.system.find_basin(id.as_str())?);
    Some(Day::start_of(basin.mulch.placed?, &facts.system.zone))
}

/// Chips that bring the mulch of a basin back to its depth, where the part `left` of it is left: one millimetre on one
/// square metre is one litre.
pub(super) fn chips(system: &System, subject: &Subject, left: f64) -> Option<Material> {
    let Subject::Basin(id) = subject else { return None };
    let basin = system.basin(system.find_basin(id.as_str())?);
    let lost_mm = basin.mulch.depth_mm * (1.0 - left.clamp(0.0, 1.0));
    let litres = (basin.area_m2 * lost_mm / ROUNDED_TO).ceil().max(1.0) * ROUNDED_TO;
    let what = match basin.mulch.chip {
        Chip::Fine => "wood chips, fine",
        Chip::Medium => "wood chips, medium",
        Chip::Coarse => "wood chips, coarse",
    };
    Some(Material { what, quantity: litres, unit: "L" })
}
