//! Kinds of failures: by wind, height, and how far the aircraft must turn to land into the wind.

use crate::air::WindVector;
use crate::math;
use crate::position::Bearing;
use serde::{Deserialize, Serialize};

/// 5 kt and 10 kt in m/s. Common practice, no source.
const WINDS_MS: [f64; 2] = [5.0 * 1_852.0 / 3_600.0, 10.0 * 1_852.0 / 3_600.0];
/// 500, 1000 and 2000 ft in metres. Common practice, no source.
const HEIGHTS_M: [f64; 3] = [152.4, 304.8, 609.6];
/// 45° and 135°.
const TURNS_RAD: [f64; 2] = [0.25 * math::PI, 0.75 * math::PI];

/// How strong the wind is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WindBand {
    /// Below 5 kt.
    Light,
    /// 5 to 10 kt.
    Moderate,
    /// 10 kt and more.
    Fresh,
}

/// How high the engine stops above the ground.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum HeightBand {
    /// Below 500 ft.
    Low,
    /// 500 to 1000 ft.
    Circuit,
    /// 1000 to 2000 ft.
    Cruise,
    /// 2000 ft and more.
    High,
}

/// How far the landing direction is from the heading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TurnBand {
    /// Within 45° of it.
    Ahead,
    /// 45° to 135° to either side.
    Abeam,
    /// More than 135°.
    Behind,
}

impl WindBand {
    /// Every band, the lightest first.
    pub const ALL: [Self; 3] = [Self::Light, Self::Moderate, Self::Fresh];
    /// The band of a speed.
    #[must_use]
    pub fn of(speed_ms: f64) -> Self {
        match speed_ms {
            v if v < WINDS_MS[0] => Self::Light,
            v if v < WINDS_MS[1] => Self::Moderate,
            _ => Self::Fresh,
        }
    }
    /// The band in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Light => "wind below 5 kt",
            Self::Moderate => "wind of 5 to 10 kt",
            Self::Fresh => "wind of 10 kt and more",
        }
    }
}

impl HeightBand {
    /// Every band, the lowest first.
    pub const ALL: [Self; 4] = [Self::Low, Self::Circuit, Self::Cruise, Self::High];
    /// The band of a height above ground.
    #[must_use]
    pub fn of(height_agl_m: f64) -> Self {
        match height_agl_m {
            h if h < HEIGHTS_M[0] => Self::Low,
            h if h < HEIGHTS_M[1] => Self::Circuit,
            h if h < HEIGHTS_M[2] => Self::Cruise,
            _ => Self::High,
        }
    }
    /// The band in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Low => "below 500 ft",
            Self::Circuit => "500 to 1000 ft",
            Self::Cruise => "1000 to 2000 ft",
            Self::High => "2000 ft and more",
        }
    }
}

impl TurnBand {
    /// Every band, the nearest first.
    pub const ALL: [Self; 3] = [Self::Ahead, Self::Abeam, Self::Behind];
    /// The band of a turn, radians either way.
    #[must_use]
    pub fn of(turn_rad: f64) -> Self {
        match math::wrap_pi(turn_rad).abs() {
            t if t <= TURNS_RAD[0] => Self::Ahead,
            t if t <= TURNS_RAD[1] => Self::Abeam,
            _ => Self::Behind,
        }
    }
    /// The band in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Ahead => "landing ahead",
            Self::Abeam => "landing across the heading",
            Self::Behind => "landing the other way",
        }
    }
}

/// A kind of failure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Cell {
    /// Wind.
    pub wind: WindBand,
    /// Height.
    pub height: HeightBand,
    /// Turn into the wind; ahead when calm. Which landing is best is not known before the failure is worked out, and
    /// into the wind is the likeliest.
    pub turn: TurnBand,
}

impl Cell {
    /// The kind of a failure.
    #[must_use]
    pub fn of(height_agl_m: f64, heading: Bearing, wind: WindVector) -> Self {
        let turn = wind.from_bearing().map_or(0.0, |into| heading.turn_to(into));
        Self { wind: WindBand::of(wind.speed_ms()), height: HeightBand::of(height_agl_m), turn: TurnBand::of(turn) }
    }
    /// The kind in words.
    #[must_use]
    pub fn words(self) -> String {
        format!("{}, {}, {}", self.height.words(), self.wind.words(), self.turn.words())
    }
}
