//! Who would be told of a finding at a time.

use std::io::Write;

use super::summary::Right;
use super::{Failure, Fault};
use crate::alerts::{Matter, Pace, reached};
use crate::model::{EventTime, FindingKind, Severity};

/// Writes who would be told of `what` (`alder-court-east/flooding`) at `at`, at each severity that differs.
pub(super) fn told(
    what: &str,
    at: EventTime,
    right: &Right<'_>,
    out: &mut impl Write,
) -> Result<(), Failure> {
    let bad = |what: String, how: String| -> Failure {
        vec![Fault { place: "--told".to_owned(), what, how }].into()
    };
    let (system, finding) = what.split_once('/').unwrap_or((what, ""));
    let Some(system) = right.systems.iter().find(|known| known.id.as_str() == system) else {
        let known: Vec<_> = right.systems.iter().map(|system| system.id.as_str()).collect();
        return Err(bad(
            format!("no system is called `{system}`"),
            format!("the systems are {}", known.join(", ")),
        ));
    };
    let Some(kind) = FindingKind::named(finding) else {
        let known: Vec<_> = FindingKind::ALL.iter().map(|kind| kind.name()).collect();
        return Err(bad(
            format!("no finding is called `{finding}`"),
            format!("the findings are {}", known.join(", ")),
        ));
    };
    let severities: &[Severity] = if kind == FindingKind::Flooding {
        &[Severity::Critical]
    } else {
        &[Severity::Warning, Severity::Info]
    };
    for &severity in severities {
        writeln!(out, "{} at {}, as {}, at {at}:", kind, system.name, severity.name())?;
        let matter = Matter { property: Some(&system.property), zone: &system.zone, kind, severity };
        let reached = reached(at, &right.settings.notices.routing, &matter);
        if reached.is_empty() {
            writeln!(out, "  nobody: no route fits; add one to the settings as [routes.NAME]")?;
        }
        for (route, contact, after, awake) in reached {
            let when = match (route.pace, after, awake) {
                (Pace::Daily, ..) => "in the next daily digest".to_owned(),
                (Pace::Weekly, ..) => "in the next weekly digest".to_owned(),
                (Pace::AtOnce, None, true) => "at once".to_owned(),
                (Pace::AtOnce, None, false) => "when quiet hours end and the route is open".to_owned(),
                (Pace::AtOnce, Some(after), _) => format!("{after} later, if nobody acknowledges"),
            };
            let channels =
                right.settings.notices.routing.contacts.get(contact).map(|it| it.channels.join(", "));
            writeln!(out, "  {contact}, {when}, by {} (route {})", channels.unwrap_or_default(), route.name)?;
        }
    }
    Ok(())
}
