//! Straight glides through air that changes with height.
//!
//! Height is cut into layers. For a fixed direction over the ground, a table holds the distance covered while descending
//! from each layer boundary to the lowest one, so that the height after a distance is found by a search in one column.
//!
//! # Never optimistic
//! - **Inside a layer** the wind lies on the segment between the winds at its two ends. Ground speed at a given airspeed
//!   is concave in the wind, so the worse of the two ends bounds the loss; that is what is used, at the airspeed that is
//!   best in the middle.
//! - **Between two directions** of the table, loss is subadditive: the loss along a·u + b·v is at most a times that along
//!   u plus b times that along v. In terms of range this is the harmonic mean, which is replaced by the arithmetic mean
//!   less a bound of their difference, summed over the layers like the ranges themselves.
//!
//! Density is that of the standard atmosphere at the ends of each layer.

use super::descent::{GlideLine, Speeds, diamond, quadrant_signs};
use crate::air::{PROFILE_TOP_M, SURFACE_WIND_HEIGHT_M, Wind, isa_density_ratio};
use crate::position::Xy;
use core::ops::Range;

/// Direction intervals per quadrant.
///
/// A chord across one of them understates the range by at most (2/128)²/8 = 3e-5 of itself.
const DIRECTIONS: usize = 128;

/// Heights above the reference ground where layers meet at least, metres, up to the top of the profile.
const PROFILE_BOUNDS: [f64; 18] =
    [0.0, 0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0, 40.0, 50.0, 65.0, 80.0, 100.0, 125.0, PROFILE_TOP_M];

/// Greatest change of wind within a layer, m/s, unless that needs more than [`MAX_PARTS`] parts.
///
/// The worse end of a layer is half of this away from its mean: 0.1 m/s, some 0.5 % of a slow aircraft's speed.
const WIND_STEP_MS: f64 = 0.2;

/// Parts of a layer at most.
const MAX_PARTS: f64 = 40.0;

/// Thickest layer where the wind changes, and where only density does, metres.
const STEP_M: f64 = 20.0;
const CALM_STEP_M: f64 = 100.0;

/// Two neighbouring directions of which one gives more than this times the range of the other are not interpolated.
const MAX_NEIGHBOUR_RATIO: f64 = 1.5;

/// Layer boundaries for a wind, upwards, enclosing the two heights: as fine as the wind changes.
///
/// The grid hangs on the ground of the wind, not on the heights asked for, so that a higher start uses the same layers.
pub(super) fn layer_bounds(wind: &Wind, low_amsl_m: f64, high_amsl_m: f64) -> Vec<f64> {
    let (low, high) = (low_amsl_m.min(high_amsl_m), high_amsl_m.max(low_amsl_m));
    let ground = wind.ground_amsl_m;
    let profile_top = ground + PROFILE_TOP_M;
    let changing_top = wind.aloft().last().map_or(profile_top, |l| l.height_amsl_m.max(profile_top));
    let mut coarse: Vec<f64> = PROFILE_BOUNDS.iter().map(|z| ground + z).collect();
    coarse.push(ground + SURFACE_WIND_HEIGHT_M);
    coarse.extend(wind.aloft().iter().map(|l| l.height_amsl_m));
    let steps = |from: f64, to: f64, step: f64| {
        // Heights are bounded by the caller; the cap only guards the memory.
        let count = ((to - from) / step).ceil().clamp(0.0, 2_000.0) as usize;
        (1..=count).map(move |k| from + k as f64 * step)
    };
    coarse.extend(steps(profile_top, changing_top.min(high + STEP_M), STEP_M));
    coarse.extend(steps(changing_top, high + CALM_STEP_M, CALM_STEP_M));
    // Below the reference ground the surface wind holds; a layer given there may change it.
    if low < ground {
        coarse.extend(steps(-ground, STEP_M - low, STEP_M).map(|z| -z));
    }
    coarse.retain(|z| z.is_finite());
    coarse.sort_by(f64::total_cmp);
    coarse.dedup_by(|b, a| *b - *a < 1e-6);
    let mut bounds = Vec::new();
    for pair in coarse.windows(2) {
        // The last one before the range, and all up to the first one after it.
        if pair[1] < low || pair[0] > high {
            continue;
        }
        let change = (wind.at_amsl(pair[1]).xy() - wind.at_amsl(pair[0]).xy()).norm();
        let parts = (change / WIND_STEP_MS).ceil().clamp(1.0, MAX_PARTS);
        bounds.extend((0..parts as usize).map(|k| pair[0] + (pair[1] - pair[0]) * k as f64 / parts));
        if pair[1] >= high {
            bounds.push(pair[1]);
            break;
        }
    }
    // Only heights that are not numbers leave fewer; every answer is then `None`.
    if bounds.len() < 2 { vec![0.0, 1.0] } else { bounds }
}

