//! Chance and smooth randomness, the same on every machine.

use sparefield_geometry::math;
use sparefield_geometry::position::Xy;

/// One step of the `SplitMix64` mixing function: a well-spread 64-bit value for any input.
///
/// Source: G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014.
#[must_use]
pub fn mix(x: u64) -> u64 {
    let mut z = x.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

/// A value in [0, 1) from 64 mixed bits.
fn unit(bits: u64) -> f64 {
    (bits >> 11) as f64 / (1_u64 << 53) as f64
}

/// A seeded sequence of random values.
#[derive(Clone, Debug)]
pub struct Dice {
    state: u64,
}

impl Dice {
    /// A sequence for a seed and a purpose, so that adding throws for one purpose leaves the others unchanged.
    #[must_use]
    pub fn new(seed: u64, purpose: u64) -> Self {
        Self { state: mix(seed ^ mix(purpose)) }
    }
    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        let value = mix(self.state);
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        value
    }
    /// The next value in [0, 1).
    pub fn unit(&mut self) -> f64 {
        unit(self.bits())
    }
    /// The next value in [low, high).
    pub fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }
    /// Whether something that happens with this probability happens.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }
    /// A whole number below `count`; zero when `count` is zero.
    pub fn below(&mut self, count: usize) -> usize {
        ((self.unit() * count as f64) as usize).min(count.saturating_sub(1))
    }
    /// Puts a list into random order (Fisher–Yates).
    pub fn shuffle<T>(&mut self, list: &mut [T]) {
        for i in (1..list.len()).rev() {
            list.swap(i, self.below(i + 1));
        }
    }
}

/// Smooth noise over the plane, roughly within ±1.
#[derive(Clone, Copy, Debug)]
pub struct Noise {
    seed: u64,
}

impl Noise {
    /// Noise for a seed and a purpose.
    #[must_use]
    pub fn new(seed: u64, purpose: u64) -> Self {
        Self { seed: mix(seed ^ mix(purpose.wrapping_add(0x5EED))) }
    }

    /// The random slope at a lattice point.
    fn gradient(self, i: i64, j: i64) -> Xy {
        let bits = mix(self.seed ^ mix((i as u64) ^ mix(j as u64)));
        let (sin, cos) = math::sin_cos(unit(bits) * math::TAU);
        Xy::new(cos, sin)
    }

    /// Gradient noise with one feature per `wavelength_m`.
    ///
    /// Source: K. Perlin, "Improving noise", SIGGRAPH 2002 (the fifth-degree fade), with free gradients.
    #[must_use]
    pub fn at(self, p: Xy, wavelength_m: f64) -> f64 {
        let (x, y) = (p.x / wavelength_m, p.y / wavelength_m);
        let (i, j) = (x.floor(), y.floor());
        let (fx, fy) = (x - i, y - j);
        let (i, j) = (i as i64, j as i64);
        let fade = |t: f64| t * t * t * (t * (t * 6.0 - 15.0) + 10.0);
        let (u, v) = (fade(fx), fade(fy));
        let corner = |di: i64, dj: i64| {
            let g = self.gradient(i + di, j + dj);
            g.x * (fx - di as f64) + g.y * (fy - dj as f64)
        };
        let low = corner(0, 0) * (1.0 - u) + corner(1, 0) * u;
        let high = corner(0, 1) * (1.0 - u) + corner(1, 1) * u;
        (low * (1.0 - v) + high * v) * 1.5
    }

    /// Several octaves of noise, each half as wide and half as strong as the one before.
    #[must_use]
    pub fn octaves(self, p: Xy, wavelength_m: f64, octaves: u32) -> f64 {
        let (mut sum, mut weight, mut wavelength) = (0.0, 1.0, wavelength_m);
        for octave in 0..octaves {
            let layer = Self { seed: self.seed.wrapping_add(u64::from(octave).wrapping_mul(0xA511_E9B3)) };
            sum += weight * layer.at(p, wavelength);
            weight *= 0.5;
            wavelength *= 0.5;
        }
        sum
    }
}
