//! Looking after what is known: which fields need a look, and a round to look at them.
//!
//! | module | does |
//! |---|---|
//! | [`filter`] | which fields are shown, and in which order |
//! | [`look_at`] | what is unknown, assumed or old about one field |
//! | [`round`] | a round through fields, with what to look at on each |
//! | [`page`] | the round on paper |
//!
//! Nothing here reads a file or a clock; window and command line use the same functions.

pub mod filter;
pub mod look_at;
pub mod page;
pub mod round;
