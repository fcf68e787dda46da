//! Numbers of several flights side by side, and what is done to all of them at once.
//!
//! Everything is plain arrays of a fixed length in loops without branches, which the compiler turns into vector
//! instructions. No operation looks across the array: what one flight comes to does not depend on its neighbours.
#![expect(clippy::inline_always, reason = "vectors stay in registers only where everything is one function")]

use crate::math::{self, FRAC_PI_2, PI, TAU};
use crate::position::Xy;
use core::array::from_fn;
use core::ops::{Add, BitAnd, Div, Mul, Neg, Not, Sub};

/// Flights side by side.
pub(super) const LANES: usize = 4;

/// One number of each flight.
#[derive(Clone, Copy, Debug)]
pub(super) struct Each(pub(super) [f64; LANES]);

/// Which flights, every bit set or none.
#[derive(Clone, Copy, Debug)]
pub(super) struct Which(pub(super) [u64; LANES]);

/// Added to a number of less than 2⁵¹ and taken off again, leaves a whole number; its low bits are that number.
const WHOLE: f64 = 6_755_399_441_055_744.0;

impl Which {
    pub(super) const ALL: Self = Self([u64::MAX; LANES]);

    #[inline]
    pub(super) fn any(self) -> bool {
        self.0.iter().fold(0, |a, b| a | b) != 0
    }
    /// Those there are.
    pub(super) fn lanes(self) -> impl Iterator<Item = usize> {
        (0..LANES).filter(move |l| self.0[*l] != 0)
    }
}

impl BitAnd for Which {
    type Output = Self;
    #[inline(always)]
    fn bitand(self, o: Self) -> Self {
        Self(from_fn(|l| self.0[l] & o.0[l]))
    }
}
impl Not for Which {
    type Output = Self;
    #[inline(always)]
    fn not(self) -> Self {
        Self(from_fn(|l| !self.0[l]))
    }
}

macro_rules! operator {
    ($name:ident, $function:ident, $sign:tt) => {
        impl $name for Each {
            type Output = Self;
            #[inline(always)]
            fn $function(self, o: Self) -> Self {
                Self(from_fn(|l| self.0[l] $sign o.0[l]))
            }
        }
        impl $name<f64> for Each {
            type Output = Self;
            #[inline(always)]
            fn $function(self, o: f64) -> Self {
                Self(from_fn(|l| self.0[l] $sign o))
            }
        }
        impl $name<Each> for f64 {
            type Output = Each;
            #[inline(always)]
            fn $function(self, o: Each) -> Each {
                Each(from_fn(|l| self $sign o.0[l]))
            }
        }
    };
}
operator!(Add, add, +);
operator!(Sub, sub, -);
operator!(Mul, mul, *);
operator!(Div, div, /);

impl Neg for Each {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        Self(from_fn(|l| -self.0[l]))
    }
}

const fn bits(is: bool) -> u64 {
    if is { u64::MAX } else { 0 }
}

impl Each {
    #[inline(always)]
    pub(super) const fn of(x: f64) -> Self {
        Self([x; LANES])
    }
    #[inline(always)]
    pub(super) fn sqrt(self) -> Self {
        Self(from_fn(|l| self.0[l].sqrt()))
    }
    #[inline(always)]
    pub(super) fn abs(self) -> Self {
        Self(from_fn(|l| self.0[l].abs()))
    }
    /// The other where this is not a number.
    #[inline(always)]
    pub(super) fn max(self, o: Self) -> Self {
        Self(from_fn(|l| if self.0[l] > o.0[l] { self.0[l] } else { o.0[l] }))
    }
    /// The other where this is not a number.
    #[inline(always)]
    pub(super) fn min(self, o: Self) -> Self {
        Self(from_fn(|l| if self.0[l] < o.0[l] { self.0[l] } else { o.0[l] }))
    }
    #[inline(always)]
    pub(super) fn is_above(self, o: Self) -> Which {
        Which(from_fn(|l| bits(self.0[l] > o.0[l])))
    }
    #[inline(always)]
    pub(super) fn is_at_least(self, o: Self) -> Which {
        Which(from_fn(|l| bits(self.0[l] >= o.0[l])))
    }
    #[inline(always)]
    pub(super) fn is_finite(self) -> Which {
        Which(from_fn(|l| bits(self.0[l].abs() < f64::INFINITY)))
    }
    /// This where asked for, the other elsewhere.
    #[inline(always)]
    pub(super) fn where_else(self, which: Which, o: Self) -> Self {
        Self(from_fn(|l| f64::from_bits((self.0[l].to_bits() & which.0[l]) | (o.0[l].to_bits() & !which.0[l]))))
    }
    #[inline(always)]
    pub(super) fn keep(&mut self, which: Which, new: Self) {
        *self = new.where_else(which, *self);
    }
    /// The nearest whole number, of less than 2⁵¹.
    #[inline(always)]
    pub(super) fn round(self) -> Self {
        (self + WHOLE) - WHOLE
    }
    /// The next whole number, of less than 2⁵¹.
    #[inline(always)]
    pub(super) fn ceil(self) -> Self {
        let near = self.round();
        near + Self::of(1.0).where_else(self.is_above(near), Self::of(0.0))
    }
    /// The whole number below or at it within a table, and what is left of it; a place in the middle of two whole numbers may
    /// count to either. A number that is none counts as within the table.
    #[inline(always)]
    pub(super) fn row_and_rest(self, last: usize) -> ([usize; LANES], Self) {
        let below = (self - 0.5).max(Self::of(0.0)).min(Self::of(last as f64)) + WHOLE;
        let row = from_fn(|l| (below.0[l].to_bits() as u32 as usize).min(last));
        (row, self - (below - WHOLE))
    }
    /// The angle brought into [−π, π].
    #[inline(always)]
    pub(super) fn wrap_pi(self) -> Self {
        self - (self * (1.0 / TAU)).round() * TAU
    }

