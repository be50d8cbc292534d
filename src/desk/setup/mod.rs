//! Setting a system up in the browser: its file as a form, checked while one types, written at one stroke.

mod page;
mod store;
mod work;

pub(in crate::desk) use page::routes;
pub use store::SystemFolder;
pub(in crate::desk) use store::Turn;
pub(in crate::desk) use work::{check, read, save, undo};
