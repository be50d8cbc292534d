//! What the tests share.
//!
//! [`Mosquitto`] runs the real broker on a loopback port of its own. [`Device`] and [`Listener`] speak
//! MQTT 3.1.1 in a few lines of their own, so that a fault of the client library under test cannot hide
//! itself. [`Sink`] takes webhooks. [`Scripted`] plays a broker that misbehaves on purpose. [`Certificates`] makes an authority for TLS tests.

mod certificates;
mod device;
mod listener;
mod mosquitto;
mod packet;
mod ports;
mod process;
mod scripted;
mod sink;

pub use certificates::Certificates;
pub use device::{Device, Progress};
pub use listener::{Heard, Listener};
pub use mosquitto::Mosquitto;
pub use ports::free_port;
pub use process::{Process, until};
pub use scripted::Scripted;
pub use sink::{Post, Reaction, Sink};
