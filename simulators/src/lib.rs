//! The physical world that the daemon watches.
