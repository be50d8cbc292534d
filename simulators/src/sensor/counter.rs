//! A cumulative counter, as meters and rain gauges are.

/// One counter.
#[derive(Debug, Clone)]
pub(super) struct Counter {
    /// Litres or millimetres for one count.
    pub(super) per_count: f64,
    /// Where the register starts again at zero.
    pub(super) wraps_at: Option<u64>,
    /// A restart of the device sets it to zero.
    pub(super) resets: bool,
    /// Register when the true total was zero.
    pub(super) first: u64,
    /// True total at the last reset.
    pub(super) zeroed_at: f64,
}

impl Counter {
    /// Register at this true total.
    pub(super) fn read(&self, total: f64) -> u64 {
        let counted = ((total - self.zeroed_at) / self.per_count + 1e-9).max(0.0) as u64;
        let register = self.first + counted;
        self.wraps_at.map_or(register, |limit| register % limit)
    }

    /// The device restarts.
    pub(super) fn restart(&mut self, total: f64) {
        if self.resets {
            self.first = 0;
            self.zeroed_at = total;
        }
    }
}
