//! One live connection.

use std::io::ErrorKind;
use std::time::Duration;

use bytes::{Buf as _, Bytes, BytesMut};
use tokio::io::{AsyncRead, AsyncReadExt as _, AsyncWrite, AsyncWriteExt as _, ReadHalf, WriteHalf};
use tokio::time::{Instant, sleep_until};

use super::super::health::Fault;
use super::super::settings::{LinkSettings, Protocol};
use super::oversized::{self, Oversized};
use super::{Arrival, Welcome, v5, v311};

/// Bytes asked of the socket at a time.
const READ: usize = 64 << 10;

/// A full window of acknowledgements in bytes; the buffer keeps this much between writes.
const WRITE: usize = 8 << 10;

/// Our publishes that may be unconfirmed at once, where the broker does not want fewer.
const WINDOW: u16 = 32;

pub(super) trait Duplex: AsyncRead + AsyncWrite + Send + Unpin {}
impl<T: AsyncRead + AsyncWrite + Send + Unpin> Duplex for T {}
pub(super) type Stream = Box<dyn Duplex>;

/// Reads when asked to, and always writes and pings.
///
/// Twice in each keep-alive it pings, so a live broker is heard at least that often; one that is silent
/// for one and a half keep-alives is taken for dead. While nobody listens nothing can be heard, and
/// nothing is concluded.
pub(in super::super) struct Connection {
    protocol: Protocol,
    reader: ReadHalf<Stream>,
    writer: WriteHalf<Stream>,
    inbound: BytesMut,
    outbound: BytesMut,
    unflushed: bool,
    max_packet: usize,
    /// Bytes of an oversized packet still to come.
    skip: usize,
    beat: Duration,
    next_beat: Instant,
    last_heard: Instant,
    window: u16,
}

impl Connection {
    pub(super) fn new(stream: Stream, settings: &LinkSettings, greeting: BytesMut) -> Self {
        let (reader, writer) = tokio::io::split(stream);
        let (now, beat) = (Instant::now(), beat(settings.keep_alive_s));
        Self {
            protocol: settings.protocol,
            reader,
            writer,
            inbound: BytesMut::with_capacity(READ),
            outbound: greeting,
            unflushed: false,
            max_packet: settings.max_packet_bytes as usize,
            skip: 0,
            beat,
            next_beat: now + beat,
            last_heard: now,
            window: WINDOW,
        }
    }

    /// Takes over what the broker wants otherwise.
    pub(super) fn agree(&mut self, welcome: &Welcome) {
        if let Some(seconds) = welcome.keep_alive_s.filter(|seconds| *seconds > 0) {
            self.beat = beat(seconds);
            self.next_beat = self.last_heard + self.beat;
        }
        self.window = welcome.window.unwrap_or(WINDOW).clamp(1, WINDOW);
    }

    /// Our publishes that may be unconfirmed at once.
    pub(in super::super) fn window(&self) -> usize {
        self.window.into()
    }

    /// Writes what is due, pings, and waits for the next arrival, or without `listening` for a fault.
    /// May be cancelled at any time.
    pub(in super::super) async fn next(&mut self, listening: bool) -> Result<Arrival, Fault> {
        loop {
            if listening && let Some(arrival) = self.buffered()? {
                return Ok(arrival);
            }
            if self.inbound.capacity() - self.inbound.len() < READ / 8 {
                self.inbound.reserve(READ);
            }
            // Set before the write that may be cancelled between its last byte and its flush.
            self.unflushed |= !self.outbound.is_empty();
            tokio::select! {
                read = self.reader.read_buf(&mut self.inbound), if listening => {
                    if read.map_err(|error| fault(&error))? == 0 {
                        return Err(Fault::Closed);
                    }
                    self.last_heard = Instant::now();
                }
                wrote = write(&mut self.writer, &mut self.outbound), if self.unflushed => {
                    wrote.map_err(|error| fault(&error))?;
                    self.unflushed = !self.outbound.is_empty();
                }
                () = sleep_until(self.next_beat) => self.ping(listening)?,
            }
        }
    }