    /// Sine and cosine of angles of less than some thousand radians, within 1e-13: the rest of a division by a quarter of a turn, and
    /// Taylor's series of it.
    #[inline(always)]
    pub(super) fn sin_cos(self) -> (Self, Self) {
        // What π/2 has beyond its nearest number.
        const FRAC_PI_2_REST: f64 = 6.123_233_995_736_766e-17;
        let shifted = self * (1.0 / FRAC_PI_2) + WHOLE;
        let quarters = shifted - WHOLE;
        let r = self - quarters * FRAC_PI_2 - quarters * FRAC_PI_2_REST;
        let (sin, cos) = r.sin_cos_within_an_octant();
        let odd = Which(from_fn(|l| (shifted.0[l].to_bits() & 1).wrapping_neg()));
        let (a, b) = (cos.where_else(odd, sin), sin.where_else(odd, cos));
        let sin = from_fn(|l| f64::from_bits(a.0[l].to_bits() ^ ((shifted.0[l].to_bits() & 2) << 62)));
        let cos = from_fn(|l| f64::from_bits(b.0[l].to_bits() ^ ((shifted.0[l].to_bits().wrapping_add(1) & 2) << 62)));
        (Self(sin), Self(cos))
    }

    /// The same of some tenths of a radian: within 1e-9 up to 0.7, 1e-6 up to 1.4.
    #[inline(always)]
    pub(super) fn sin_cos_of_a_little(self) -> (Self, Self) {
        let x = self * self;
        let mut sin = x * (1.0 / 362_880.0) - 1.0 / 5_040.0;
        sin = sin * x + 1.0 / 120.0;
        sin = sin * x - 1.0 / 6.0;
        sin = sin * x * self + self;
        let mut cos = x * (-1.0 / 3_628_800.0) + 1.0 / 40_320.0;
        cos = cos * x - 1.0 / 720.0;
        cos = cos * x + 1.0 / 24.0;
        cos = cos * x - 0.5;
        cos = cos * x + 1.0;
        (sin, cos)
    }

    /// The same of angles within ±π/4.
    #[inline(always)]
    fn sin_cos_within_an_octant(self) -> (Self, Self) {
        let r = self;
        let x = r * r;
        let mut sin = x * (1.0 / 6_227_020_800.0) - 1.0 / 39_916_800.0;
        sin = sin * x + 1.0 / 362_880.0;
        sin = sin * x - 1.0 / 5_040.0;
        sin = sin * x + 1.0 / 120.0;
        sin = sin * x - 1.0 / 6.0;
        sin = sin * x * r + r;
        let mut cos = x * (-1.0 / 87_178_291_200.0) + 1.0 / 479_001_600.0;
        cos = cos * x - 1.0 / 3_628_800.0;
        cos = cos * x + 1.0 / 40_320.0;
        cos = cos * x - 1.0 / 720.0;
        cos = cos * x + 1.0 / 24.0;
        cos = cos * x - 0.5;
        cos = cos * x + 1.0;
        (sin, cos)
    }
}

/// One place or vector of each flight.
#[derive(Clone, Copy, Debug)]
pub(super) struct EachXy {
    pub(super) x: Each,
    pub(super) y: Each,
}

impl EachXy {
    #[inline(always)]
    pub(super) const fn of(p: Xy) -> Self {
        Self { x: Each::of(p.x), y: Each::of(p.y) }
    }
    #[inline(always)]
    pub(super) fn dot(self, o: Self) -> Each {
        self.x * o.x + self.y * o.y
    }
    #[inline(always)]
    pub(super) fn norm(self) -> Each {
        self.dot(self).sqrt()
    }
    #[inline(always)]
    pub(super) fn times(self, k: Each) -> Self {
        Self { x: self.x * k, y: self.y * k }
    }
    #[inline(always)]
    pub(super) fn keep(&mut self, which: Which, new: Self) {
        self.x.keep(which, new.x);
        self.y.keep(which, new.y);
    }
    pub(super) fn lane(self, l: usize) -> Xy {
        Xy::new(self.x.0[l], self.y.0[l])
    }
    /// Unit vectors along these, and where there are some.
    #[inline(always)]
    pub(super) fn direction(self) -> (Self, Which) {
        let length = self.norm();
        (self.times(1.0 / length), length.is_above(Each::of(1e-9)) & length.is_finite())
    }

