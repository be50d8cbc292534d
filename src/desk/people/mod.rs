//! Who is looking, and what they may see and do.

mod visitor;

pub(in crate::desk) use visitor::{Visitor, welcome};
