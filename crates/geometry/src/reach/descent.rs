//! Height lost on a straight ground displacement, in still or moving air.
//!
//! In steady air the loss is an asymmetric norm of the displacement: ground speed along the track is
//! g = w∥ + √(V² − w⊥²) and the loss per metre is sink/g. True speeds all scale with 1/√σ (σ the density ratio), so the
//! computation runs on equivalent airspeeds with the wind scaled by √σ: density acts through the wind only.
//!
//! # Source
//! Wind triangle and glide over the ground: common practice of air navigation; subadditivity of the loss follows from
//! the convexity of sink against speed (derived: averaging two air velocities never needs more sink).

use super::layers::{LayeredRange, layer_bounds};
use crate::air::{Wind, isa_density_ratio};
use crate::aircraft::{Aircraft, GlideSpeed};
use crate::math;
use crate::position::Xy;
use crate::wide::{Wide, wide};

/// Pieces per quadrant of the unit diamond |x| + |y| = 1, each with a polynomial of its own: few enough to stay near the
/// processor.
const PIECES: usize = 8;

/// Coefficients of a piece, in the distance from its middle in widths of a piece.
const COEFFICIENTS: usize = 10;

/// Parts of a piece that are cubics of their own where one polynomial is not exact enough for all of it.
const PARTS: usize = 64;

/// Pieces and parts are used only where they are this close to the exact value, relative.
const TABLE_ACCURACY: f64 = 2e-11;

/// Newton steps at most; the bracket is halved when a step leaves it, so that this is never reached in practice.
const NEWTON_STEPS: usize = 80;

/// The speeds a glide may be flown at, and the sink at them; equivalent airspeeds.
#[derive(Clone, Copy, Debug)]
pub(super) struct Speeds {
    a: f64,
    b: f64,
    /// Slowest and fastest; equal where the pilot holds one speed.
    low: f64,
    high: f64,
}

/// What is lost along a unit of the diamond, and how that grows along its edge.
#[derive(Clone, Copy)]
struct Node {
    value: f64,
    slope: f64,
    limit: i8,
    speed: f64,
}

/// The best straight glide in one direction.
#[derive(Clone, Copy, Debug)]
pub(super) struct Straight {
    /// Height lost per metre over the ground.
    pub(super) loss: f64,
    /// Equivalent airspeed flown.
    pub(super) speed: f64,
    /// Part of the airspeed along the track.
    along: f64,
    /// Ground speed times √σ.
    ground: f64,
    /// −1 at the slowest speed allowed, 1 at the fastest, 0 between.
    limit: i8,
}

impl Speeds {
    pub(super) fn of(aircraft: &Aircraft) -> Self {
        let (a, b) = aircraft.glide.coefficients();
        match aircraft.glide_speed {
            GlideSpeed::Held(v) => Self { a, b, low: v, high: v },
            GlideSpeed::BestForWind => {
                // Slower than least sink is never best: it sinks faster and covers less ground.
                let least_sink = (b / (3.0 * a)).sqrt().sqrt();
                let high = aircraft.max_speed_ms.max(aircraft.min_glide_speed_ms);
                Self { a, b, low: aircraft.min_glide_speed_ms.max(least_sink).min(high), high }
            }
        }
    }

    /// The farthest glide per metre of height when the wind helps in every direction, for first bounds.
    pub(super) fn greatest_ratio(&self, wind_ms: f64) -> f64 {
        let u = Xy::new(1.0, 0.0);
        self.best(u, u * wind_ms, None).map_or(f64::INFINITY, |s| 1.0 / s.loss)
    }

    fn sink(&self, v: f64) -> f64 {
        self.a * v * v * v + self.b / v
    }

