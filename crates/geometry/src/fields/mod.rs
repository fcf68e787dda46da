//! Fields: what they are, which strips fit into them, and which one to choose.

pub mod ahead;
pub mod approach;
pub mod circuit_height;
pub mod criteria;
pub mod demand;
pub mod flown;
pub mod generic_circuit;
pub mod hazards;
pub mod model;
pub mod needed;
pub mod rank;
pub mod reasons;
pub mod sheet;
pub mod strip;
pub mod study;
pub mod survey;
pub mod verdict;
pub mod ways;
pub mod workings;
