//! Which part of a patch between four posts may hide a bend.
//!
//! A patch away from the bend is held against the plane that touches what is needed in its middle, or where there is none
//! against a bound for all of it. A patch that has the bend in it or on its border is looked at direction by direction.

use super::super::descent::Descent;
use super::super::floor::ROUNDING_M;
use super::sight::Rise;
use crate::position::Xy;

/// Bounds are lowered by this much for what rounding and the table of losses may be out by, metres.
pub(super) const SLACK_M: f64 = 1e-3;

/// What may hide a bend.
#[derive(Clone, Copy)]
pub(super) enum Hides {
    /// A patch, by the displacements from the bend to its corners.
    Patch([Xy; 4]),
    /// Ground at the bend itself, between two directions.
    Between(Xy, Xy),
}

/// No more than what is needed anywhere in a square, from what is needed at its corners and in its middle when so much is
/// needed on arriving.
pub(super) fn least_within(descent: &Descent, at_corners: [f64; 4], middle: f64, half_side_m: f64) -> f64 {
    let most = at_corners.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !most.is_finite() {
        return f64::NEG_INFINITY;
    }
    let steepest = descent.steepest();
    let least = match steepest {
        // The loss is convex in the displacement: with as much on the other side of the middle, the middle needs no more than
        // half of both.
        None => 2.0 * middle - most,
        Some(steepest) => middle - steepest * 2.0 * half_side_m,
    };
    least - SLACK_M
}

/// The floor at the posts of a patch and the displacements from there to the bend, from north-west clockwise.
struct Patch {
    floor: [f64; 4],
    to_bend: [Xy; 4],
}

impl Patch {
    fn middle(&self) -> Xy {
        (self.to_bend[0] + self.to_bend[2]) * 0.5
    }

    /// Whether there is data at all four posts.
    fn is_known(&self) -> bool {
        self.floor.iter().sum::<f64>().is_finite()
    }

    fn side_m(&self) -> f64 {
        self.to_bend[0].x - self.to_bend[1].x
    }

    /// Displacements from the bend to the corners of a part: from where to where eastward and southward, in parts of a side.
    fn corners(&self, [west, east, north, south]: [f64; 4]) -> [Xy; 4] {
        let (right, down) = (self.to_bend[1] - self.to_bend[0], self.to_bend[3] - self.to_bend[0]);
        let at = |u: f64, v: f64| Xy::default() - (self.to_bend[0] + right * u + down * v);
        [at(west, north), at(east, north), at(east, south), at(west, south)]
    }
}

/// Whether all of a patch is clear: what is needed is above the floor everywhere in it. What is not known to be is noted.
///
/// From the floor at its posts and the displacements from there to the bend, from north-west clockwise. `arriving` is what
/// is needed from all of its tile on arriving, if that is the same everywhere, and what is needed at least.
pub(super) fn is_patch_clear(
    rise: &Rise<'_>,
    arriving: (Option<f64>, f64),
    floor: [f64; 4],
    to_bend: [Xy; 4],
    shade: &mut dyn FnMut(Hides),
) -> bool {
    let patch = Patch { floor, to_bend };
    if let Some(at) = within(&to_bend, patch.side_m()) {
        return is_home_clear(rise, &patch, at, shade);
    }
    let part = not_above(rise, arriving, &patch);
    if let Some(part) = part {
        shade(Hides::Patch(patch.corners(part)));
    }
    part.is_none()
}

/// All of a patch.
const WHOLE: [f64; 4] = [0.0, 1.0, 0.0, 1.0];
/// How much wider than computed a part of a patch is taken, for rounding.
const WIDER: f64 = 1e-6;
/// How often a part is looked for in the part found before.
const NARROWED: usize = 2;

