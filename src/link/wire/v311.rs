//! MQTT 3.1.1 packets.

use bytes::{Bytes, BytesMut};
use rumqttc::mqttbytes::v4::{
    Connect, ConnectReturnCode, Disconnect, LastWill, Login, Packet, PingReq, PubAck, Publish as Message,
    Subscribe, SubscribeFilter, SubscribeReasonCode, Unsubscribe,
};
use rumqttc::mqttbytes::{Error, QoS};

use super::super::health::Fault;
use super::super::settings::LinkSettings;
use super::{Arrival, Granted, Publish, Role, Welcome};

/// Why encoding cannot fail: the library refuses only what `check` has refused before.
const SOUND: &str = "filters, topics and ids are checked before";

pub(super) fn connect(settings: &LinkSettings, role: &Role, into: &mut BytesMut) {
    let will = role
        .will
        .as_ref()
        .map(|will| LastWill::new(&will.topic, will.payload.to_vec(), QoS::AtLeastOnce, true));
    let login = settings.login.as_ref().map(|login| Login::new(&login.user, &login.password));
    let connect = Connect {
        keep_alive: settings.keep_alive_s,
        clean_session: !role.persistent,
        last_will: will,
        login,
        ..Connect::new(&role.client_id)
    };
    connect.write(into).expect(SOUND);
}

pub(super) fn subscribe(filters: &[String], into: &mut BytesMut) {
    let filters = filters.iter().map(|path| SubscribeFilter::new(path.clone(), QoS::AtLeastOnce));
    let subscribe = Subscribe { pkid: 1, ..Subscribe::new_many(filters) };
    subscribe.write(into).expect(SOUND);
}

pub(super) fn unsubscribe(filters: &[String], into: &mut BytesMut) {
    let unsubscribe = Unsubscribe { pkid: 2, topics: filters.to_vec() };
    unsubscribe.write(into).expect(SOUND);
}

pub(super) fn acknowledge(packet_id: u16, into: &mut BytesMut) {
    PubAck::new(packet_id).write(into).expect(SOUND);
}

pub(super) fn publish(packet_id: u16, topic: &str, payload: Bytes, retain: bool, into: &mut BytesMut) {
    let message =
        Message { pkid: packet_id, retain, ..Message::from_bytes(topic, QoS::AtLeastOnce, payload) };
    message.write(into).expect(SOUND);
}

pub(super) fn ping(into: &mut BytesMut) {
    PingReq.write(into).expect(SOUND);
}

pub(super) fn disconnect(into: &mut BytesMut) {
    Disconnect.write(into).expect(SOUND);
}

/// Takes the next whole packet off `from`, if there is one.
pub(super) fn decode(from: &mut BytesMut, max_packet: usize) -> Result<Option<Arrival>, Fault> {
    let before = from.len();
    match Packet::read(from, max_packet) {
        Ok(packet) => arrival(packet).map(Some),
        // The library takes a packet off before it finds that its parts do not add up.
        Err(Error::InsufficientBytes(_)) if from.len() == before => Ok(None),
        Err(error) => Err(Fault::Protocol(error.to_string())),
    }
}

#[expect(clippy::wildcard_enum_match_arm, reason = "the library's packets, most of them of no concern here")]
fn arrival(packet: Packet) -> Result<Arrival, Fault> {
    Ok(match packet {
        Packet::Publish(message) => Arrival::Publish(Publish {
            topic: message.topic.into_boxed_str(),
            payload: message.payload,
            retain: message.retain,
            dup: message.dup,
            packet_id: message.pkid,
        }),
        Packet::ConnAck(answer) => match refusal(answer.code) {
            Some(fault) => return Err(fault),
            None => {
                Arrival::Welcome(Welcome { session_present: answer.session_present, ..Welcome::default() })
            }
        },
        Packet::SubAck(answer) => Arrival::Subscribed(granted(&answer.return_codes)),
        Packet::PubAck(answer) => Arrival::Confirmed { packet_id: answer.pkid, accepted: true },
        _ => Arrival::Other,
    })
}

fn granted(codes: &[SubscribeReasonCode]) -> Granted {
    if codes.contains(&SubscribeReasonCode::Failure) {
        Granted::Refused
    } else if codes.contains(&SubscribeReasonCode::Success(QoS::AtMostOnce)) {
        Granted::Unacknowledged
    } else {
        Granted::Acknowledged
    }
}

fn refusal(code: ConnectReturnCode) -> Option<Fault> {
    let why = match code {
        ConnectReturnCode::Success => return None,
        ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized => {
            return Some(Fault::LoginRefused);
        }
        ConnectReturnCode::RefusedProtocolVersion => "it does not speak MQTT 3.1.1",
        ConnectReturnCode::BadClientId => "it does not accept this client id",
        ConnectReturnCode::ServiceUnavailable => "it is not available",
    };
    Some(Fault::Refused(why.into()))
}
