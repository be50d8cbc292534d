//! Telling people of alerts, by settings that may change while the daemon runs.

use tracing::{error, info};

use super::RunFault;
use crate::export::Sources;
use crate::link::Publisher;
use crate::model::Span;
use crate::notify::{Carriers, NoChannel, Notifier, NotifierParts};
use crate::secrets::Seal;
use crate::settings::{Notices, Settings};
use crate::telemetry::chain;

/// Messages under way, and what starts them anew.
pub(super) struct Telling {
    sources: Sources,
    publisher: Publisher,
    seal: Seal,
    /// Address of the pages in links.
    pages: String,
    /// What tells this ledger from every other.
    identity: String,
    /// What is in force.
    heeded: (Notices, Span),
    notifier: Option<Notifier>,
}

impl Telling {
    /// Starts telling people.
    ///
    /// # Errors
    /// A channel of the settings cannot be used.
    pub(super) fn start(
        settings: &Settings,
        sources: Sources,
        publisher: Publisher,
        (seal, pages): (Seal, String),
    ) -> Result<Self, RunFault> {
        let identity = sources.view.identity()?;
        let heeded = heeded(settings);
        let mut telling = Self { sources, publisher, seal, pages, identity, heeded, notifier: None };
        let carriers = telling.carriers(&telling.heeded.0)?;
        telling.notifier = Some(telling.notifier(carriers));
        Ok(telling)
    }

    /// Heeds the contacts, channels and routes of `settings` from now on, if they differ. A message that is on its
    /// way is sent again under the same key, as after a restart.
    pub(super) fn change(&mut self, settings: &Settings) {
        let heeded = heeded(settings);
        if heeded == self.heeded {
            return;
        }
        match self.carriers(&heeded.0) {
            Ok(carriers) => {
                self.heeded = heeded;
                // The old one ends before the new one begins.
                self.notifier = None;
                self.notifier = Some(self.notifier(carriers));
                info!("contacts, channels and routes have changed");
            }
            Err(fault) => {
                error!(fault = %chain(&fault), "the contacts, channels and routes are not taken over; the old ones stay in force");
            }
        }
    }

    fn carriers(&self, notices: &Notices) -> Result<Carriers, NoChannel> {
        let names = (self.seal.clone(), self.pages.clone(), self.identity.clone());
        Carriers::new(notices, self.sources.systems.clone(), names)
    }

    fn notifier(&self, carriers: Carriers) -> Notifier {
        let Sources { view, orders, commits, systems, clock } = &self.sources;
        let (notices, give_up_after) = self.heeded.clone();
        Notifier::start(NotifierParts {
            view: view.clone(),
            orders: orders.clone(),
            clock: clock.clone(),
            systems: systems.clone(),
            commits: commits.clone(),
            notices,
            give_up_after,
            carriers,
            publisher: self.publisher.clone(),
        })
    }
}

fn heeded(settings: &Settings) -> (Notices, Span) {
    (settings.notices.clone(), Span::from_hours(i64::from(settings.alerts.give_up_after_h)))
}
