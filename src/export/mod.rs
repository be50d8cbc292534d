//! Everything passed on to a time-series server: readings, doses, shares, balances, soak times, findings.
//!
//! The exporter reads the ledger from its own saved position, so an outage at the other end loses nothing and needs
//! no queue. Positions move only after the server has the lines; what is sent twice is the same point there.
//! What the server refuses for good is set apart line by line, kept where people see it, and holds up nothing.
//!
//! `lines` writes line protocol, `schema` says what is written, `server` understands answers, `deliver` gets a
//! batch across, `exporter` decides what is next.

mod deliver;
mod exporter;
mod health;
mod lines;
pub mod schema;
mod server;

pub use deliver::RefusedLine;
pub use exporter::{Exporter, Sources};
pub use health::{ExportHealth, ExportState, Standing};
pub use lines::{Line, Lines};
pub use server::{Destination, SetupFault, Trouble};
