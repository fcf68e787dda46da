//! What the external checks share: seeded scenery, formulas written down a second time from their sources, and the built
//! program.
//!
//! Nothing here calls the code under test; only its data types are used.

pub mod mistake;
pub mod program;
pub mod scenery;
pub mod triangle;