    /// Loss per metre along the unit vector `u` at one speed in the (scaled) wind, `None` where it cannot be flown.
    pub(super) fn loss_at(&self, speed: f64, u: Xy, wind: Xy) -> Option<f64> {
        let across = wind.cross(u);
        let along2 = speed * speed - across * across;
        let ground = wind.dot(u) + along2.max(0.0).sqrt();
        (along2 >= 0.0 && ground > 0.0).then(|| self.sink(speed) / ground)
    }

    /// The least loss per metre along the unit vector `u`, `None` where the direction cannot be flown.
    ///
    /// With s = √(V² − w⊥²) the sink is convex in s, so sink/(w∥ + s) has one minimum, where
    /// sink′(s)·(w∥ + s) = sink; the left side less the right grows with s, and Newton with a bracket finds the root.
    pub(super) fn best(&self, u: Xy, wind: Xy, guess_speed: Option<f64>) -> Option<Straight> {
        let along_wind = wind.dot(u);
        let across2 = {
            let across = wind.cross(u);
            across * across
        };
        if !(self.high * self.high >= across2) {
            return None;
        }
        let s_high = (self.high * self.high - across2).sqrt();
        if !(along_wind + s_high > 0.0) {
            return None;
        }
        let finish = |s: f64, speed: f64, limit: i8| {
            let ground = along_wind + s;
            Some(Straight { loss: self.sink(speed) / ground, speed, along: s, ground, limit })
        };
        // Excess of sink′·ground over sink, and its derivative.
        let excess = |s: f64| {
            let v = (s * s + across2).sqrt();
            let (v2, inv) = (v * v, 1.0 / v);
            let inner = 3.0 * self.a * v - self.b * inv / v2;
            let slope = s * inner;
            let curvature = inner + s * s * inv * (3.0 * self.a + 3.0 * self.b / (v2 * v2));
            let ground = along_wind + s;
            (slope * ground - self.sink(v), curvature * ground)
        };
        if self.low >= self.high || excess(s_high).0 <= 0.0 {
            return finish(s_high, self.high, 1);
        }
        let mut s_low = (self.low * self.low - across2).max(0.0).sqrt();
        if along_wind + s_low > 0.0 {
            if excess(s_low).0 >= 0.0 {
                return finish(s_low, (s_low * s_low + across2).sqrt(), -1);
            }
        } else {
            s_low = -along_wind;
        }
        let (mut lo, mut hi) = (s_low, s_high);
        let mut s = guess_speed.map_or(0.5 * (lo + hi), |v| (v * v - across2).max(0.0).sqrt());
        if !(s > lo && s < hi) {
            s = 0.5 * (lo + hi);
        }
        for _ in 0..NEWTON_STEPS {
            let (e, de) = excess(s);
            if e > 0.0 {
                hi = s;
            } else {
                lo = s;
            }
            let step = s - e / de;
            let next = if step > lo && step < hi { step } else { 0.5 * (lo + hi) };
            let change = (next - s).abs();
            s = next;
            // The loss is flat at its minimum: an error of 1e-8 in s changes it by some 1e-16.
            if change <= 1e-9 * s_high {
                break;
            }
        }
        finish(s, (s * s + across2).sqrt(), 0)
    }
}

/// Loss over a displacement in uniform wind: polynomials over the unit diamond, cubics over short parts of it where a limit
/// of speed begins to bind, and the direct computation where neither is exact enough (strong wind).
#[derive(Clone, Debug)]
struct UniformLoss {
    speeds: Speeds,
    /// Wind times √σ.
    wind: Xy,
    /// Polynomials, four quadrants after each other; `NaN` where the parts say it.
    pieces: Vec<[f64; COEFFICIENTS]>,
    /// Cubics of the parts of such pieces; `NaN` means: compute directly.
    parts: Vec<[f64; 4]>,
    /// For each piece where its parts begin.
    parts_from: Vec<u32>,
    /// The loss per metre of |x| + |y| at most.
    most_loss: f64,
}

