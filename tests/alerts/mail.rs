//! Mail through a real server.
