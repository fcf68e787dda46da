//! The nine criteria: how each becomes a number from 0 to 1, what that number allows, and what it weighs.
//!
//! Every criterion has the same scale: [`ROOMY_FROM`] is what a roomy field needs, [`WORKABLE_FROM`] what a workable one
//! needs; below that a field is a last resort. Because the verdict is made from these numbers alone (and from gates), a
//! field that is at least as good in each can never have a worse verdict. The breakpoints are the choice of this project
//! in the order instructors teach; where a published figure stands behind one it is named beside it.

use super::model::Surface;
use super::survey::TRUSTED_FROM;
use super::verdict::{CriterionKind, Verdict};
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// A criterion from here up allows a roomy verdict.
pub const ROOMY_FROM: f64 = 0.6;
/// A criterion from here up allows a workable verdict.
pub const WORKABLE_FROM: f64 = 0.3;
/// What a criterion that rests on something nobody looked at is held to: never roomy.
pub const UNKNOWN_AT_MOST: f64 = 0.55;

/// Largest tailwind as a share of approach speed. From memory: light-aircraft handbooks stop at about 10 kt.
pub const MAX_TAILWIND_SHARE: f64 = 0.2;
/// Downhill slope that is too steep: 2 %, the step of UK CAA Safety Sense 09 and (from memory) the mean slope limit of
/// CASA CAAP 92-1; field-landing teaching refuses any down-slope that can be seen from the air.
pub const MAX_DOWNHILL: f64 = 0.02;
/// Uphill slope that is too steep. Common practice, no source.
pub const MAX_UPHILL: f64 = 0.10;
/// Slope across that is too steep: twice the 2.5 % of CASA CAAP 92-1 (from memory).
pub const MAX_CROSS_SLOPE: f64 = 0.05;

/// Why weights cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum WeightsError {
    /// A weight is zero, negative or not a number.
    #[error("the weight of \"{}\" is {value}, but must be greater than zero", kind.words())]
    NotPositive {
        /// Whose weight.
        kind: CriterionKind,
        /// The weight given.
        value: f64,
    },
}

/// Weights of the criteria, each greater than zero, adding up to 1.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "[f64; 9]", into = "[f64; 9]")]
pub struct Weights([f64; 9]);

impl Weights {
    /// Weights in the order of [`CriterionKind::ALL`], scaled to add up to 1.
    ///
    /// # Errors
    /// When one is not a number greater than zero.
    pub fn new(weights: [f64; 9]) -> Result<Self, WeightsError> {
        for (kind, value) in CriterionKind::ALL.into_iter().zip(weights) {
            if !(value > 0.0 && value.is_finite()) {
                return Err(WeightsError::NotPositive { kind, value });
            }
        }
        let sum: f64 = weights.iter().sum();
        Ok(Self(weights.map(|w| w / sum)))
    }
    /// The weights in the order of [`CriterionKind::ALL`].
    #[must_use]
    pub fn values(&self) -> &[f64; 9] {
        &self.0
    }
    pub(super) fn score(&self, values: &[f64; 9]) -> f64 {
        self.0.iter().zip(values).map(|(w, v)| w * v).sum()
    }
}

impl Default for Weights {
    /// Length and spare height first, as what cannot be mended later; then surface, wind and slope; then the rest.
    /// Common practice, no source.
    fn default() -> Self {
        Self([0.18, 0.12, 0.12, 0.14, 0.10, 0.16, 0.08, 0.04, 0.06])
    }
}

impl TryFrom<[f64; 9]> for Weights {
    type Error = WeightsError;
    fn try_from(weights: [f64; 9]) -> Result<Self, WeightsError> {
        Self::new(weights)
    }
}

impl From<Weights> for [f64; 9] {
    fn from(weights: Weights) -> Self {
        weights.0
    }
}

/// The best verdict that criteria allow. Alternatives weigh in the score and hold nothing down.
#[must_use]
pub fn allowed_verdict(values: &[f64; 9]) -> Verdict {
    let held = CriterionKind::ALL.iter().zip(values).filter(|(k, _)| **k != CriterionKind::Alternatives);
    held.map(|(_, &v)| allowed_by(v)).max().unwrap_or(Verdict::LastResort)
}

/// The best verdict that one criterion allows.
#[must_use]
pub fn allowed_by(value: f64) -> Verdict {
    if value >= ROOMY_FROM {
        Verdict::Roomy
    } else if value >= WORKABLE_FROM {
        Verdict::Workable
    } else {
        Verdict::LastResort
    }
}

/// A line through points of rising x; level outside them; the lowest value for what is not a number.
pub(super) fn line(points: &[(f64, f64)], x: f64) -> f64 {
    if x.is_nan() {
        return points.iter().fold(1.0, |low, p| p.1.min(low));
    }
    let mut last = points[0];
    if x <= last.0 {
        return last.1;
    }
    for &p in &points[1..] {
        if x <= p.0 {
            return last.1 + (p.1 - last.1) * ((x - last.0) / (p.0 - last.0));
        }
        last = p;
    }
    last.1
}

