//! Sides that two fields share.
//!
//! A side of one field and a side of another are shared where they run in opposite directions within a tolerance of each
//! other: a boundary drawn twice. Sides of different length are shared where they lie beside each other.

use super::OutlineError;
use super::corner::{insert_corner, move_corner};
use super::place::{CornerRef, SideRef, is_place, rings, side_at};
use super::side;
use crate::fields::model::Field;
use crate::fields::strip::bounds;
use crate::position::Xy;
use core::borrow::Borrow;
use rstar::primitives::{GeomWithData, Rectangle};
use rstar::{AABB, RTree};
use std::collections::BTreeMap;

/// Sides this near to each other, metres, are one boundary. A hedge is about as wide. Common practice, no source.
pub const SHARED_M: f64 = 2.0;

/// A shorter stretch than this, metres, is where corners meet and not a boundary, unless the sides are that short.
pub const LEAST_SHARED_M: f64 = 1.0;

/// Directions of shared sides differ by at most this cosine's angle (18°): more is a corner.
const OPPOSITE: f64 = 0.95;

/// A stretch that two sides share.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shared {
    /// Field and side; the field with the lower index.
    pub first: (usize, usize),
    /// Field and side of the other.
    pub second: (usize, usize),
    /// From where to where along the first side, shares from 0 to 1.
    pub on_first: (f64, f64),
    /// The same along the second.
    pub on_second: (f64, f64),
    /// Length of the stretch, metres.
    pub length_m: f64,
    /// The largest distance between the two, metres; negative where the fields overlap.
    pub gap_m: f64,
}

/// A stretch of a side, seen from one of the two fields.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Neighbour {
    /// The other field.
    pub field: usize,
    /// Its side.
    pub side: usize,
    /// The stretch along one's own side, shares from 0 to 1.
    pub own: (f64, f64),
    /// The stretch along the other's side.
    pub other: (f64, f64),
    /// Length of the stretch, metres.
    pub length_m: f64,
}

/// Which sides of a set of fields are shared.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SharedSides {
    all: Vec<Shared>,
    by_side: BTreeMap<(usize, usize), Vec<usize>>,
}

impl SharedSides {
    /// Shared sides of all fields, within `tolerance_m` of each other. Only outer rings are looked at.
    #[must_use]
    pub fn new<F: Borrow<Field>>(fields: &[F], tolerance_m: f64) -> Self {
        if !(tolerance_m.is_finite() && tolerance_m >= 0.0) {
            return Self::default();
        }
        let boxes: Vec<_> =
            fields.iter().enumerate().filter_map(|(i, f)| Some(GeomWithData::new(extent(f.borrow())?, i))).collect();
        let tree = RTree::bulk_load(boxes);
        let mut all = Vec::new();
        for (i, field) in fields.iter().enumerate() {
            let field = field.borrow();
            let Some(wanted) = grown(field, tolerance_m) else { continue };
            let mut near: Vec<usize> =
                tree.locate_in_envelope_intersecting(&wanted).map(|b| b.data).filter(|j| *j > i).collect();
            near.sort_unstable();
            for j in near {
                shared_between((i, field), (j, fields[j].borrow()), tolerance_m, &mut all);
            }
        }
        Self::from_list(all)
    }

    /// Shared sides of one field with all others. Costs one look at the extent of every field.
    #[must_use]
    pub fn around<F: Borrow<Field>>(fields: &[F], field: usize, tolerance_m: f64) -> Self {
        let mut all = Vec::new();
        if tolerance_m.is_finite() && tolerance_m >= 0.0 {
            for j in neighbours(fields, field, tolerance_m) {
                let (low, high) = (field.min(j), field.max(j));
                shared_between((low, fields[low].borrow()), (high, fields[high].borrow()), tolerance_m, &mut all);
            }
        }
        Self::from_list(all)
    }

    fn from_list(all: Vec<Shared>) -> Self {
        let mut by_side: BTreeMap<(usize, usize), Vec<usize>> = BTreeMap::new();
        for (k, shared) in all.iter().enumerate() {
            by_side.entry(shared.first).or_default().push(k);
            by_side.entry(shared.second).or_default().push(k);
        }
        Self { all, by_side }
    }

    /// Every shared stretch.
    #[must_use]
    pub fn all(&self) -> &[Shared] {
        &self.all
    }

