//! Yards that heed what people write down while they look: what a record says is done there, and a flow test gets its
//! water.

use std::collections::BTreeSet;

use simulators::radio::Message;
use tracing::warn;

use super::deeds::{self, Deed};
use super::tended::{TendedYard, arrived};
use crate::flowtest::Method;
use crate::ledger::{LedgerFault, ServiceFilter, View};
use crate::model::{EventTime, Id, RecordKey, Span};

/// Looks at the yards between two looks into the ledger, unless so much time passes in the yards: what is written down
/// is done soon in either.
const LOOKS: u32 = 25;
const SOON: Span = Span::from_mins(30);
/// Records and tests of one look.
const MOST: usize = 100;

/// Told of the yards whenever something was done in them.
type Remember = dyn FnMut(&[TendedYard]) + Send;

/// Yards, and whose word they have done already.
pub(super) struct Heeding {
    yards: Vec<TendedYard>,
    view: View,
    /// What was written down before is done.
    since: EventTime,
    heeded: BTreeSet<RecordKey>,
    looks: u32,
    /// When the ledger was looked into.
    looked: EventTime,
    /// Remembers what was done.
    remember: Box<Remember>,
}

impl Heeding {
    /// `yards` that heed what `view` tells of from `since` on; what is done is told to `remember`.
    pub(super) fn new(
        yards: Vec<TendedYard>,
        view: View,
        since: EventTime,
        remember: impl FnMut(&[TendedYard]) + Send + 'static,
    ) -> Result<Self, LedgerFault> {
        let (heeded, remember) = (BTreeSet::new(), Box::new(remember));
        let mut heeding = Self { yards, view, since, heeded, looks: 0, looked: since, remember };
        let known: Vec<_> = heeding.news()?.into_iter().map(|(key, ..)| key).collect();
        heeding.heeded.extend(known);
        Ok(heeding)
    }

    /// Lets time pass and returns what the sensors sent.
    pub(super) fn live_until(&mut self, until: EventTime) -> Vec<Message> {
        self.looks += 1;
        if self.looks >= LOOKS || until - self.looked >= SOON {
            (self.looks, self.looked) = (0, until);
            match self.news() {
                Ok(news) => news.into_iter().for_each(|it| self.heed(it)),
                Err(fault) => warn!(%fault, "the demonstration cannot see what was written down"),
            }
        }
        arrived(&mut self.yards, until)
    }

    /// What was written down and is not done: key, system and deeds.
    fn news(&self) -> Result<Vec<(RecordKey, Id, Vec<Deed>)>, LedgerFault> {
        let filter = ServiceFilter { from: Some(self.since), ..ServiceFilter::default() };
        let records = self.view.services(&filter, MOST)?.into_iter();
        let mut news: Vec<_> = records
            .map(|it| (it.key, it.system, deeds::of_record(&it.record.subject, &it.record.work)))
            .collect();
        for yard in &self.yards {
            let Ok(system) = Id::new(yard.id()) else { continue };
            let tests = self.view.flow_tests(&system, self.since, EventTime::MAX, MOST)?.into_iter();
            let running = tests.filter(|test| test.method == Method::Probes && test.ended.is_none());
            let water = |litres: Option<f64>| vec![deeds::water(litres)];
            news.extend(running.map(|test| (test.key, system.clone(), water(test.litres))));
        }
        news.retain(|(key, ..)| !self.heeded.contains(key));
        Ok(news)
    }

    fn heed(&mut self, (key, system, deeds): (RecordKey, Id, Vec<Deed>)) {
        if let Some(yard) = self.yards.iter_mut().find(|yard| yard.id() == system.as_str()) {
            yard.put_to(deeds, Span::MINUTE);
            (self.remember)(&self.yards);
        }
        self.heeded.insert(key);
    }
}
