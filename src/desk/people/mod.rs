//! Who is looking, and what they may see and do.
//!
//! The [`door`] knows each visitor by a cookie or a key before any handler runs; handlers take a
//! [`Visitor`]. What changes people is said once in [`staff`], for the pages and for programs.

mod attempts;
pub(in crate::desk) mod cookie;
mod door;
mod fields;
mod handlers;
mod pages;
mod staff;
mod visitor;

pub(in crate::desk) use door::{Door, Peer, admit, is_still_welcome, peer};
pub(in crate::desk) use fields::Fields;
pub(in crate::desk) use handlers::routes;
pub(in crate::desk) use staff::{
    NewPerson, add, add_calendar, add_key, change, change_password, found, keys, only_if_may, people, remove,
    reset_password, revoke_key, sign_in, sign_out,
};
pub(in crate::desk) use visitor::{Visitor, forms_secret};
