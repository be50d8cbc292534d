//! The desk: pages for people and a small interface for programs, over HTTP.
//!
//! A request is answered from what the ledger holds: `gather` turns its rows into sheets, `pages`
//! turns sheets into HTML. The first page is drawn once a commit and shared (`shelf`); an open page
//! hears of changes as server-sent events (`live`) and fetches only the parts that changed.
//! Nothing here writes: changes are placed as orders with the ledger's one writer. Every request passes the
//! door (`people`), which knows who asks; handlers take a `Visitor` and keep to their reach.

mod acknowledge;
mod answer;
mod api;
mod assets;
mod csv;
mod faulty;
mod fetch;
mod flood;
mod flowtest;
pub mod gather;
mod guard;
mod learning;
mod live;
mod mute;
mod office;
mod operations;
pub mod pages;
mod people;
mod problem;
mod record;
#[cfg(test)]
mod samples;
mod serve;
mod setup;
pub mod sheet;
mod shelf;
mod squeeze;
mod tls;
mod units;
mod upkeep;
mod visit;
mod words;
mod yard;
mod year;

pub use guard::Hosts;
pub use learning::LearningNote;
pub use office::{Desk, Entry, LinkNote};
pub use serve::{router, serve};
pub use setup::SystemFolder;
pub use tls::{Identity, TlsFault};
pub use units::Units;
