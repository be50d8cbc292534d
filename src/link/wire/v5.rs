//! MQTT 5.

use std::time::Duration;

use bytes::Bytes;
use rumqttc::Outgoing;
use rumqttc::v5::mqttbytes::v5::{
    ConnectProperties, ConnectReturnCode, DisconnectReasonCode, Filter, LastWill, Packet, PubAckReason,
    RetainForwardRule, SubscribeReasonCode,
};
use rumqttc::v5::mqttbytes::{self, QoS};
use rumqttc::v5::{AsyncClient, ConnectionError, Event, EventLoop, MqttOptions, StateError};

use super::super::health::Fault;
use super::super::settings::{LinkSettings, SetupError};
use super::{Arrival, Granted, NotTaken, Publish, REQUESTS, Role, UNCONFIRMED};

pub(super) fn open(settings: &LinkSettings, role: &Role) -> Result<(AsyncClient, EventLoop), SetupError> {
    let mut options = MqttOptions::new(&role.client_id, super::host(settings), settings.port);
    let properties = ConnectProperties {
        session_expiry_interval: role.persistent.then_some(settings.session_expiry_s),
        receive_maximum: Some(settings.inflight.max(1)),
        max_packet_size: Some(settings.max_packet_bytes),
        ..ConnectProperties::new()
    };
    options
        .set_transport(super::transport(settings)?)
        .set_keep_alive(Duration::from_secs(settings.keep_alive_s.into()))
        .set_clean_start(!role.persistent)
        .set_manual_acks(role.manual_acks)
        .set_connection_timeout(settings.connect_timeout_s.into())
        .set_connect_properties(properties)
        .set_outgoing_inflight_upper_limit(UNCONFIRMED);
    if let Some(login) = &settings.login {
        options.set_credentials(&login.user, &login.password);
    }
    if let Some(will) = &role.will {
        let will = LastWill::new(&will.topic, will.payload.to_vec(), QoS::AtLeastOnce, true, None);
        options.set_last_will(will);
    }
    let mut network = options.network_options();
    network.set_tcp_nodelay(true);
    options.set_network_options(network);
    Ok(AsyncClient::new(options, REQUESTS))
}

pub(super) fn subscribe(client: &AsyncClient, filters: &[String]) -> Result<(), NotTaken> {
    let filters = filters.iter().map(|path| Filter {
        // Retained values once, not again after every reconnection.
        retain_forward_rule: RetainForwardRule::OnNewSubscribe,
        ..Filter::new(path.clone(), QoS::AtLeastOnce)
    });
    client.try_subscribe_many(filters).map_err(|_| NotTaken)
}

pub(super) fn acknowledge(client: &AsyncClient, packet_id: u16) -> Result<(), NotTaken> {
    let mut publish = mqttbytes::v5::Publish::new("", QoS::AtLeastOnce, Bytes::new(), None);
    publish.pkid = packet_id;
    client.try_ack(&publish).map_err(|_| NotTaken)
}

pub(super) fn publish(
    client: &AsyncClient,
    topic: &str,
    payload: Bytes,
    retain: bool,
) -> Result<(), NotTaken> {
    client.try_publish(topic, QoS::AtLeastOnce, retain, payload).map_err(|_| NotTaken)
}

pub(super) fn arrival(event: Event) -> Arrival {
    match event {
        Event::Incoming(Packet::Publish(publish)) => Arrival::Publish(Publish {
            topic: String::from_utf8_lossy(&publish.topic).into(),
            payload: publish.payload,
            retain: publish.retain,
            dup: publish.dup,
            packet_id: publish.pkid,
        }),
        Event::Incoming(Packet::ConnAck(ack)) => Arrival::Connected { session_present: ack.session_present },
        Event::Incoming(Packet::SubAck(ack)) => Arrival::Subscribed(granted(&ack.return_codes)),
        Event::Incoming(Packet::PubAck(ack)) => Arrival::Confirmed {
            packet_id: ack.pkid,
            accepted: matches!(ack.reason, PubAckReason::Success | PubAckReason::NoMatchingSubscribers),
        },
        Event::Outgoing(Outgoing::PubAck(_)) => Arrival::Acknowledged,
        Event::Outgoing(Outgoing::Publish(packet_id)) => Arrival::Sent(packet_id),
        Event::Outgoing(Outgoing::Disconnect) => Arrival::Disconnecting,
        Event::Incoming(_) | Event::Outgoing(_) => Arrival::Other,
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

pub(super) fn fault(error: ConnectionError) -> Fault {
    match error {
        ConnectionError::Io(source) => super::io_fault(&source),
        ConnectionError::Tls(source) => super::tls_fault(&source),
        ConnectionError::Timeout(_) => Fault::NoAnswer,
        ConnectionError::ConnectionRefused(code) => refusal(code),
        ConnectionError::MqttState(source) => state_fault(source),
        ConnectionError::RequestsDone => Fault::Closed,
        other @ ConnectionError::NotConnAck(_) => Fault::Protocol(other.to_string()),
    }
}

fn refusal(code: ConnectReturnCode) -> Fault {
    match code {
        ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized => Fault::LoginRefused,
        ConnectReturnCode::RefusedProtocolVersion | ConnectReturnCode::UnsupportedProtocolVersion => {
            Fault::Refused("it does not speak MQTT 5".into())
        }
        ConnectReturnCode::BadClientId | ConnectReturnCode::ClientIdentifierNotValid => {
            Fault::Refused("it does not accept this client id".into())
        }
        other => Fault::Refused(format!("{other:?}")),
    }
}

fn state_fault(error: StateError) -> Fault {
    match error {
        StateError::Io(source) | StateError::Deserialization(mqttbytes::Error::Io(source)) => {
            super::io_fault(&source)
        }
        StateError::Deserialization(mqttbytes::Error::PayloadSizeLimitExceeded { pkt_size, .. })
        | StateError::IncomingPacketTooLarge { pkt_size, .. } => Fault::PacketTooLarge(pkt_size),
        StateError::ServerDisconnect { reason_code: DisconnectReasonCode::SessionTakenOver, .. } => {
            Fault::TakenOver
        }
        StateError::ServerDisconnect { reason_code, reason_string } => {
            Fault::Refused(reason_string.unwrap_or_else(|| format!("{reason_code:?}")))
        }
        StateError::ConnFail { reason } => refusal(reason),
        StateError::AwaitPingResp => Fault::NoAnswer,
        StateError::ConnectionAborted => Fault::Closed,
        other => Fault::Protocol(other.to_string()),
    }
}
