//! Reach: where the aircraft can glide to over this terrain in this wind, and how high it arrives.
#![allow(clippy::neg_cmp_op_on_partial_ord, reason = "a comparison with NaN (no data) must come out as not reached")]

mod answer;
mod clear_tiles;
mod departure;
pub mod descent;
mod floor;
mod forward;
mod layers;
pub mod least;
mod options;

pub use answer::Reach;
pub use descent::Descent;
pub use forward::forward_reach;
pub use options::ReachOptions;

use crate::grid::GridFrame;
use crate::position::{Bearing, Xy};
use thiserror::Error;

/// Where the aircraft is when the engine stops.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AircraftState {
    /// Position in the frame.
    pub position: Xy,
    /// Height above mean sea level, metres.
    pub height_amsl_m: f64,
    /// Heading; `None` leaves out reaction time's drift and the first turn.
    pub heading: Option<Bearing>,
}

/// Why no reach could be computed.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum ReachError {
    /// The aircraft is outside the terrain: load terrain that covers it, or move it.
    #[error("the aircraft is outside the loaded terrain; move it, or load terrain that covers it")]
    OutsideTerrain,
    /// There is no terrain height under the aircraft.
    #[error("there is no terrain height under the aircraft; move it, or load terrain without this gap")]
    NoTerrain,
    /// The aircraft is below the ground.
    #[error(
        "the aircraft is {below_m:.0} m below the ground there ({ground_amsl_m:.0} m above sea level); give a greater height"
    )]
    BelowTerrain {
        /// How far below, metres.
        below_m: f64,
        /// Height of the ground, metres above mean sea level.
        ground_amsl_m: f64,
    },
    /// A number is not finite.
    #[error("the aircraft's position or height is not a number")]
    NotFinite,
    /// The caller asked to stop.
    #[error("stopped")]
    Cancelled,
}

/// How the aircraft arrives at a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arrival {
    /// Height above mean sea level on arriving, metres.
    pub height_amsl_m: f64,
    /// Direction over the ground of the last straight part; `None` at the very place where it starts.
    pub track: Option<Bearing>,
}

/// A point of a flown path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PathPoint {
    /// Where.
    pub position: Xy,
    /// Height above mean sea level, metres.
    pub height_amsl_m: f64,
}

/// A window of the terrain grid, for callers that draw it.
pub type ReachFrame = GridFrame;

#[cfg(test)]
mod tests;
