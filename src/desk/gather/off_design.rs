//! Splitters whose doses of late were off the design although no finding stands about them, in words: only what stands is
//! marked in a drawing.

use super::splitter::{level_now, shifted_by};
use super::system::Lately;
use crate::advice::{place_title, quoted};
use crate::desk::sheet::Level;
use crate::ledger::StoredFinding;
use crate::model::{FindingKind, Span, SplitterIx, Subject, System};

/// The figures are of so long.
const FIGURES: Span = Span::from_days(30);

/// One sentence for each such splitter.
pub(super) fn off_design(system: &System, lately: &Lately<'_>) -> Vec<String> {
    let splitters = (0..system.splitters.len() as u16).map(SplitterIx);
    let mut told: Vec<String> = splitters.filter_map(|ix| off_now(system, ix, lately)).collect();
    told.dedup();
    told
}

/// Why the figures of a splitter are off its design while nothing is found to be wrong with it; none where they are not,
/// or where a finding tells of it.
pub(super) fn off_now(system: &System, ix: SplitterIx, lately: &Lately<'_>) -> Option<String> {
    let subject = Subject::Splitter(system.splitter(ix).id.clone());
    let is_found = lately.open.iter().any(|stored| stored.finding.subject == subject);
    if is_found || !shifted_by(system, ix, lately.open).is_empty() {
        return None;
    }
    level_now(system, ix, lately.open, lately.doses, lately.now).filter(Level::is_off)?;
    let past = lately.over.iter().filter_map(|stored| Some((stored.cleared_at?, stored)));
    let newest = past
        .filter(|(over, stored)| *over > lately.now - FIGURES && shifted(system, ix, &subject, stored))
        .max_by_key(|(over, _)| *over);
    Some(match newest {
        Some((over, stored)) => {
            let day = over.timestamp().to_zoned_datetime(system.zone.clone()).strftime("%-d %b");
            let place = place_title(system, &stored.finding.subject);
            let again = if stored.finding.kind == FindingKind::BlockedOutlet {
                format!("{place}: its outlet runs again")
            } else {
                format!("{place}: it divides the water as designed again")
            };
            format!("{again} since {day}; the figures are of 30 days.")
        }
        None => format!(
            "Splitter {} was off its design in the last 30 days, though no finding stands about it.",
            quoted(system.splitter(ix).id.as_str())
        ),
    })
}

/// Whether what was found shifted the split at `ix`: the splitter itself, or an outlet below it.
fn shifted(system: &System, ix: SplitterIx, subject: &Subject, stored: &StoredFinding) -> bool {
    let finding = &stored.finding;
    match (&finding.subject, finding.kind) {
        (of, FindingKind::UnevenSplit) => of == subject,
        (Subject::Basin(id), FindingKind::BlockedOutlet) => {
            system.find_basin(id.as_str()).is_some_and(|basin| system.tree().side_of(ix, basin).is_some())
        }
        (_, _) => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;
    use crate::ledger::DoseRecord;
    use crate::model::EventTime;

    #[test]
    fn figures_that_outlast_their_cause_are_explained_and_a_standing_one_tells_itself() {
        let system = samples::terrace();
        let now: EventTime = "2026-06-30T12:00:00Z".parse().unwrap();
        let doses: Vec<DoseRecord> = (1..28)
            .map(|day| {
                let time = format!("2026-06-{day:02}T08:00:00Z");
                samples::dose(&system, &time, Some(80.0), &[0.44, 0.06, 0.25, 0.25])
            })
            .collect();
        let mut blocked = samples::flood(&system, "fig", "2026-06-01T12:00:00Z".parse().unwrap());
        blocked.finding.kind = FindingKind::BlockedOutlet;
        let told = |open: &[StoredFinding], over: &[StoredFinding]| {
            off_design(&system, &Lately { open, over, doses: &doses, now })
        };
        assert_eq!(told(std::slice::from_ref(&blocked), &[]), Vec::<String>::new());
        let unexplained = told(&[], &[]);
        assert!(unexplained.len() == 1 && unexplained[0].contains("no finding stands"), "{unexplained:?}");
        blocked.cleared_at = Some("2026-06-28T12:00:00Z".parse().unwrap());
        let again = told(&[], &[blocked]);
        assert_eq!(again.len(), 1);
        assert!(again[0].ends_with("runs again since 28 Jun; the figures are of 30 days."), "{again:?}");
    }
}
