//! The length a landing needs: the aircraft's landing distance times factors, each listed with its source.
//!
//! The landing distance is from 50 ft to a stop on dry short grass, level, in still air at sea level. Published surface
//! factors are relative to a paved runway, so they are divided here by that of dry grass (1.15).

use super::model::Surface;
use super::verdict::Factor;
use crate::aircraft::Aircraft;
use serde::{Deserialize, Serialize};

/// Landing on dry grass up to 20 cm, relative to dry paved. UK CAA Safety Sense 09, landing factors.
pub const SS09_DRY_GRASS: f64 = 1.15;
/// Landing on wet grass up to 20 cm, relative to dry paved. UK CAA Safety Sense 09, landing factors.
pub const SS09_WET_GRASS: f64 = 1.35;
/// Landing on soft ground or snow, relative to dry paved, at least. UK CAA Safety Sense 09, landing factors.
pub const SS09_SOFT_GROUND: f64 = 1.25;
/// Landing downhill at 2 %. UK CAA Safety Sense 09, landing factors.
pub const SS09_DOWNHILL_2_PERCENT: f64 = 1.1;

/// General safety factor applied after all others.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SafetyFactor {
    /// 1.43. UK CAA Safety Sense 09; CAT.POL.A.330(a): a stop within 70 % of the length available.
    #[default]
    Recommended,
    /// The pilot's own, not below 1.
    Own(f64),
}

impl SafetyFactor {
    /// The multiplier; a value that is not a number or below 1 counts as 1.43.
    #[must_use]
    pub fn value(self) -> f64 {
        match self {
            Self::Own(f) if f >= 1.0 && f.is_finite() => f,
            _ => 1.43,
        }
    }
    fn source(self) -> &'static str {
        match self {
            Self::Own(f) if f >= 1.0 && f.is_finite() => "set by the pilot",
            _ => "UK CAA Safety Sense 09; CAT.POL.A.330(a)",
        }
    }
}

/// Surface factor relative to dry short grass, and its source.
#[must_use]
pub fn surface_factor(surface: Surface) -> (f64, &'static str) {
    const WET: &str = "UK CAA Safety Sense 09: wet grass 1.35 over dry grass 1.15";
    const SOFT: &str = "UK CAA Safety Sense 09: soft ground 1.25 over dry grass 1.15";
    match surface {
        Surface::GrazedGrass => (1.0, "the landing distance is for this surface"),
        Surface::Stubble => (1.0, "common practice, no source: as short grass"),
        Surface::ShortCrop | Surface::TallCrop => (1.0, "common practice, no source: no credit for the crop's drag"),
        Surface::Ploughed => (SS09_SOFT_GROUND / SS09_DRY_GRASS, SOFT),
        // Long grass is seldom dry; soft may be wet, and unknown may be either: wet grass is the longest of the table.
        Surface::LongGrass | Surface::SoftOrWet | Surface::Unknown => (SS09_WET_GRASS / SS09_DRY_GRASS, WET),
    }
}

/// Slope factor for a slope along the landing direction, uphill positive; `None` counts as 2 % downhill.
///
/// Only the step for 2 % downhill is published. Between level and 2 %, and beyond, the factor is drawn as a straight
/// line through it (1 + 5 × slope); CAP 698's 1.05 for each 1 % lies on the same line. Uphill earns nothing.
#[must_use]
pub fn slope_factor(slope: Option<f64>) -> f64 {
    slope.map_or(SS09_DOWNHILL_2_PERCENT, |s| 1.0 + (SS09_DOWNHILL_2_PERCENT - 1.0) / 0.02 * (-s).max(0.0))
}

/// Wind factor: distance grows with the square of ground speed; half a headwind counts, one and a half a tailwind.
///
/// # Source
/// CAT.POL.A.330(c)(2) for the shares; ground roll ∝ ground speed² from v² = 2·a·s.
#[must_use]
pub fn wind_factor(headwind_ms: f64, true_approach_speed_ms: f64) -> f64 {
    let counted = if headwind_ms > 0.0 { 0.5 * headwind_ms } else { 1.5 * headwind_ms };
    let ratio = ((true_approach_speed_ms - counted) / true_approach_speed_ms).max(0.0);
    ratio * ratio
}

/// What a landing is judged under.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LandingCase {
    /// What grows there.
    pub surface: Surface,
    /// Slope along the landing direction with its error already taken to the bad side, uphill positive.
    pub slope: Option<f64>,
    /// Headwind, m/s.
    pub headwind_ms: f64,
    /// Air density relative to sea level, standard.
    pub density_ratio: f64,
    /// General safety factor.
    pub safety: SafetyFactor,
}

