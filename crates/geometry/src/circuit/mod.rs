//! Circuits: flown from where the engine stops to a stop in a strip, by simulation.
#![allow(clippy::neg_cmp_op_on_partial_ord, reason = "what is not a number must not pass a check")]

mod clearance;
mod column;
mod flight;
mod motion;
mod pattern;
mod plan;

pub use clearance::{InTheWay, Surroundings, TooLow};
pub use column::AirColumn;
pub use flight::Grain;
pub use motion::{Flying, Motion};
pub use plan::{Corner, FIFTY_FT_M, FirstTurn, Join, Landing, Leg, Plan};
