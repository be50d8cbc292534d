//! `[alerts]`: what holds for all messages about alerts.

use serde::Deserialize;

use super::{Kind, Section, Setting};

/// What holds for all messages about alerts.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Alerts {
    /// Address of the pages in links, without a slash at its end; empty: as `[desk] listen`.
    pub pages: String,
    /// How long a message is tried before it is given up, hours.
    pub give_up_after_h: u16,
    /// How soon after its end an alert opens again rather than another one, hours.
    pub returns_within_h: u16,
}

pub(super) const SECTION: Section = Section {
    name: "alerts",
    meaning: "Messages about alerts; who gets them stands in [contacts.NAME], [channels.NAME] and [routes.NAME]",
    settings: &[
        Setting {
            key: "pages",
            kind: Kind::Text,
            default: "",
            meaning: "Address of the pages for links in messages, such as https://yard.example; empty means `listen`",
        },
        Setting {
            key: "give_up_after_h",
            kind: Kind::Whole { min: 1, max: 720, unit: "hours" },
            // RFC 5321, section 4.5.4.1: mail is tried for 4 to 5 days at least, for a server may be down over a weekend.
            default: "96",
            meaning: "How long a message that cannot be delivered is tried before it is given up, and shown as such",
        },
        Setting {
            key: "returns_within_h",
            kind: Kind::Whole { min: 1, max: 720, unit: "hours" },
            default: "24",
            meaning: "What comes back this soon after its alert was closed opens that alert again, with its history; later it is another one",
        },
    ],
};
