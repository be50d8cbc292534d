//! Messages for programs: `CloudEvents` 1.0 in JSON.
//!
//! `type` is `basinward.alert.` and the reason (`opened`, `again`, `escalated`, `reminder`, `over`,
//! `summary`, `digest`), or `basinward.test`. `id` is the same at every try. `data` has `alerts`, most
//! severe first and 25 at most, each with the address that `acknowledge`s it if nobody has yet, `total`,
//! `critical`, the `subject` line and text for people, and for a single alert its `acknowledge` once more.

use serde_json::{Map, Value, json};

use super::Delivery;
use crate::notify::{Item, Links, Message};

/// Who sends.
#[derive(Clone, Debug)]
pub(super) struct Sender {
    /// Tells this daemon from every other.
    pub(super) identity: String,
    /// Address of the pages.
    pub(super) pages: String,
}

impl Sender {
    /// The key of a delivery, the same at every try and never used for another.
    pub(super) fn key(&self, delivery: u64) -> String {
        format!("{}-{delivery}", self.identity)
    }
}

/// The event of `delivery`.
pub(super) fn event(sender: &Sender, delivery: &Delivery, message: &Message, links: &Links) -> Value {
    let body = &delivery.body;
    let kind = if body.test { "basinward.test".to_owned() } else { format!("basinward.alert.{}", body.why) };
    let mut data = json!({
        "recipient": delivery.recipient,
        "subject": message.subject,
        "text": message.text,
        "total": body.total,
        "critical": body.critical,
        "alerts": body.items.iter().map(|item| alert(item, &sender.pages, links)).collect::<Vec<_>>(),
    });
    if let Some(acknowledge) = body.single().and_then(|item| links.get(&item.alert)) {
        data["acknowledge"] = acknowledge.as_str().into();
    }
    let mut event = Map::new();
    event.insert("specversion".to_owned(), "1.0".into());
    event.insert("id".to_owned(), sender.key(delivery.no).into());
    event.insert("source".to_owned(), format!("urn:basinward:{}", sender.identity).into());
    event.insert("type".to_owned(), kind.into());
    event.insert("time".to_owned(), delivery.at.to_string().into());
    if let Some(item) = body.single() {
        event.insert("subject".to_owned(), format!("{}/{}", item.system, item.finding.subject.key()).into());
    }
    event.insert("datacontenttype".to_owned(), "application/json".into());
    event.insert("data".to_owned(), data);
    Value::Object(event)
}

fn alert(item: &Item, pages: &str, links: &Links) -> Value {
    let mut alert = json!({
        "alert": item.alert,
        "system": item.system,
        "finding": item.finding.kind,
        "subject": item.finding.subject,
        "severity": item.finding.severity,
        "probability": item.finding.probability,
        "estimate": item.finding.estimate,
        "evidence": item.finding.evidence,
        "opened_at": item.opened_at,
        "stage": item.stage,
        "folded": item.folded,
        "page": format!("{pages}/alerts/{}", item.alert),
    });
    if let Some(acknowledge) = links.get(&item.alert) {
        alert["acknowledge"] = acknowledge.as_str().into();
    }
    alert
}
