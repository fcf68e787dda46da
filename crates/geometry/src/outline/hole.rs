//! Edits of holes.

use super::OutlineError;
use super::place::{RingRef, check_places};
use super::validity::accepted;
use crate::fields::model::{Field, ring_area};
use crate::position::Xy;

/// A hole added, drawn either way round; it gets the last index.
///
/// # Errors
/// The fault that the hole would bring.
pub fn add_hole(field: &Field, drawn: &[Xy]) -> Result<Field, OutlineError> {
    check_places(drawn)?;
    if drawn.len() < 3 {
        return Err(OutlineError::TooFewCorners { ring: RingRef::Hole(field.holes.len()), corners: drawn.len() });
    }
    let mut hole = drawn.to_vec();
    if ring_area(&hole) > 0.0 {
        hole.reverse();
    }
    let mut after = field.clone();
    after.holes.push(hole);
    accepted(field, after)
}

/// A hole moved by a displacement.
///
/// # Errors
/// [`OutlineError::Missing`], or the fault that the move would bring.
pub fn move_hole(field: &Field, hole: usize, by: Xy) -> Result<Field, OutlineError> {
    let mut after = field.clone();
    let ring = after.holes.get_mut(hole).ok_or(OutlineError::Missing { what: "hole" })?;
    for p in ring.iter_mut() {
        *p = *p + by;
    }
    accepted(field, after)
}

/// A hole left out.
///
/// # Errors
/// [`OutlineError::Missing`].
pub fn delete_hole(field: &Field, hole: usize) -> Result<Field, OutlineError> {
    let mut after = field.clone();
    if hole >= after.holes.len() {
        return Err(OutlineError::Missing { what: "hole" });
    }
    after.holes.remove(hole);
    accepted(field, after)
}
