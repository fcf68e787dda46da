//! Pure computation for Sparefield: no files, no clock, no window; the same input gives the same bits.
//!
//! # Conventions
//! - Positions are metres east and north in one projected frame ([`position::Xy`]); grids run from the north-west.
//! - Units are SI and stand in the names (`height_amsl_m`, `speed_ms`); angles are radians except where a name ends in
//!   `_deg`; a [`position::Bearing`] is clockwise from grid north.
//! - Wind vectors say where the air goes; people say where it comes from, and that is converted at the edge.
//! - Terrain without data is `NaN` in grids and `None` in answers, never sea level.
#![allow(clippy::inline_always, reason = "work of `wide` gains only by what is inlined into it")]
#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test"))]

pub mod air;
pub mod aircraft;
pub mod circuit;
pub mod climb_out;
pub mod contour;
pub mod covered_way;
pub mod drill;
pub mod fields;
pub mod grid;
pub mod math;
pub mod outline;
pub mod position;
pub mod raster;
pub mod reach;
pub mod round;
pub mod slope;
pub mod suggest;
pub mod terrain_layers;
pub mod track;
mod wide;