/// Signs of x and y in a quadrant; bit 0: west, bit 1: south.
pub(super) fn quadrant_signs(quadrant: usize) -> (f64, f64) {
    (if quadrant & 1 == 0 { 1.0 } else { -1.0 }, if quadrant & 2 == 0 { 1.0 } else { -1.0 })
}

/// Quadrant, parameter within it (0 on the x axis, 1 on the y axis) and length |x| + |y| of a displacement.
pub(super) fn diamond(d: Xy) -> (usize, f64, f64) {
    let (ax, ay) = (d.x.abs(), d.y.abs());
    let length = ax + ay;
    let quadrant = usize::from(d.x < 0.0) | (usize::from(d.y < 0.0) << 1);
    (quadrant, ay / length, length)
}

/// Values at places of −½..=½, no two of them the same, as coefficients of the polynomial through them.
fn through(values: &[f64; COEFFICIENTS], places: &[f64; COEFFICIENTS]) -> [f64; COEFFICIENTS] {
    // Newton's divided differences, then multiplied out.
    let mut differences = *values;
    for order in 1..COEFFICIENTS {
        for i in (order..COEFFICIENTS).rev() {
            differences[i] = (differences[i] - differences[i - 1]) / (places[i] - places[i - order]);
        }
    }
    let mut out = [0.0; COEFFICIENTS];
    for (place, difference) in places.iter().zip(differences).rev() {
        for i in (1..COEFFICIENTS).rev() {
            out[i] = out[i - 1] - place * out[i];
        }
        out[0] = difference - place * out[0];
    }
    out
}

/// The value of a polynomial.
#[inline(always)]
fn value_of(c: &[f64; COEFFICIENTS], f: f64) -> f64 {
    let (f2, f4) = (f * f, f * f * (f * f));
    let low = (c[0] + f * c[1]) + f2 * (c[2] + f * c[3]);
    let high = (c[4] + f * c[5]) + f2 * (c[6] + f * c[7]) + f4 * (c[8] + f * c[9]);
    low + f4 * high
}

/// Its slope.
fn slope_of(c: &[f64; COEFFICIENTS], f: f64) -> f64 {
    let (f2, f4) = (f * f, f * f * (f * f));
    let low = (c[1] + f * (2.0 * c[2])) + f2 * (3.0 * c[3] + f * (4.0 * c[4]));
    let high = (5.0 * c[5] + f * (6.0 * c[6])) + f2 * (7.0 * c[7] + f * (8.0 * c[8])) + f4 * (9.0 * c[9]);
    low + f4 * high
}

