//! Edits of corners, and of an outline as a whole.
//!
//! What stands on a side goes with the side. A field that was sound stays sound or the edit is refused.

use super::crossing::check_rings;
use super::edge::{for_each_side, merged};
use super::place::{CornerRef, RingRef, SideRef, check_places, ring_of};
use super::validity::accepted;
use super::{LEAST_AREA_M2, OutlineError};
use crate::fields::model::{BoundaryEdge, Field, ring_area};
use crate::position::Xy;

/// The outer ring and its edges from the corners in the order in which they were drawn, turned anticlockwise.
///
/// `edges[i]` stands on the side from corner `i` to the next, in the order drawn; missing ones are unknown.
///
/// # Errors
/// What [`check_rings`] refuses, and [`OutlineError::TooSmall`].
pub fn closed(drawn: &[Xy], edges: &[BoundaryEdge]) -> Result<(Vec<Xy>, Vec<BoundaryEdge>), OutlineError> {
    check_rings(drawn, &[])?;
    let area = ring_area(drawn);
    if area.abs() < LEAST_AREA_M2 {
        return Err(OutlineError::TooSmall { area_m2: area.abs() });
    }
    let mut points = drawn.to_vec();
    let mut edges = edges.to_vec();
    edges.resize(points.len(), BoundaryEdge::UNKNOWN);
    if area < 0.0 {
        points.reverse();
        // Old side i ran from i to i + 1. Corner j is now old corner n − 1 − j, and its side old side n − 2 − j.
        edges.reverse();
        edges.rotate_left(1);
    }
    Ok((points, edges))
}

/// A new corner on a side; both halves keep what stood on it. It gets the index after the side's.
///
/// # Errors
/// [`OutlineError::Missing`], or the fault that the corner would bring.
pub fn insert_corner(field: &Field, side: SideRef, at: Xy) -> Result<Field, OutlineError> {
    check_places([&at])?;
    let mut after = editable(field);
    let ring = ring_mut(&mut after, side.ring).filter(|r| side.side < r.len());
    ring.ok_or(OutlineError::Missing { what: "side" })?.insert(side.side + 1, at);
    if side.ring == RingRef::Outer {
        after.edges.insert(side.side + 1, after.edges[side.side]);
    }
    accepted(field, after)
}

/// One corner moved to another place.
///
/// # Errors
/// [`OutlineError::Missing`], or the fault that the move would bring.
pub fn move_corner(field: &Field, corner: CornerRef, to: Xy) -> Result<Field, OutlineError> {
    check_places([&to])?;
    let mut after = editable(field);
    let place = ring_mut(&mut after, corner.ring).and_then(|ring| ring.get_mut(corner.corner));
    *place.ok_or(OutlineError::Missing { what: "corner" })? = to;
    accepted(field, after)
}

/// One corner left out; [`merged`] says what stands on the side that takes the place of two.
///
/// # Errors
/// [`OutlineError::Missing`], or the fault that leaving it out would bring.
pub fn delete_corner(field: &Field, corner: CornerRef) -> Result<Field, OutlineError> {
    let mut after = editable(field);
    let ring = ring_mut(&mut after, corner.ring).filter(|r| corner.corner < r.len());
    let ring = ring.ok_or(OutlineError::Missing { what: "corner" })?;
    let n = ring.len();
    ring.remove(corner.corner);
    if corner.ring == RingRef::Outer {
        let before = (corner.corner + n - 1) % n;
        after.edges[before] = merged(after.edges[before], after.edges[corner.corner]).edge;
        after.edges.remove(corner.corner);
    }
    accepted(field, after)
}

/// What deleting a corner of the outer ring does to the sides that meet there.
#[must_use]
pub fn edges_merged_at(field: &Field, corner: usize) -> Option<super::edge::Merged> {
    let edges = for_each_side(field);
    let n = edges.len();
    (corner < n).then(|| merged(edges[(corner + n - 1) % n], edges[corner]))
}

/// The whole outline with its holes moved by a displacement.
///
/// # Errors
/// [`OutlineError::NotAPlace`].
pub fn move_outline(field: &Field, by: Xy) -> Result<Field, OutlineError> {
    let moved = |ring: &Vec<Xy>| ring.iter().map(|&p| p + by).collect::<Vec<_>>();
    let after = Field { outer: moved(&field.outer), holes: field.holes.iter().map(moved).collect(), ..field.clone() };
    accepted(field, after)
}

/// The same outline, its outer ring starting at another corner.
///
/// # Errors
/// [`OutlineError::Missing`] when there is no such corner.
pub fn start_at(field: &Field, corner: usize) -> Result<Field, OutlineError> {
    if corner >= field.outer.len() {
        return Err(OutlineError::Missing { what: "corner" });
    }
    let mut after = editable(field);
    after.outer.rotate_left(corner);
    after.edges.rotate_left(corner);
    Ok(after)
}

/// A copy whose edges are one for each side, so that they can be edited together with the corners.
fn editable(field: &Field) -> Field {
    Field { edges: for_each_side(field), ..field.clone() }
}

fn ring_mut(field: &mut Field, ring: RingRef) -> Option<&mut Vec<Xy>> {
    ring_of(field, ring)?;
    match ring {
        RingRef::Outer => Some(&mut field.outer),
        RingRef::Hole(i) => field.holes.get_mut(i),
    }
}
