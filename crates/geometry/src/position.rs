//! Places and directions: geographic, projected, and compass.

use crate::math;
use core::ops::{Add, Mul, Neg, Sub};
use serde::{Deserialize, Serialize};

/// A geographic position on WGS 84, in degrees.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct LonLat {
    /// Longitude in degrees, east positive.
    pub lon_deg: f64,
    /// Latitude in degrees, north positive.
    pub lat_deg: f64,
}

impl LonLat {
    /// A position, or `None` unless longitude is within ±360 and latitude within ±90 and both are finite.
    #[must_use]
    pub fn new(lon_deg: f64, lat_deg: f64) -> Option<Self> {
        let valid = lon_deg.abs() <= 360.0 && lat_deg.abs() <= 90.0;
        valid.then_some(Self { lon_deg, lat_deg })
    }
}

/// A position or displacement in the area's projected frame: metres east (`x`) and north (`y`).
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
pub struct Xy {
    /// Metres east.
    pub x: f64,
    /// Metres north.
    pub y: f64,
}

impl Xy {
    /// A point from its two coordinates in metres.
    #[must_use]
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }
    /// Length in metres.
    #[must_use]
    pub fn norm(self) -> f64 {
        math::hypot(self.x, self.y)
    }
    /// Scalar product.
    #[must_use]
    pub fn dot(self, other: Self) -> f64 {
        self.x * other.x + self.y * other.y
    }
    /// The z part of the vector product: positive when `other` lies anticlockwise of `self`.
    #[must_use]
    pub fn cross(self, other: Self) -> f64 {
        self.x * other.y - self.y * other.x
    }
    /// Distance to another point in metres.
    #[must_use]
    pub fn distance(self, other: Self) -> f64 {
        (self - other).norm()
    }
    /// The direction this displacement points, or `None` for a zero or non-finite one.
    #[must_use]
    pub fn bearing(self) -> Option<Bearing> {
        let length = self.norm();
        (length > 0.0 && length.is_finite()).then(|| Bearing::from_rad(math::atan2(self.x, self.y)))
    }
}

impl Add for Xy {
    type Output = Self;
    fn add(self, o: Self) -> Self {
        Self::new(self.x + o.x, self.y + o.y)
    }
}
impl Sub for Xy {
    type Output = Self;
    fn sub(self, o: Self) -> Self {
        Self::new(self.x - o.x, self.y - o.y)
    }
}
impl Mul<f64> for Xy {
    type Output = Self;
    fn mul(self, k: f64) -> Self {
        Self::new(self.x * k, self.y * k)
    }
}
impl Neg for Xy {
    type Output = Self;
    fn neg(self) -> Self {
        Self::new(-self.x, -self.y)
    }
}

/// A direction in the frame, clockwise from grid north; held in radians within [0, 2π).
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
pub struct Bearing(f64);

impl Bearing {
    /// Grid north.
    pub const NORTH: Self = Self(0.0);
    /// From radians clockwise from north; any finite value is wrapped.
    #[must_use]
    pub fn from_rad(rad: f64) -> Self {
        Self(math::wrap_tau(rad))
    }
    /// From compass degrees; any finite value is wrapped.
    #[must_use]
    pub fn from_deg(deg: f64) -> Self {
        Self::from_rad(deg.to_radians())
    }
    /// Radians clockwise from north in [0, 2π).
    #[must_use]
    pub fn rad(self) -> f64 {
        self.0
    }
    /// Compass degrees in [0, 360).
    #[must_use]
    pub fn deg(self) -> f64 {
        self.0.to_degrees()
    }
    /// The unit vector in this direction.
    #[must_use]
    pub fn unit(self) -> Xy {
        let (sin, cos) = math::sin_cos(self.0);
        Xy::new(sin, cos)
    }
    /// The opposite direction.
    #[must_use]
    pub fn reversed(self) -> Self {
        Self::from_rad(self.0 + math::PI)
    }
    /// The signed turn from `self` to `other` in radians within (−π, π]; positive is to the right.
    #[must_use]
    pub fn turn_to(self, other: Self) -> f64 {
        math::wrap_pi(other.0 - self.0)
    }
}