/// Adds a displacement to the extents west, east, south, north.
pub(super) fn widen(extents: &mut [f64; 4], d: Xy) {
    if d.x.is_finite() && d.y.is_finite() {
        extents[0] = extents[0].max(-d.x);
        extents[1] = extents[1].max(d.x);
        extents[2] = extents[2].max(-d.y);
        extents[3] = extents[3].max(d.y);
    }
}

/// Where a glide through the layers ends.
#[derive(Clone, Copy, Debug)]
pub(super) struct End {
    pub(super) height: f64,
    layer: usize,
    row: usize,
    share: f64,
    range: f64,
    span: f64,
}

/// Ranges by direction and height; lengths are |x| + |y| of the displacement.
#[derive(Clone, Debug)]
pub(super) struct LayeredRange {
    /// Layer boundaries upwards, at least two.
    bounds: Vec<f64>,
    /// Layer of each whole metre above the lowest boundary.
    layer_of_metre: Vec<u16>,
    /// Per direction row and boundary: range down to the lowest boundary, how much more it is in the next row, and
    /// four times what is taken off at the worst place between the two.
    range: Vec<[f64; 3]>,
    /// Per direction row and layer: one more than the highest layer at or below it that cannot be flown; 0 for none.
    blocked: Vec<u16>,
    /// Greatest ratio between the ranges of two layers in one direction.
    unevenness: f64,
    /// Greatest difference between layers of the relative change of range with direction, per radian.
    disagreement: f64,
    /// Least height lost per metre over the ground, in any layer and direction.
    least_loss: f64,
    /// The most by which a metre of |x| + |y| changes the height needed.
    steepest: f64,
}

impl LayeredRange {
    pub(super) fn new(speeds: Speeds, wind: &Wind, bounds: &[f64]) -> Self {
        let layers = bounds.len() - 1;
        let scaled = |z: f64| wind.at_amsl(z).xy() * isa_density_ratio(z).sqrt();
        let at_bound: Vec<Xy> = bounds.iter().map(|&z| scaled(z)).collect();
        let at_middle: Vec<Xy> = bounds.windows(2).map(|z| scaled(0.5 * (z[0] + z[1]))).collect();
        let rows = 4 * (DIRECTIONS + 1);
        let stride = bounds.len();
        let mut gains = vec![0.0; rows * layers];
        let mut range = vec![0.0; rows * stride];
        let mut correction = vec![0.0; rows * stride];
        let mut blocked = vec![0u16; rows * layers];
        let (mut disagreement, mut unevenness) = (0.0f64, 1.0f64);
        let (mut least_loss, mut greatest_loss, mut greatest_change) = (f64::INFINITY, 0.0f64, 0.0f64);
        for quadrant in 0..4 {
            let (sx, sy) = quadrant_signs(quadrant);
            for k in 0..=DIRECTIONS {
                let t = k as f64 / DIRECTIONS as f64;
                let d = Xy::new(sx * (1.0 - t), sy * t);
                let length = d.norm();
                let u = d * (1.0 / length);
                let row = quadrant * (DIRECTIONS + 1) + k;
                let mut guess = None;
                for i in 0..layers {
                    let ends = [at_bound[i], at_bound[i + 1]];
                    let worst = |speed: f64| -> Option<f64> {
                        let (l, h) = (speeds.loss_at(speed, u, ends[0])?, speeds.loss_at(speed, u, ends[1])?);
                        Some(l.max(h))
                    };
                    let middle = speeds.best(u, at_middle[i], guess);
                    guess = middle.map(|m| m.speed).or(guess);
                    // Where the middle's speed does not do at an end, that end's own best may do for both.
                    let loss = middle.and_then(|m| worst(m.speed)).or_else(|| {
                        ends.iter().filter_map(|&w| worst(speeds.best(u, w, None)?.speed)).reduce(f64::min)
                    });
                    gains[row * layers + i] = loss.map_or(0.0, |l| 1.0 / (l * length));
                }
            }
            for k in 0..=DIRECTIONS {
                let row = quadrant * (DIRECTIONS + 1) + k;
                let mut obstacle = 0u16;
                let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
                let (mut shortest, mut longest) = (f64::INFINITY, 0.0f64);
                for i in 0..layers {
                    let thickness = bounds[i + 1] - bounds[i];
                    let gain = gains[row * layers + i];
                    range[row * stride + i + 1] = range[row * stride + i] + thickness * gain;
                    let mut off = 0.0;
                    if gain > 0.0 {
                        let t = k as f64 / DIRECTIONS as f64;
                        least_loss = least_loss.min(1.0 / (gain * Xy::new(1.0 - t, t).norm()));
                        greatest_loss = greatest_loss.max(1.0 / gain);
                        (shortest, longest) = (shortest.min(gain), longest.max(gain));
                    }
                    let mut flyable = gain > 0.0;
                    if k < DIRECTIONS {
                        let next = gains[(row + 1) * layers + i];
                        let ratio = gain.max(next) / gain.min(next);
                        if ratio <= MAX_NEIGHBOUR_RATIO {
                            // Arithmetic less harmonic mean is f(1−f)(a−b)²/((1−f)b + fa) ≤ 4f(1−f) × this.
                            off = (gain - next) * (gain - next) / (4.0 * gain.min(next));
                            let change = (next - gain).abs() + 4.0 * off;
                            greatest_change = greatest_change.max(change / gain.min(next) * DIRECTIONS as f64);
                            let change = 2.0 * (next - gain) / (next + gain) * DIRECTIONS as f64;
                            least = least.min(change);
                            most = most.max(change);
                        } else {
                            flyable = false;
                        }
                    }
                    correction[row * stride + i + 1] = correction[row * stride + i] + thickness * off;
                    if !flyable {
                        obstacle = i as u16 + 1;
                    }
                    blocked[row * layers + i] = obstacle;
                }
                if longest > 0.0 {
                    unevenness = unevenness.max(longest / shortest);
                }
                if most >= least {
                    // A step of the diamond's parameter turns by at least 1 radian per unit, at most 2.
                    disagreement = disagreement.max(most - least);
                }
            }
        }
        let range = (0..rows * stride)
            .map(|k| {
                let more = range.get(k + stride).map_or(0.0, |next| next - range[k]);
                [range[k], more, 4.0 * correction[k]]
            })
            .collect();
        let height = bounds[layers] - bounds[0];
        let metres = height.ceil() as usize + 1;
        let mut layer_of_metre = Vec::with_capacity(metres);
        let mut i = 0;
        for m in 0..metres {
            while i + 1 < layers && bounds[i + 1] <= bounds[0] + m as f64 {
                i += 1;
            }
            layer_of_metre.push(i as u16);
        }
        // What is taken off between two directions is at most a hundredth. A height at a distance s changes by the greatest
        // loss for each metre of s, and by that times s times the relative change of range with direction for the
        // parameter of direction, which a metre changes by 1/s at most.
        Self {
            bounds: bounds.to_vec(),
            layer_of_metre,
            range,
            blocked,
            unevenness,
            disagreement,
            least_loss: 0.99 * least_loss,
            steepest: 1.02 * greatest_loss * (1.0 + greatest_change),
        }
    }

