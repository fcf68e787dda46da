//! Invented ground and outlines from a seed, and the ground's surface worked out a second time.

use sparefield_geometry::grid::{GridFrame, SurfaceKind, Terrain, TerrainAccuracy};
use sparefield_geometry::math;
use sparefield_geometry::position::Xy;

/// Numbers from a seed.
///
/// # Source
/// SplitMix64: Steele, Lea & Flood, *Fast Splittable Pseudorandom Number Generators*, OOPSLA 2014.
#[derive(Clone, Debug)]
pub struct Dice(u64);

impl Dice {
    /// Dice that roll the same numbers for the same seed.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        let mut dice = Self(seed.wrapping_mul(0x2545_f491_4f6c_dd1d));
        dice.unit();
        dice
    }
    /// A number in 0…1, 1 excluded.
    pub fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
        (z >> 11) as f64 / (1u64 << 53) as f64
    }
    /// A number between two others.
    pub fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }
    /// A whole number below `count`.
    pub fn below(&mut self, count: usize) -> usize {
        ((self.unit() * count as f64) as usize).min(count.saturating_sub(1))
    }
}

/// A terrain from a height for each (row, column); its north-west post lies at `origin`.
#[must_use]
pub fn terrain(origin: Xy, rows: usize, cols: usize, cell_m: f64, height: impl Fn(usize, usize) -> f64) -> Terrain {
    let heights_m = (0..rows * cols).map(|i| height(i / cols, i % cols) as f32).collect();
    let accuracy = TerrainAccuracy { point_to_point_m: 0.5, kind: SurfaceKind::BareGround };
    Terrain { frame: GridFrame { origin, cell_m, cols, rows }, heights_m, accuracy }
}

/// Fractal ground of 2^`levels` + 1 posts a side, from 0 to about `relief_m`.
///
/// `roughness` is the share of its amplitude that each halving keeps: 0.5 is smooth at close range, 0.7 jagged.
///
/// # Source
/// Midpoint displacement with the diamond and square steps: Fournier, Fussell & Carpenter, *Computer Rendering of
/// Stochastic Models*, Communications of the ACM 25 (1982).
#[must_use]
pub fn fractal(seed: u64, levels: u32, cell_m: f64, relief_m: f64, roughness: f64) -> Terrain {
    let n = (1usize << levels) + 1;
    let mut dice = Dice::new(seed);
    let mut h = vec![0.0f64; n * n];
    for corner in [0, n - 1, n * (n - 1), n * n - 1] {
        h[corner] = dice.within(-0.5, 0.5);
    }
    let (mut step, mut amplitude) = (n - 1, 1.0);
    while step > 1 {
        let half = step / 2;
        for r in (half..n).step_by(step) {
            for c in (half..n).step_by(step) {
                let at = |dr: usize, dc: usize| h[(r - half + dr) * n + c - half + dc];
                let mean = (at(0, 0) + at(0, step) + at(step, 0) + at(step, step)) / 4.0;
                h[r * n + c] = mean + dice.within(-amplitude, amplitude);
            }
        }
        for r in (0..n).step_by(half) {
            for c in ((r / half + 1) % 2 * half..n).step_by(step) {
                let (mut sum, mut count) = (0.0, 0.0);
                for (near, index) in [
                    (r >= half, (r.wrapping_sub(half)).wrapping_mul(n).wrapping_add(c)),
                    (r + half < n, (r + half) * n + c),
                    (c >= half, (r * n + c).wrapping_sub(half)),
                    (c + half < n, r * n + c + half),
                ] {
                    if near {
                        sum += h[index];
                        count += 1.0;
                    }
                }
                h[r * n + c] = sum / count + dice.within(-amplitude, amplitude);
            }
        }
        step = half;
        amplitude *= roughness;
    }
    let low = h.iter().copied().fold(f64::INFINITY, f64::min);
    let high = h.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    terrain(Xy::new(400_000.0, 5_500_000.0), n, n, cell_m, |r, c| relief_m * (h[r * n + c] - low) / (high - low))
}

/// Greatest height of the bilinear surface above a straight line in space, over the line's whole length.
///
/// The line is cut where it passes from one patch to the next. Inside a patch the surface along a straight line is a
/// quadratic in the way flown, so its difference from the line is one too: three values give it, and its vertex is
/// looked at as well. Nothing is sampled, so nothing can be missed between samples. Infinite where there is no ground.
#[must_use]
pub fn worst_excess_m(terrain: &Terrain, (p, from_m): (Xy, f64), (q, to_m): (Xy, f64)) -> f64 {
    let f = terrain.frame;
    let column = |t: f64| (p.x + (q.x - p.x) * t - f.origin.x) / f.cell_m;
    let row = |t: f64| (f.origin.y - (p.y + (q.y - p.y) * t)) / f.cell_m;
    let mut cuts = vec![0.0, 1.0];
    for (a, b) in [(column(0.0), column(1.0)), (row(0.0), row(1.0))] {
        let (low, high) = (a.min(b), a.max(b));
        let mut line = low.ceil();
        while line <= high && high > low {
            cuts.push(((line - a) / (b - a)).clamp(0.0, 1.0));
            line += 1.0;
        }
    }
    cuts.sort_by(f64::total_cmp);
    let mut worst = f64::NEG_INFINITY;
    for pair in cuts.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let m = (a + b) / 2.0;
        let (r, c) = (row(m).floor(), column(m).floor());
        let (r, c) = (r.min(f.rows as f64 - 2.0), c.min(f.cols as f64 - 2.0));
        if !(r >= 0.0 && c >= 0.0) {
            return f64::INFINITY;
        }
        let post = |dr: usize, dc: usize| f64::from(terrain.heights_m[(r as usize + dr) * f.cols + c as usize + dc]);
        let corners = [post(0, 0), post(0, 1), post(1, 0), post(1, 1)];
        if corners.iter().any(|h| h.is_nan()) {
            return f64::INFINITY;
        }
        let over = |t: f64| {
            let (v, u) = (row(t) - r, column(t) - c);
            let north = corners[0] + (corners[1] - corners[0]) * u;
            let south = corners[2] + (corners[3] - corners[2]) * u;
            north + (south - north) * v - (from_m + (to_m - from_m) * t)
        };
        let (e0, e1, e2) = (over(a), over(m), over(b));
        worst = worst.max(e0).max(e2).max(e1);
        // e(s) = e0 + k1·s + k2·s² over s in 0…1.
        let k2 = 2.0 * (e0 - 2.0 * e1 + e2);
        let k1 = e2 - e0 - k2;
        if k2 < 0.0 {
            let s = -k1 / (2.0 * k2);
            if s > 0.0 && s < 1.0 {
                worst = worst.max(e0 + k1 * s + k2 * s * s);
            }
        }
    }
    worst
}

/// A point from a distance and an angle anticlockwise from east.
#[must_use]
pub fn polar(radius: f64, angle_rad: f64) -> Xy {
    Xy::new(radius * math::cos(angle_rad), radius * math::sin(angle_rad))
}

/// A star-shaped ring about a point, anticlockwise: any number of vertices, at uneven angles, convex or deeply indented.
#[must_use]
pub fn star(dice: &mut Dice, centre: Xy, vertices: usize, shortest: f64, longest: f64) -> Vec<Xy> {
    let n = vertices.max(3) as f64;
    (0..vertices.max(3))
        .map(|i| {
            let angle = (i as f64 + dice.within(0.1, 0.9)) * math::TAU / n;
            centre + polar(dice.within(shortest, longest), angle)
        })
        .collect()
}
