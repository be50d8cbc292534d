//! Who would be told of a finding at a time.

use std::io::Write;
use std::str::FromStr;

use jiff::civil::DateTime;
use jiff::tz::TimeZone;

use super::summary::Right;
use super::{Failure, Fault};
use crate::alerts::{Foreseen, Matter, Pace, foresee};
use crate::model::{EventTime, FindingKind, Severity, Span, System};

/// What comes within this time comes at once, for a person.
const AT_ONCE: Span = Span::MINUTE;

/// A time that somebody asks about.
#[derive(Clone, Copy, Debug)]
pub(super) enum Moment {
    /// The same everywhere.
    Absolute(EventTime),
    /// On the clock of the yard.
    Yard(DateTime),
}

impl FromStr for Moment {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        text.parse().map(Self::Absolute).or_else(|_| text.parse().map(Self::Yard)).map_err(|_| {
            format!(
                "`{text}` is not a time such as 2026-03-08T22:15 on the clock of the yard, or 2026-03-09T04:15:00Z"
            )
        })
    }
}

impl Moment {
    fn on(self, zone: &TimeZone) -> EventTime {
        match self {
            Self::Absolute(at) => at,
            // A time that a change of clocks leaves out counts when the clock jumps over it.
            Self::Yard(time) => zone
                .to_timestamp(time)
                .map_or(EventTime::MAX, |at| EventTime::from_millis(at.as_millisecond())),
        }
    }
}

/// Writes who would be told of `what` (`alder-court-east/flooding`) raised at `at`, at each severity that differs.
pub(super) fn told(
    what: &str,
    at: Option<Moment>,
    now: EventTime,
    right: &Right<'_>,
    out: &mut impl Write,
) -> Result<(), Failure> {
    let (system, kind) = understood(what, right)?;
    let at = at.map_or(now, |at| at.on(&system.zone));
    let severities: &[Severity] = if kind == FindingKind::Flooding {
        &[Severity::Critical]
    } else {
        &[Severity::Warning, Severity::Info]
    };
    let mut groups: Vec<(Vec<&str>, Vec<String>)> = Vec::new();
    for &severity in severities {
        let lines = lines(system, kind, severity, at, right);
        match groups.last_mut() {
            Some((names, same)) if *same == lines => names.push(severity.name()),
            Some(_) | None => groups.push((vec![severity.name()], lines)),
        }
    }
    for (severities, lines) in groups {
        let severities = severities.join(" or ");
        writeln!(out, "{kind} at {}, {severities}, raised on {}:", system.name, clock(at, &system.zone))?;
        lines.iter().try_for_each(|line| writeln!(out, "  {line}"))?;
    }
    Ok(())
}

fn understood<'a>(what: &str, right: &'a Right<'_>) -> Result<(&'a System, FindingKind), Failure> {
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
        let what = match finding {
            "" => "it does not say which finding".to_owned(),
            _ => format!("no finding is called `{finding}`"),
        };
        let how = format!("write {}/FINDING; the findings are {}", system.id, known.join(", "));
        return Err(bad(what, how));
    };
    Ok((system, kind))
}

fn lines(
    system: &System,
    kind: FindingKind,
    severity: Severity,
    at: EventTime,
    right: &Right<'_>,
) -> Vec<String> {
    let matter = Matter { property: Some(&system.property), zone: &system.zone, kind, severity };
    let foreseen = foresee(at, &right.settings.notices.routing, &matter);
    if foreseen.is_empty() {
        return vec!["nobody: no route fits; add one to the settings as [routes.NAME]".to_owned()];
    }
    foreseen.iter().map(|foreseen| line(foreseen, at, &matter, right)).collect()
}

fn line(foreseen: &Foreseen<'_>, raised: EventTime, matter: &Matter<'_>, right: &Right<'_>) -> String {
    let Foreseen { name, route, after, at } = foreseen;
    let Some(contact) = right.settings.notices.routing.contacts.get(*name) else { return (*name).to_owned() };
    let (channels, by_route) = (contact.channels.join(" and "), &route.name);
    let Some(at) = *at else {
        return format!("{name} never: all hours of the route `{by_route}` are quiet hours of theirs");
    };
    let when = clock(at, &contact.zone);
    let how = match (route.pace, after) {
        (Pace::Daily, _) => format!("on {when}, in the daily digest"),
        (Pace::Weekly, _) => format!("on {when}, in the weekly digest"),
        (Pace::AtOnce, Some(after)) => {
            format!("on {when}, if nobody has acknowledged it {after} after the first were told")
        }
        (Pace::AtOnce, None) if at - raised <= AT_ONCE => "at once".to_owned(),
        (Pace::AtOnce, None) => {
            let why = match (route.is_open(matter, raised), contact.may_hear(matter.severity, raised)) {
                (true, true) => "", // it waits a little, so that what belongs together is found
                (true, false) => ", when their quiet hours are over",
                (false, true) => ", when the hours of the route begin",
                (false, false) => ", when the hours of the route have begun and their quiet hours are over",
            };
            format!("on {when}{why}")
        }
    };
    let again = route.repeat.filter(|_| route.pace == Pace::AtOnce);
    let again =
        again.map_or_else(String::new, |span| format!(", again every {span} until it is acknowledged"));
    format!("{name} {how}{again}; by {channels} (route `{by_route}`)")
}

/// A time as the clock in `zone` shows it.
fn clock(at: EventTime, zone: &TimeZone) -> String {
    at.timestamp().to_zoned_datetime(zone.clone()).strftime("%a %-d %b %Y, %H:%M %Z").to_string()
}
