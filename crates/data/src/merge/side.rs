//! Sides of two outlines of one field: which is which.

use sparefield_geometry::fields::model::{BoundaryEdge, EdgeKind, Field};
use sparefield_geometry::position::Xy;

/// Sides whose ends lie within this of each other are one side of the ground, metres: people draw the same corner of a
/// hedge a few metres apart. Common practice, no source.
const SAME_SIDE_M: f64 = 5.0;

/// What is said about a side; nothing where nothing is.
pub(super) fn edge(field: &Field, side: usize) -> BoundaryEdge {
    field.edges.get(side).copied().unwrap_or(BoundaryEdge::UNKNOWN)
}

fn ends(field: &Field, side: usize) -> Option<(Xy, Xy)> {
    let ring = &field.outer;
    Some((*ring.get(side)?, ring[(side + 1) % ring.len()]))
}

/// The side of `other` that lies where side `side` of `field` lies.
///
/// Of several, the nearest; and only if there is none of `field` that lies nearer to that one, so that no side stands
/// for two.
pub(super) fn counterpart(field: &Field, side: usize, other: &Field, tolerance_m: f64) -> Option<usize> {
    let to = nearest(ends(field, side)?, other, tolerance_m)?;
    (nearest(ends(other, to)?, field, tolerance_m)? == side).then_some(to)
}

fn nearest((a, b): (Xy, Xy), other: &Field, tolerance_m: f64) -> Option<usize> {
    let within = SAME_SIDE_M.max(tolerance_m);
    let sides =
        (0..other.outer.len()).filter_map(|i| ends(other, i).map(|(c, d)| (a.distance(c).max(b.distance(d)), i)));
    sides.filter(|(d, _)| *d <= within).min_by(|p, q| p.0.total_cmp(&q.0).then(p.1.cmp(&q.1))).map(|(_, i)| i)
}

/// Where a ring begins on another ring of the same corners, if it is the same ring within a tolerance.
fn shift(ring: &[Xy], other: &[Xy], tolerance_m: f64) -> Option<usize> {
    let n = ring.len();
    if n != other.len() {
        return None;
    }
    if n == 0 {
        return Some(0);
    }
    (0..n).find(|s| (0..n).all(|i| ring[i].distance(other[(i + s) % n]) <= tolerance_m))
}

/// Whether two outlines are the same, wherever their rings begin.
pub(super) fn same_outline(a: &Field, b: &Field, tolerance_m: f64) -> bool {
    shift(&a.outer, &b.outer, tolerance_m).is_some()
        && a.holes.len() == b.holes.len()
        && a.holes.iter().all(|h| b.holes.iter().any(|g| shift(h, g, tolerance_m).is_some()))
        && b.holes.iter().all(|h| a.holes.iter().any(|g| shift(h, g, tolerance_m).is_some()))
}

/// Which of two statements about a side should be believed, where the surveys do not say: one that says something over
/// one that says nothing, one with a measured height over one without. `None` where neither is better.
pub(super) fn better(mine: BoundaryEdge, theirs: BoundaryEdge) -> Option<bool> {
    match (mine.kind == EdgeKind::Unknown, theirs.kind == EdgeKind::Unknown) {
        (true, false) => Some(true),
        (false, true) => Some(false),
        _ if mine.kind == theirs.kind && mine.height_m.is_some() != theirs.height_m.is_some() => {
            Some(theirs.height_m.is_some())
        }
        _ => None,
    }
}
