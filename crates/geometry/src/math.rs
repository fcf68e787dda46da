//! Elementary functions with the same bits on every platform.
//!
//! All trigonometry of the project goes through here, so that a result computed on one machine can be compared
//! bit for bit with one computed on another.

pub use core::f64::consts::{FRAC_PI_2, PI, TAU};

/// Standard gravity in m/s² (ICAO Doc 7488, conventional value).
pub const GRAVITY_MS2: f64 = 9.806_65;

/// Sine of an angle in radians.
#[must_use]
pub fn sin(x: f64) -> f64 {
    libm::sin(x)
}
/// Cosine of an angle in radians.
#[must_use]
pub fn cos(x: f64) -> f64 {
    libm::cos(x)
}
/// Sine and cosine of an angle in radians.
#[must_use]
pub fn sin_cos(x: f64) -> (f64, f64) {
    libm::sincos(x)
}
/// Tangent of an angle in radians.
#[must_use]
pub fn tan(x: f64) -> f64 {
    libm::tan(x)
}
/// Arc tangent in radians.
#[must_use]
pub fn atan(x: f64) -> f64 {
    libm::atan(x)
}
/// Angle of the vector (x, y) from the x axis, in (−π, π].
#[must_use]
pub fn atan2(y: f64, x: f64) -> f64 {
    libm::atan2(y, x)
}
/// Arc sine in radians.
#[must_use]
pub fn asin(x: f64) -> f64 {
    libm::asin(x)
}
/// Arc cosine in radians.
#[must_use]
pub fn acos(x: f64) -> f64 {
    libm::acos(x)
}
/// Natural logarithm.
#[must_use]
pub fn ln(x: f64) -> f64 {
    libm::log(x)
}
/// Exponential.
#[must_use]
pub fn exp(x: f64) -> f64 {
    libm::exp(x)
}
/// `x` to the power `y`.
#[must_use]
pub fn pow(x: f64, y: f64) -> f64 {
    libm::pow(x, y)
}
/// Length of the vector (x, y).
#[must_use]
pub fn hypot(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}
/// The angle brought into (−π, π].
#[must_use]
pub fn wrap_pi(angle_rad: f64) -> f64 {
    let turned = angle_rad - TAU * (angle_rad / TAU).round();
    if turned <= -PI { turned + TAU } else { turned }
}
/// The angle brought into [0, 2π).
#[must_use]
pub fn wrap_tau(angle_rad: f64) -> f64 {
    let turned = angle_rad - TAU * (angle_rad / TAU).floor();
    if turned.is_nan() || (0.0..TAU).contains(&turned) { turned } else { 0.0 }
}
