//! Maintenance mode: while somebody works at a system, nobody is told of anything there. It ends by itself.

mod handlers;
mod page;
mod work;

pub(in crate::desk) use handlers::routes;
pub(in crate::desk) use work::{at_work, mute, muted, muted_words, unmute};
