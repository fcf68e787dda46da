//! The one core behind the window and the command line: an area and conditions become an assessment.
//!
//! Nothing here reads a file, a clock or a setting; whoever calls says which day it is.

use sparefield_data::area::Area;
use sparefield_data::frame::FrameError;
use sparefield_data::quantity::{ReportedWind, UnitPrefs, WindAloft, WindWords};
use sparefield_geometry::air::{Wind, WindLayer, WindProfile, WindVector};
use sparefield_geometry::aircraft::{Aircraft, AircraftError, GlideSpeed};
use sparefield_geometry::fields::approach::ObstacleRule;
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::fields::needed::SafetyFactor;
use sparefield_geometry::fields::verdict::{RankedField, Verdict};
use sparefield_geometry::math;
use sparefield_geometry::position::{Bearing, Xy};
use sparefield_geometry::reach::{AircraftState, ReachError};
use thiserror::Error;

/// A height as people give it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum HeightInput {
    /// Metres above the ground under the aircraft.
    AboveGround(f64),
    /// Metres above mean sea level.
    AboveSea(f64),
}

/// Where the engine stops, in the area's frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StateInput {
    /// Position.
    pub position: Xy,
    /// Height.
    pub height: HeightInput,
    /// Heading from grid north; `None` leaves out reaction time's drift and the first turn.
    pub heading: Option<Bearing>,
}

/// The wind as people know it: directions from true north.
#[derive(Clone, Debug, PartialEq)]
pub struct WindInput {
    /// Wind at 10 m above the ground, where known.
    pub surface: Option<ReportedWind>,
    /// Winds at heights above mean sea level.
    pub aloft: Vec<WindAloft>,
    /// How the surface wind grows with height.
    pub profile: WindProfile,
}

/// The rules by which landing distance and approach are judged.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Rules {
    /// How far an obstacle under the approach moves the landing end.
    pub obstacle: ObstacleRule,
    /// General safety factor on the landing distance.
    pub safety: SafetyFactor,
}

/// Everything but the land: aircraft, wind, state, rules, day.
#[derive(Clone, Debug, PartialEq)]
pub struct Conditions {
    /// The aircraft.
    pub aircraft: Aircraft,
    /// The wind as known.
    pub wind: WindInput,
    /// Where the engine stops.
    pub state: StateInput,
    /// Rules.
    pub rules: Rules,
    /// The day for which surveys are judged.
    pub today: Day,
}

/// Why there is no assessment.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum AssessError {
    /// The aircraft's numbers contradict each other.
    #[error("the aircraft cannot be used: {0}")]
    Aircraft(#[from] AircraftError),
    /// The aircraft is outside or below the terrain.
    #[error("{0}")]
    Reach(#[from] ReachError),
    /// The wind has no direction.
    #[error(
        "the direction of the wind is variable, so nothing can be worked out; give the direction that is worst, or calm"
    )]
    VariableWind,
    /// The wind is at least as strong as the fastest glide.
    #[error(
        "the wind of {wind_kt:.0} kt {place} is as strong as the fastest glide of this aircraft ({airspeed_kt:.0} kt), so it \
         cannot make way against it; check the wind and the aircraft"
    )]
    WindTooStrong {
        /// Wind in knots.
        wind_kt: f64,
        /// Where that wind is.
        place: String,
        /// Fastest gliding airspeed in knots.
        airspeed_kt: f64,
    },
    /// A place has no image on the globe.
    #[error("{0}")]
    Frame(String),
}

impl From<FrameError> for AssessError {
    fn from(error: FrameError) -> Self {
        Self::Frame(error.to_string())
    }
}
