//! Everything that can be wrong with the outline of one field.

use super::crossing::crossings;
use super::place::{RingRef, SideRef, check_places, rings, side_at};
use super::{LEAST_AREA_M2, OutlineError, SAME_PLACE_M};
use crate::fields::model::{Field, ring_area};
use crate::fields::strip::inside_ring;

/// More faults than this in one outline are not listed; nobody mends them one by one.
pub const MOST_FAULTS: usize = 64;

/// What is wrong with an outline, the gravest first; empty when it is sound.
///
/// A field with a coordinate that is no place, or with a ring of fewer than three corners, is not looked at further.
#[must_use]
pub fn faults(field: &Field) -> Vec<OutlineError> {
    let all_points = rings(field).flat_map(|(_, points)| points);
    if let Err(fault) = check_places(all_points) {
        return vec![fault];
    }
    let few: Vec<OutlineError> = rings(field)
        .filter(|(_, points)| points.len() < 3)
        .map(|(ring, points)| OutlineError::TooFewCorners { ring, corners: points.len() })
        .take(MOST_FAULTS)
        .collect();
    if !few.is_empty() {
        return few;
    }
    let mut found = Vec::new();
    for (ring, points) in rings(field) {
        for i in 0..points.len() {
            let (a, b) = side_at(points, i);
            if a.distance(b) < SAME_PLACE_M {
                let side = SideRef { ring, side: i };
                found.push(OutlineError::ShortSide { side, length_m: a.distance(b) });
            }
        }
    }
    // Sides without length touch their neighbours; what else is said about them would only repeat it.
    if found.is_empty() {
        found.extend(crossings(&field.outer, &field.holes, MOST_FAULTS).into_iter().map(OutlineError::Crosses));
    }
    let met = found.clone();
    for (ring, points) in rings(field) {
        let area = ring_area(points);
        let wrong_way = if ring == RingRef::Outer { area < 0.0 } else { area > 0.0 };
        if wrong_way {
            found.push(OutlineError::InsideOut { ring });
        }
    }
    if field.area_m2() < LEAST_AREA_M2 {
        found.push(OutlineError::TooSmall { area_m2: field.area_m2() });
    }
    // Rings that meet are reported as such; of the others, one corner tells where the whole ring lies.
    let meets = |ring: RingRef, other: RingRef| {
        met.iter().any(|f| {
            matches!(f, OutlineError::Crosses(c)
                if (c.first.ring, c.second.ring) == (ring, other) || (c.second.ring, c.first.ring) == (ring, other))
        })
    };
    for (i, hole) in field.holes.iter().enumerate() {
        if !meets(RingRef::Outer, RingRef::Hole(i)) && !inside_ring(&field.outer, hole[0]) {
            found.push(OutlineError::HoleOutside { hole: i });
        }
        for (j, other) in field.holes.iter().enumerate() {
            if i != j && !meets(RingRef::Hole(i), RingRef::Hole(j)) && inside_ring(hole, other[0]) {
                found.push(OutlineError::HolesOverlap { outer: i, inner: j });
            }
            if found.len() >= MOST_FAULTS {
                break;
            }
        }
    }
    if field.edges.len() != field.outer.len() {
        found.push(OutlineError::EdgeCount { corners: field.outer.len(), edges: field.edges.len() });
    }
    found.truncate(MOST_FAULTS);
    found
}

/// Refuses a field whose outline is not sound.
///
/// # Errors
/// The gravest of its [`faults`].
pub fn check(field: &Field) -> Result<(), OutlineError> {
    faults(field).into_iter().next().map_or(Ok(()), Err)
}

/// The edited field, unless the edit brought a fault.
///
/// A field that was at fault before may be edited as long as it does not get worse, or nobody could mend it.
pub(super) fn accepted(before: &Field, after: Field) -> Result<Field, OutlineError> {
    let found = faults(&after);
    let Some(first) = found.first() else { return Ok(after) };
    if matches!(first, OutlineError::NotAPlace | OutlineError::TooFewCorners { .. }) {
        return Err(first.clone());
    }
    let old = faults(before);
    let unusable = old.iter().any(|f| matches!(f, OutlineError::NotAPlace | OutlineError::TooFewCorners { .. }));
    if unusable || found.len() <= old.len() {
        return Ok(after);
    }
    Err(found.iter().find(|f| !old.contains(f)).unwrap_or(first).clone())
}
