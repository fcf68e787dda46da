//! What stands on a side, said for every field that shares it: a hedge between two fields is one hedge.

use super::OutlineError;
use super::edge::for_each_side;
use super::place::side_at;
use super::shared::{LEAST_SHARED_M, SharedSides};
use crate::fields::model::{BoundaryEdge, Field};
use crate::position::Xy;
use core::borrow::Borrow;
use std::collections::BTreeMap;

/// Says what stands on one side of a field, and on the stretches of other fields' sides that are shared with it.
///
/// A neighbour's side that goes on beyond the shared stretch gets a corner there, so that nothing is said about the rest
/// of it. Returns every field that changes, with its index; `tolerance_m` is usually [`super::shared::SHARED_M`].
///
/// # Errors
/// [`OutlineError::Missing`] when there is no such field or side.
pub fn set_edge<F: Borrow<Field>>(
    fields: &[F],
    field: usize,
    side: usize,
    edge: BoundaryEdge,
    tolerance_m: f64,
) -> Result<Vec<(usize, Field)>, OutlineError> {
    paint(fields, field, &[side], edge, tolerance_m)
}

/// Says what stands on several sides of a field, as [`set_edge`] does for one: those a drag passed along, or those of
/// [`sides_between`].
///
/// # Errors
/// [`OutlineError::Missing`] when there is no such field or one of the sides is missing.
pub fn paint<F: Borrow<Field>>(
    fields: &[F],
    field: usize,
    sides: &[usize],
    edge: BoundaryEdge,
    tolerance_m: f64,
) -> Result<Vec<(usize, Field)>, OutlineError> {
    let own = fields.get(field).ok_or(OutlineError::Missing { what: "field" })?.borrow();
    if sides.iter().any(|s| *s >= own.outer.len()) {
        return Err(OutlineError::Missing { what: "side" });
    }
    let shared = SharedSides::around(fields, field, tolerance_m);
    let mut stretches: BTreeMap<usize, Vec<(usize, f64, f64)>> = BTreeMap::new();
    for &side in sides {
        stretches.entry(field).or_default().push((side, 0.0, 1.0));
        for neighbour in shared.of(field, side) {
            let (from, to) = neighbour.other;
            stretches.entry(neighbour.field).or_default().push((neighbour.side, from, to));
        }
    }
    let rest_m = tolerance_m.max(LEAST_SHARED_M);
    let painted = stretches.into_iter().map(|(i, list)| (i, with_stretches(fields[i].borrow(), &list, edge, rest_m)));
    Ok(painted.filter(|(i, f)| f != fields[*i].borrow()).collect())
}

/// The field with something standing on stretches of its sides; a rest of a side shorter than `rest_m` is painted too.
fn with_stretches(field: &Field, stretches: &[(usize, f64, f64)], edge: BoundaryEdge, rest_m: f64) -> Field {
    let old = for_each_side(field);
    let (mut outer, mut edges) = (Vec::new(), Vec::new());
    for (i, &before) in old.iter().enumerate() {
        let (a, b) = side_at(&field.outer, i);
        let mut here: Vec<(f64, f64)> = stretches.iter().filter(|s| s.0 == i).map(|s| (s.1, s.2)).collect();
        here.sort_by(|s, t| s.0.total_cmp(&t.0));
        let rest = rest_m / a.distance(b);
        outer.push(a);
        edges.push(before);
        let mut done = 0.0;
        for (from, to) in here {
            if to <= done {
                continue;
            }
            let to = if 1.0 - to <= rest { 1.0 } else { to };
            if from - done > rest && before != edge {
                outer.push(a + (b - a) * from);
                edges.push(edge);
            } else if let Some(last) = edges.last_mut() {
                *last = edge;
            }
            done = to;
            if done >= 1.0 {
                break;
            }
            if before != edge {
                outer.push(a + (b - a) * done);
                edges.push(before);
            }
        }
    }
    Field { outer, edges, ..field.clone() }
}

/// The sides from one to another, both included, the shorter way round the ring; in order along that way.
///
/// Empty when one of them does not exist. Of two equal ways the one in the ring's direction.
#[must_use]
pub fn sides_between(ring: &[Xy], from: usize, to: usize) -> Vec<usize> {
    let n = ring.len();
    if from >= n || to >= n {
        return Vec::new();
    }
    let length = |sides: &[usize]| -> f64 { sides.iter().map(|&i| side_at(ring, i)).map(|(a, b)| a.distance(b)).sum() };
    let forwards: Vec<usize> = (0..=(to + n - from) % n).map(|k| (from + k) % n).collect();
    let backwards: Vec<usize> = (0..=(from + n - to) % n).map(|k| (from + n - k) % n).collect();
    if length(&forwards) <= length(&backwards) { forwards } else { backwards }
}