/// The part of a patch outside of which what is needed is above the floor: from where to where eastward and southward, in
/// parts of its side; `None` where it is above it everywhere.
fn not_above(rise: &Rise<'_>, (same, arriving): (Option<f64>, f64), patch: &Patch) -> Option<[f64; 4]> {
    if !patch.is_known() {
        return Some(WHOLE);
    }
    let (descent, middle, half_m) = (rise.descent, patch.middle(), 0.5 * patch.side_m());
    if let Some(plane) = descent.plane(middle) {
        let over = over_plane(arriving, plane, patch.floor, half_m);
        if over.iter().all(|over| *over <= 0.0) {
            return None;
        }
        if same.is_some() {
            return above_zero(over);
        }
        // From a part of the patch no less is needed than from all of it, and so the part is smaller still.
        let mut part = WHOLE;
        for _ in 0..NARROWED {
            let to_bend = patch.corners(part).map(|d| Xy::default() - d);
            let own = rise.arriving_at_least(&to_bend).max(arriving);
            part = above_zero(over.map(|over| over - (own - arriving)))?;
        }
        return Some(part);
    }
    let needed = |d: Xy| descent.height_needed(arriving, d).unwrap_or(f64::INFINITY);
    let highest = patch.floor.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    (least_within(descent, patch.to_bend.map(needed), needed(middle), half_m) < highest).then_some(WHOLE)
}

/// How far the posts of a patch are above what is needed there, from what is needed in its middle, beyond that on arriving.
///
/// The floor is bilinear, and so is how far it is above the plane that touches the loss.
fn over_plane(arriving: f64, (loss, gradient): (f64, Xy), ground: [f64; 4], half_m: f64) -> [f64; 4] {
    let middle = arriving + loss - SLACK_M;
    // The displacement to the bend shrinks towards it: from north-west clockwise.
    let (east, north) = (gradient.x * half_m, gradient.y * half_m);
    let [nw, ne, se, sw] = ground;
    [
        nw - (middle + east - north),
        ne - (middle - east - north),
        se - (middle - east + north),
        sw - (middle + east + north),
    ]
}

/// Where a bilinear surface over a patch may be above zero, from its corners, north-west clockwise: the narrowest rectangle.
/// `None` where it is not.
///
/// Along a row it is linear, and so highest at one of its ends: north and south it is above zero as far as it is along the
/// western or the eastern side, and the other way round.
fn above_zero([nw, ne, se, sw]: [f64; 4]) -> Option<[f64; 4]> {
    let along = |from: f64, to: f64| {
        let root = from / (from - to);
        match (from > 0.0, to > 0.0) {
            (true, true) => (0.0, 1.0),
            (true, false) => (0.0, root + WIDER),
            (false, true) => (root - WIDER, 1.0),
            (false, false) => (1.0, 0.0),
        }
    };
    let either = |one: (f64, f64), other: (f64, f64)| {
        let (low, high) = (one.0.min(other.0).max(0.0), one.1.max(other.1).min(1.0));
        (low <= high).then_some((low, high))
    };
    let (west, east) = either(along(nw, ne), along(sw, se))?;
    let (north, south) = either(along(nw, sw), along(ne, se))?;
    Some([west, east, north, south])
}

/// A bend this close to a side of a patch, in parts of the side, lies on it: rounding puts those on a side on one side of it
/// or the other.
const ON_SIDE: f64 = 1e-7;

/// Where in a patch the bend is, eastward and southward in parts of its side, from the displacements from its posts, north-west
/// clockwise; `None` for elsewhere.
fn within(posts: &[Xy; 4], cell_m: f64) -> Option<(f64, f64)> {
    let (east, south) = (posts[0].x / cell_m, -posts[0].y / cell_m);
    let inside = |at: f64| (-ON_SIDE..=1.0 + ON_SIDE).contains(&at);
    let nearest = |at: f64| {
        if at < ON_SIDE {
            0.0
        } else if at > 1.0 - ON_SIDE {
            1.0
        } else {
            at
        }
    };
    (inside(east) && inside(south)).then(|| (nearest(east), nearest(south)))
}

