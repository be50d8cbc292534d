//! MQTT 3.1.1 packets, as OASIS "MQTT Version 3.1.1" sections 2 and 3 lay them out.

use std::io::{self, Read};

pub(crate) const CONNACK: u8 = 2;
pub(crate) const PUBLISH: u8 = 3;
pub(crate) const PUBACK: u8 = 4;
pub(crate) const SUBACK: u8 = 9;
pub(crate) const PINGRESP: u8 = 13;

/// A packet as it came: first byte and the rest behind the length.
#[derive(Debug)]
pub(crate) struct Packet {
    pub(crate) first: u8,
    pub(crate) body: Vec<u8>,
}

impl Packet {
    pub(crate) fn kind(&self) -> u8 {
        self.first >> 4
    }

    pub(crate) fn read(from: &mut impl Read) -> io::Result<Self> {
        let first = byte(from)?;
        let (mut length, mut shift) = (0_usize, 0);
        loop {
            let digit = byte(from)?;
            length |= usize::from(digit & 0x7F) << shift;
            if digit < 0x80 {
                break;
            }
            shift += 7;
        }
        let mut body = vec![0; length];
        from.read_exact(&mut body)?;
        Ok(Self { first, body })
    }

    /// The packet id that opens the body of an acknowledgement.
    pub(crate) fn id(&self) -> u16 {
        u16::from_be_bytes([self.body[0], self.body[1]])
    }
}

fn byte(from: &mut impl Read) -> io::Result<u8> {
    let mut byte = [0];
    from.read_exact(&mut byte)?;
    Ok(byte[0])
}

fn framed(first: u8, body: &[u8]) -> Vec<u8> {
    let mut packet = vec![first];
    let mut length = body.len();
    loop {
        let digit = (length % 128) as u8;
        length /= 128;
        packet.push(if length > 0 { digit | 0x80 } else { digit });
        if length == 0 {
            break;
        }
    }
    packet.extend_from_slice(body);
    packet
}

fn text(into: &mut Vec<u8>, text: &str) {
    into.extend((text.len() as u16).to_be_bytes());
    into.extend(text.as_bytes());
}

pub(crate) fn connect(client_id: &str, login: Option<(&str, &str)>) -> Vec<u8> {
    let mut body = Vec::new();
    text(&mut body, "MQTT");
    body.push(4);
    body.push(if login.is_some() { 0xC2 } else { 0x02 }); // user name, password, clean session
    body.extend(600_u16.to_be_bytes());
    text(&mut body, client_id);
    if let Some((user, password)) = login {
        text(&mut body, user);
        text(&mut body, password);
    }
    framed(0x10, &body)
}

/// QoS 1 with a packet id, QoS 0 without.
pub(crate) fn publish(topic: &str, payload: &[u8], id: Option<u16>, retain: bool) -> Vec<u8> {
    let mut body = Vec::with_capacity(topic.len() + payload.len() + 4);
    text(&mut body, topic);
    body.extend(id.map(u16::to_be_bytes).into_iter().flatten());
    body.extend(payload);
    framed(0x30 | u8::from(id.is_some()) << 1 | u8::from(retain), &body)
}

pub(crate) fn subscribe(filter: &str) -> Vec<u8> {
    let mut body = vec![0, 1];
    text(&mut body, filter);
    body.push(1);
    framed(0x82, &body)
}

pub(crate) fn puback(id: u16) -> Vec<u8> {
    framed(0x40, &id.to_be_bytes())
}

pub(crate) fn ping() -> Vec<u8> {
    vec![0xC0, 0]
}

pub(crate) fn disconnect() -> Vec<u8> {
    vec![0xE0, 0]
}
