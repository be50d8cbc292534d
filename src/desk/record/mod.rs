//! The service record: what was found and done, written in the yard, corrected with history.
//!
//! What may be written is said once in [`work`], for the pages and for programs. A phone sends a record under a
//! key that it made, so one that was queued without a signal arrives once.

mod form;
mod handlers;
mod pages;
mod photo;
mod table;
mod told;
mod work;

pub(in crate::desk) use form::{Asked, form};
pub(in crate::desk) use handlers::{new_key, routes};
pub(in crate::desk) use pages::photo_field;
pub(in crate::desk) use told::in_short;
pub(in crate::desk) use work::{Change, add_photo, change, listed, photograph, story, write};
