//! The floods of a year, of every system: when water stood, who took it on, and what was done about it.

mod account;
mod handled;
mod handlers;
mod page;
mod read;
mod table;

pub(in crate::desk) use account::Flood;
pub(in crate::desk) use handled::{Taken, handled};
pub(in crate::desk) use handlers::{Wanted, routes};