impl LandingCase {
    fn values(&self, aircraft: &Aircraft) -> [f64; 5] {
        let true_speed = aircraft.approach_speed_ms / self.density_ratio.sqrt();
        [
            surface_factor(self.surface).0,
            slope_factor(self.slope),
            wind_factor(self.headwind_ms, true_speed),
            1.0 / self.density_ratio,
            self.safety.value(),
        ]
    }
    /// Needed length, metres.
    #[must_use]
    pub fn needed_m(&self, aircraft: &Aircraft) -> f64 {
        self.values(aircraft).iter().fold(aircraft.landing_distance_m, |length, f| length * f)
    }
    /// Length from 50 ft to the stop as the factors have it, the general safety factor left out, metres.
    #[must_use]
    pub fn expected_m(&self, aircraft: &Aircraft) -> f64 {
        self.needed_m(aircraft) / self.safety.value()
    }
    /// The factors in the order in which they multiply.
    #[must_use]
    pub fn factors(&self, aircraft: &Aircraft) -> Vec<Factor> {
        let [surface, slope, wind, density, safety] = self.values(aircraft);
        let factor = |what: &str, value, source| Factor { what: what.into(), value, source };
        let grown = format!("surface: {}", self.surface.words());
        vec![
            factor(&grown, surface, surface_factor(self.surface).1),
            factor(
                if self.slope.is_some() { "slope, one standard error to the bad side" } else { "slope not known" },
                slope,
                "UK CAA Safety Sense 09: 1.1 at 2 % downhill; a straight line through it is our choice",
            ),
            factor(
                if self.headwind_ms < 0.0 { "tailwind, one and a half times" } else { "headwind, half of it" },
                wind,
                "CAT.POL.A.330(c)(2); distance grows with the square of ground speed",
            ),
            factor("air density", density, "ground speed² grows as 1/σ; σ from ICAO Doc 7488"),
            factor("general safety factor", safety, self.safety.source()),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn uk_landing_chain() {
        // GM1 CAT.POL.A.430/435: wet 1.15 × 1.43 = 1.64 of the dry landing distance.
        assert_relative_eq!(SS09_DRY_GRASS * SafetyFactor::Recommended.value(), 1.644_5, epsilon = 1e-9);
        // Safety Sense 09 table: 200 m book figure (paved), wet grass, 2 % down, 1.43 = 424.7 m. The book figure on dry
        // grass is 200 × 1.15.
        let aircraft = Aircraft { landing_distance_m: 200.0 * SS09_DRY_GRASS, ..Aircraft::example_flexwing() };
        let case = LandingCase {
            surface: Surface::SoftOrWet,
            slope: Some(-0.02),
            headwind_ms: 0.0,
            density_ratio: 1.0,
            safety: SafetyFactor::Recommended,
        };
        assert_relative_eq!(case.needed_m(&aircraft), 424.7, epsilon = 0.05);
        // Dry grass only, 250 m paved: 411.1 m.
        let aircraft = Aircraft { landing_distance_m: 250.0 * SS09_DRY_GRASS, ..aircraft };
        let dry = LandingCase { surface: Surface::GrazedGrass, slope: Some(0.0), ..case };
        assert_relative_eq!(dry.needed_m(&aircraft), 411.1, epsilon = 0.05);
        let product: f64 = dry.factors(&aircraft).iter().map(|f| f.value).product();
        assert_relative_eq!(product * aircraft.landing_distance_m, dry.needed_m(&aircraft), epsilon = 1e-9);
    }

    #[test]
    fn slope_never_earns_and_grows() {
        assert_eq!(slope_factor(Some(0.05)), 1.0);
        assert_relative_eq!(slope_factor(Some(-0.01)), 1.05);
        assert_relative_eq!(slope_factor(Some(-0.02)), 1.1, epsilon = 1e-12);
        assert_relative_eq!(slope_factor(None), 1.1);
        assert!(slope_factor(Some(-0.03)) > slope_factor(Some(-0.029)));
    }

    #[test]
    fn wind_counts_half_for_and_one_and_a_half_against() {
        assert_relative_eq!(wind_factor(10.0, 25.0), 0.64);
        assert_relative_eq!(wind_factor(-2.0, 25.0), 1.254_4);
        assert_eq!(wind_factor(0.0, 25.0), 1.0);
    }

    #[test]
    fn nobody_sets_a_safety_factor_below_one() {
        for own in [0.5, f64::NAN, f64::INFINITY, -1.0] {
            assert_relative_eq!(SafetyFactor::Own(own).value(), 1.43);
        }
        assert_relative_eq!(SafetyFactor::Own(1.2).value(), 1.2);
    }

    #[test]
    fn no_surface_is_shorter_than_short_grass() {
        let worst = surface_factor(Surface::Unknown).0;
        for surface in Surface::ALL {
            let f = surface_factor(surface).0;
            assert!((1.0..=worst).contains(&f), "{surface:?}");
        }
    }
}