impl UniformLoss {
    fn new(speeds: Speeds, wind: Xy) -> Self {
        let (pieces, parts, parts_from) = (Vec::new(), Vec::new(), Vec::new());
        let mut out = Self { speeds, wind, pieces, parts, parts_from, most_loss: 0.0 };
        // The loss is convex along the edges of the diamond, and so greatest at one of its corners.
        let corners = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)].map(|(x, y)| Xy::new(x, y));
        let at_corners = corners.map(|u| speeds.best(u, wind, None).map_or(f64::INFINITY, |s| s.loss));
        out.most_loss = at_corners.into_iter().fold(0.0, f64::max);
        // Nodes of Chebyshev, which keep the polynomial close all over the piece.
        let places: [f64; COEFFICIENTS] =
            core::array::from_fn(|i| -0.5 * math::sin_cos(math::PI * (i as f64 + 0.5) / COEFFICIENTS as f64).1);
        for quadrant in 0..4 {
            let mut guess = None;
            for piece in 0..PIECES {
                let loss = |f: f64, guess: Option<f64>| {
                    let node = out.node(quadrant, (piece as f64 + 0.5 + f) / PIECES as f64, guess)?;
                    Some((node.value, node.speed))
                };
                let mut values = [f64::NAN; COEFFICIENTS];
                for (value, place) in values.iter_mut().zip(places) {
                    let Some(found) = loss(place, guess) else { break };
                    (*value, guess) = (found.0, Some(found.1));
                }
                let polynomial = through(&values, &places);
                // Farthest off between the nodes.
                let ends = core::iter::once(-0.5).chain(places).zip(places.into_iter().chain([0.5]));
                let is_close = !values[COEFFICIENTS - 1].is_nan()
                    && ends.into_iter().all(|(one, other)| {
                        let f = 0.5 * (one + other);
                        loss(f, guess).is_some_and(|(v, _)| (v - value_of(&polynomial, f)).abs() <= TABLE_ACCURACY * v)
                    });
                out.parts_from.push(out.parts.len() as u32);
                out.pieces.push(if is_close { polynomial } else { [f64::NAN; COEFFICIENTS] });
                if !is_close {
                    out.add_parts(quadrant, piece);
                    guess = None;
                }
            }
        }
        out
    }

    /// The loss at a place of the unit diamond.
    fn node(&self, quadrant: usize, t: f64, guess: Option<f64>) -> Option<Node> {
        let (sx, sy) = quadrant_signs(quadrant);
        let d = Xy::new(sx * (1.0 - t), sy * t);
        let length = d.norm();
        let u = d * (1.0 / length);
        let s = self.speeds.best(u, self.wind, guess)?;
        let air = u * s.ground - self.wind;
        let gradient = air * (s.loss / s.along);
        let slope = gradient.dot(Xy::new(-sx, sy));
        Some(Node { value: s.loss * length, slope, limit: s.limit, speed: s.speed })
    }

    /// A cubic for every part of a piece.
    fn add_parts(&mut self, quadrant: usize, piece: usize) {
        let h = 1.0 / (PIECES * PARTS) as f64;
        let at = |k: f64| (piece * PARTS) as f64 * h + k * h;
        let mut left = self.node(quadrant, at(0.0), None);
        for k in 0..PARTS {
            let right = self.node(quadrant, at((k + 1) as f64), left.map(|l| l.speed));
            let mut part = [f64::NAN; 4];
            if let (Some(l), Some(r)) = (left, right)
                && l.limit == r.limit
            {
                let (m0, m1, rise) = (l.slope * h, r.slope * h, r.value - l.value);
                let cubic = [l.value, m0, 3.0 * rise - 2.0 * m0 - m1, m0 + m1 - 2.0 * rise];
                let middle = self.node(quadrant, at(k as f64 + 0.5), Some(l.speed));
                let value = cubic[0] + 0.5 * (cubic[1] + 0.5 * (cubic[2] + 0.5 * cubic[3]));
                if middle.is_some_and(|m| (m.value - value).abs() <= TABLE_ACCURACY * m.value) {
                    part = cubic;
                }
            }
            self.parts.push(part);
            left = right;
        }
    }

    /// Infinite where the direction cannot be flown.
    fn loss(&self, d: Xy) -> f64 {
        let (quadrant, t, length) = diamond(d);
        if length == 0.0 {
            return 0.0;
        }
        let x = t * PIECES as f64;
        let k = piece_of(x);
        let value = value_of(&self.pieces[quadrant * PIECES + k], x - (k as f64 + 0.5));
        if value.is_nan() {
            return self.loss_by_part(d, quadrant * PIECES + k, x - k as f64);
        }
        value * length
    }

    /// [`UniformLoss::loss`] on top of heights, for displacements that differ in `x` only. False, and nothing done, where a
    /// look into the table for each is the better way.
    #[inline(always)]
    fn add_along(&self, x: &[f64; AT_ONCE], y: f64, out: &mut [f64; AT_ONCE]) -> bool {
        let ((x, _), (out, _)) = (x.as_chunks::<LANES>(), out.as_chunks_mut::<LANES>());
        let ([x_west, x_east], [west, east]) = (x, out) else { return false };
        let (from, to) = (x_west[0], x_east[LANES - 1]);
        let (on_west, on_east) = (OnDiamond::new(x_west, y.abs()), OnDiamond::new(x_east, y.abs()));
        let (one, other) = (on_west.at[0], on_east.at[LANES - 1]);
        // Within a quadrant there are between the ends the pieces between theirs. Not a number: the place itself.
        if (from < 0.0) != (to < 0.0) || one.is_nan() || other.is_nan() {
            return false;
        }
        let (one, other) = (piece_of(one), piece_of(other));
        let (low, high) = (one.min(other), one.max(other));
        let first = (usize::from(from < 0.0) | (usize::from(y < 0.0) << 1)) * PIECES;
        let pieces = &self.pieces[first + low..=first + high];
        if pieces.iter().any(|c| c[0].is_nan()) {
            return false;
        }
        on_west.add(pieces, low, west);
        on_east.add(pieces, low, east);
        true
    }

    /// The cubic of a part, and where in it.
    fn part(&self, piece: usize, within: f64) -> Option<(&[f64; 4], f64)> {
        let x = within * PARTS as f64;
        let k = (x as i32 as usize).min(PARTS - 1);
        let cubic = self.parts.get(self.parts_from[piece] as usize + k)?;
        (!cubic[0].is_nan()).then_some((cubic, x - k as f64))
    }

    #[cold]
    fn loss_by_part(&self, d: Xy, piece: usize, within: f64) -> f64 {
        if let Some((c, f)) = self.part(piece, within) {
            return (c[0] + f * (c[1] + f * (c[2] + f * c[3]))) * (d.x.abs() + d.y.abs());
        }
        let length = d.norm();
        let best = self.speeds.best(d * (1.0 / length), self.wind, None);
        best.map_or(f64::INFINITY, |s| s.loss * length)
    }

    /// The loss and how it changes with the displacement, where the table is exact enough to tell.
    fn loss_and_gradient(&self, d: Xy) -> Option<(f64, Xy)> {
        let (quadrant, t, length) = diamond(d);
        let x = t * PIECES as f64;
        let k = piece_of(x);
        let c = &self.pieces[quadrant * PIECES + k];
        let f = x - (k as f64 + 0.5);
        let (value, slope) = if c[0].is_nan() {
            let (c, f) = self.part(quadrant * PIECES + k, x - k as f64)?;
            let slope = c[1] + f * (2.0 * c[2] + f * 3.0 * c[3]);
            (c[0] + f * (c[1] + f * (c[2] + f * c[3])), (PIECES * PARTS) as f64 * slope)
        } else {
            (value_of(c, f), PIECES as f64 * slope_of(c, f))
        };
        let (signs_x, signs_y) = quadrant_signs(quadrant);
        let gradient = Xy::new(signs_x * (value - t * slope), signs_y * (value + (1.0 - t) * slope));
        // No displacement has no direction.
        gradient.x.is_finite().then_some((value * length, gradient))
    }
}

