//! Setting a system up in the browser: its file as a form, checked while one types, written at one stroke; and
//! retiring it.

mod aside;
mod faulty;
mod page;
mod retire;
mod store;
mod work;

use std::sync::Arc;

use axum::Router;

use super::office::Office;
pub use store::SystemFolder;
pub(in crate::desk) use store::Turn;
pub(in crate::desk) use work::{all_retired, check, read, retire, retired, save, undo};

/// The addresses of these pages.
pub(in crate::desk) fn routes() -> Router<Arc<Office>> {
    page::routes().merge(retire::routes())
}