    /// What lies along one side of a field.
    pub fn of(&self, field: usize, side: usize) -> impl Iterator<Item = Neighbour> + '_ {
        self.by_side.get(&(field, side)).into_iter().flatten().map(move |&k| {
            let Shared { first, second, on_first, on_second, length_m, .. } = self.all[k];
            let ((other_field, other_side), own, other) =
                if first == (field, side) { (second, on_first, on_second) } else { (first, on_second, on_first) };
            Neighbour { field: other_field, side: other_side, own, other, length_m }
        })
    }
}

fn extent(field: &Field) -> Option<Rectangle<[f64; 2]>> {
    let (low, high) = bounds(&field.outer)?;
    let sound = field.outer.iter().all(|p| is_place(*p));
    sound.then(|| Rectangle::from_corners([low.x, low.y], [high.x, high.y]))
}

fn grown(field: &Field, by_m: f64) -> Option<AABB<[f64; 2]>> {
    let sound = field.outer.iter().all(|p| is_place(*p));
    let (low, high) = bounds(&field.outer).filter(|_| sound)?;
    Some(AABB::from_corners([low.x - by_m, low.y - by_m], [high.x + by_m, high.y + by_m]))
}

/// Indices of the other fields whose extent comes within a distance of a field's, in order.
pub(super) fn neighbours<F: Borrow<Field>>(fields: &[F], field: usize, room_m: f64) -> Vec<usize> {
    let Some((low, high)) = fields.get(field).and_then(|f| bounds(&f.borrow().outer)) else { return Vec::new() };
    let near = |f: &Field| {
        bounds(&f.outer).is_some_and(|(l, h)| {
            l.x <= high.x + room_m && h.x >= low.x - room_m && l.y <= high.y + room_m && h.y >= low.y - room_m
        })
    };
    (0..fields.len()).filter(|&j| j != field && near(fields[j].borrow())).collect()
}

pub(super) fn shared_between(
    (i, first): (usize, &Field),
    (j, second): (usize, &Field),
    tolerance_m: f64,
    all: &mut Vec<Shared>,
) {
    for s in 0..first.outer.len() {
        let (a, b) = side_at(&first.outer, s);
        for t in 0..second.outer.len() {
            let (c, d) = side_at(&second.outer, t);
            if let Some(stretch) = beside(a, b, c, d, tolerance_m) {
                all.push(Shared { first: (i, s), second: (j, t), ..stretch });
            }
        }
    }
}

/// The stretch over which two sides run in opposite directions within a tolerance of each other.
fn beside(a: Xy, b: Xy, c: Xy, d: Xy, tolerance_m: f64) -> Option<Shared> {
    let (ab, cd) = (b - a, d - c);
    let (length, other_length) = (ab.norm(), cd.norm());
    // Written so that what is no number is refused.
    let opposite = ab.dot(cd) <= -OPPOSITE * length * other_length && length > 0.0 && other_length > 0.0;
    if !opposite {
        return None;
    }
    let u = ab * (1.0 / length);
    let (at_c, at_d) = ((c - a).dot(u), (d - a).dot(u));
    let (low, high) = (at_d.max(0.0), at_c.min(length));
    let long_enough = high - low >= LEAST_SHARED_M.min(0.5 * length.min(other_length));
    if !long_enough {
        return None;
    }
    let on_other = |t: f64| (t - at_c) / (at_d - at_c);
    let gap = |t: f64| -u.cross(c + cd * on_other(t) - a);
    let (at_low, at_high) = (gap(low), gap(high));
    if at_low.abs() > tolerance_m || at_high.abs() > tolerance_m {
        return None;
    }
    let gap_m = if at_low.abs() > at_high.abs() { at_low } else { at_high };
    Some(Shared {
        first: (0, 0),
        second: (0, 0),
        on_first: (low / length, high / length),
        on_second: (on_other(high).clamp(0.0, 1.0), on_other(low).clamp(0.0, 1.0)),
        length_m: high - low,
        gap_m,
    })
}

