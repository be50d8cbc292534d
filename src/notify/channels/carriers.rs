//! All channels of the settings, ready to carry.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::Arc;

use tokio::sync::watch;

use super::command::Program;
use super::event::Sender;
use super::mail::Mail;
use super::webhook::Webhook;
use super::{Trouble, event};
use crate::model::{EventTime, System};
use crate::notify::{Body, Item, Links, acknowledge_address, message};
use crate::secrets::Seal;
use crate::settings::{Channel, Notices};

/// Something to be delivered.
#[derive(Clone, Debug, PartialEq)]
pub struct Delivery {
    /// Its number, the same at every try.
    pub no: u64,
    /// Who.
    pub recipient: String,
    /// When it was decided upon.
    pub at: EventTime,
    /// What it says.
    pub body: Body,
}

/// One channel.
pub enum Carrier {
    /// E-mail.
    Mail(Box<Mail>),
    /// HTTP.
    Webhook(Box<Webhook>),
    /// A local program.
    Command(Program),
}

/// A channel that cannot work as the settings have it.
#[derive(Debug, thiserror::Error)]
#[error("the channel `{name}` cannot be used: {why}")]
pub struct NoChannel {
    /// Its name.
    pub name: String,
    /// Why, in words.
    pub why: Trouble,
}

/// All channels.
pub struct Carriers {
    by_name: BTreeMap<String, Carrier>,
    addresses: BTreeMap<String, String>,
    systems: watch::Receiver<Arc<Vec<Arc<System>>>>,
    seal: Seal,
    /// Address of the pages, without a slash at its end.
    pages: String,
    sender: Sender,
}

impl Carriers {
    /// The channels of `notices`; `identity` tells this daemon from every other.
    ///
    /// # Errors
    /// A channel cannot work as it is set.
    pub fn new(
        notices: &Notices,
        systems: watch::Receiver<Arc<Vec<Arc<System>>>>,
        (seal, pages, identity): (Seal, String, String),
    ) -> Result<Self, NoChannel> {
        let mut carriers = BTreeMap::new();
        for (name, channel) in &notices.channels {
            let carrier = match channel {
                Channel::Mail(settings) => Mail::new(settings).map(|mail| Carrier::Mail(Box::new(mail))),
                Channel::Webhook(settings) => {
                    Webhook::new(settings).map(|webhook| Carrier::Webhook(Box::new(webhook)))
                }
                Channel::Command(settings) => Ok(Carrier::Command(Program::new(settings))),
                Channel::Mqtt { .. } => continue,
            };
            let carrier = carrier.map_err(|why| NoChannel { name: name.clone(), why })?;
            carriers.insert(name.clone(), carrier);
        }
        let contacts = notices.routing.contacts.iter();
        let addresses = contacts.filter_map(|(name, contact)| Some((name.clone(), contact.mail.clone()?)));
        let sender = Sender { identity, pages: pages.clone() };
        Ok(Self { by_name: carriers, addresses: addresses.collect(), systems, seal, pages, sender })
    }

    /// Their names.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.by_name.keys().map(String::as_str)
    }

    /// Carries a message, once; a try takes half a minute at most.
    ///
    /// # Errors
    /// It may have arrived or not: it can be carried again, under the same key.
    pub async fn carry(&self, channel: &str, delivery: &Delivery, now: EventTime) -> Result<(), Trouble> {
        let Some(carrier) = self.by_name.get(channel) else {
            return Err(Trouble::new(format!("the settings have no channel `{channel}`")));
        };
        let systems = Arc::clone(&self.systems.borrow());
        let links = self.links(delivery);
        let message = message(&delivery.body, &systems, &self.pages, &links);
        match carrier {
            Carrier::Mail(mail) => {
                let Some(to) = self.addresses.get(&delivery.recipient) else {
                    let says =
                        format!("contact `{}` has no mail address in the settings", delivery.recipient);
                    return Err(Trouble::new(says));
                };
                mail.send(to, delivery, &message, &self.sender.key(delivery.no)).await
            }
            Carrier::Webhook(webhook) => {
                let event = event::event(&self.sender, delivery, &message, &links);
                webhook.post(&self.sender.key(delivery.no), &event, now).await
            }
            Carrier::Command(program) => {
                program.run(&event::event(&self.sender, delivery, &message, &links)).await
            }
        }
    }

    /// Addresses that acknowledge what stands and nobody has taken on, each for one alert.
    fn links(&self, delivery: &Delivery) -> Links {
        let waits = |item: &&Item| !item.over && !item.is_acknowledged();
        let items = delivery.body.items.iter().filter(waits);
        let link = |item: &Item| {
            let what = (item.alert, delivery.no);
            acknowledge_address(&self.seal, &self.pages, what, &delivery.recipient, delivery.at)
        };
        items.map(|item| (item.alert, link(item))).collect()
    }
}

impl fmt::Debug for Carriers {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Carriers").field("names", &self.by_name.keys()).finish_non_exhaustive()
    }
}