/// Usable over needed length, the safety factor already inside: a quarter more for roomy.
#[must_use]
pub fn length_value(usable_m: f64, needed_m: f64) -> f64 {
    line(&[(0.0, 0.0), (1.0, 0.3), (1.25, 0.6), (2.0, 1.0)], usable_m / needed_m)
}

/// Crosswind up to 0.7 of the aircraft's limit is roomy; half a metre a second of tailwind too, 10 % of approach speed
/// workable (the tailwind step of the older UK table).
#[must_use]
pub fn wind_value(headwind_ms: f64, crosswind_ms: f64, max_crosswind_ms: f64, approach_speed_ms: f64) -> f64 {
    let cross = if crosswind_ms == 0.0 { 0.0 } else { crosswind_ms.abs() / max_crosswind_ms };
    let tail = (-headwind_ms / approach_speed_ms).max(if headwind_ms.is_nan() { f64::NAN } else { 0.0 });
    let across = line(&[(0.0, 1.0), (0.7, 0.6), (1.0, 0.3), (1.5, 0.0)], cross);
    let behind = line(&[(0.0, 1.0), (0.02, 0.6), (0.1, 0.3), (MAX_TAILWIND_SHARE, 0.05), (0.3, 0.0)], tail);
    // A crosswind with a tailwind is worse than either alone.
    across * behind
}

/// Slope along with one standard error to the bad side, slope across, and roughness; the worst counts.
///
/// A slope across whose standard error is as large as its limit is not known, and unknown is never counted as good.
#[must_use]
pub fn slope_value(slope: f64, slope_error: f64, cross_slope: f64, cross_error: f64, roughness_m: f64) -> f64 {
    let down = line(&[(0.0, 1.0), (MAX_DOWNHILL, 0.6), (0.04, 0.3), (0.08, 0.0)], slope_error - slope);
    let up = line(&[(0.03, 1.0), (0.06, 0.6), (MAX_UPHILL, 0.3), (0.2, 0.0)], slope);
    let across = line(&[(0.005, 1.0), (0.025, 0.6), (MAX_CROSS_SLOPE, 0.3), (0.1, 0.0)], cross_slope.abs());
    let rough = line(&[(0.1, 1.0), (1.0, 0.6), (2.0, 0.3), (4.0, 0.0)], roughness_m);
    let known = if cross_error < MAX_CROSS_SLOPE { 1.0 } else { UNKNOWN_AT_MOST };
    down.min(up).min(across).min(rough).min(known)
}

/// What slope counts for where there is no terrain.
pub const SLOPE_UNKNOWN: f64 = 0.2;

/// What was seen, while it is trusted ([`super::survey`]): the order pilots are taught is stubble, grass, short crop, and everything else as a hazard.
#[must_use]
pub fn surface_value(surface: Surface) -> f64 {
    match surface {
        Surface::Stubble => 1.0,
        Surface::GrazedGrass => 0.95,
        Surface::ShortCrop => 0.55,
        Surface::LongGrass => 0.45,
        Surface::Ploughed => 0.25,
        Surface::SoftOrWet => 0.2,
        Surface::Unknown => 0.15,
        Surface::TallCrop => 0.05,
    }
}

/// Share of the strip that obstacles take.
#[must_use]
pub fn approach_value(displacement_m: f64, length_m: f64) -> f64 {
    line(&[(0.0, 1.0), (0.25, 0.6), (0.5, 0.3), (1.0, 0.0)], displacement_m / length_m)
}

/// Height in hand over the circuit: 30 m (100 ft) for workable, 60 m (200 ft) for roomy; with less than that a circuit
/// flown a little worse than reckoned does not arrive. Common practice, no source.
#[must_use]
pub fn spare_value(spare_m: f64) -> f64 {
    line(&[(-100.0, 0.0), (0.0, 0.1), (30.0, 0.3), (60.0, 0.6), (300.0, 1.0)], spare_m)
}

/// What stands and lives around the circuit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Surroundings {
    /// Whether any hazards were given, so that none near means something.
    pub hazards_known: bool,
    /// Lines of wires near the field.
    pub wires_near: usize,
    /// Masts, trees and buildings near the field.
    pub tall_near: usize,
    /// Whether wires cross the approach, cleared with the margin.
    pub wires_under_approach: bool,
    /// What is known of animals, 0 to 1 ([`super::survey::SurveyStanding::stock_value`]).
    pub stock: f64,
    /// Whether the final passes low over a quiet zone.
    pub low_over_quiet_zone: bool,
}

