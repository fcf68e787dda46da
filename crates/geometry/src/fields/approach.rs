//! The approach over what stands before the landing end, and the length it takes from the strip.
//!
//! An obstacle whose top is h above the landing end and d before it moves the touchdown point in by h ÷ gradient − d:
//! the straight path at the approach gradient just passes over it. The landing distance counts from 50 ft, and is kept
//! in full behind the point moved in, although part of the descent from 50 ft is then flown before it: that is
//! conservative, by about 50 ft ÷ gradient when an obstacle governs.

use crate::air::{self, Wind, WindVector};
use crate::aircraft::Aircraft;
use crate::position::Bearing;
use serde::{Deserialize, Serialize};

/// Steepest approach gradient that is counted, however strong the headwind (1 : 4). Common practice, no source: near
/// the ground the wind drops and the path flattens.
pub const STEEPEST_GRADIENT: f64 = 0.25;

/// Height above the ground for which the approach wind is taken, metres: that of a surface wind report (WMO-No. 8).
pub const APPROACH_WIND_HEIGHT_M: f64 = air::SURFACE_WIND_HEIGHT_M;

/// How obstacles under the approach are turned into length.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ObstacleRule {
    /// By the aircraft's own approach gradient in the wind.
    #[default]
    Gradient,
    /// At least eight times the height. Gliding handbooks' rule: 50 ft takes 400 ft.
    Times8,
    /// At least ten times the height. Gliding handbooks' rule: 50 ft takes 500 ft.
    Times10,
}

impl ObstacleRule {
    /// Ground needed for each metre of obstacle height, before the distance to the landing end is taken off.
    #[must_use]
    pub fn run_per_height(self, gradient: f64) -> f64 {
        let own = if gradient > 0.0 { 1.0 / gradient.min(STEEPEST_GRADIENT) } else { f64::INFINITY };
        match self {
            Self::Gradient => own,
            Self::Times8 => own.max(8.0),
            Self::Times10 => own.max(10.0),
        }
    }
    /// The rule in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Gradient => "height ÷ approach gradient",
            Self::Times8 => "8 × height or height ÷ approach gradient, the longer",
            Self::Times10 => "10 × height or height ÷ approach gradient, the longer",
        }
    }
    /// Where the rule comes from.
    #[must_use]
    pub fn source(self) -> &'static str {
        match self {
            Self::Gradient => "geometry",
            Self::Times8 => "gliding school notes on field landings: 8 × the height at which the obstacle is cleared",
            Self::Times10 => "gliding briefing on field landings: 10 × the height at which the obstacle is cleared",
        }
    }
}

/// The wind at a height above a place whose ground is not that of the wind's reference.
///
/// The profile near the ground follows the ground; layers aloft keep their height above sea level.
#[must_use]
pub fn wind_above(wind: &Wind, ground_amsl_m: f64, height_agl_m: f64) -> WindVector {
    if height_agl_m == air::SURFACE_WIND_HEIGHT_M {
        wind.surface
    } else if wind.aloft().is_empty() {
        wind.at_amsl(wind.ground_amsl_m + height_agl_m)
    } else {
        wind.at_amsl(ground_amsl_m + height_agl_m)
    }
}

/// A wind taken apart along a landing direction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WindComponents {
    /// Headwind, m/s, tailwind negative.
    pub headwind_ms: f64,
    /// Crosswind, m/s, from the left positive.
    pub crosswind_ms: f64,
}

impl WindComponents {
    /// The components of a wind along and across a heading.
    #[must_use]
    pub fn new(wind: WindVector, heading: Bearing) -> Self {
        Self { headwind_ms: wind.headwind_ms(heading), crosswind_ms: wind.crosswind_ms(heading) }
    }
}

/// Ground speed along a straight track at a true airspeed, m/s; `None` when the wind does not allow the track.
///
/// # Source
/// Wind triangle: g = w∥ + √(V² − w⊥²).
#[must_use]
pub fn ground_speed_ms(true_airspeed_ms: f64, wind: WindVector, track: Bearing) -> Option<f64> {
    let across = wind.crosswind_ms(track);
    let rest = true_airspeed_ms * true_airspeed_ms - across * across;
    if rest.is_nan() || rest <= 0.0 {
        return None;
    }
    let speed = rest.sqrt() - wind.headwind_ms(track);
    (speed > 0.0).then_some(speed)
}

/// Height lost for each metre over the ground along a track, at an equivalent airspeed and density ratio.
///
/// `None` when the wind does not allow the track.
#[must_use]
pub fn loss_per_metre(
    aircraft: &Aircraft,
    speed_ms: f64,
    density_ratio: f64,
    wind: WindVector,
    track: Bearing,
) -> Option<f64> {
    let to_true = 1.0 / density_ratio.sqrt();
    let ground = ground_speed_ms(speed_ms * to_true, wind, track)?;
    let loss = aircraft.glide.sink_ms(speed_ms, 1.0) * to_true / ground;
    loss.is_finite().then_some(loss)
}

