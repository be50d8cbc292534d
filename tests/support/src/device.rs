//! A device that publishes.

use std::io::{self, BufReader, Write};
use std::net::TcpStream;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use crate::packet::{self, CONNACK, PINGRESP, PUBACK, Packet};

static COUNT: AtomicU32 = AtomicU32::new(0);

/// A connection that publishes at QoS 1 and knows what was acknowledged.
#[derive(Debug)]
pub struct Device {
    to: TcpStream,
    from: BufReader<TcpStream>,
    last_id: u16,
}

/// How far a run of messages came.
#[derive(Debug)]
pub struct Progress {
    /// Messages acknowledged, counted from the first: brokers acknowledge in order.
    pub acknowledged: usize,
    /// Why it went no further.
    pub ended_by: Option<io::Error>,
}

/// A name nobody else uses.
pub(crate) fn client_id(role: &str) -> String {
    format!("{role}-{}-{}", std::process::id(), COUNT.fetch_add(1, Ordering::Relaxed))
}

pub(crate) fn login(
    port: u16,
    client_id: &str,
    login: Option<(&str, &str)>,
) -> io::Result<(TcpStream, BufReader<TcpStream>)> {
    let mut to = TcpStream::connect(("127.0.0.1", port))?;
    to.set_nodelay(true)?;
    to.set_read_timeout(Some(Duration::from_secs(30)))?;
    to.write_all(&packet::connect(client_id, login))?;
    let mut from = BufReader::with_capacity(1 << 16, to.try_clone()?);
    let answer = Packet::read(&mut from)?;
    match (answer.kind(), answer.body.as_slice()) {
        (CONNACK, [_, 0]) => Ok((to, from)),
        _ => Err(io::Error::new(io::ErrorKind::PermissionDenied, format!("refused: {answer:?}"))),
    }
}

impl Device {
    /// Connects to 127.0.0.1, with a user name and password where given.
    ///
    /// # Errors
    /// When nobody listens or the broker refuses.
    pub fn connect(port: u16, user: Option<(&str, &str)>) -> io::Result<Self> {
        Self::connect_as(&client_id("device"), port, user)
    }

    /// Connects under a client id of its own choice.
    ///
    /// # Errors
    /// As [`Self::connect`].
    pub fn connect_as(client_id: &str, port: u16, user: Option<(&str, &str)>) -> io::Result<Self> {
        let (to, from) = login(port, client_id, user)?;
        Ok(Self { to, from, last_id: 0 })
    }

    /// Publishes at QoS 1 and waits for the acknowledgement.
    ///
    /// # Errors
    /// When the connection ends or 30 seconds pass without one.
    pub fn publish(&mut self, topic: &str, payload: &[u8]) -> io::Result<()> {
        let id = self.send(topic, payload, false)?;
        self.acknowledged(id)
    }

    /// The same, asking the broker to keep it.
    ///
    /// # Errors
    /// As [`Self::publish`].
    pub fn publish_retained(&mut self, topic: &str, payload: &[u8]) -> io::Result<()> {
        let id = self.send(topic, payload, true)?;
        self.acknowledged(id)
    }

    /// Publishes at QoS 0, and waits until the broker has read it.
    ///
    /// # Errors
    /// When the connection ends.
    pub fn publish_unacknowledged(&mut self, topic: &str, payload: &[u8]) -> io::Result<()> {
        self.to.write_all(&packet::publish(topic, payload, None, false))?;
        self.to.write_all(&packet::ping())?;
        while Packet::read(&mut self.from)?.kind() != PINGRESP {}
        Ok(())
    }

    /// Sends at QoS 1 without waiting; returns the packet id.
    ///
    /// # Errors
    /// When the connection has ended.
    pub fn send(&mut self, topic: &str, payload: &[u8], retain: bool) -> io::Result<u16> {
        self.last_id = if self.last_id == u16::MAX { 1 } else { self.last_id + 1 };
        self.to.write_all(&packet::publish(topic, payload, Some(self.last_id), retain))?;
        Ok(self.last_id)
    }

    /// Waits for the next acknowledgement, whichever it is.
    ///
    /// # Errors
    /// When the connection ends or `limit` passes.
    pub fn next_acknowledgement(&mut self, limit: Duration) -> io::Result<u16> {
        self.to.set_read_timeout(Some(limit))?;
        let acknowledgement = self.read_acknowledgement();
        self.to.set_read_timeout(Some(Duration::from_secs(30)))?;
        acknowledgement
    }

    /// Publishes all at QoS 1, with up to `window` unacknowledged on the way.
    pub fn publish_all<T, P>(&mut self, messages: impl IntoIterator<Item = (T, P)>, window: usize) -> Progress
    where
        T: AsRef<str>,
        P: AsRef<[u8]>,
    {
        let mut acknowledged = 0;
        let ended_by = self.run(messages, window, &mut acknowledged).err();
        Progress { acknowledged, ended_by }
    }

    fn run<T, P>(
        &mut self,
        messages: impl IntoIterator<Item = (T, P)>,
        window: usize,
        acknowledged: &mut usize,
    ) -> io::Result<()>
    where
        T: AsRef<str>,
        P: AsRef<[u8]>,
    {
        let mut sent = 0;
        for (topic, payload) in messages {
            while sent - *acknowledged >= window {
                self.read_acknowledgement()?;
                *acknowledged += 1;
            }
            self.send(topic.as_ref(), payload.as_ref(), false)?;
            sent += 1;
        }
        while *acknowledged < sent {
            self.read_acknowledgement()?;
            *acknowledged += 1;
        }
        Ok(())
    }

    fn acknowledged(&mut self, id: u16) -> io::Result<()> {
        while self.read_acknowledgement()? != id {}
        Ok(())
    }

    fn read_acknowledgement(&mut self) -> io::Result<u16> {
        loop {
            let packet = Packet::read(&mut self.from)?;
            if packet.kind() == PUBACK {
                return Ok(packet.id());
            }
        }
    }
}

impl Drop for Device {
    fn drop(&mut self) {
        // The broker may be gone already.
        let _ = self.to.write_all(&packet::disconnect());
    }
}
