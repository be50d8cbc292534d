//! Which alerts an address asks for.

use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::Deserialize;
use utoipa::IntoParams;

use super::AlertChoice;
use crate::ledger::AlertFilter;
use crate::model::{EventTime, FindingKind, Id, Severity};

/// Which alerts an address asks for, as it stands there; what is empty asks for nothing in particular.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct AlertsAsked {
    /// `standing` (without it), `open`, `acknowledged`, `snoozed`, `closed` or `all`.
    #[serde(default)]
    pub show: String,
    /// `critical`, `warning` or `info`.
    #[serde(default)]
    pub severity: String,
    /// Of this property only.
    #[serde(default)]
    pub property: String,
    /// Of this system only.
    #[serde(default)]
    pub system: String,
    /// Of this kind of finding only.
    #[serde(default)]
    pub kind: String,
    /// Opened on this day or later (RFC 3339, a date or an instant).
    #[serde(default)]
    pub since: String,
}

/// The same, understood.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct AlertSieve {
    /// Of which stage.
    pub choice: AlertChoice,
    /// Of this property only.
    pub property: Option<String>,
    /// What the ledger looks for.
    pub filter: AlertFilter,
}

impl AlertsAsked {
    /// What is asked for; days begin in `zone`.
    ///
    /// # Errors
    /// In words: what is not understood, and what could stand there.
    pub fn understood(&self, zone: &TimeZone) -> Result<AlertSieve, String> {
        let choice = match self.show.as_str() {
            "" => AlertChoice::Standing,
            name => AlertChoice::named(name).ok_or_else(|| {
                format!("`show` must be one of {}", AlertChoice::ALL.map(AlertChoice::name).join(", "))
            })?,
        };
        let kind = one_of("kind", &self.kind, FindingKind::named, &FindingKind::ALL.map(FindingKind::name))?;
        let severity = one_of("severity", &self.severity, Severity::named, &["critical", "warning", "info"])?;
        let since = match self.since.as_str() {
            "" => None,
            text => {
                Some(begin(text, zone).ok_or("`since` must be a date such as 2026-03-01, or an instant")?)
            }
        };
        let system = match self.system.as_str() {
            "" => None,
            id => Some(Id::new(id).map_err(|_| "`system` must be the id of a system".to_owned())?),
        };
        let property = (!self.property.is_empty()).then(|| self.property.clone());
        let standing = match choice {
            AlertChoice::All => None,
            AlertChoice::Closed => Some(false),
            AlertChoice::Standing | AlertChoice::Open | AlertChoice::Acknowledged | AlertChoice::Snoozed => {
                Some(true)
            }
        };
        let filter = AlertFilter { system, standing, severity, kind, since, ..AlertFilter::default() };
        Ok(AlertSieve { choice, property, filter })
    }

    /// It asks for more than a stage.
    pub fn narrows(&self) -> bool {
        *self != Self { show: self.show.clone(), ..Self::default() }
    }

    /// The same of another stage, as an address.
    pub fn address(&self, choice: AlertChoice) -> String {
        let set = [
            ("severity", &self.severity),
            ("property", &self.property),
            ("system", &self.system),
            ("kind", &self.kind),
            ("since", &self.since),
        ];
        let mut query = form_urlencoded::Serializer::new(String::new());
        query.append_pair("show", choice.name());
        query.extend_pairs(set.into_iter().filter(|(_, value)| !value.is_empty()));
        format!("/alerts?{}", query.finish())
    }
}

fn one_of<T>(
    field: &str,
    text: &str,
    named: impl Fn(&str) -> Option<T>,
    names: &[&str],
) -> Result<Option<T>, String> {
    match text {
        "" => Ok(None),
        _ => named(text).map(Some).ok_or_else(|| format!("`{field}` must be one of {}", names.join(", "))),
    }
}

/// The instant, or the beginning of the day in `zone`.
fn begin(text: &str, zone: &TimeZone) -> Option<EventTime> {
    text.parse().ok().or_else(|| {
        let day: Date = text.parse().ok()?;
        let begins = day.to_zoned_datetime(zone.clone()).ok()?;
        Some(EventTime::from_millis(begins.timestamp().as_millisecond()))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(query: &str) -> AlertsAsked {
        let pairs: Vec<(String, String)> = form_urlencoded::parse(query.as_bytes()).into_owned().collect();
        let of = |name: &str| {
            pairs.iter().find(|(key, _)| key == name).map_or(String::new(), |(_, value)| value.clone())
        };
        AlertsAsked {
            show: of("show"),
            severity: of("severity"),
            property: of("property"),
            system: of("system"),
            kind: of("kind"),
            since: of("since"),
        }
    }

    #[test]
    fn an_address_says_what_it_asks_for_and_reads_as_it_is_written() {
        let denver = TimeZone::get("America/Denver").unwrap();
        let address = "show=closed&severity=warning&property=elm-row&kind=slow-soak&since=2026-03-01";
        let asked = asked(address);
        assert_eq!(asked.address(AlertChoice::Closed), format!("/alerts?{address}"));
        let sieve = asked.understood(&denver).unwrap();
        assert_eq!((sieve.choice, sieve.filter.standing), (AlertChoice::Closed, Some(false)));
        assert_eq!(sieve.filter.since, Some("2026-03-01T07:00:00Z".parse().unwrap()));
        assert!(asked.narrows() && !AlertsAsked { show: "open".into(), ..AlertsAsked::default() }.narrows());
    }

    #[test]
    fn what_is_not_understood_is_named_with_what_could_be_said() {
        let says = |query: &str| asked(query).understood(&TimeZone::UTC).unwrap_err();
        assert!(says("severity=bad").contains("critical, warning, info"));
        assert!(says("show=gone").contains("standing, open"));
        assert!(says("kind=rain").contains("slow-soak"));
        assert!(says("since=yesterday").contains("2026-03-01"));
    }
}