/// Parts of each side of a patch, as seen from a bend in it, and how often they are halved where that does not tell.
const SIDE_PARTS: usize = 2;
const SIDE_HALVINGS: usize = 1;

/// Whether all of a patch is clear that has the bend in it or on its border, at a place eastward and southward in parts of
/// its side; the directions from there in which it is not known to be are noted.
fn is_home_clear(rise: &Rise<'_>, patch: &Patch, (u, v): (f64, f64), shade: &mut dyn FnMut(Hides)) -> bool {
    let side_m = patch.side_m();
    let corner = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)].iter().position(|at| *at == (u, v));
    if corner.is_some_and(|corner| leaves_ground(rise.descent, rise.bend.height, patch.floor, corner, side_m)) {
        return true;
    }
    let [nw, ne, se, sw] = patch.floor;
    let twist = nw - ne - sw + se;
    let home = Home {
        rise,
        side_m,
        floor: nw + u * (ne - nw) + v * (sw - nw) + u * v * twist,
        slope: (ne - nw + v * twist, sw - nw + u * twist),
        twist,
    };
    let places = [(-u, -v), (1.0 - u, -v), (1.0 - u, 1.0 - v), (-u, 1.0 - v)];
    let mut all = true;
    for side in 0..4 {
        let ((x0, y0), (x1, y1)) = (places[side], places[(side + 1) % 4]);
        // A side that the bend lies on is seen along itself, as the ends of the two next to it.
        if (x0 == 0.0 && x1 == 0.0) || (y0 == 0.0 && y1 == 0.0) {
            continue;
        }
        let at = |k: usize| {
            let t = k as f64 / SIDE_PARTS as f64;
            home.seen((x0 + (x1 - x0) * t, y0 + (y1 - y0) * t))
        };
        let mut end = at(0);
        for k in 0..SIDE_PARTS {
            let start = end;
            end = at(k + 1);
            all &= home.is_part_clear(start, end, SIDE_HALVINGS, shade);
        }
    }
    all
}

/// The patch around a bend.
struct Home<'a> {
    rise: &'a Rise<'a>,
    side_m: f64,
    /// The floor at the bend, how it rises for each side eastward and southward, and for the product of both.
    floor: f64,
    slope: (f64, f64),
    twist: f64,
}

/// A place on the border of the patch around a bend.
#[derive(Clone, Copy)]
struct OnBorder {
    /// Where it is from the bend, eastward and southward in sides of the patch.
    at: (f64, f64),
    to_bend: Xy,
    /// Height lost from there less the rise of the floor to there: with the twist, and without it. Minus infinity where it
    /// cannot be flown, and in layered air.
    gains: [f64; 2],
}