/// The piece of a quadrant at a place counted in pieces.
fn piece_of(x: f64) -> usize {
    (x as i32 as usize).min(PIECES - 1)
}

/// How many displacements are worked on at once.
pub(super) const AT_ONCE: usize = 8;

/// How many of them in each of the two steps.
const LANES: usize = AT_ONCE / 2;

/// Where on the unit diamond displacements of the same |y| are, in pieces of its quadrant, and how long they are.
struct OnDiamond {
    at: [f64; LANES],
    length: [f64; LANES],
}

impl OnDiamond {
    #[inline(always)]
    fn new(x: &[f64; LANES], y: f64) -> Self {
        let mut out = Self { at: [0.0; LANES], length: [0.0; LANES] };
        for ((at, length), x) in out.at.iter_mut().zip(&mut out.length).zip(x) {
            *length = x.abs() + y;
            *at = y / *length * PIECES as f64;
        }
        out
    }

    /// Adds what is lost to heights, by neighbouring pieces from one on.
    #[inline(always)]
    fn add(&self, pieces: &[[f64; COEFFICIENTS]], low: usize, out: &mut [f64; LANES]) {
        let mut value = [0.0; LANES];
        for (c, piece) in pieces.iter().zip(low..) {
            let begin = if piece == low { 0.0 } else { piece as f64 };
            let middle = piece as f64 + 0.5;
            for (value, at) in value.iter_mut().zip(&self.at) {
                let own = value_of(c, at - middle);
                *value = if *at >= begin { own } else { *value };
            }
        }
        for ((out, value), length) in out.iter_mut().zip(&value).zip(&self.length) {
            *out += value * length;
        }
    }
}

