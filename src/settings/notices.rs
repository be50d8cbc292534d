//! Contacts, channels and routes together: what one names, another must have.

use std::collections::BTreeMap;

use super::{Channel, Origin, SettingFault, What};
use crate::alerts::{Contact, Route, Routing};

/// Who is told of what, and by which channels.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Notices {
    /// Contacts and routes.
    pub routing: Routing,
    /// Channels by name.
    pub channels: BTreeMap<String, Channel>,
}

/// As read, with the places of the entries.
#[derive(Debug, Default)]
pub(super) struct NoticesRead {
    pub(super) contacts: Vec<(String, Contact, Origin)>,
    pub(super) channels: Vec<(String, Channel)>,
    pub(super) routes: Vec<(Route, Origin)>,
}

impl NoticesRead {
    /// What names something that is not there.
    pub(super) fn conflicts(&self) -> Vec<SettingFault> {
        let mut faults = Vec::new();
        let mut fault = |origin: &Origin, what: String, how: String| {
            faults.push(SettingFault { origin: origin.clone(), what: What::Conflict { what, how } });
        };
        for (name, contact, origin) in &self.contacts {
            for channel in &contact.channels {
                let known = self.channels.iter().find(|(known, _)| known == channel);
                match known {
                    None => fault(
                        origin,
                        format!("contact `{name}` names the channel `{channel}`, which is not there"),
                        format!("add [channels.{channel}], or name another one"),
                    ),
                    Some((_, Channel::Mail(_))) if contact.mail.is_none() => fault(
                        origin,
                        format!("contact `{name}` gets mail by `{channel}` but has no address"),
                        "write mail = \"…@…\"".to_owned(),
                    ),
                    Some((_, Channel::Mqtt { .. })) => fault(
                        origin,
                        format!("`{channel}` shows states to machines; it carries no messages"),
                        format!("leave `{channel}` out of `channels`: it works without being named"),
                    ),
                    Some(_) => {}
                }
            }
        }
        for (route, origin) in &self.routes {
            let names = route.tell.iter().chain(route.escalate.iter().flat_map(|rung| &rung.tell));
            for name in names.filter(|name| !self.contacts.iter().any(|(known, ..)| known == *name)) {
                fault(
                    origin,
                    format!("route `{}` tells `{name}`, who is not there", route.name),
                    format!("add [contacts.{name}], or name somebody else"),
                );
            }
        }
        faults
    }

    /// Whether nothing was said about them.
    pub(super) fn is_empty(&self) -> bool {
        self.contacts.is_empty() && self.channels.is_empty() && self.routes.is_empty()
    }

    /// Without the places.
    pub(super) fn settled(self) -> Notices {
        let contacts = self.contacts.into_iter().map(|(name, contact, _)| (name, contact)).collect();
        let routes = self.routes.into_iter().map(|(route, _)| route).collect();
        Notices { routing: Routing { contacts, routes }, channels: self.channels.into_iter().collect() }
    }
}
