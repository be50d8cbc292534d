//! MQTT 3.1.1.

use std::time::Duration;

use bytes::Bytes;
use rumqttc::{
    AsyncClient, ConnectReturnCode, ConnectionError, Event, EventLoop, Incoming, LastWill, MqttOptions,
    Outgoing, QoS, StateError, SubscribeFilter, SubscribeReasonCode, mqttbytes,
};

use super::super::health::Fault;
use super::super::settings::{LinkSettings, SetupError};
use super::{Arrival, Granted, NotTaken, Publish, REQUESTS, Role, UNCONFIRMED};

pub(super) fn open(settings: &LinkSettings, role: &Role) -> Result<(AsyncClient, EventLoop), SetupError> {
    let mut options = MqttOptions::new(&role.client_id, super::host(settings), settings.port);
    let max_packet = settings.max_packet_bytes as usize;
    options
        .set_transport(super::transport(settings)?)
        .set_keep_alive(Duration::from_secs(settings.keep_alive_s.into()))
        .set_clean_session(!role.persistent)
        .set_manual_acks(role.manual_acks)
        .set_max_packet_size(max_packet, max_packet)
        .set_inflight(UNCONFIRMED);
    if let Some(login) = &settings.login {
        options.set_credentials(&login.user, &login.password);
    }
    if let Some(will) = &role.will {
        options.set_last_will(LastWill::new(&will.topic, will.payload.to_vec(), QoS::AtLeastOnce, true));
    }
    let (client, mut driver) = AsyncClient::new(options, REQUESTS);
    driver.network_options.set_connection_timeout(settings.connect_timeout_s.into());
    driver.network_options.set_tcp_nodelay(true);
    Ok((client, driver))
}

pub(super) fn subscribe(client: &AsyncClient, filters: &[String]) -> Result<(), NotTaken> {
    let filters = filters.iter().map(|f| SubscribeFilter::new(f.clone(), QoS::AtLeastOnce));
    client.try_subscribe_many(filters).map_err(|_| NotTaken)
}

pub(super) fn acknowledge(client: &AsyncClient, packet_id: u16) -> Result<(), NotTaken> {
    let mut publish = rumqttc::Publish::new("", QoS::AtLeastOnce, Vec::new());
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
        Event::Incoming(Incoming::Publish(publish)) => Arrival::Publish(Publish {
            topic: publish.topic.into_boxed_str(),
            payload: publish.payload,
            retain: publish.retain,
            dup: publish.dup,
            packet_id: publish.pkid,
        }),
        Event::Incoming(Incoming::ConnAck(ack)) => {
            Arrival::Connected { session_present: ack.session_present }
        }
        Event::Incoming(Incoming::SubAck(ack)) => Arrival::Subscribed(granted(&ack.return_codes)),
        Event::Incoming(Incoming::PubAck(ack)) => Arrival::Confirmed { packet_id: ack.pkid, accepted: true },
        Event::Outgoing(Outgoing::PubAck(_)) => Arrival::Acknowledged,
        Event::Outgoing(Outgoing::Publish(packet_id)) => Arrival::Sent(packet_id),
        Event::Outgoing(Outgoing::Disconnect) => Arrival::Disconnecting,
        Event::Incoming(_) | Event::Outgoing(_) => Arrival::Other,
    }
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

pub(super) fn fault(error: ConnectionError) -> Fault {
    match error {
        ConnectionError::Io(source) => super::io_fault(&source),
        ConnectionError::Tls(source) => super::tls_fault(&source),
        ConnectionError::NetworkTimeout | ConnectionError::FlushTimeout => Fault::NoAnswer,
        ConnectionError::ConnectionRefused(code) => refusal(code),
        ConnectionError::MqttState(source) => state_fault(source),
        ConnectionError::RequestsDone => Fault::Closed,
        other @ ConnectionError::NotConnAck(_) => Fault::Protocol(other.to_string()),
    }
}

fn refusal(code: ConnectReturnCode) -> Fault {
    match code {
        ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized => Fault::LoginRefused,
        ConnectReturnCode::RefusedProtocolVersion => Fault::Refused("it does not speak MQTT 3.1.1".into()),
        ConnectReturnCode::BadClientId => Fault::Refused("it does not accept this client id".into()),
        ConnectReturnCode::ServiceUnavailable => Fault::Refused("it is not available".into()),
        ConnectReturnCode::Success => Fault::Protocol("refused with success".into()),
    }
}

fn state_fault(error: StateError) -> Fault {
    match error {
        StateError::Io(source) | StateError::Deserialization(mqttbytes::Error::Io(source)) => {
            super::io_fault(&source)
        }
        StateError::Deserialization(mqttbytes::Error::PayloadSizeLimitExceeded(bytes)) => {
            Fault::PacketTooLarge(bytes)
        }
        StateError::AwaitPingResp => Fault::NoAnswer,
        StateError::ConnectionAborted => Fault::Closed,
        other => Fault::Protocol(other.to_string()),
    }
}
