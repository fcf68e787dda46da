//! The invented demonstration area of Sparefield: land, fields, hazards and a home strip made from a seed.
//!
//! Nothing here shows a real place. The coordinates are chosen only so that map projections have something to do.
#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test"))]

mod annotate;
pub mod cover;
pub mod features;
pub mod flights;
pub mod names;
pub mod noise;
mod obstacles;
pub mod parcels;
pub mod path;
pub mod relief;
pub mod roads;
mod seasons;
pub mod sortie;
pub mod woods;
pub mod write;

/// Side of the square area, metres.
pub const SIDE_M: f64 = 20_000.0;
/// Side of a terrain cell, metres.
pub const CELL_M: f64 = 25.0;
/// The seed of the files kept in the repository.
pub const SEED: u64 = 20_261_125;
/// South-west corner of the area in UTM zone 30 north (EPSG:32630): easting and northing, metres.
pub const CORNER_M: (f64, f64) = (500_000.0, 5_780_000.0);
