//! Those outside: a channel that carries messages, and a reader that everything is passed on to. Both fail at times,
//! and both may have taken what the daemon never learns of.

use std::collections::{BTreeMap, BTreeSet};

use basinward::alerts::{Contact, Pace, Route, Routing};
use basinward::ledger::{ExportStep, LedgerFault, LoggedEffect, NoticeOrder, Order, View};
use basinward::model::{EventTime, Severity, Span};
use basinward::notify::{self, Trouble};
use jiff::civil::{Time, Weekday};
use jiff::tz::TimeZone;

use crate::chance::Chance;
use crate::yards::ZONE;

const CHANNEL: &str = "phone";
const CURSOR: &str = "reader of-everything";
/// Messages that are tried at once.
const AT_ONCE: usize = 4;
/// Readings and effects of one step.
const A_STEP: usize = 300;
/// As the settings have it where nobody says otherwise.
const GIVE_UP_AFTER: Span = Span::from_hours(96);

/// Everything goes to one person at once.
pub(crate) fn routing() -> Routing {
    let ana = Contact {
        zone: TimeZone::get(ZONE).expect("it comes with the library"),
        quiet: None,
        channels: vec![CHANNEL.to_owned()],
        mail: None,
        most_an_hour: 1000,
        digest_at: Time::midnight(),
        digest_day: Weekday::Monday,
    };
    let all = Route {
        name: "all".to_owned(),
        properties: Vec::new(),
        findings: Vec::new(),
        severity: Severity::Info,
        hours: None,
        pace: Pace::AtOnce,
        tell: vec!["ana".to_owned()],
        repeat: None,
        escalate: Vec::new(),
    };
    Routing { contacts: [("ana".to_owned(), ana)].into(), routes: vec![all] }
}

/// A phone that messages come to.
#[derive(Default)]
pub(crate) struct Phone {
    /// What came, by the key that a delivery has at every try.
    pub(crate) taken: BTreeMap<u64, Vec<String>>,
    pub(crate) is_out_of_reach: bool,
    under_way: BTreeSet<u64>,
}

impl Phone {
    /// Tries what is due; what came of each, to be noted.
    pub(crate) fn try_due(
        &mut self,
        view: &View,
        now: EventTime,
        chance: &mut Chance,
    ) -> Result<Vec<(u64, Order)>, LedgerFault> {
        let due = view.deliveries_due(CHANNEL, now, 2 * AT_ONCE)?;
        let fresh = due.into_iter().filter(|delivery| !self.under_way.contains(&delivery.no));
        let mut orders = Vec::new();
        for delivery in fresh.take(AT_ONCE - AT_ONCE.min(self.under_way.len())).collect::<Vec<_>>() {
            let heard = !self.is_out_of_reach && chance.happens(0.9);
            if heard {
                self.taken.entry(delivery.no).or_default().push(delivery.body.clone());
            }
            // It was heard, but the answer got lost.
            let confirmed = heard && chance.happens(0.95);
            let result = if confirmed { Ok(()) } else { Err(Trouble::new("no answer")) };
            let outcome = notify::outcome(&delivery, result, now, GIVE_UP_AFTER);
            self.under_way.insert(delivery.no);
            orders.push((
                delivery.no,
                Order::Notice(NoticeOrder::Tried { at: now, delivery: delivery.no, outcome }),
            ));
        }
        Ok(orders)
    }

    pub(crate) fn noted(&mut self, delivery: u64) {
        self.under_way.remove(&delivery);
    }

    /// The daemon is gone, and with it what it knew of what is under way.
    pub(crate) fn forget(&mut self) {
        self.under_way.clear();
    }
}

/// A server outside, and where the daemon is with it.
#[derive(Default)]
pub(crate) struct Reader {
    /// By system, sensor and time.
    pub(crate) points: BTreeMap<(String, String, EventTime), f64>,
    pub(crate) effects: BTreeMap<u64, LoggedEffect>,
    pub(crate) is_down: bool,
    /// The daemon waits until its place is stored.
    pub(crate) is_placing: bool,
}

impl Reader {
    /// The next step of passing everything on, as `export` takes them; none if there is nothing to do just now.
    pub(crate) fn pass_on(&mut self, view: &View) -> Result<Option<Order>, LedgerFault> {
        if self.is_down || self.is_placing {
            return Ok(None);
        }
        let place = view.export_place(CURSOR)?;
        let Some(after) = place.readings else { return Ok(Some(self.place(ExportStep::Begin))) };
        let effects = view.changes_since(place.effects, A_STEP)?;
        if let Some(last) = effects.last().map(|effect| effect.seq) {
            self.effects.extend(effects.into_iter().map(|effect| (effect.seq, effect)));
            return Ok(Some(self.place(ExportStep::Effects(last))));
        }
        let fresh = view.readings_since(after, A_STEP)?;
        if fresh.seq != after {
            self.take(fresh.readings);
            return Ok(Some(self.place(ExportStep::Readings(fresh.seq))));
        }
        let Some(past) = place.past else { return Ok(None) };
        let page = view.past_readings(&past, A_STEP)?;
        self.take(page.readings);
        Ok(Some(self.place(ExportStep::Past(page.next))))
    }

    fn take(&mut self, readings: Vec<basinward::ledger::Latest>) {
        let point =
            |it: basinward::ledger::Latest| ((it.system.to_string(), it.sensor.to_string(), it.at), it.value);
        self.points.extend(readings.into_iter().map(point));
    }

    fn place(&mut self, step: ExportStep) -> Order {
        self.is_placing = true;
        Order::Export { cursor: CURSOR.to_owned(), step }
    }
}
