//! How the mulch of a basin rots, and how long it will last.

mod chips;

pub(super) use chips::Chips;
