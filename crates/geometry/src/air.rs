//! The air: wind at any height, and density.

use crate::math;
use crate::position::{Bearing, Xy};
use serde::{Deserialize, Serialize};

/// Height above ground at which a surface wind is measured, metres (WMO-No. 8, standard anemometer height).
pub const SURFACE_WIND_HEIGHT_M: f64 = 10.0;

/// Height above ground up to which the surface-layer profile is carried when nothing is known aloft, metres.
///
/// Common practice, no source: with open grass the log law then gives about 1.5 times the surface wind aloft, which is
/// the "surface wind is two thirds of the 2 000 ft wind" of meteorology teaching.
pub const PROFILE_TOP_M: f64 = 150.0;

/// The speed of the air over the ground; where the wind blows *to*, in m/s.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
pub struct WindVector {
    /// Towards east, m/s.
    pub east_ms: f64,
    /// Towards north, m/s.
    pub north_ms: f64,
}

impl WindVector {
    /// No wind.
    pub const CALM: Self = Self { east_ms: 0.0, north_ms: 0.0 };
    /// From the direction the wind comes *from* and its speed in m/s.
    #[must_use]
    pub fn coming_from(from: Bearing, speed_ms: f64) -> Self {
        let towards = from.unit() * -speed_ms;
        Self { east_ms: towards.x, north_ms: towards.y }
    }
    /// Speed in m/s.
    #[must_use]
    pub fn speed_ms(self) -> f64 {
        self.xy().norm()
    }
    /// The direction it comes from, `None` when calm.
    #[must_use]
    pub fn from_bearing(self) -> Option<Bearing> {
        (-self.xy()).bearing()
    }
    /// As a displacement per second.
    #[must_use]
    pub fn xy(self) -> Xy {
        Xy::new(self.east_ms, self.north_ms)
    }
    /// Component against motion along `heading` (headwind positive), m/s.
    #[must_use]
    pub fn headwind_ms(self, heading: Bearing) -> f64 {
        -self.xy().dot(heading.unit())
    }
    /// Component across `heading`, positive when it blows from the left to the right, m/s.
    #[must_use]
    pub fn crosswind_ms(self, heading: Bearing) -> f64 {
        let u = heading.unit();
        self.xy().dot(Xy::new(u.y, -u.x))
    }
    fn scaled(self, k: f64) -> Self {
        Self { east_ms: self.east_ms * k, north_ms: self.north_ms * k }
    }
    fn lerp(self, other: Self, t: f64) -> Self {
        Self {
            east_ms: self.east_ms + (other.east_ms - self.east_ms) * t,
            north_ms: self.north_ms + (other.north_ms - self.north_ms) * t,
        }
    }
}

/// How the wind grows with height near the ground.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WindProfile {
    /// The surface wind at every height.
    Uniform,
    /// v(z) = v₁₀ · ln(z/z₀) / ln(10/z₀) with the roughness length z₀ in metres, 0 < z₀ < 10.
    Log {
        /// Roughness length in metres (Davenport–Wieringa classes).
        z0_m: f64,
    },
    /// v(z) = v₁₀ · (z/10)^α, 0 ≤ α ≤ 1.
    Power {
        /// The exponent.
        alpha: f64,
    },
}

impl WindProfile {
    /// Log law over open grass, z₀ = 0.03 m (Davenport–Wieringa class "open").
    pub const OPEN_GRASS: Self = Self::Log { z0_m: 0.03 };

    /// Ratio of the wind at a height above ground to that at 10 m.
    ///
    /// Below one roughness length the log law has no meaning; the ratio is then 0. Above [`PROFILE_TOP_M`] it stays
    /// what it is there.
    ///
    /// # Source
    /// Log and power law as in Stull, *An Introduction to Boundary Layer Meteorology* (1988), ch. 9.
    #[must_use]
    pub fn ratio_at(self, height_agl_m: f64) -> f64 {
        let z = height_agl_m.min(PROFILE_TOP_M);
        match self {
            Self::Uniform => 1.0,
            Self::Log { z0_m } => {
                if z <= z0_m {
                    0.0
                } else {
                    math::ln(z / z0_m) / math::ln(SURFACE_WIND_HEIGHT_M / z0_m)
                }
            }
            Self::Power { alpha } => {
                if z <= 0.0 {
                    0.0
                } else {
                    math::pow(z / SURFACE_WIND_HEIGHT_M, alpha)
                }
            }
        }
    }
}

/// A wind known at one height above mean sea level.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct WindLayer {
    /// Height above mean sea level, metres.
    pub height_amsl_m: f64,
    /// The wind there.
    pub wind: WindVector,
}

/// The wind over an area: surface wind, profile near the ground, and what is known aloft.
///
/// Above the reference ground the wind follows the profile up to [`PROFILE_TOP_M`]; layers aloft, where given, are
/// joined to the top of the profile and to each other linearly in height, and the highest holds above itself. Below
/// 10 m above the reference ground the surface wind holds: other ground may lie lower, and its air is not calm.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Wind {
    /// Wind at 10 m above the ground.
    pub surface: WindVector,
    /// Growth with height near the ground.
    pub profile: WindProfile,
    /// Winds aloft by height, sorted upwards by [`Wind::new`].
    aloft: Vec<WindLayer>,
    /// Height above mean sea level of the ground the surface wind belongs to, metres.
    pub ground_amsl_m: f64,
}

