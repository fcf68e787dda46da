//! Where a steady turn leads.

use crate::circuit::column::AirAt;
use crate::circuit::flight::direction;
use crate::circuit::motion::{Motion, crab};
use crate::math::{self, GRAVITY_MS2};
use crate::position::Xy;

/// A steady turn from a state, in the air there.
pub(super) struct Turning {
    from: Xy,
    ahead: Xy,
    inward: Xy,
    radius_m: f64,
    drift_m_per_rad: Xy,
    wind: Xy,
    true_ms: f64,
}

impl Turning {
    pub(super) fn new(at: &Motion, air: &AirAt, side: f64, sin_bank: f64, cos_bank: f64) -> Self {
        let true_ms = at.level_speed_ms * air.to_true;
        // V₁√n over g·tan φ, and the radius V₁²n/(g·tan φ).
        let root = cos_bank.sqrt();
        let seconds_per_rad = true_ms * root / (GRAVITY_MS2 * sin_bank.max(1e-3));
        let (east, north) = math::sin_cos(at.heading_rad);
        Self {
            from: at.position,
            ahead: Xy::new(east, north),
            inward: Xy::new(north, -east) * side,
            radius_m: true_ms / root * seconds_per_rad,
            drift_m_per_rad: air.wind * seconds_per_rad,
            wind: air.wind,
            true_ms,
        }
    }

    /// The heading that leads towards a place from where the turn ends after an angle, drift included.
    pub(super) fn heading_towards(&self, target: Xy, angle_rad: f64) -> Option<f64> {
        let (sin, cos) = math::sin_cos(angle_rad);
        let end = self.from
            + self.ahead * (self.radius_m * sin)
            + self.inward * (self.radius_m * (1.0 - cos))
            + self.drift_m_per_rad * angle_rad;
        let (heading, _) = crab(self.true_ms, self.wind, direction(target - end)?)?;
        Some(math::atan2(heading.x, heading.y))
    }
}
