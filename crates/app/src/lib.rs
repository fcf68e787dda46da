//! The Sparefield window and command line, as a library so that tests can build it.

pub mod theme;
pub mod views;
