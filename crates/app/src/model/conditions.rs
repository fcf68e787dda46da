//! What the pilot sets: aircraft, place, height, heading, wind.

use crate::assess::{self, HeightInput, Rules, StateInput, WindInput};
use sparefield_data::area::Area;
use sparefield_data::quantity::ReportedWind;
use sparefield_geometry::air::WindProfile;
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::position::{Bearing, Xy};
use std::sync::Arc;

/// Largest height that may be set, metres: well above any glide of these aircraft that stays in an area.
pub const MAX_HEIGHT_M: f64 = 6_000.0;

/// The number of a height, whatever it is measured from, metres.
#[must_use]
pub fn height_metres(height: HeightInput) -> f64 {
    match height {
        HeightInput::AboveGround(m) | HeightInput::AboveSea(m) => m,
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
    /// Gusts, m/s, where any were given; they are cautioned about and change no number.
    pub wind_gust_ms: Option<f64>,
    /// How the wind grows with height.
    pub profile: ProfileChoice,
    /// Rules for approach and landing distance.
    pub rules: Rules,
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
            wind_gust_ms: None,
            profile: ProfileChoice::OpenGrass,
            rules: Rules::default(),
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
            let heading = area.frame.grid_bearing(start.heading_true, start.position);
            self.heading = Some(heading.unwrap_or(start.heading_true));
            self.wind_from = start.wind.from.unwrap_or(self.wind_from);
            self.wind_speed_ms = start.wind.speed_ms;
            self.wind_gust_ms = start.wind.gust_ms;
        }
    }

    /// The conditions as the core takes them.
    #[must_use]
    pub fn to_assess(&self, today: Day) -> assess::Conditions {
        let surface =
            ReportedWind { from: Some(self.wind_from), speed_ms: self.wind_speed_ms, gust_ms: self.wind_gust_ms };
        assess::Conditions {
            aircraft: (*self.aircraft).clone(),
            wind: WindInput {
                surface: Some(if self.wind_speed_ms > 0.0 { surface } else { ReportedWind::CALM }),
                aloft: Vec::new(),
                profile: self.profile.profile(),
            },
            state: StateInput { position: self.position, height: self.height, heading: self.heading },
            rules: self.rules,
            today,
        }
    }
}
