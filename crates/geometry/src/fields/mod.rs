//! Fields: what they are, which strips fit into them, and which one to choose.

pub mod approach;
pub mod model;
pub mod needed;
pub mod strip;
pub mod verdict;
