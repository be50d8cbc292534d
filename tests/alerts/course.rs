//! The whole course of one flood, as people see it: mail box, webhook, link, escalation, end, and the history page.

use basinward::alerts::Deed;
use support::{Sink, until};

use crate::house::{House, event};
use crate::mail::{Mailbox, online};
use crate::rig::PATIENCE;

/// What the page says of it, in this order: in the yard, whose floods are of the past here, and among people.
const IN_THE_YARD: [&str; 2] = ["<b>Basinward</b>: raised", "<b>Basinward</b>: cleared"];
const AMONG_PEOPLE: [&str; 6] = [
    "told ana by mail",
    "told ana by hook",
    "nobody answered: told bo too, by mail",
    "<b>bo</b>: acknowledged",
    "told ana by mail that it is over",
    "told bo by mail that it is over",
];

/// Ana hears of floods by mail and by a webhook, Bo by mail when nobody answers.
fn settings(mailbox: &Mailbox, sink: &Sink) -> String {
    let (port, url) = (mailbox.port, sink.url());
    format!(
        "[channels.mail]\nkind = \"mail\"\nserver = \"localhost:{port}\"\nfrom = \"Yard <yard@example.org>\"\ntls = \"never\"\n\
         [channels.hook]\nkind = \"webhook\"\nurl = \"{url}\"\n\
         [contacts.ana]\nchannels = [\"mail\", \"hook\"]\nmail = \"ana@example.org\"\n\
         [contacts.bo]\nchannels = [\"mail\"]\nmail = \"bo@example.org\"\n\
         [routes.floods]\nseverity = \"critical\"\ntell = [\"ana\"]\nescalate = [{{ after = \"2s\", tell = [\"bo\"] }}]\n"
    )
}

#[test]
fn a_flood_is_told_escalated_acknowledged_from_the_mail_and_closed_and_its_page_shows_each_step() {
    if !online() {
        return;
    }
    let (mailbox, sink) = (Mailbox::start(&[]), Sink::start());
    let mut house = House::new(1, &settings(&mailbox, &sink));
    house.overflow(0, "quince", true);
    until(PATIENCE, "Ana has the mail, the webhook the event, and Bo the escalation", || {
        mailbox.mails().len() == 2 && sink.taken() == 1
    });
    let alert = house.floods().remove(0).no;
    let mails = mailbox.mails();
    assert_eq!(
        (&mails[0]["to"][0], &mails[1]["to"][0]),
        (&"ana@example.org".into(), &"bo@example.org".into())
    );
    let escalated = mails[1]["headers"]["subject"].as_str().expect("a subject");
    assert!(escalated.starts_with("Nobody answered."), "{escalated}");
    assert_eq!(event(&sink.posts()[0])["type"], "basinward.alert.opened");

    // What looks into mail follows links; that shows a page with a button, and changes nothing.
    let text = mails[1]["bodies"]["text/plain"].as_str().expect("plain text");
    let link = text.lines().find_map(|line| line.strip_prefix("Acknowledge: ")).expect("a link");
    let page = House::ask("GET", link);
    assert!(page.starts_with("HTTP/1.1 200") && page.contains("method=\"post\""), "{page}");
    assert!(page.contains("Acknowledge</button>"), "{page}");
    until(PATIENCE, "all three answers are written down", || house.delivered(alert) == 3);
    house.kill();
    house.start();
    assert_eq!(house.deeds(alert), [(None, Deed::Opened)], "still open, also after a restart");
    assert!(House::ask("POST", link).starts_with("HTTP/1.1 200"));

    house.overflow(0, "quince", false);
    until(PATIENCE, "everybody hears that it is over", || mailbox.mails().len() == 4 && sink.taken() == 2);
    let page = house.yard.page(&format!("/alerts/{alert}"));
    let history = page.split_once("<h2>History</h2>").and_then(|(_, rest)| rest.split_once("</ol>"));
    let (history, _) = history.expect("a history");
    for steps in [&IN_THE_YARD[..], &AMONG_PEOPLE] {
        let mut rest = history;
        for step in steps {
            let at = rest.find(step).unwrap_or_else(|| panic!("no {step:?} in its place: {history}"));
            rest = &rest[at + step.len()..];
        }
    }
    let (entries, times) = (history.matches("<li>").count(), history.matches("<time").count());
    assert_eq!((entries, times), (9, 9), "every step says when: {history}");
}