impl Wind {
    /// A wind; layers are sorted by height.
    #[must_use]
    pub fn new(surface: WindVector, profile: WindProfile, mut aloft: Vec<WindLayer>, ground_amsl_m: f64) -> Self {
        aloft.sort_by(|a, b| a.height_amsl_m.total_cmp(&b.height_amsl_m));
        Self { surface, profile, aloft, ground_amsl_m }
    }
    /// The same wind at every height.
    #[must_use]
    pub fn uniform(wind: WindVector) -> Self {
        Self::new(wind, WindProfile::Uniform, Vec::new(), 0.0)
    }
    /// Winds aloft, lowest first.
    #[must_use]
    pub fn aloft(&self) -> &[WindLayer] {
        &self.aloft
    }
    /// The wind at a height above mean sea level.
    #[must_use]
    pub fn at_amsl(&self, height_amsl_m: f64) -> WindVector {
        let near_ground = |amsl: f64| {
            let above = (amsl - self.ground_amsl_m).max(SURFACE_WIND_HEIGHT_M);
            self.surface.scaled(self.profile.ratio_at(above))
        };
        let Some(first) = self.aloft.first() else { return near_ground(height_amsl_m) };
        // A layer given inside the profile ends the profile there.
        let top = (self.ground_amsl_m + PROFILE_TOP_M).min(first.height_amsl_m);
        if height_amsl_m <= top && top < first.height_amsl_m {
            return near_ground(height_amsl_m);
        }
        let mut lower = WindLayer { height_amsl_m: top, wind: near_ground(top) };
        if top >= first.height_amsl_m {
            // Join the surface wind at 10 m to the low layer.
            let base = self.ground_amsl_m + SURFACE_WIND_HEIGHT_M;
            if height_amsl_m <= base {
                return near_ground(height_amsl_m);
            }
            lower = WindLayer { height_amsl_m: base.min(first.height_amsl_m), wind: self.surface };
        }
        for layer in &self.aloft {
            if height_amsl_m <= layer.height_amsl_m {
                let span = layer.height_amsl_m - lower.height_amsl_m;
                let t = if span > 0.0 { (height_amsl_m - lower.height_amsl_m) / span } else { 1.0 };
                return lower.wind.lerp(layer.wind, t);
            }
            lower = *layer;
        }
        lower.wind
    }
    /// This wind when its speed is out by so many m/s and its direction by an angle clockwise, the same at every height:
    /// every layer turns by the angle and changes by one factor, that of the surface wind. Where the surface is calm, or
    /// nearly, it has no direction: what it is out by comes from `calm_from_rad`, at every height.
    #[must_use]
    pub fn disturbed(&self, speed_ms: f64, turn_rad: f64, calm_from_rad: f64) -> Self {
        /// A wind weaker than this has no direction to be turned from, m/s.
        const CALM_MS: f64 = 1.0;
        let speed = self.surface.speed_ms();
        let (sin, cos) = math::sin_cos(turn_rad);
        let more = WindVector::coming_from(Bearing::from_rad(calm_from_rad), speed_ms);
        let change = |w: WindVector| {
            if speed < CALM_MS {
                return WindVector { east_ms: w.east_ms + more.east_ms, north_ms: w.north_ms + more.north_ms };
            }
            let k = ((speed + speed_ms) / speed).max(0.0);
            let turned = WindVector {
                east_ms: w.east_ms * cos + w.north_ms * sin,
                north_ms: w.north_ms * cos - w.east_ms * sin,
            };
            turned.scaled(k)
        };
        let aloft = self.aloft.iter().map(|l| WindLayer { wind: change(l.wind), ..*l }).collect();
        Self { surface: change(self.surface), profile: self.profile, aloft, ground_amsl_m: self.ground_amsl_m }
    }
    /// Whether the wind is the same at every height.
    #[must_use]
    pub fn is_uniform(&self) -> bool {
        let calm_profile = self.profile == WindProfile::Uniform || self.surface == WindVector::CALM;
        calm_profile && self.aloft.iter().all(|l| l.wind == self.surface)
    }
}

/// Ratio of air density to the sea-level standard at a height in the ICAO standard atmosphere.
///
/// # Units
/// Height in metres above mean sea level, valid from −1 000 to 11 000 m; outside it is clamped.
///
/// # Source
/// ICAO Doc 7488: T = 288.15 − 0.0065 h, σ = (T/288.15)^4.25588.
#[must_use]
pub fn isa_density_ratio(height_amsl_m: f64) -> f64 {
    let h = height_amsl_m.clamp(-1_000.0, 11_000.0);
    math::pow(1.0 - 0.006_5 * h / 288.15, 4.255_88)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_valley_below_the_reference_ground_is_not_calm() {
        let surface = WindVector::coming_from(Bearing::from_deg(250.0), 6.0);
        for profile in [WindProfile::OPEN_GRASS, WindProfile::Power { alpha: 0.15 }, WindProfile::Uniform] {
            let aloft = vec![WindLayer { height_amsl_m: 900.0, wind: surface.scaled(2.0) }];
            for layers in [Vec::new(), aloft] {
                let wind = Wind::new(surface, profile, layers, 300.0);
                for amsl in [0.0, 150.0, 299.0, 300.0, 305.0, 310.0] {
                    assert!((wind.at_amsl(amsl).speed_ms() - 6.0).abs() < 1e-12, "{profile:?} at {amsl} m");
                }
                assert!(wind.at_amsl(400.0).speed_ms() >= 6.0);
            }
        }
    }
}
