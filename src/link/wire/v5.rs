//! MQTT 5 packets.

use bytes::{Buf as _, Bytes, BytesMut};
use rumqttc::v5::mqttbytes::v5::{
    ConnAck, Connect, ConnectProperties, ConnectReturnCode, Disconnect, DisconnectReasonCode, Filter,
    LastWill, Login, Packet, PingReq, PubAck, PubAckReason, Publish as Message, RetainForwardRule, Subscribe,
    SubscribeReasonCode, Unsubscribe,
};
use rumqttc::v5::mqttbytes::{Error, QoS};

use super::super::health::Fault;
use super::super::settings::LinkSettings;
use super::{Arrival, Granted, Publish, Role, Welcome};

/// Why encoding cannot fail: the library refuses only what `check` has refused before.
const SOUND: &str = "filters, topics and ids are checked before";

pub(super) fn connect(settings: &LinkSettings, role: &Role, into: &mut BytesMut) {
    let will = role
        .will
        .as_ref()
        .map(|will| LastWill::new(&will.topic, will.payload.to_vec(), QoS::AtLeastOnce, true, None));
    let login = settings.login.as_ref().map(|login| Login::new(&login.user, &login.password));
    let properties = ConnectProperties {
        session_expiry_interval: role.persistent.then_some(settings.session_expiry_s),
        receive_maximum: Some(settings.inflight.max(1)),
        max_packet_size: Some(settings.max_packet_bytes),
        ..ConnectProperties::new()
    };
    let connect = Connect {
        keep_alive: settings.keep_alive_s,
        client_id: role.client_id.clone(),
        clean_start: !role.persistent,
        properties: Some(properties),
    };
    connect.write(&will, &login, into).expect(SOUND);
}

pub(super) fn subscribe(filters: &[String], into: &mut BytesMut) {
    let filters = filters.iter().map(|path| Filter {
        // Retained values once, not again after every reconnection.
        retain_forward_rule: RetainForwardRule::OnNewSubscribe,
        ..Filter::new(path.clone(), QoS::AtLeastOnce)
    });
    let subscribe = Subscribe { pkid: 1, ..Subscribe::new_many(filters, None) };
    subscribe.write(into).expect(SOUND);
}

pub(super) fn unsubscribe(filters: &[String], into: &mut BytesMut) {
    let unsubscribe = Unsubscribe { pkid: 2, filters: filters.to_vec(), properties: None };
    unsubscribe.write(into).expect(SOUND);
}

pub(super) fn acknowledge(packet_id: u16, into: &mut BytesMut) {
    PubAck::new(packet_id, None).write(into).expect(SOUND);
}

pub(super) fn publish(packet_id: u16, topic: &str, payload: Bytes, retain: bool, into: &mut BytesMut) {
    let message = Message { pkid: packet_id, retain, ..Message::new(topic, QoS::AtLeastOnce, payload, None) };
    message.write(into).expect(SOUND);
}

pub(super) fn ping(into: &mut BytesMut) {
    PingReq::write(into).expect(SOUND);
}

pub(super) fn disconnect(into: &mut BytesMut) {
    Disconnect::new(DisconnectReasonCode::NormalDisconnection).write(into).expect(SOUND);
}

const NO_MQTT_5: &str = "it does not speak MQTT 5";

/// Takes the next whole packet off `from`, if there is one.
pub(super) fn decode(from: &mut BytesMut, max_packet: usize) -> Result<Option<Arrival>, Fault> {
    if let [0xE0, 1, reason, ..] = **from {
        // A DISCONNECT may end behind its reason (MQTT 5, section 3.14.2.2.1); the library waits for more.
        from.advance(3);
        return Err(farewell(DisconnectReasonCode::try_from(reason).ok(), None));
    }
    if let [0x20, 2, _, 1] = **from {
        // A broker of an older version refuses in its own format.
        return Err(Fault::Refused(NO_MQTT_5.into()));
    }
    let max_packet = u32::try_from(max_packet).unwrap_or(u32::MAX);
    let before = from.len();
    match Packet::read(from, Some(max_packet)) {
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
            topic: String::from_utf8_lossy(&message.topic).into(),
            payload: message.payload,
            retain: message.retain,
            dup: message.dup,
            packet_id: message.pkid,
        }),
        Packet::ConnAck(answer) => match refusal(answer.code) {
            Some(fault) => return Err(fault),
            None => Arrival::Welcome(welcome(&answer)),
        },
        Packet::SubAck(answer) => Arrival::Subscribed(granted(&answer.return_codes)),
        Packet::PubAck(answer) => Arrival::Confirmed {
            packet_id: answer.pkid,
            accepted: matches!(answer.reason, PubAckReason::Success | PubAckReason::NoMatchingSubscribers),
        },
        Packet::Disconnect(parting) => {
            let words = parting.properties.and_then(|properties| properties.reason_string);
            return Err(farewell(Some(parting.reason_code), words));
        }
        _ => Arrival::Other,
    })
}

fn welcome(answer: &ConnAck) -> Welcome {
    let properties = answer.properties.as_ref();
    Welcome {
        session_present: answer.session_present,
        keep_alive_s: properties.and_then(|p| p.server_keep_alive),
        window: properties.and_then(|p| p.receive_max),
    }
}

fn granted(codes: &[SubscribeReasonCode]) -> Granted {
    if codes.iter().any(|code| !matches!(code, SubscribeReasonCode::Success(_))) {
        Granted::Refused
    } else if codes.contains(&SubscribeReasonCode::Success(QoS::AtMostOnce)) {
        Granted::Unacknowledged
    } else {
        Granted::Acknowledged
    }
}

#[expect(clippy::wildcard_enum_match_arm, reason = "the library's reasons; the others speak for themselves")]
fn refusal(code: ConnectReturnCode) -> Option<Fault> {
    Some(match code {
        ConnectReturnCode::Success => return None,
        ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized => Fault::LoginRefused,
        ConnectReturnCode::RefusedProtocolVersion | ConnectReturnCode::UnsupportedProtocolVersion => {
            Fault::Refused(NO_MQTT_5.into())
        }
        ConnectReturnCode::BadClientId | ConnectReturnCode::ClientIdentifierNotValid => {
            Fault::Refused("it does not accept this client id".into())
        }
        other => Fault::Refused(format!("{other:?}")),
    })
}

/// Why the broker ended the connection, from its DISCONNECT.
fn farewell(reason: Option<DisconnectReasonCode>, words: Option<String>) -> Fault {
    if reason == Some(DisconnectReasonCode::SessionTakenOver) {
        return Fault::TakenOver;
    }
    if let Some(words) = words {
        return Fault::Refused(words);
    }
    match reason {
        None | Some(DisconnectReasonCode::NormalDisconnection | DisconnectReasonCode::ServerShuttingDown) => {
            Fault::Closed
        }
        Some(other) => Fault::Refused(format!("{other:?}")),
    }
}
