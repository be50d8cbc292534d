//! The link in a message that acknowledges its alert: signed, for one contact, good for a week, used once.

use crate::alerts::AlertNo;
use crate::model::{EventTime, Span};
use crate::secrets::Seal;

/// How long a link is good.
const GOOD_FOR: Span = Span::from_days(7);

/// What a link says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pass {
    /// The alert that it acknowledges.
    pub alert: AlertNo,
    /// Whom it was sent to.
    pub recipient: String,
    /// Its own mark.
    pub mark: String,
    /// Until when it is good.
    pub until: EventTime,
}

/// The address in message number `delivery` under which `recipient` acknowledges `alert`; the message was
/// decided upon at `at`, so that its words are the same at every try.
pub fn acknowledge_address(
    seal: &Seal,
    pages: &str,
    (alert, delivery): (AlertNo, u64),
    recipient: &str,
    at: EventTime,
) -> String {
    let until = (at + GOOD_FOR).millis();
    format!("{pages}/acknowledge/{}", seal.sign(&format!("ack {alert} {delivery} {until} {recipient}")))
}

/// What a link says; none if we did not write it.
pub fn read_pass(seal: &Seal, signed: &str) -> Option<Pass> {
    let text = seal.read(signed)?;
    let mut words = text.strip_prefix("ack ")?.splitn(4, ' ');
    let mut number = || words.next()?.parse::<i64>().ok();
    let (alert, delivery, until) = (number()?, number()?, number()?);
    Some(Pass {
        alert: AlertNo(alert.unsigned_abs()),
        recipient: words.next()?.to_owned(),
        mark: format!("{alert}-{delivery}"),
        until: EventTime::from_millis(until),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_link_says_whose_it_is_and_for_what() {
        let folder = tempfile::tempdir().unwrap();
        let seal = Seal::kept_in(&folder.path().join("key")).unwrap();
        let address = acknowledge_address(
            &seal,
            "https://yard.example",
            (AlertNo(7), 31),
            "ana maria",
            EventTime::from_secs(0),
        );
        let signed = address.strip_prefix("https://yard.example/acknowledge/").unwrap();
        let pass = read_pass(&seal, signed).unwrap();
        assert_eq!(
            (pass.alert, pass.recipient.as_str(), pass.mark.as_str()),
            (AlertNo(7), "ana maria", "7-31")
        );
        assert_eq!(pass.until, EventTime::from_secs(7 * 86_400));
        assert_eq!(read_pass(&seal, &seal.sign("something else")), None);
    }
}