    /// The compass direction of a unit vector, radians within [−π, π], within 1e-12: the first terms of the arc sine, and one
    /// correction by the sine of what is missing.
    #[inline(always)]
    pub(super) fn heading_rad(self) -> Each {
        let (a, b) = (self.x.abs(), self.y.abs());
        let is_over = a.is_above(b);
        let (s, c) = (b.where_else(is_over, a), a.where_else(is_over, b));
        let x = s * s;
        let rough = s + s * x * (1.0 / 6.0 + x * (3.0 / 40.0 + x * (15.0 / 336.0)));
        let (sin, cos) = rough.sin_cos_within_an_octant();
        let missing = s * cos - c * sin;
        let octant = rough + missing + missing * missing * missing * (1.0 / 6.0);
        let quarter = (FRAC_PI_2 - octant).where_else(is_over, octant);
        let half = (PI - quarter).where_else(Each::of(0.0).is_above(self.y), quarter);
        (-half).where_else(Each::of(0.0).is_above(self.x), half)
    }

    /// A compass direction turned clockwise by the sine and cosine of an angle.
    #[inline(always)]
    pub(super) fn turned_by(self, (sin, cos): (Each, Each)) -> Self {
        Self { x: self.x * cos + self.y * sin, y: self.y * cos - self.x * sin }
    }
}

impl Add for EachXy {
    type Output = Self;
    #[inline(always)]
    fn add(self, o: Self) -> Self {
        Self { x: self.x + o.x, y: self.y + o.y }
    }
}
impl Sub for EachXy {
    type Output = Self;
    #[inline(always)]
    fn sub(self, o: Self) -> Self {
        Self { x: self.x - o.x, y: self.y - o.y }
    }
}

/// The arc cosine, one after the other.
pub(super) fn acos(x: Each) -> Each {
    Each(x.0.map(math::acos))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn four(i: u32) -> Each {
        Each(from_fn(|l| (f64::from(i) - 50_000.0) * 0.000_731 + l as f64 * 1.37))
    }

    #[test]
    fn sines_cosines_and_directions_are_those_of_the_library() {
        for i in 0..100_000 {
            let x = four(i);
            let (sin, cos) = x.sin_cos();
            let heading = EachXy { x: sin, y: cos }.heading_rad();
            let wrapped = x.wrap_pi();
            for l in 0..LANES {
                let (s, c) = math::sin_cos(x.0[l]);
                assert!((s - sin.0[l]).abs() < 1e-13 && (c - cos.0[l]).abs() < 1e-13, "{}", x.0[l]);
                let off = math::wrap_pi(heading.0[l] - math::atan2(s, c));
                assert!(off.abs() < 1e-12, "{} {off}", x.0[l]);
                assert!(math::wrap_pi(wrapped.0[l] - math::wrap_pi(x.0[l])).abs() < 1e-12);
            }
            let angle = Each::of(0.7 * (f64::from(i) / 50_000.0 - 1.0));
            let there = EachXy { x: sin, y: cos };
            let further = there.turned_by(angle.sin_cos_of_a_little());
            let twice = further.turned_by(angle.sin_cos_of_a_little());
            for l in 0..LANES {
                for (found, by) in [(further, 1.0), (twice, 2.0)] {
                    let (s, c) = math::sin_cos(x.0[l] + by * angle.0[l]);
                    assert!((found.lane(l) - Xy::new(s, c)).norm() < 4e-9, "{} {}", x.0[l], angle.0[l]);
                }
            }
        }
        for k in -8..=8_i32 {
            let x = Each::of(f64::from(k) * FRAC_PI_2);
            let (sin, cos) = x.sin_cos();
            let (s, c) = math::sin_cos(x.0[0]);
            assert!((s - sin.0[0]).abs() < 1e-13 && (c - cos.0[0]).abs() < 1e-13);
        }
    }

    #[test]
    fn whole_numbers_and_rows_of_a_table() {
        for i in 0..100_000 {
            let x = four(i);
            let (up, near) = (x.ceil(), x.round());
            for l in 0..LANES {
                assert_eq!(up.0[l], x.0[l].ceil());
                assert!((near.0[l] - x.0[l]).abs() <= 0.5);
            }
            let within = x.abs();
            let (rows, rest) = within.row_and_rest(30);
            for (l, row) in rows.into_iter().enumerate() {
                assert!(row <= 30);
                assert_eq!(row as f64 + rest.0[l], within.0[l]);
                assert!(within.0[l] > 31.0 || (0.0..=1.0).contains(&rest.0[l]), "{}", within.0[l]);
            }
        }
        for odd in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(Each::of(odd).row_and_rest(7).0.iter().all(|row| *row <= 7));
            assert!(!Each::of(odd).is_finite().any());
        }
    }
}
