//! What the pilot sets: aircraft, place, height, heading, wind.

use sparefield_data::area::Area;
use sparefield_geometry::air::WindProfile;
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::fields::approach::ObstacleRule;
use sparefield_geometry::position::{Bearing, Xy};
use std::sync::Arc;

/// Largest height that may be set, metres: well above any glide of these aircraft that stays in an area.
pub const MAX_HEIGHT_M: f64 = 6_000.0;

/// A height, and what it is measured from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum HeightInput {
    /// Above the ground under the aircraft, metres.
    AboveGround(f64),
    /// Above mean sea level, metres.
    AboveSea(f64),
}

impl HeightInput {
    /// The number, whatever it is measured from.
    #[must_use]
    pub fn metres(self) -> f64 {
        match self {
            Self::AboveGround(m) | Self::AboveSea(m) => m,
        }
    }
    /// Height above mean sea level over ground of the given height, metres.
    #[must_use]
    pub fn amsl_m(self, ground_amsl_m: f64) -> f64 {
        match self {
            Self::AboveGround(m) => m + ground_amsl_m,
            Self::AboveSea(m) => m,
        }
    }
}

/// How the wind grows with height, as offered to the pilot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ProfileChoice {
    /// Log law over open grass.
    OpenGrass,
    /// Log law over hedged farmland.
    HedgedFarmland,
    /// The surface wind at every height.
    SameAtEveryHeight,
}

impl ProfileChoice {
    /// All, in the order shown.
    pub const ALL: [Self; 3] = [Self::OpenGrass, Self::HedgedFarmland, Self::SameAtEveryHeight];
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::OpenGrass => "stronger aloft, open grass",
            Self::HedgedFarmland => "stronger aloft, hedged farmland",
            Self::SameAtEveryHeight => "the same at every height",
        }
    }
    /// The profile. Roughness lengths are the Davenport–Wieringa classes "open" and "rough".
    #[must_use]
    pub fn profile(self) -> WindProfile {
        match self {
            Self::OpenGrass => WindProfile::OPEN_GRASS,
            Self::HedgedFarmland => WindProfile::Log { z0_m: 0.25 },
            Self::SameAtEveryHeight => WindProfile::Uniform,
        }
    }
}

/// Everything that decides which field is in reach, apart from the land.
#[derive(Clone, Debug, PartialEq)]
pub struct Conditions {
    /// The aircraft.
    pub aircraft: Arc<Aircraft>,
    /// Where it is.
    pub position: Xy,
    /// How high it is.
    pub height: HeightInput,
    /// Grid heading; `None` leaves out the first turn.
    pub heading: Option<Bearing>,
    /// Where the surface wind comes from, true.
    pub wind_from: Bearing,
    /// Surface wind speed, m/s.
    pub wind_speed_ms: f64,
    /// How the wind grows with height.
    pub profile: ProfileChoice,
    /// Rule for obstacles under the approach.
    pub obstacle_rule: ObstacleRule,
    /// General safety factor on the landing distance.
    pub safety_factor: f64,
}

impl Conditions {
    /// An aircraft at 1 500 ft in a light westerly, nowhere in particular.
    #[must_use]
    pub fn new(aircraft: Aircraft) -> Self {
        Self {
            aircraft: Arc::new(aircraft),
            position: Xy::default(),
            height: HeightInput::AboveGround(457.2),
            heading: Some(Bearing::NORTH),
            wind_from: Bearing::from_deg(240.0),
            wind_speed_ms: 5.0,
            profile: ProfileChoice::OpenGrass,
            obstacle_rule: ObstacleRule::Gradient,
            safety_factor: 1.43,
        }
    }

    /// Puts the aircraft where the area suggests, or over its middle.
    pub fn place_in(&mut self, area: &Area) {
        let (sw, ne) = area.terrain.frame.bounds();
        self.position = (sw + ne) * 0.5;
        if let Some(home) = &area.home {
            self.position = home.position;
        }
        if let Some(start) = &area.start {
            self.position = start.position;
            self.height = HeightInput::AboveGround(start.height_agl_m);
            self.heading = start.heading.or(self.heading);
            if let Some((from, speed)) = start.wind {
                self.wind_from = from;
                self.wind_speed_ms = speed;
            }
        }
    }
}
