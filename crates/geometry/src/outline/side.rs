//! Two sides, or a side and a point.

use super::SAME_PLACE_M;
use super::crossing::Meeting;
use crate::position::Xy;
use geo::kernels::RobustKernel;
use geo::{Coord, Kernel, Orientation};

/// On which side of the line from `a` to `b` a point lies, without rounding.
fn turn(a: Xy, b: Xy, p: Xy) -> Orientation {
    let coord = |p: Xy| Coord { x: p.x, y: p.y };
    RobustKernel::orient2d(coord(a), coord(b), coord(p))
}

/// The nearest point of a side, and how far along the side it lies, from 0 to 1.
pub(super) fn nearest(p: Xy, a: Xy, b: Xy) -> (Xy, f64) {
    let along = b - a;
    let length2 = along.dot(along);
    let t = if length2 > 0.0 { ((p - a).dot(along) / length2).clamp(0.0, 1.0) } else { 0.0 };
    // The ends themselves, to the bit.
    if t >= 1.0 { (b, 1.0) } else { (a + along * t, t) }
}

pub(super) fn distance(p: Xy, a: Xy, b: Xy) -> f64 {
    p.distance(nearest(p, a, b).0)
}

/// Whether two sides cross inside both of them, by predicates that do not round.
pub(super) fn cross_properly(a: Xy, b: Xy, c: Xy, d: Xy) -> bool {
    use Orientation::{Clockwise, CounterClockwise};
    let opposite = |s, t| matches!((s, t), (Clockwise, CounterClockwise) | (CounterClockwise, Clockwise));
    !apart(a, b, c, d, 0.0) && opposite(turn(a, b, c), turn(a, b, d)) && opposite(turn(c, d, a), turn(c, d, b))
}

/// Where the lines of two sides that cross meet, and how far along the first.
pub(super) fn crossing_point(a: Xy, b: Xy, c: Xy, d: Xy) -> (Xy, f64) {
    let (r, s) = (b - a, d - c);
    let denominator = r.cross(s);
    let t = if denominator == 0.0 { 0.5 } else { ((c - a).cross(s) / denominator).clamp(0.0, 1.0) };
    (a + r * t, t)
}

fn apart(a: Xy, b: Xy, c: Xy, d: Xy, room: f64) -> bool {
    a.x.min(b.x) - room > c.x.max(d.x)
        || c.x.min(d.x) - room > a.x.max(b.x)
        || a.y.min(b.y) - room > c.y.max(d.y)
        || c.y.min(d.y) - room > a.y.max(b.y)
}

/// Where two sides that have no corner in common cross, or come within [`SAME_PLACE_M`] of each other.
///
/// Two sides that have a point in common either cross properly, which is decided without rounding, or one of them has
/// an end on the other, which is decided with a margin far above rounding. So no crossing is overlooked.
pub(super) fn meet(a: Xy, b: Xy, c: Xy, d: Xy) -> Option<(Xy, Meeting)> {
    if apart(a, b, c, d, SAME_PLACE_M) {
        return None;
    }
    if cross_properly(a, b, c, d) {
        return Some((crossing_point(a, b, c, d).0, Meeting::Cross));
    }
    [(a, c, d), (b, c, d), (c, a, b), (d, a, b)]
        .into_iter()
        .find(|&(p, from, to)| distance(p, from, to) < SAME_PLACE_M)
        .map(|(p, _, _)| (p, Meeting::Touch))
}

/// Where the side from `b` to `c` lies on the side from `a` to `b`: the outline runs back over itself.
pub(super) fn fold(a: Xy, b: Xy, c: Xy) -> Option<Xy> {
    if (b - a).dot(c - b) >= 0.0 {
        return None;
    }
    [(c, a, b), (a, b, c)].into_iter().find(|&(p, from, to)| distance(p, from, to) < SAME_PLACE_M).map(|(p, _, _)| p)
}

/// The shortest distance between two sides.
pub(super) fn between(a: Xy, b: Xy, c: Xy, d: Xy) -> f64 {
    if cross_properly(a, b, c, d) {
        return 0.0;
    }
    distance(a, c, d).min(distance(b, c, d)).min(distance(c, a, b)).min(distance(d, a, b))
}
