//! Readings that have settled, packed: a few bytes each instead of twenty, and the same to the last bit.
//!
//! A block holds the readings of one series over whole hours. It takes the place of their rows and of the hourly
//! roll-ups that follow from them; whoever reads sees no difference. A reading that comes late for such a span lies
//! beside the block until the next sweep packs it as well.

mod block;
mod hours;
mod shelf;
mod sweep;

pub(super) use block::Sample;
pub(super) use hours::{Rolled, hours};
pub(super) use shelf::{Cache, between, check, covers, last_until, run_after, unless_damaged};
pub(super) use sweep::{Progress, drop_before, sweep};
