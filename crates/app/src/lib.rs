//! The Sparefield window and command line, as a library so that tests can build it.
#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test"))]

pub mod theme;
pub mod views;