/// Heights needed for rows of displacements.
struct Rows<'a, T, Y> {
    descent: &'a Descent,
    to_amsl_m: T,
    x: [f64; AT_ONCE],
    y: Y,
    out: &'a mut [[f64; AT_ONCE]],
}

impl<T: Fn(Xy) -> f64, Y: Fn(i32) -> f64> Wide for Rows<'_, T, Y> {
    type Out = ();

    #[inline(always)]
    fn work(self) {
        let x = self.x;
        for (out, row) in self.out.iter_mut().zip(0..) {
            let y = (self.y)(row);
            for (out, x) in out.iter_mut().zip(&x) {
                *out = (self.to_amsl_m)(Xy::new(*x, y));
            }
            if let Air::Uniform(u) = &self.descent.air
                && u.add_along(&x, y, out)
            {
                continue;
            }
            for (out, x) in out.iter_mut().zip(x) {
                *out = self.descent.height_needed(*out, Xy::new(x, y)).unwrap_or(f64::INFINITY);
            }
        }
    }
}

#[derive(Clone, Debug)]
enum Air {
    Uniform(UniformLoss),
    Layered(LayeredRange),
}

/// Height lost by one aircraft on straight ground displacements, in one wind, between two heights.
///
/// In a wind that is the same at every height the result is exact to 1e-10, at the density of the middle of the height
/// range. In a wind that changes with height the air is cut into layers and every layer takes the worse of its two
/// ends, so that the loss is never understated.
#[derive(Clone, Debug)]
pub struct Descent {
    air: Air,
    speeds: Speeds,
    least_loss: f64,
}

impl Descent {
    /// Prepares the glide between two heights above mean sea level, metres.
    ///
    /// Outside the range the air of its nearest layer is continued.
    #[must_use]
    pub fn new(aircraft: &Aircraft, wind: &Wind, low_amsl_m: f64, high_amsl_m: f64) -> Self {
        let speeds = Speeds::of(aircraft);
        let air = if wind.is_uniform() {
            let middle = 0.5 * (low_amsl_m + high_amsl_m);
            let scaled = wind.at_amsl(middle).xy() * isa_density_ratio(middle).sqrt();
            Air::Uniform(UniformLoss::new(speeds, scaled))
        } else {
            Air::Layered(LayeredRange::new(speeds, wind, &layer_bounds(wind, low_amsl_m, high_amsl_m)))
        };
        let least_loss = match &air {
            Air::Uniform(u) => 1.0 / speeds.greatest_ratio(u.wind.norm()),
            Air::Layered(l) => l.least_loss(),
        };
        Self { air, speeds, least_loss: least_loss * (1.0 - 1e-6) }
    }

    /// Whether the loss is the same at every height.
    #[must_use]
    pub fn is_uniform(&self) -> bool {
        matches!(self.air, Air::Uniform(_))
    }

    /// Height above mean sea level left after the displacement `d` (metres over the ground) from a height, metres.
    ///
    /// `None` where the wind does not let the aircraft fly in that direction, at some height on the way.
    #[must_use]
    pub fn height_after(&self, from_amsl_m: f64, d: Xy) -> Option<f64> {
        match &self.air {
            Air::Uniform(u) => {
                let h = from_amsl_m - u.loss(d);
                h.is_finite().then_some(h)
            }
            Air::Layered(l) => l.after(from_amsl_m, d).map(|e| e.height),
        }
    }

