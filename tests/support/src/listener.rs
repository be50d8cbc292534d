//! Somebody else who listens.

use std::io::{BufReader, Write};
use std::net::TcpStream;
use std::time::Duration;

use crate::device::{client_id, login};
use crate::packet::{self, PUBLISH, Packet, SUBACK};

/// A subscriber at QoS 1 with a transient session.
#[derive(Debug)]
pub struct Listener {
    to: TcpStream,
    from: BufReader<TcpStream>,
    early: Vec<Heard>,
}

/// A message that a [`Listener`] heard.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heard {
    /// Its topic.
    pub topic: String,
    /// Its payload, as text.
    pub payload: String,
    /// Kept by the broker from before.
    pub retained: bool,
}

impl Listener {
    /// Subscribes at 127.0.0.1 and waits until that is confirmed.
    ///
    /// # Panics
    /// When the broker does not confirm.
    pub fn subscribe(port: u16, filter: &str) -> Self {
        let (mut to, mut from) = login(port, &client_id("listener"), None).expect("connects");
        to.write_all(&packet::subscribe(filter)).expect("subscribes");
        let mut early = Vec::new();
        loop {
            let packet = Packet::read(&mut from).expect("an answer to the subscription");
            if packet.kind() == SUBACK {
                break;
            }
            early.extend(heard(&mut to, &packet));
        }
        early.reverse();
        Self { to, from, early }
    }

    /// The next message.
    ///
    /// # Panics
    /// When none comes within 30 seconds.
    pub fn hear(&mut self) -> Heard {
        self.hear_within(Duration::from_secs(30)).expect("a message within 30 s")
    }

    /// The next message, if there is one within `limit`.
    pub fn hear_within(&mut self, limit: Duration) -> Option<Heard> {
        if let Some(heard) = self.early.pop() {
            return Some(heard);
        }
        self.to.set_read_timeout(Some(limit)).expect("a limit above zero");
        loop {
            let packet = Packet::read(&mut self.from).ok()?;
            if let Some(heard) = heard(&mut self.to, &packet) {
                return Some(heard);
            }
        }
    }
}

/// Takes a message apart and acknowledges it.
fn heard(to: &mut TcpStream, packet: &Packet) -> Option<Heard> {
    if packet.kind() != PUBLISH {
        return None;
    }
    let topic_end = 2 + usize::from(packet.id()); // the topic's length stands where an id does elsewhere
    let mut payload = topic_end;
    if packet.first & 0x06 != 0 {
        payload += 2;
        let id = u16::from_be_bytes([packet.body[topic_end], packet.body[topic_end + 1]]);
        // A connection that ends now shows at the next read.
        let _ = to.write_all(&packet::puback(id));
    }
    Some(Heard {
        topic: String::from_utf8_lossy(&packet.body[2..topic_end]).into(),
        payload: String::from_utf8_lossy(&packet.body[payload..]).into(),
        retained: packet.first & 0x01 != 0,
    })
}
