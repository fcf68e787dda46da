//! Places that attract the pointer: corners and sides of fields and lines, and the shared boundary between two of them.

use super::index::{OutlineIndex, Owner};
use super::place::{CornerRef, RingRef, SideRef, is_place, ring_of, rings, side_at};
use super::side;
use crate::fields::model::Field;
use crate::position::Xy;
use core::borrow::Borrow;

/// What was snapped to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Target {
    /// A corner. Those of a line are counted as those of an outer ring.
    Corner {
        /// Whose.
        owner: Owner,
        /// Which.
        corner: CornerRef,
    },
    /// A place on a side.
    Side {
        /// Whose.
        owner: Owner,
        /// Which.
        side: SideRef,
        /// How far along the side, from 0 to 1.
        along: f64,
    },
}

impl Target {
    /// Whose corner or side it is.
    #[must_use]
    pub fn owner(&self) -> Owner {
        match self {
            Self::Corner { owner, .. } | Self::Side { owner, .. } => *owner,
        }
    }
    /// Its ring, and its place on it: the index of the side and the share of it.
    fn on_ring(&self) -> (RingRef, usize, f64) {
        match self {
            Self::Corner { corner, .. } => (corner.ring, corner.corner, 0.0),
            Self::Side { side, along, .. } => (side.ring, side.side, *along),
        }
    }
}

/// A place that attracts the pointer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Snap {
    /// Where.
    pub at: Xy,
    /// How far from the pointer, metres.
    pub distance_m: f64,
    /// What is there.
    pub target: Target,
}

impl<F: Borrow<Field>> OutlineIndex<F> {
    /// The nearest corner within a radius, or else the nearest place on a side; of equally near ones the first.
    ///
    /// `exclude` tells what must not attract, such as the corner in hand and the sides that hang on it.
    #[must_use]
    pub fn snap(&self, point: Xy, radius_m: f64, exclude: impl Fn(&Target) -> bool) -> Option<Snap> {
        if !(is_place(point) && radius_m.is_finite() && radius_m >= 0.0) {
            return None;
        }
        let reach = Xy::new(radius_m, radius_m);
        let (mut corner, mut on_side): (Option<Snap>, Option<Snap>) = (None, None);
        let offer = |best: &mut Option<Snap>, at: Xy, target: Target| {
            let distance_m = at.distance(point);
            if distance_m <= radius_m && best.is_none_or(|b| distance_m < b.distance_m) && !exclude(&target) {
                *best = Some(Snap { at, distance_m, target });
            }
        };
        for owner in self.near(point - reach, point + reach) {
            self.each_ring(owner, |ring, points, closed| {
                for (i, &p) in points.iter().enumerate() {
                    offer(&mut corner, p, Target::Corner { owner, corner: CornerRef { ring, corner: i } });
                    if closed || i + 1 < points.len() {
                        let (a, b) = side_at(points, i);
                        let (at, along) = side::nearest(point, a, b);
                        offer(&mut on_side, at, Target::Side { owner, side: SideRef { ring, side: i }, along });
                    }
                }
            });
        }
        corner.or(on_side)
    }

    fn each_ring(&self, owner: Owner, mut look: impl FnMut(RingRef, &[Xy], bool)) {
        match owner {
            Owner::Field(i) => {
                for (ring, points) in self.field(i).into_iter().flat_map(rings) {
                    look(ring, points, true);
                }
            }
            Owner::Line(i) => {
                if let Some(line) = self.lines().get(i) {
                    look(RingRef::Outer, line, false);
                }
            }
        }
    }

    /// The corners between two snapped places on one ring or line, the shorter way, both ends left out.
    ///
    /// A field drawn beside another takes the shared boundary corner by corner. `None` when the two do not lie on the
    /// same ring of the same owner.
    #[must_use]
    pub fn follow(&self, from: &Target, to: &Target) -> Option<Vec<Xy>> {
        if from.owner() != to.owner() {
            return None;
        }
        let ((ring, i, s), (other, j, t)) = (from.on_ring(), to.on_ring());
        if ring != other {
            return None;
        }
        let (points, closed) = match from.owner() {
            Owner::Field(f) => (ring_of(self.field(f)?, ring)?, true),
            Owner::Line(l) => (self.lines().get(l)?.as_slice(), false),
        };
        let n = points.len();
        if i >= n || j >= n {
            return None;
        }
        if closed { Some(shorter_way(points, (i, s), (j, t))) } else { Some(along_line(points, (i, s), (j, t))) }
    }
}

/// A place on a ring: the index of a side and the share of it.
type Place = (usize, f64);

fn at(ring: &[Xy], place: Place) -> Xy {
    let (a, b) = side_at(ring, place.0);
    a + (b - a) * place.1
}

/// Corners from one place on a ring to another, in the ring's direction, both ends left out.
fn forwards(ring: &[Xy], from: Place, to: Place) -> Vec<Xy> {
    if from.0 == to.0 && to.1 >= from.1 {
        return Vec::new();
    }
    let mut corners = Vec::new();
    let mut k = from.0;
    loop {
        k = (k + 1) % ring.len();
        corners.push(ring[k]);
        if k == to.0 {
            break;
        }
    }
    let (start, end) = (at(ring, from), at(ring, to));
    if corners.last() == Some(&end) {
        corners.pop();
    }
    if corners.first() == Some(&start) {
        corners.remove(0);
    }
    corners
}

fn length_through(start: Xy, corners: &[Xy], end: Xy) -> f64 {
    let all = core::iter::once(&start).chain(corners).zip(corners.iter().chain([&end]));
    all.map(|(p, q)| p.distance(*q)).sum()
}

/// Corners between two places on a ring the shorter way; of two equal ways the one in the ring's direction.
fn shorter_way(ring: &[Xy], from: Place, to: Place) -> Vec<Xy> {
    let (start, end) = (at(ring, from), at(ring, to));
    let one = forwards(ring, from, to);
    let mut other = forwards(ring, to, from);
    other.reverse();
    if length_through(start, &one, end) <= length_through(start, &other, end) { one } else { other }
}

fn along_line(line: &[Xy], from: Place, to: Place) -> Vec<Xy> {
    let turned = (to.0, to.1) < (from.0, from.1);
    let (low, high) = if turned { (to, from) } else { (from, to) };
    let mut corners: Vec<Xy> = (low.0 + 1..=high.0).filter(|&k| (k, 0.0) != high).map(|k| line[k]).collect();
    if turned {
        corners.reverse();
    }
    corners
}
