//! `basinward notify`: do messages get through?

use std::io::{Write, stdout};
use std::sync::Arc;

use tokio::sync::watch;

use super::input::read_systems;
use super::{Failure, Fault, SettingsFile};
use crate::clock::Clock;
use crate::ledger::{DeliveryState, StoredDelivery, View};
use crate::notify::{Body, Carriers, Delivery};
use crate::run::{pages, runtime};
use crate::secrets::Seal;
use crate::settings::{Channel, Settings};

/// Messages in trouble that are listed.
const LISTED: usize = 50;

/// Arguments of `notify`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  basinward notify                          messages that were given up or meet with trouble
  basinward notify --test mail --to ana     a test message, and why it does not get through

Channels and contacts stand in the settings: [channels.NAME] and [contacts.NAME].")]
pub struct NotifyArgs {
    /// Send a test message by this channel
    #[arg(long, value_name = "CHANNEL")]
    pub test: Option<String>,
    /// Contact to send it to [default: the first who uses the channel]
    #[arg(long, value_name = "CONTACT", requires = "test")]
    pub to: Option<String>,
    /// Where the settings come from.
    #[command(flatten)]
    pub settings: SettingsFile,
}

/// Tests a channel, or lists what is in trouble.
pub(super) fn notify(args: &NotifyArgs) -> Result<(), Failure> {
    let loaded = args.settings.load()?;
    match &args.test {
        Some(channel) => test(&loaded.settings, channel, args.to.as_deref()),
        None => list(&loaded.settings),
    }
}

fn bad(place: &str, what: String, how: String) -> Failure {
    vec![Fault { place: place.to_owned(), what, how }].into()
}

fn test(settings: &Settings, channel: &str, to: Option<&str>) -> Result<(), Failure> {
    let notices = &settings.notices;
    match notices.channels.get(channel) {
        None => {
            let known: Vec<_> = notices.channels.keys().map(String::as_str).collect();
            let how = match known[..] {
                [] => "add [channels.NAME] to the settings".to_owned(),
                _ => format!("the settings have {}", known.join(", ")),
            };
            return Err(bad("--test", format!("there is no channel `{channel}`"), how));
        }
        Some(Channel::Mqtt { topic }) => {
            let what = format!("`{channel}` carries states, not messages");
            return Err(bad("--test", what, format!("subscribe to {topic}/# and see whether states come")));
        }
        Some(Channel::Mail(_) | Channel::Webhook(_) | Channel::Command(_)) => {}
    }
    let users = notices.routing.contacts.iter();
    let mut users = users.filter(|(_, contact)| contact.channels.iter().any(|name| name == channel));
    let recipient = match to {
        Some(name) => users.find(|(known, _)| *known == name),
        None => users.next(),
    };
    let Some((recipient, _)) = recipient else {
        let (place, what) = match to {
            None => ("--test", format!("no contact uses the channel `{channel}`")),
            Some(name) if notices.routing.contacts.contains_key(name) => {
                ("--to", format!("the contact `{name}` does not use the channel `{channel}`"))
            }
            Some(name) => ("--to", format!("there is no contact `{name}`")),
        };
        return Err(bad(place, what, format!("name `{channel}` in `channels` of a [contacts.NAME]")));
    };
    let systems = read_systems(&settings.folders.systems, &settings.mqtt.prefix).unwrap_or_default();
    let (_sender, systems) = watch::channel(Arc::new(systems));
    let failed = |error: Box<dyn std::error::Error>| Failure::Failed(error);
    let seal = Seal::fresh().map_err(|no| failed(Box::new(no)))?;
    let now = Clock::wall().now();
    let sender = (seal, pages(settings, settings.desk.listen), format!("test-{}", now.millis()));
    let carriers = Carriers::new(notices, systems, sender).map_err(|no| failed(Box::new(no)))?;
    let delivery = Delivery { no: 1, recipient: recipient.clone(), at: now, body: Body::test() };
    match runtime()?.block_on(carriers.carry(channel, &delivery, now)) {
        Ok(()) => {
            writeln!(
                stdout(),
                "A test message went to {recipient} by `{channel}`, and the other side took it."
            )?;
            Ok(())
        }
        Err(trouble) => Err(failed(format!("the test message did not get through: {trouble}").into())),
    }
}

fn list(settings: &Settings) -> Result<(), Failure> {
    let read = View::open(&settings.folders.data).and_then(|view| view.deliveries_in_trouble(LISTED));
    let deliveries = read.map_err(|fault| Failure::Failed(Box::new(fault)))?;
    let mut out = stdout().lock();
    if deliveries.is_empty() {
        writeln!(out, "No message was given up, and none meets with trouble.")?;
    }
    for delivery in &deliveries {
        let StoredDelivery { no, at, recipient, channel, tries, .. } = delivery;
        let state = match &delivery.state {
            DeliveryState::Dead { at, trouble } => format!("given up at {at}: {trouble}"),
            DeliveryState::Waiting { trouble } => {
                format!("is tried again: {}", trouble.as_deref().unwrap_or("no trouble so far"))
            }
            DeliveryState::Confirmed { at } => format!("delivered at {at}"),
        };
        writeln!(out, "message {no} of {at} to {recipient} by {channel}, tried {tries} times, {state}")?;
    }
    Ok(())
}