/// Hazards, animals and quiet zones around the circuit.
#[must_use]
pub fn clearness_value(s: Surroundings) -> f64 {
    let near = line(&[(0.0, 1.0), (4.0, 0.6)], s.tall_near as f64);
    let wires = line(&[(0.0, 1.0), (1.0, 0.7), (3.0, 0.4)], s.wires_near as f64);
    let under = if s.wires_under_approach { 0.45 } else { 1.0 };
    let quiet = if s.low_over_quiet_zone { 0.4 } else { 1.0 };
    let given = if s.hazards_known { 1.0 } else { UNKNOWN_AT_MOST };
    near.min(wires).min(under).min(s.stock).min(quiet).min(given)
}

/// What the survey is still worth ([`super::survey`]), 0 to 1; one that nobody made or dated is worth nothing.
#[must_use]
pub fn freshness_value(confidence: f64) -> f64 {
    line(&[(0.0, 0.3), (TRUSTED_FROM, ROOMY_FROM), (1.0, 1.0)], confidence)
}

/// Other fields that are not out within a kilometre.
#[must_use]
pub fn alternatives_value(others: usize) -> f64 {
    line(&[(0.0, 0.0), (1.0, 0.4), (2.0, 0.7), (4.0, 1.0)], others as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn default_weights_are_positive_and_add_up_to_one() {
        let w = *Weights::default().values();
        assert!(w.iter().all(|w| *w > 0.0));
        assert!((w.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        assert!(Weights::new([0.0; 9]).is_err());
        let mut bad = w;
        bad[4] = f64::NAN;
        assert!(matches!(Weights::new(bad), Err(WeightsError::NotPositive { kind: CriterionKind::Approach, .. })));
        assert_eq!(Weights::new([2.0; 9]).unwrap().values()[0], 1.0 / 9.0);
    }

    #[test]
    fn unknown_is_never_roomy() {
        assert_ne!(allowed_by(surface_value(Surface::Unknown)), Verdict::Roomy);
        assert_ne!(allowed_by(freshness_value(0.0)), Verdict::Roomy);
        assert_ne!(allowed_by(SLOPE_UNKNOWN), Verdict::Roomy);
        assert_ne!(allowed_by(UNKNOWN_AT_MOST), Verdict::Roomy);
        let clear = Surroundings {
            hazards_known: true,
            wires_near: 0,
            tall_near: 0,
            wires_under_approach: false,
            stock: 1.0,
            low_over_quiet_zone: false,
        };
        assert_eq!(allowed_by(clearness_value(clear)), Verdict::Roomy);
        assert_ne!(allowed_by(clearness_value(Surroundings { hazards_known: false, ..clear })), Verdict::Roomy);
        let nan = f64::NAN;
        for value in [
            length_value(nan, 100.0),
            wind_value(nan, 0.0, 5.0, 20.0),
            wind_value(0.0, nan, 5.0, 20.0),
            slope_value(nan, 0.0, 0.0, 0.0, 0.0),
            slope_value(0.0, nan, 0.0, 0.0, 0.0),
            approach_value(nan, 1.0),
            spare_value(nan),
        ] {
            assert_eq!(allowed_by(value), Verdict::LastResort, "{value}");
        }
    }

    #[test]
    fn limits_of_the_gates_are_still_judged() {
        assert_eq!(allowed_by(length_value(100.0, 100.0)), Verdict::Workable);
        assert_eq!(allowed_by(length_value(125.0, 100.0)), Verdict::Roomy);
        assert_eq!(allowed_by(spare_value(0.0)), Verdict::LastResort);
        assert_eq!(allowed_by(spare_value(30.0)), Verdict::Workable);
        assert_eq!(allowed_by(spare_value(60.0)), Verdict::Roomy);
        assert_eq!(allowed_by(wind_value(5.0, 5.0, 5.0, 20.0)), Verdict::Workable);
        assert_eq!(allowed_by(wind_value(-4.0, 0.0, 5.0, 20.0)), Verdict::LastResort);
        // A 2 m error over 200 m is 1 %: a level field may be roomy, a 1.5 % one may be steeper than 2 %.
        assert_eq!(allowed_by(slope_value(0.0, 0.01, 0.0, 0.0, 0.0)), Verdict::Roomy);
        assert_eq!(allowed_by(slope_value(-0.015, 0.01, 0.0, 0.0, 0.0)), Verdict::Workable);
        // The same 2 m across a strip of 20 m is 10 %: nobody knows how it leans.
        assert_eq!(allowed_by(slope_value(0.0, 0.01, 0.0, 0.1, 0.0)), Verdict::Workable);
        // Across and behind together are worse than either.
        assert_eq!(allowed_by(wind_value(-1.0, 4.0, 5.0, 20.0)), Verdict::LastResort);
        assert_eq!(allowed_by(wind_value(-1.0, 0.0, 5.0, 20.0)), Verdict::Workable);
        assert_eq!(allowed_by(wind_value(1.0, 4.0, 5.0, 20.0)), Verdict::Workable);
    }
}
