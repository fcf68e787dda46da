//! Fields: what they are, which strips fit into them, and which one to choose.

pub mod model;
pub mod verdict;
