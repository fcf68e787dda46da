//! Random numbers by counter, scrambled Sobol points, and normal scores: the same for a seed on any number of threads.
//!
//! # Sources
//! Mixing: the finaliser of splitmix64 (Steele, Lea, Flood, *Fast Splittable Pseudorandom Number Generators*, OOPSLA
//! 2014). Sobol points: direction numbers of Joe & Kuo, *Constructing Sobol sequences with better two-dimensional
//! projections*, SIAM J. Sci. Comput. 30 (2008). Scrambling: Owen's nested uniform scrambling by the hash of Laine & Karras
//! as put right by Burley, *Practical Hash-based Owen Scrambling*, JCGT 9(4), 2020. Normal scores: Wichura, algorithm AS
//! 241 (PPND7), Applied Statistics 37 (1988).
#![expect(clippy::inline_always, reason = "called for four flights at a time, in the middle of what is vectors")]

use crate::math;
use std::sync::LazyLock;

const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;

/// A well-mixed number for each number.
pub(super) const fn mixed(x: u64) -> u64 {
    let x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    x ^ (x >> 31)
}

/// Normal scores of one sample, one pair after the other.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stream {
    key: u64,
    count: u64,
}

impl Stream {
    pub(super) fn new(seed: u64, sample: u64) -> Self {
        Self { key: mixed(mixed(seed.wrapping_add(GOLDEN)).wrapping_add(sample.wrapping_mul(GOLDEN))), count: 0 }
    }
    /// Two independent standard normal numbers.
    pub(super) fn normals(&mut self) -> (f64, f64) {
        self.count = self.count.wrapping_add(GOLDEN);
        let bits = mixed(self.key.wrapping_add(self.count));
        (SCORE_TABLE.of(bits as u32), SCORE_TABLE.of((bits >> 32) as u32))
    }

    /// The same where every bit of `which` is set. Where none is, the stream stays where it is, and the numbers mean nothing.
    #[inline(always)]
    pub(super) fn normals_if(&mut self, scores: &Scores, which: u64) -> (f64, f64) {
        self.count = self.count.wrapping_add(GOLDEN & which);
        let bits = mixed(self.key.wrapping_add(self.count));
        (scores.of(bits as u32), scores.of((bits >> 32) as u32))
    }
}

/// Intervals of equal probability of a table of normal scores.
const SCORES: usize = 2_048;
/// So many at either end are not interpolated: there the score bends.
const ENDS: usize = 32;
/// Bits of a number that the intervals leave, and how much less that is in the table of an end.
const REST_BITS: u32 = 32 - SCORES.trailing_zeros();
const END_BITS: u32 = (SCORES / ENDS).trailing_zeros();

/// Normal scores in equal intervals, and those of the lowest intervals divided as finely again.
#[derive(Debug)]
pub(super) struct Scores {
    all: [f64; SCORES + 1],
    low: [f64; SCORES + 1],
}

pub(super) static SCORE_TABLE: LazyLock<Scores> = LazyLock::new(|| {
    let score = |p: f64| normal_score(p.clamp(1e-12, 1.0 - 1e-12));
    let low = (ENDS as f64) / (SCORES * SCORES) as f64;
    Scores {
        all: core::array::from_fn(|i| score(i as f64 / SCORES as f64)),
        low: core::array::from_fn(|i| score(i as f64 * low)),
    }
});

impl Scores {
    /// A normal number from 32 bits, within 1e-4 of [`normal_score`] of them.
    #[inline(always)]
    fn of(&self, bits: u32) -> f64 {
        let at = (bits >> REST_BITS) as usize;
        if !(ENDS..SCORES - ENDS).contains(&at) {
            return self.far_out(bits);
        }
        between(&self.all, at, bits, REST_BITS)
    }

    /// The same far from the middle, where the score bends: more finely, and at the very end exactly.
    #[inline(never)]
    fn far_out(&self, bits: u32) -> f64 {
        let is_high = bits >> 31 == 1;
        let low = if is_high { !bits } else { bits };
        let at = (low >> (REST_BITS - END_BITS)) as usize;
        if at < ENDS {
            return normal_score(unit(bits));
        }
        let score = between(&self.low, at, low, REST_BITS - END_BITS);
        if is_high { -score } else { score }
    }
}

/// Part of the way from one number of a table to the next, by the lower bits.
#[inline(always)]
fn between(table: &[f64; SCORES + 1], at: usize, bits: u32, rest_bits: u32) -> f64 {
    // So few bits that they are no negative number of 32 bits, which would take longer to convert.
    let part = (f64::from((bits & ((1 << rest_bits) - 1)) as i32) + 0.5) * (1.0 / f64::from(1_u32 << rest_bits));
    table[at] + (table[at + 1] - table[at]) * part
}