    /// The least height to start from so as to arrive at `to_amsl_m` after the displacement `d`; `None` as in
    /// [`Descent::height_after`].
    #[must_use]
    pub fn height_needed(&self, to_amsl_m: f64, d: Xy) -> Option<f64> {
        match &self.air {
            Air::Uniform(u) => {
                let h = to_amsl_m + u.loss(d);
                h.is_finite().then_some(h)
            }
            Air::Layered(l) => l.needed(to_amsl_m, d),
        }
    }

    /// [`Descent::height_needed`] for rows of displacements, all rows with the same eastward parts; infinite where there is
    /// no glide.
    pub(super) fn heights_needed(
        &self,
        to_amsl_m: impl Fn(Xy) -> f64,
        x: [f64; AT_ONCE],
        y: impl Fn(i32) -> f64,
        out: &mut [[f64; AT_ONCE]],
    ) {
        wide(Rows { descent: self, to_amsl_m, x, y, out });
    }

    /// Height lost over a displacement where it does not depend on the height; infinite where there is no glide.
    pub(super) fn loss(&self, d: Xy) -> Option<f64> {
        match &self.air {
            Air::Uniform(u) => Some(u.loss(d)),
            Air::Layered(_) => None,
        }
    }

    /// Height lost over a displacement, and by how much it grows per metre east and north of the displacement, to some
    /// 1e-7 of it; `None` where that is not known, and in layered air.
    ///
    /// In uniform air the loss is convex: nowhere is it below the plane that touches it here.
    pub(super) fn plane(&self, d: Xy) -> Option<(f64, Xy)> {
        match &self.air {
            Air::Uniform(u) => u.loss_and_gradient(d),
            Air::Layered(_) => None,
        }
    }

    /// The glide as a line that can be followed backwards from its end.
    pub(super) fn line(&self, from_amsl_m: f64, d: Xy) -> Option<GlideLine<'_>> {
        match &self.air {
            Air::Uniform(u) => {
                let loss = u.loss(d);
                loss.is_finite().then(|| GlideLine::straight(from_amsl_m - loss, loss))
            }
            Air::Layered(l) => l.after(from_amsl_m, d).map(|e| l.line(e)),
        }
    }

    /// An upper bound of how far the aircraft gets towards west, east, south and north between two heights, by any
    /// path: per layer the support of the set flown in it, summed (the Minkowski sum of the layers' sets).
    pub(super) fn extents(&self, from_amsl_m: f64, to_amsl_m: f64) -> [f64; 4] {
        let drop = (from_amsl_m - to_amsl_m).max(0.0);
        let mut out = match &self.air {
            Air::Uniform(u) => {
                let mut support = [0.0f64; 4];
                for quadrant in 0..4 {
                    let (sx, sy) = quadrant_signs(quadrant);
                    for k in 0..=64 {
                        let t = f64::from(k) / 64.0;
                        let d = Xy::new(sx * (1.0 - t), sy * t);
                        let range = drop / u.loss(d);
                        super::layers::widen(&mut support, d * range);
                    }
                }
                support
            }
            Air::Layered(l) => l.extents(from_amsl_m, to_amsl_m),
        };
        for reach in &mut out {
            // The nodes cut the corners of the set by some 1e-4; ten times that, and more, is added.
            *reach *= 1.01;
        }
        out
    }

    /// An upper bound for how far, relative to the glide's own distance, the heights above a square may dip below the
    /// least of its corners, when the square is seen under `angle_rad` from the start.
    ///
    /// In uniform air the height is a concave function of the place, so it is zero. In layers the set in reach is the
    /// radial sum of convex sets, whose dents grow with the square of the angle and of how much the layers disagree.
    pub(super) fn dent(&self, angle_rad: f64) -> f64 {
        match &self.air {
            Air::Uniform(_) => 0.0,
            Air::Layered(l) => l.dent(angle_rad),
        }
    }

    /// By how much the loss per metre in the worst layer may exceed that in the best, in any one direction.
    pub(super) fn unevenness(&self) -> f64 {
        match &self.air {
            Air::Uniform(_) => 1.0,
            Air::Layered(l) => l.unevenness(),
        }
    }

    /// The most height by which a metre of |x| + |y| can change what is needed, metres per metre; `None` in uniform air, where
    /// the loss is convex in the displacement and tells better bounds by itself.
    pub(super) fn steepest(&self) -> Option<f64> {
        match &self.air {
            Air::Uniform(_) => None,
            Air::Layered(l) => Some(l.steepest()),
        }
    }

    /// No less than the height by which a metre of |x| + |y| changes what is needed, metres per metre; in uniform air infinite
    /// where some direction cannot be flown.
    pub(super) fn most_loss(&self) -> f64 {
        match &self.air {
            Air::Uniform(u) => u.most_loss,
            Air::Layered(l) => l.steepest(),
        }
    }

    /// No more than the least height lost per metre over the ground in any direction, at any height.
    pub(super) fn least_loss(&self) -> f64 {
        self.least_loss
    }

    /// The air heading (unit vector) of a straight glide along the track `u` in a wind; `None` where it cannot be
    /// flown.
    pub(super) fn air_heading(&self, u: Xy, wind: Xy, density_ratio: f64) -> Option<Xy> {
        let scaled = wind * density_ratio.sqrt();
        let s = self.speeds.best(u, scaled, None)?;
        let air = u * s.ground - scaled;
        let speed = air.norm();
        (speed > 0.0).then(|| air * (1.0 / speed))
    }
}

