//! Edits that mend what was found.

use crate::area::{Area, Change, Edit, Swap};
use sparefield_geometry::fields::model::{BoundaryEdge, EdgeKind, Field};
use sparefield_geometry::outline::corner::{closed, delete_corner, move_corner};
use sparefield_geometry::outline::shared::{corners_at, match_corners};
use sparefield_geometry::outline::validity::faults;
use sparefield_geometry::outline::{CornerRef, OutlineError, OutlineIndex, RingRef, SAME_PLACE_M};
use sparefield_geometry::position::Xy;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Corners of several fields nearer to each other than this are one corner, metres: drawing accuracy.
const SAME_CORNER_M: f64 = 0.05;

/// An edit of one field, if it is better after it than before.
fn if_better(before: &Arc<Field>, after: Field, words: String) -> Option<Edit> {
    (faults(&after).len() < faults(before).len())
        .then(|| Edit::new(words, vec![Change::Field(Swap::replace(before, after))]))
}

fn is_home(area: &Area, field: &Field) -> bool {
    area.home.as_ref().is_some_and(|home| home.field_id == field.id)
}

/// What mends a fault of an outline.
pub(super) fn fault(area: &Area, field: &Arc<Field>, fault: &OutlineError) -> Option<Edit> {
    let name = super::field_words(field);
    match fault {
        OutlineError::ShortSide { .. } => {
            if_better(field, without_short_sides(field), format!("take sides without length out of {name}"))
        }
        OutlineError::InsideOut { ring: RingRef::Outer } => {
            let (outer, edges) = closed(&field.outer, &field.edges).ok()?;
            if_better(field, Field { outer, edges, ..(**field).clone() }, format!("turn round the outline of {name}"))
        }
        OutlineError::InsideOut { ring: RingRef::Hole(hole) } => {
            let mut after = (**field).clone();
            after.holes.get_mut(*hole)?.reverse();
            if_better(field, after, format!("turn round a hole of {name}"))
        }
        OutlineError::HoleOutside { hole }
        | OutlineError::HolesOverlap { inner: hole, .. }
        | OutlineError::TooFewCorners { ring: RingRef::Hole(hole), .. } => {
            let mut after = (**field).clone();
            if *hole >= after.holes.len() {
                return None;
            }
            after.holes.remove(*hole);
            if_better(field, after, format!("delete a hole of {name}"))
        }
        OutlineError::TooFewCorners { ring: RingRef::Outer, .. } if !is_home(area, field) => {
            Some(Edit::new(format!("delete {name}"), vec![Change::Field(Swap::remove(field))]))
        }
        OutlineError::EdgeCount { corners, .. } => {
            // Nobody can say which side is meant by which entry.
            let after = Field { edges: vec![BoundaryEdge::UNKNOWN; *corners], ..(**field).clone() };
            if_better(field, after, format!("forget the sides of {name}"))
        }
        _ => None,
    }
}

/// The outline without sides that have no length; what was said about those goes with them.
fn without_short_sides(field: &Field) -> Field {
    let mut after = field.clone();
    let fits = after.edges.len() == after.outer.len();
    for i in (0..after.outer.len()).rev() {
        let next = after.outer[(i + 1) % after.outer.len()];
        if after.outer.len() > 3 && after.outer[i].distance(next) < SAME_PLACE_M {
            after.outer.remove(i);
            if fits {
                after.edges.remove(i);
            }
        }
    }
    for hole in &mut after.holes {
        for i in (0..hole.len()).rev() {
            if hole.len() > 3 && hole[i].distance(hole[(i + 1) % hole.len()]) < SAME_PLACE_M {
                hole.remove(i);
            }
        }
    }
    after
}

/// The corner of a spike deleted, where the outline stays sound.
pub(super) fn spike(field: &Arc<Field>, corner: CornerRef) -> Option<Edit> {
    let after = delete_corner(field, corner).ok().filter(|after| faults(after).is_empty())?;
    let words = format!("delete a sharp corner of {}", super::field_words(field));
    Some(Edit::new(words, vec![Change::Field(Swap::replace(field, after))]))
}

