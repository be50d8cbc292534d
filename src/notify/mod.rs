//! Messages about alerts: planned from what the ledger holds, stored, sent until they are confirmed.
//!
//! ```text
//!  commit --> planner: who is told what now --> ledger (counts as told) --> courier --> channel
//!                                                  ^                           |
//!                                                  +--- confirmed, or later ---+
//! ```
//!
//! A crash before the message is stored plans it again; a crash between sending and confirming sends
//! it again under the same key. Nothing is kept in memory that the ledger does not have.

mod body;
mod channels;
mod courier;
mod english;
mod link;
mod planner;
mod service;
mod states;

pub use body::{Body, Item};
pub use channels::{Carrier, Carriers, Delivery, NoChannel, Trouble};
pub use courier::outcome;
pub use english::{Links, Message, message};
pub use link::{Pass, acknowledge_address, read_pass};
pub use planner::orders;
pub use service::{Notifier, NotifierParts};
pub use states::state_of;
