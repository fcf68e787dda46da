//! Recorded flights: from fixes to wind, phases, exercises and what each of them teaches.

pub mod aims;
mod course;
pub mod exercises;
pub mod glide_fit;
pub mod hindsight;
pub mod measures;
pub mod options;
pub mod phases;
pub mod samples;
pub mod turns;
pub mod wind_by_height;

use crate::position::Xy;
use serde::{Deserialize, Serialize};

/// One fix of a recorded flight.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Fix {
    /// Seconds since the first fix of the track; never decreasing from fix to fix.
    pub time_s: f64,
    /// Where, in the frame.
    pub position: Xy,
    /// Height above mean sea level, metres; `None` where the record has none.
    pub height_amsl_m: Option<f64>,
    /// How much engine the recorder noticed, from 0 (silent) to 1 (full power); `None` where it did not listen.
    pub engine: Option<f64>,
}

/// A recorded flight: fixes in order of time, already cleaned.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize)]
pub struct Track {
    /// The fixes.
    pub fixes: Vec<Fix>,
}