/// Of two fields that are the same, the one of which less is known deleted.
pub(super) fn duplicate(area: &Area, first: &Arc<Field>, second: &Arc<Field>) -> Option<Edit> {
    // The home field stays; then what was looked at last, what has more sides known, what came first.
    let worth = |f: &Field| {
        let sides = f.edges.iter().filter(|e| e.kind != EdgeKind::Unknown).count();
        (is_home(area, f), f.surveyed, sides)
    };
    let (kept, gone) = if worth(second) > worth(first) { (second, first) } else { (first, second) };
    // Two identical fields with one identifier cannot be told apart by an edit that names them by it.
    if is_home(area, gone) {
        return None;
    }
    let words = format!("delete {}, drawn twice as {}", super::field_words(gone), super::field_words(kept));
    Some(Edit::new(words, vec![Change::Field(Swap::remove(gone))]))
}

/// The narrow gap between two neighbours closed by moving corners of the second onto the first; corners of other fields
/// at the same places move with them. `None` where an outline would become unsound, or the gap would stay.
pub(super) fn gap(
    fields: &[Arc<Field>],
    index: &OutlineIndex<Arc<Field>>,
    (first, second): (usize, usize),
    gap_m: f64,
    still_gapped: impl Fn(&Field, &Field) -> bool,
) -> Option<Edit> {
    let own = &fields[first];
    // The second gets the corners that the first has along the gap, and then gives up its own place for theirs.
    let pair = [Arc::clone(own), Arc::clone(&fields[second])];
    let with_corners = match_corners(&pair, 0, gap_m).into_iter().find(|(i, _)| *i == 1);
    let mut after = with_corners.map_or_else(|| (*fields[second]).clone(), |(_, field)| field);
    let mut others: BTreeMap<usize, Field> = BTreeMap::new();
    for corner in 0..after.outer.len() {
        let from = after.outer[corner];
        let Some(to) = place_on(&own.outer, from, gap_m).filter(|to| to.distance(from) > 0.0) else { continue };
        let at = CornerRef { ring: RingRef::Outer, corner };
        after = move_corner(&after, at, to).ok()?;
        let room = Xy::new(SAME_CORNER_M, SAME_CORNER_M);
        for other in index.fields_near(from - room, from + room) {
            if other == first || other == second {
                continue;
            }
            let now = others.get(&other).unwrap_or(&fields[other]).clone();
            for (_, at) in corners_at(std::slice::from_ref(&now), from, SAME_CORNER_M) {
                let moved = move_corner(&now, at, to).ok()?;
                others.insert(other, moved);
            }
        }
    }
    let sound = faults(&after).is_empty() && others.values().all(|f| faults(f).is_empty());
    if !sound || still_gapped(own, &after) {
        return None;
    }
    let words =
        format!("close the gap between {} and {}", super::field_words(own), super::field_words(&fields[second]));
    let mut changes = vec![Change::Field(Swap::replace(&fields[second], after))];
    changes.extend(others.into_iter().map(|(i, after)| Change::Field(Swap::replace(&fields[i], after))));
    Some(Edit::new(words, changes))
}

/// The nearest corner of a ring within a distance, or else the nearest place on a side of it.
fn place_on(ring: &[Xy], p: Xy, within_m: f64) -> Option<Xy> {
    let near = |candidates: &mut dyn Iterator<Item = Xy>| {
        candidates
            .map(|c| (c.distance(p), c))
            .filter(|(d, _)| *d <= within_m)
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, c)| c)
    };
    let sides = (0..ring.len()).map(|i| (ring[i], ring[(i + 1) % ring.len()]));
    near(&mut ring.iter().copied()).or_else(|| {
        near(&mut sides.map(|(a, b)| {
            let along = b - a;
            let length2 = along.dot(along);
            if length2 > 0.0 { a + along * ((p - a).dot(along) / length2).clamp(0.0, 1.0) } else { a }
        }))
    })
}