    fn layers(&self) -> usize {
        self.bounds.len() - 1
    }

    fn layer_of(&self, height: f64) -> usize {
        let m = (height - self.bounds[0]).max(0.0) as usize;
        let mut i = usize::from(self.layer_of_metre[m.min(self.layer_of_metre.len() - 1)]);
        while i + 1 < self.layers() && self.bounds[i + 1] <= height {
            i += 1;
        }
        i
    }

    /// Range coordinate of boundary `i` in the direction between `row` and the next.
    fn at(&self, row: usize, share: f64, i: usize) -> f64 {
        let [range, more, off] = self.range[row * self.bounds.len() + i];
        range + share * (more - (1.0 - share) * off)
    }

    fn direction(d: Xy) -> (usize, f64, f64) {
        let (quadrant, t, length) = diamond(d);
        let x = t * DIRECTIONS as f64;
        let k = (x as usize).min(DIRECTIONS - 1);
        (quadrant * (DIRECTIONS + 1) + k, x - k as f64, length)
    }

    /// One more than the highest layer at or below `i` that cannot be flown in the direction, 0 for none.
    fn obstacle(&self, row: usize, i: usize) -> usize {
        let layers = self.layers();
        usize::from(self.blocked[row * layers + i].max(self.blocked[(row + 1) * layers + i]))
    }

    pub(super) fn after(&self, from: f64, d: Xy) -> Option<End> {
        if d.x == 0.0 && d.y == 0.0 {
            let layer = self.layer_of(from);
            let row = 0;
            let range = self.at(row, 0.0, layer);
            return Some(End { height: from, layer, row, share: 0.0, range, span: 0.0 });
        }
        let (row, share, span) = Self::direction(d);
        let start = self.layer_of(from);
        let obstacle = self.obstacle(row, start);
        if obstacle > start {
            return None;
        }
        let (base, top) = (self.at(row, share, start), self.at(row, share, start + 1));
        let density = (top - base) / (self.bounds[start + 1] - self.bounds[start]);
        let range = base + (from - self.bounds[start]) * density - span;
        // The highest boundary at or below the range left, not below the obstacle.
        let (low, mut high) = (obstacle, start + 1);
        if range < self.at(row, share, low) {
            if obstacle > 0 {
                return None;
            }
            high = 1;
        }
        let (layer, height) = self.height_at(row, share, low..high, range);
        height.is_finite().then_some(End { height, layer, row, share, range, span })
    }