/// Gives a field and its neighbours the corners that the other has where their boundaries meet in a T, so that a shared
/// boundary has the same corners on both sides. All changed fields are returned, with their indices.
///
/// A corner is inserted where it lies within `tolerance_m` of a side and farther than that from its corners; one that
/// would make the outline unsound is left out. Only outer rings are looked at.
#[must_use]
pub fn match_corners<F: Borrow<Field>>(fields: &[F], field: usize, tolerance_m: f64) -> Vec<(usize, Field)> {
    let Some(own) = fields.get(field).map(Borrow::borrow) else { return Vec::new() };
    if !(tolerance_m.is_finite() && tolerance_m >= 0.0) {
        return Vec::new();
    }
    let mut changed = Vec::new();
    let mut mine = None;
    for j in neighbours(fields, field, tolerance_m) {
        let other = fields[j].borrow();
        for &p in &other.outer {
            if let Some(more) = with_corner(mine.as_ref().unwrap_or(own), p, tolerance_m) {
                mine = Some(more);
            }
        }
        let mut theirs = None;
        for &p in &own.outer {
            if let Some(more) = with_corner(theirs.as_ref().unwrap_or(other), p, tolerance_m) {
                theirs = Some(more);
            }
        }
        changed.extend(theirs.map(|f| (j, f)));
    }
    changed.extend(mine.map(|f| (field, f)));
    changed.sort_by_key(|c| c.0);
    changed
}

fn with_corner(field: &Field, p: Xy, tolerance_m: f64) -> Option<Field> {
    let least = tolerance_m.max(super::SAME_PLACE_M);
    if !is_place(p) || field.outer.iter().any(|c| c.distance(p) <= least) {
        return None;
    }
    let near = (0..field.outer.len()).map(|i| {
        let (a, b) = side_at(&field.outer, i);
        (side::distance(p, a, b), i)
    });
    let (_, i) = near.filter(|n| n.0 <= least).min_by(|m, n| m.0.total_cmp(&n.0))?;
    insert_corner(field, SideRef::outer(i), p).ok()
}

/// Corners of all fields within `tolerance_m` of a place, as field and corner, holes included.
#[must_use]
pub fn corners_at<F: Borrow<Field>>(fields: &[F], p: Xy, tolerance_m: f64) -> Vec<(usize, CornerRef)> {
    let mut found = Vec::new();
    for (i, field) in fields.iter().enumerate() {
        let field = field.borrow();
        let near = bounds(&field.outer).is_some_and(|(l, h)| {
            l.x - tolerance_m <= p.x && p.x <= h.x + tolerance_m && l.y - tolerance_m <= p.y && p.y <= h.y + tolerance_m
        });
        if near {
            for (ring, points) in rings(field) {
                let corners = points.iter().enumerate().filter(|(_, c)| c.distance(p) <= tolerance_m);
                found.extend(corners.map(|(corner, _)| (i, CornerRef { ring, corner })));
            }
        }
    }
    found
}

/// Moves a corner, and with it the corners of other fields within `tolerance_m` of it. All changed fields are returned.
///
/// A side of a neighbour that only passes the corner does not follow; [`match_corners`] gives it a corner first.
///
/// # Errors
/// [`OutlineError::Missing`]; the fault that the move would bring, as [`OutlineError::Neighbour`] when another field
/// than the given one cannot follow. Nothing is moved then.
pub fn move_shared_corner<F: Borrow<Field>>(
    fields: &[F],
    field: usize,
    corner: CornerRef,
    to: Xy,
    tolerance_m: f64,
) -> Result<Vec<(usize, Field)>, OutlineError> {
    let own = fields.get(field).ok_or(OutlineError::Missing { what: "field" })?.borrow();
    let ring = super::place::ring_of(own, corner.ring);
    let &from = ring.and_then(|r| r.get(corner.corner)).ok_or(OutlineError::Missing { what: "corner" })?;
    let mut changed = BTreeMap::new();
    changed.insert(field, move_corner(own, corner, to)?);
    for (other, its_corner) in corners_at(fields, from, tolerance_m) {
        // Of one field only one corner moves; two within the tolerance are told apart by their owner.
        if let std::collections::btree_map::Entry::Vacant(place) = changed.entry(other) {
            let neighbour = fields[other].borrow();
            let moved = move_corner(neighbour, its_corner, to).map_err(|reason| OutlineError::Neighbour {
                index: other,
                field: neighbour.label().to_owned(),
                reason: Box::new(reason),
            })?;
            place.insert(moved);
        }
    }
    Ok(changed.into_iter().collect())
}