impl Home<'_> {
    fn seen(&self, (x, y): (f64, f64)) -> OnBorder {
        let to_bend = Xy::new(-x, y) * self.side_m;
        let (descent, height) = (self.rise.descent, self.rise.bend.height);
        // In layered air one bound serves for all of a part: this, which costs more there, is not asked for.
        let needed = if descent.is_uniform() { descent.height_needed(height, to_bend) } else { None };
        let loss = needed.map_or(f64::NEG_INFINITY, |needed| needed - height);
        let straight = loss - (self.slope.0 * x + self.slope.1 * y);
        OnBorder { at: (x, y), to_bend, gains: [straight - self.twist * x * y, straight] }
    }

    /// Whether the ground between the bend and a part of one side is clear.
    fn is_part_clear(&self, from: OnBorder, to: OnBorder, halvings: usize, shade: &mut dyn FnMut(Hides)) -> bool {
        let descent = self.rise.descent;
        let middle = self.seen((0.5 * (from.at.0 + to.at.0), 0.5 * (from.at.1 + to.at.1)));
        let gains = if descent.is_uniform() {
            // The loss is convex along the side and the ground linear: at one place as far above the middle as another is
            // below it, or farther.
            let least = |k: usize| {
                let ends = from.gains[k].max(to.gains[k]);
                // What cannot be flown says nothing of its neighbours.
                let flown = from.gains[k].min(to.gains[k]) > f64::NEG_INFINITY;
                if flown { 2.0 * middle.gains[k] - ends } else { f64::NEG_INFINITY }
            };
            least(0).min(least(1))
        } else {
            let along = to.to_bend - from.to_bend;
            let foot = (-from.to_bend.dot(along) / along.dot(along)).clamp(0.0, 1.0);
            let least = descent.least_loss() * (from.to_bend + along * foot).norm();
            let rises = |(x, y): (f64, f64)| self.slope.0 * x + self.slope.1 * y + (self.twist * x * y).max(0.0);
            least - rises(from.at).max(rises(to.at))
        };
        let ends = [from.to_bend, to.to_bend];
        let spare = self.rise.arriving_at_least(&[ends[0], ends[1], ends[1], ends[0]]) - self.floor;
        // Where the twist lifts the ground the margin bends down along the way; elsewhere it is nowhere below the straight line
        // without the twist. Either is least at an end.
        if spare >= -ROUNDING_M && spare + gains - 1e-9 * gains.abs() >= 0.0 {
            return true;
        }
        if halvings == 0 {
            let from_bend = ends.map(|d| Xy::default() - d);
            shade(Hides::Between(from_bend[0], from_bend[1]));
            return false;
        }
        let first = self.is_part_clear(from, middle, halvings - 1, shade);
        self.is_part_clear(middle, to, halvings - 1, shade) && first
    }
}

/// Whether glides to a bend at one corner of a patch stay above its floor: the floor rises from the corner by no more than
/// the least that any glide rises.
fn leaves_ground(descent: &Descent, height: f64, ground: [f64; 4], corner: usize, cell_m: f64) -> bool {
    let here = ground[corner];
    // Without data at a post nothing is known; a comparison of numbers would pass over it.
    if !(height >= here && ground.iter().sum::<f64>().is_finite()) {
        return false;
    }
    let (one, other, opposite) = (ground[(corner + 1) % 4], ground[(corner + 3) % 4], ground[(corner + 2) % 4]);
    // Bilinear: u·(one − here) + v·(other − here) + u·v·twist, and u·v is at most (u + v)/2.
    let twist = 0.5 * (opposite - one - other + here).max(0.0);
    let (along, across) = ((one - here + twist).max(0.0), (other - here + twist).max(0.0));
    along * along + across * across <= (descent.least_loss() * cell_m) * (descent.least_loss() * cell_m)
}

#[cfg(test)]
mod tests {
    use super::super::super::departure::{Turning, place};
    use super::*;
    use crate::aircraft::{Aircraft, GlideSpeed};
    use crate::grid::GridFrame;
    use crate::reach::tests::{Dice, options, wind};