/// Approach gradient over the ground (height over distance) at approach speed, landing along `heading`.
///
/// `None` when the wind does not allow the approach.
#[must_use]
pub fn approach_gradient(
    aircraft: &Aircraft,
    density_ratio: f64,
    surface_wind: WindVector,
    heading: Bearing,
) -> Option<f64> {
    loss_per_metre(aircraft, aircraft.approach_speed_ms, density_ratio, surface_wind, heading)
}

/// Length an obstacle takes from the strip, metres; zero when it stands far enough out.
#[must_use]
pub fn displacement_m(rule: ObstacleRule, gradient: f64, height_m: f64, before_threshold_m: f64) -> f64 {
    if height_m > 0.0 { (height_m * rule.run_per_height(gradient) - before_threshold_m).max(0.0) } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    const FT: f64 = 0.304_8;

    #[test]
    fn handbook_rules() {
        // 50 ft: 400 ft by the 8 × rule, 500 ft by the 10 × rule, 250 ft at 5 : 1, 1 000 ft at 1 : 20.
        let h = 50.0 * FT;
        for (rule, gradient, feet) in [
            (ObstacleRule::Times8, 0.2, 400.0),
            (ObstacleRule::Times10, 0.2, 500.0),
            (ObstacleRule::Gradient, 0.2, 250.0),
            (ObstacleRule::Gradient, 0.05, 1_000.0),
            // The rule is a floor: a flatter approach still counts.
            (ObstacleRule::Times10, 0.05, 1_000.0),
        ] {
            assert_relative_eq!(displacement_m(rule, gradient, h, 0.0), feet * FT, epsilon = 1e-9);
            assert_relative_eq!(displacement_m(rule, gradient, h, 30.0), feet * FT - 30.0, epsilon = 1e-9);
        }
        assert_eq!(displacement_m(ObstacleRule::Gradient, 0.2, 10.0, 50.0), 0.0);
        assert_eq!(displacement_m(ObstacleRule::Gradient, 0.2, -3.0, 0.0), 0.0);
    }

    #[test]
    fn a_gale_does_not_make_the_approach_a_lift_shaft() {
        assert_relative_eq!(displacement_m(ObstacleRule::Gradient, 5.0, 10.0, 0.0), 40.0);
        assert_eq!(displacement_m(ObstacleRule::Gradient, 0.0, 10.0, 0.0), f64::INFINITY);
    }

    #[test]
    fn ground_speed_by_the_wind_triangle() {
        // Airspeed 100, wind 270/20: on the track that heading 360 gives, ground speed √(100² + 20²) = 102.0.
        let wind = WindVector::coming_from(Bearing::from_deg(270.0), 20.0);
        let track = Bearing::from_rad(crate::math::atan2(20.0, 100.0));
        assert_relative_eq!(ground_speed_ms(100.0, wind, track).unwrap(), 101.980_39, epsilon = 1e-5);
        assert_relative_eq!(ground_speed_ms(100.0, wind, Bearing::from_deg(270.0)).unwrap(), 80.0, epsilon = 1e-9);
        assert_eq!(ground_speed_ms(19.0, wind, Bearing::from_deg(270.0)), None);
        assert_eq!(ground_speed_ms(19.0, wind, Bearing::NORTH), None);
        assert_eq!(ground_speed_ms(f64::NAN, wind, Bearing::NORTH), None);
    }

    #[test]
    fn glide_in_wind_reserve_check() {
        // 65 kt at 9 : 1 into 20 kt: 6.23; 45 kt at 5 : 1 into 15 kt: 3.33.
        let kt = 0.514_444;
        for (speed, ratio, head, expected) in [(65.0, 9.0, 20.0, 6.23), (45.0, 5.0, 15.0, 3.33)] {
            let mut aircraft = Aircraft::example_flexwing();
            aircraft.glide = crate::aircraft::GlideCurve::from_best_glide(speed * kt, ratio).unwrap();
            let wind = WindVector::coming_from(Bearing::NORTH, head * kt);
            let loss = loss_per_metre(&aircraft, speed * kt, 1.0, wind, Bearing::NORTH).unwrap();
            assert_relative_eq!(1.0 / loss, expected, epsilon = 0.005);
        }
    }

    #[test]
    fn published_crosswind_table() {
        // Component table of a flying column, knots, rounded: 20 kt at 10…60°, and four more.
        let wind = |kt: f64, angle: f64| {
            WindVector::coming_from(Bearing::from_deg(240.0 - angle), kt).crosswind_ms(Bearing::from_deg(240.0))
        };
        for (kt, angle, expected) in [
            (20.0, 10.0, 3.0),
            (20.0, 20.0, 7.0),
            (20.0, 30.0, 10.0),
            (20.0, 40.0, 13.0),
            (20.0, 50.0, 15.0),
            (20.0, 60.0, 17.0),
            (30.0, 40.0, 19.0),
            (25.0, 50.0, 19.0),
            // 40 kt at 70° is 37.59; the table cuts it off to 37.
            (40.0, 70.0, 37.5),
        ] {
            assert!((wind(kt, angle) - expected).abs() <= 0.5, "{kt} kt {angle}°: {}", wind(kt, angle));
        }
    }
}
