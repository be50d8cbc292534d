//! Free ports that stay free.

use std::net::TcpListener;
use std::sync::atomic::{AtomicU16, Ordering};

static NEXT: AtomicU16 = AtomicU16::new(0);

/// A loopback port nobody listens on, below the range that the kernel takes for outgoing connections,
/// so that a server can be stopped and come back to it.
///
/// # Panics
/// When every port of the range is taken.
pub fn free_port() -> u16 {
    let first = 20_000;
    let range = 12_000;
    // Test processes run side by side: begin each at a place of its own.
    let start = u16::try_from(std::process::id() % u32::from(range)).unwrap_or(0);
    for _ in 0..range {
        let step = NEXT.fetch_add(1, Ordering::Relaxed) % range;
        let port = first + (start.wrapping_mul(7) % range + step) % range;
        if TcpListener::bind(("127.0.0.1", port)).is_ok() {
            return port;
        }
    }
    panic!("no free port from {first} on");
}