    /// No ray from a bend runs into the ground of its patch where the patch is said to be clear, in winds weaker and
    /// stronger than the speed held.
    #[test]
    fn what_is_clear_around_a_bend_is_clear_along_every_ray() {
        let aircraft = Aircraft { glide_speed: GlideSpeed::Held(15.0), ..Aircraft::example_flexwing() };
        let (cell_m, mut dice) = (25.0, Dice(11, 0));
        let frame = GridFrame { origin: Xy::default(), cell_m, cols: 2, rows: 2 };
        let (mut clear, mut hidden) = (0, 0);
        for case in 0..4_000 {
            let speed = if case == 0 { 17.0 } else { dice.within(0.0, 21.0) };
            let towards = if case == 0 { 0.0 } else { dice.within(0.0, crate::math::TAU) };
            let (sin, cos) = crate::math::sin_cos(towards);
            let air = wind(speed * sin, speed * cos);
            let floor =
                if case == 0 { [0.0, -11.0, 3.0, 29.0] } else { core::array::from_fn(|_| dice.within(-15.0, 15.0)) };
            // At a post, on a side and within.
            let (u, v) = match case % 4 {
                0 => (0.0, 0.0),
                1 => (1.0, dice.within(0.0, 1.0)),
                2 => (dice.within(0.0, 1.0), 1.0),
                _ => (dice.within(0.0, 1.0), dice.within(0.0, 1.0)),
            };
            let [nw, ne, se, sw] = floor;
            let ground = |u: f64, v: f64| nw + u * (ne - nw) + v * (sw - nw) + u * v * (nw - ne - sw + se);
            let position = Xy::new(u, -v) * cell_m;
            let descent = Descent::new(&aircraft, &air, 0.0, 1_000.0);
            let turning = Turning::new(&aircraft, &air, 1_000.0, &options(50.0));
            let track = (case % 3 == 1).then(|| Xy::new(cos, sin));
            let bend = turning.bend((position, place(&frame, position)), ground(u, v), track, 0);
            let rise = Rise { descent: &descent, bend: &bend, field: None };
            let to_bend = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)].map(|(x, y)| Xy::new(u - x, y - v) * cell_m);
            let mut sectors = Vec::new();
            is_patch_clear(&rise, (None, 0.0), floor, to_bend, &mut |hides| {
                if let Hides::Between(one, other) = hides {
                    sectors.push((one, other));
                }
            });
            for _ in 0..40 {
                let along = dice.within(0.0, 4.0);
                let (side, t) = (along as usize, along.fract());
                let (x, y) = [(t, 0.0), (1.0, t), (1.0 - t, 1.0), (0.0, 1.0 - t)][side];
                let way = Xy::new(x - u, v - y) * cell_m;
                let Some(arriving) =
                    descent.height_needed(bend.height + bend.turn_loss(Xy::default() - way), Xy::default() - way)
                else {
                    continue;
                };
                let lost = arriving - bend.height - bend.turn_loss(Xy::default() - way);
                let dips = (1..=50).any(|k| {
                    let share = f64::from(k) / 50.0;
                    let surface = arriving - lost * (1.0 - share);
                    surface < ground(u + (x - u) * share, v + (y - v) * share) - 1e-3
                });
                let between = |(one, other): &(Xy, Xy)| {
                    one.cross(way) * one.cross(*other) >= 0.0 && other.cross(way) * other.cross(*one) >= 0.0
                };
                let is_hidden = sectors.iter().any(between);
                assert!(is_hidden || !dips, "case {case}: ({x}, {y}) of the patch {floor:?}, bend at ({u}, {v})");
                clear += usize::from(!is_hidden);
                hidden += usize::from(dips);
            }
        }
        assert!(clear > 10_000 && hidden > 10_000, "{clear} {hidden}");
    }

    /// A post without data next to a bend hides what lies behind it.
    #[test]
    fn a_patch_without_data_is_not_clear() {
        let descent = Descent::new(&Aircraft::example_flexwing(), &wind(0.0, 0.0), 0.0, 1_000.0);
        let turning = Turning::new(&Aircraft::example_flexwing(), &wind(0.0, 0.0), 1_000.0, &options(50.0));
        let frame = GridFrame { origin: Xy::default(), cell_m: 25.0, cols: 2, rows: 2 };
        for (u, v) in [(0.0, 0.0), (0.5, 0.0), (0.3, 0.6)] {
            let position = Xy::new(u, -v) * 25.0;
            let bend = turning.bend((position, place(&frame, position)), 0.0, None, 0);
            let rise = Rise { descent: &descent, bend: &bend, field: None };
            let to_bend = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)].map(|(x, y)| Xy::new(u - x, y - v) * 25.0);
            let is_clear = |floor| is_patch_clear(&rise, (None, 0.0), floor, to_bend, &mut |_| {});
            assert!(is_clear([0.0; 4]));
            for unknown in [f64::NAN, f64::INFINITY] {
                for post in 0..4 {
                    let mut floor = [0.0; 4];
                    floor[post] = unknown;
                    assert!(!is_clear(floor), "({u}, {v}) {post}");
                }
            }
        }
    }
}
