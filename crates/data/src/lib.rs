//! Files for Sparefield: bytes become the geometry crate's types, and back.
#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test"))]

pub mod aircraft_file;
pub mod aircraft_file_out;
pub mod area;
pub mod area_file;
pub mod check;
pub mod drills;
pub mod error;
pub mod frame;
mod free_ids;
pub mod imagery;
pub mod land_cover;
pub mod live;
pub mod merge;
pub mod quantity;
pub mod sortie;
pub mod terrain;
pub mod track;
pub mod vector;

pub use error::{LoadError, LoadErrorKind, Loaded, NoProgress, Progress, Warning};