/// A straight glide, followed backwards from its end (parameter 0) to its start (parameter 1); between breaks the
/// height is linear in the parameter.
#[derive(Clone, Debug)]
pub(super) struct GlideLine<'a> {
    pub(super) layers: Option<&'a LayeredRange>,
    /// Row of the lower direction node, and the share of the upper one.
    pub(super) row: usize,
    pub(super) share: f64,
    /// Range coordinate at the end, and its growth over the whole line.
    pub(super) end: f64,
    pub(super) span: f64,
    /// Current piece: layer, range coordinates of its ends, height at the first, height per range.
    pub(super) layer: usize,
    pub(super) piece_start: f64,
    pub(super) piece_stop: f64,
    pub(super) piece_height: f64,
    pub(super) slope: f64,
}

impl GlideLine<'_> {
    /// A line of one piece, from `end_height` rising by `rise` to its start.
    pub(super) fn straight(end_height: f64, rise: f64) -> Self {
        Self {
            layers: None,
            row: 0,
            share: 0.0,
            end: 0.0,
            span: rise,
            layer: 0,
            piece_start: 0.0,
            piece_stop: f64::INFINITY,
            piece_height: end_height,
            slope: 1.0,
        }
    }

    /// The height at its end and the rise from there to its start, where it is of one piece.
    pub(super) fn whole(&self) -> Option<(f64, f64)> {
        self.layers.is_none().then_some((self.piece_height, self.span))
    }

    /// Height at a parameter; must be called with parameters that do not decrease.
    pub(super) fn height(&mut self, t: f64) -> f64 {
        let r = self.end + self.span * t;
        while r > self.piece_stop {
            let Some(layers) = self.layers else { break };
            layers.next_piece(self);
        }
        self.piece_height + (r - self.piece_start) * self.slope
    }

    /// The parameter up to which the height is linear from the last one asked for; may be infinite.
    pub(super) fn linear_until(&self) -> f64 {
        if self.span > 0.0 { (self.piece_stop - self.end) / self.span } else { f64::INFINITY }
    }

    /// Moves on to the piece that goes on from a parameter where the current one ends.
    pub(super) fn advance(&mut self, t: f64) {
        while self.linear_until() <= t {
            let Some(layers) = self.layers else { break };
            layers.next_piece(self);
        }
    }
}
