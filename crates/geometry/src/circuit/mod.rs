//! Circuits: flown from where the engine stops to a stop in a strip, by simulation.
//!
//! A [`CircuitTask`] is one landing for one aircraft in one wind. From a state it finds the circuit that needs least
//! height ([`CircuitTask::least`]), which tells how much is spare, and the one to fly ([`CircuitTask::circuit`]).
#![allow(clippy::neg_cmp_op_on_partial_ord, reason = "what is not a number must not pass a check")]

mod beyond;
mod by_hand;
mod clearance;
mod column;
mod commit;
mod departure;
mod flight;
mod judge;
mod motion;
mod no_circuit;
mod pattern;
mod plan;
mod record;
mod robustness;
pub(crate) use robustness::normal_score;
mod search;
mod straight;

pub use by_hand::{HandEnd, HandFlight, Hold, TICK_S, Touchdown};
pub use clearance::{InTheWay, Surroundings, TooLow};
pub use column::AirColumn;
pub use commit::{Commit, last_change};
pub(crate) use departure::{Teardrop, TeardropFlown, fly_teardrop, glide_straight};
pub use flight::{Grain, Start};
pub use motion::{Flying, Motion};
pub use no_circuit::NoCircuit;
pub use plan::{Corner, FIFTY_FT_M, FirstTurn, Join, Landing, Leg, Plan};
pub use record::{Circuit, KeyName, KeyPosition, LegFlown, TrackPoint};
pub use robustness::{
    Budget, Input, InputShare, MetCount, Outcome, Quantiles, Robustness, RobustnessError, StopRule, TouchdownPoint,
    Uncertainty, robustness,
};
pub use search::{CircuitOptions, CircuitTask, Least};
pub use straight::StraightGlide;

#[cfg(test)]
mod tests;