    pub(super) fn needed(&self, to: f64, d: Xy) -> Option<f64> {
        if d.x == 0.0 && d.y == 0.0 {
            return Some(to);
        }
        let (row, share, span) = Self::direction(d);
        let start = self.layer_of(to);
        if self.obstacle(row, start) > start {
            return None;
        }
        let (base, next) = (self.at(row, share, start), self.at(row, share, start + 1));
        let density = (next - base) / (self.bounds[start + 1] - self.bounds[start]);
        let range = base + (to - self.bounds[start]) * density + span;
        // The highest boundary at or below the range from which the glide must start.
        let (layer, height) = self.height_at(row, share, start..self.layers(), range);
        (self.obstacle(row, layer) <= start && height.is_finite()).then_some(height)
    }

    /// The layer among some that holds a range coordinate, and the height at that; before the first or beyond the last, that
    /// layer is continued.
    fn height_at(&self, row: usize, share: f64, among: Range<usize>, range: f64) -> (usize, f64) {
        let (mut low, mut high) = (among.start, among.end);
        while high - low > 1 {
            let middle = usize::midpoint(low, high);
            if self.at(row, share, middle) <= range {
                low = middle;
            } else {
                high = middle;
            }
        }
        let (a, b) = (self.at(row, share, low), self.at(row, share, low + 1));
        (low, self.bounds[low] + (range - a) * (self.bounds[low + 1] - self.bounds[low]) / (b - a))
    }

    pub(super) fn line(&self, end: End) -> GlideLine<'_> {
        let mut line = GlideLine {
            layers: Some(self),
            row: end.row,
            share: end.share,
            end: end.range,
            span: end.span,
            layer: end.layer,
            piece_start: 0.0,
            piece_stop: 0.0,
            piece_height: 0.0,
            slope: 0.0,
        };
        if end.span > 0.0 {
            self.set_piece(&mut line, end.layer);
        } else {
            line.piece_start = end.range;
            line.piece_stop = f64::INFINITY;
            line.piece_height = end.height;
        }
        line
    }

    pub(super) fn next_piece(&self, line: &mut GlideLine<'_>) {
        let next = line.layer + 1;
        self.set_piece(line, next);
    }

    fn set_piece(&self, line: &mut GlideLine<'_>, layer: usize) {
        line.layer = layer;
        line.piece_start = self.at(line.row, line.share, layer);
        let stop = self.at(line.row, line.share, layer + 1);
        line.piece_height = self.bounds[layer];
        line.slope = (self.bounds[layer + 1] - self.bounds[layer]) / (stop - line.piece_start);
        line.piece_stop = if layer + 1 == self.layers() { f64::INFINITY } else { stop };
    }

    pub(super) fn extents(&self, from: f64, to: f64) -> [f64; 4] {
        let stride = self.bounds.len();
        let mut out = [0.0; 4];
        for i in 0..self.layers() {
            let top = if i + 1 == self.layers() { from } else { from.min(self.bounds[i + 1]) };
            let bottom = if i == 0 { to } else { to.max(self.bounds[i]) };
            if top <= bottom {
                continue;
            }
            let share = (top - bottom) / (self.bounds[i + 1] - self.bounds[i]);
            let mut layer = [0.0; 4];
            for quadrant in 0..4 {
                let (sx, sy) = quadrant_signs(quadrant);
                for k in 0..=DIRECTIONS {
                    let t = k as f64 / DIRECTIONS as f64;
                    let row = quadrant * (DIRECTIONS + 1) + k;
                    let gain = self.range[row * stride + i + 1][0] - self.range[row * stride + i][0];
                    widen(&mut layer, Xy::new(sx * (1.0 - t), sy * t) * (gain * share));
                }
            }
            for (sum, part) in out.iter_mut().zip(layer) {
                *sum += part;
            }
        }
        out
    }

    pub(super) fn unevenness(&self) -> f64 {
        // The corrections between directions, far smaller, are covered by the hundredth.
        1.01 * self.unevenness
    }

    pub(super) fn least_loss(&self) -> f64 {
        self.least_loss
    }

    pub(super) fn steepest(&self) -> f64 {
        self.steepest
    }

    pub(super) fn dent(&self, angle_rad: f64) -> f64 {
        let spread = angle_rad * self.disagreement;
        // Twice the second-order term, and the interpolation between directions.
        spread * spread / 4.0 + 1e-4
    }
}