/// A number within (0, 1) from 32 bits.
pub(super) fn unit(bits: u32) -> f64 {
    (f64::from(bits) + 0.5) / 4_294_967_296.0
}

/// The value below which a standard normal number lies with a probability within (0, 1); about seven digits.
pub(crate) fn normal_score(p: f64) -> f64 {
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180_625 - q * q;
        let top = ((59.109_374_720 * r + 159.291_132_02) * r + 50.434_271_938) * r + 3.387_132_717_9;
        return q * top / (((67.187_563_600 * r + 78.757_757_664) * r + 17.895_169_469) * r + 1.0);
    }
    let tail = (-math::ln(if q < 0.0 { p } else { 1.0 - p })).sqrt();
    let value = if tail <= 5.0 {
        let r = tail - 1.6;
        let top = ((0.170_238_211_03 * r + 1.306_728_481_6) * r + 2.756_815_390_0) * r + 1.423_437_277_7;
        top / ((0.120_211_329_75 * r + 0.737_001_642_50) * r + 1.0)
    } else {
        let r = tail - 5.0;
        let top = ((0.017_337_203_997 * r + 0.428_682_943_37) * r + 3.081_226_386_0) * r + 6.657_905_115_0;
        top / ((0.012_258_202_635 * r + 0.241_978_942_25) * r + 1.0)
    };
    if q < 0.0 { -value } else { value }
}

/// Degree of the primitive polynomial, its inner coefficients, and the first direction numbers, from the second dimension.
const JOE_KUO: [(u32, u32, &[u32]); 11] = [
    (1, 0, &[1]),
    (2, 1, &[1, 3]),
    (3, 1, &[1, 3, 1]),
    (3, 2, &[1, 1, 1]),
    (4, 1, &[1, 1, 3, 3]),
    (4, 4, &[1, 3, 5, 13]),
    (5, 2, &[1, 1, 5, 5, 17]),
    (5, 4, &[1, 1, 5, 5, 5]),
    (5, 7, &[1, 1, 7, 11, 19]),
    (5, 11, &[1, 1, 5, 1, 1]),
    (5, 13, &[1, 1, 1, 3, 11]),
];

/// How many numbers a point has.
pub(super) const DIMENSIONS: usize = JOE_KUO.len() + 1;

/// Bits of a point's number that are used.
const BITS: usize = 32;

/// Sobol points.
#[derive(Clone, Debug)]
pub(super) struct Sobol {
    directions: [[u32; BITS]; DIMENSIONS],
}

impl Sobol {
    pub(super) fn new() -> Self {
        let mut directions = [[0; BITS]; DIMENSIONS];
        for (i, v) in directions[0].iter_mut().enumerate() {
            *v = 1 << (31 - i);
        }
        for (direction, (degree, inner, first)) in directions[1..].iter_mut().zip(JOE_KUO) {
            let s = degree as usize;
            for i in 0..BITS {
                direction[i] = if i < s {
                    first[i] << (31 - i)
                } else {
                    let mut v = direction[i - s] ^ (direction[i - s] >> s);
                    for k in 1..s {
                        if inner >> (s - 1 - k) & 1 == 1 {
                            v ^= direction[i - k];
                        }
                    }
                    v
                };
            }
        }
        Self { directions }
    }

    /// Coordinates of a point before scrambling, as fractions of 2³².
    pub(super) fn point(&self, number: u32) -> [u32; DIMENSIONS] {
        let mut at = [0; DIMENSIONS];
        let mut rest = number;
        while rest != 0 {
            let bit = rest.trailing_zeros() as usize;
            for (a, d) in at.iter_mut().zip(&self.directions) {
                *a ^= d[bit];
            }
            rest &= rest - 1;
        }
        at
    }

    /// A point scrambled by a seed, each coordinate within (0, 1).
    pub(super) fn scrambled(&self, number: u32, seed: u64) -> [f64; DIMENSIONS] {
        let point = self.point(number);
        core::array::from_fn(|d| {
            let key = mixed(seed.wrapping_add((d as u64 + 1).wrapping_mul(GOLDEN))) as u32;
            unit(scramble(point[d], key))
        })
    }
}

/// Owen's nested uniform scrambling: each bit is turned over or not by what the bits before it are.
fn scramble(x: u32, key: u32) -> u32 {
    let mut y = x.reverse_bits().wrapping_add(key);
    for odd in [0x6c50_b47c_u32, 0xb82f_1e52, 0xc7af_e638, 0x8d22_f6e6] {
        y ^= y.wrapping_mul(odd);
    }
    y.reverse_bits()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_says_what_the_score_says() {
        for i in 0..2_000_000_u32 {
            let bits = i.wrapping_mul(2_147_483_587).wrapping_add(i);
            let off = (SCORE_TABLE.of(bits) - normal_score(unit(bits))).abs();
            assert!(off < 1e-4, "{bits}: {off}");
        }
    }
}
