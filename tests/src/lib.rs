//! What the external checks share: seeded scenery, and formulas written down a second time from their sources.
//!
//! Nothing here calls the code under test; only its data types are used.

pub mod mistake;
pub mod scenery;
pub mod triangle;