    /// The next arrival of those that have been read already.
    pub(in super::super) fn buffered(&mut self) -> Result<Option<Arrival>, Fault> {
        let skipped = self.skip.min(self.inbound.len());
        self.inbound.advance(skipped);
        self.skip -= skipped;
        if self.skip > 0 {
            return Ok(None);
        }
        match oversized::look(&self.inbound, self.max_packet)? {
            Oversized::No => {}
            Oversized::Unclear => return Ok(None),
            Oversized::Yes { packet_id, bytes } => {
                self.skip = bytes;
                return Ok(Some(Arrival::Oversized { packet_id, bytes }));
            }
        }
        match self.protocol {
            Protocol::V311 => v311::decode(&mut self.inbound, self.max_packet),
            Protocol::V5 => v5::decode(&mut self.inbound, self.max_packet),
        }
    }

    pub(in super::super) fn subscribe(&mut self, filters: &[String]) {
        match self.protocol {
            Protocol::V311 => v311::subscribe(filters, &mut self.outbound),
            Protocol::V5 => v5::subscribe(filters, &mut self.outbound),
        }
    }

    /// Ends subscriptions; none is fine.
    pub(in super::super) fn unsubscribe(&mut self, filters: &[String]) {
        match self.protocol {
            _ if filters.is_empty() => {}
            Protocol::V311 => v311::unsubscribe(filters, &mut self.outbound),
            Protocol::V5 => v5::unsubscribe(filters, &mut self.outbound),
        }
    }

    pub(in super::super) fn acknowledge(&mut self, packet_ids: impl IntoIterator<Item = u16>) {
        for packet_id in packet_ids {
            match self.protocol {
                Protocol::V311 => v311::acknowledge(packet_id, &mut self.outbound),
                Protocol::V5 => v5::acknowledge(packet_id, &mut self.outbound),
            }
        }
    }

    /// Publishes at QoS 1.
    pub(in super::super) fn publish(&mut self, packet_id: u16, topic: &str, payload: Bytes, retain: bool) {
        match self.protocol {
            Protocol::V311 => v311::publish(packet_id, topic, payload, retain, &mut self.outbound),
            Protocol::V5 => v5::publish(packet_id, topic, payload, retain, &mut self.outbound),
        }
    }

    /// Sends everything that is due and takes leave, so that the broker lets our will lie. Done when the broker
    /// has closed its side.
    pub(in super::super) async fn leave(mut self) -> Result<(), Fault> {
        match self.protocol {
            Protocol::V311 => v311::disconnect(&mut self.outbound),
            Protocol::V5 => v5::disconnect(&mut self.outbound),
        }
        while !self.outbound.is_empty() {
            write(&mut self.writer, &mut self.outbound).await.map_err(|error| fault(&error))?;
        }
        self.writer.shutdown().await.map_err(|error| fault(&error))?;
        // Closing over unread messages would reset the connection, and the broker might never read what we sent.
        loop {
            self.inbound.clear();
            match self.reader.read_buf(&mut self.inbound).await {
                Ok(0) | Err(_) => return Ok(()),
                Ok(_) => {}
            }
        }
    }

    fn ping(&mut self, listening: bool) -> Result<(), Fault> {
        let now = Instant::now();
        if !listening {
            self.last_heard = now;
        } else if now.duration_since(self.last_heard) >= self.beat * 3 {
            return Err(Fault::NoAnswer);
        }
        self.next_beat = now + self.beat;
        match self.protocol {
            Protocol::V311 => v311::ping(&mut self.outbound),
            Protocol::V5 => v5::ping(&mut self.outbound),
        }
        Ok(())
    }
}

fn beat(keep_alive_s: u16) -> Duration {
    Duration::from_secs(keep_alive_s.into()) / 2
}

/// Writes some of `outbound`, and flushes once nothing is left of it.
async fn write(writer: &mut WriteHalf<Stream>, outbound: &mut BytesMut) -> std::io::Result<()> {
    if !outbound.is_empty() && writer.write_buf(outbound).await? == 0 {
        return Err(ErrorKind::WriteZero.into());
    }
    if outbound.is_empty() {
        outbound.reserve(WRITE);
        writer.flush().await?;
    }
    Ok(())
}

fn fault(error: &std::io::Error) -> Fault {
    let kind = error.kind();
    if matches!(kind, ErrorKind::TimedOut | ErrorKind::HostUnreachable | ErrorKind::NetworkUnreachable) {
        Fault::NoAnswer
    } else if kind == ErrorKind::InvalidData {
        // TLS reports through I/O errors: an alert, for one, when the broker wants a certificate.
        Fault::Tls(error.to_string())
    } else {
        Fault::Closed
    }
}
