//! Basinward.
