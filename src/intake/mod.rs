//! Bytes become readings: pure and bounded decoding of topics and payloads.
//!
//! Payloads are recognised in this order:
//! 1. SenML as JSON or CBOR (RFC 8428); the topic may then stop at the basin or at the system, and
//!    the record's name says the rest.
//! 2. A JSON object with `value` and, if known, `time`; or any JSON with the pointers of the system file.
//! 3. Bare text.
//!
//! What cannot be understood is refused with a reason, record by record; nothing here panics, asks
//! the time, or keeps more than the buffers it is given.

mod cbor;
mod convert;
mod decoded;
mod json;
mod payload;
mod refusal;
mod router;
mod senml;
mod senml_json;
mod text;
mod time;

#[cfg(test)]
mod router_tests;

pub use decoded::{Decoded, Heard, Refused};
pub use payload::{Payload, payload};
pub use refusal::Refusal;
pub use router::Router;
