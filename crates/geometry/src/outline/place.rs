//! Which ring, side or corner of a field is meant.

use super::{FARTHEST_M, OutlineError};
use crate::fields::model::Field;
use crate::position::Xy;

/// One ring of a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum RingRef {
    /// The outer ring.
    Outer,
    /// A hole, by its index in `Field::holes`.
    Hole(usize),
}

/// One corner of a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct CornerRef {
    /// Its ring.
    pub ring: RingRef,
    /// Its index in the ring.
    pub corner: usize,
}

/// One side of a field: it runs from the corner with its index to the next one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SideRef {
    /// Its ring.
    pub ring: RingRef,
    /// The index of the corner it starts at.
    pub side: usize,
}

impl CornerRef {
    /// A corner of the outer ring.
    #[must_use]
    pub const fn outer(corner: usize) -> Self {
        Self { ring: RingRef::Outer, corner }
    }
}

impl SideRef {
    /// A side of the outer ring.
    #[must_use]
    pub const fn outer(side: usize) -> Self {
        Self { ring: RingRef::Outer, side }
    }
}

/// The vertices of one ring of a field, if it has that ring.
#[must_use]
pub fn ring_of(field: &Field, ring: RingRef) -> Option<&[Xy]> {
    match ring {
        RingRef::Outer => Some(&field.outer),
        RingRef::Hole(i) => field.holes.get(i).map(Vec::as_slice),
    }
}

/// Both ends of a side, if the field has it.
#[must_use]
pub fn ends_of(field: &Field, side: SideRef) -> Option<(Xy, Xy)> {
    let ring = ring_of(field, side.ring)?;
    (side.side < ring.len()).then(|| side_at(ring, side.side))
}

/// Every ring of a field with its name.
pub(super) fn rings(field: &Field) -> impl Iterator<Item = (RingRef, &[Xy])> {
    rings_of(&field.outer, &field.holes)
}

pub(super) fn rings_of<'a>(outer: &'a [Xy], holes: &'a [Vec<Xy>]) -> impl Iterator<Item = (RingRef, &'a [Xy])> {
    let holes = holes.iter().enumerate().map(|(i, hole)| (RingRef::Hole(i), hole.as_slice()));
    core::iter::once((RingRef::Outer, outer)).chain(holes)
}

/// Side `i` of a ring; the last one runs back to the first corner. The index must be below the number of corners.
pub(super) fn side_at(ring: &[Xy], i: usize) -> (Xy, Xy) {
    (ring[i], ring[(i + 1) % ring.len()])
}

/// Whether both coordinates are numbers that can be a place on Earth.
#[must_use]
pub fn is_place(p: Xy) -> bool {
    p.x.abs() <= FARTHEST_M && p.y.abs() <= FARTHEST_M
}

/// Refuses coordinates that are no place.
pub(super) fn check_places<'a>(points: impl IntoIterator<Item = &'a Xy>) -> Result<(), OutlineError> {
    if points.into_iter().all(|p| is_place(*p)) { Ok(()) } else { Err(OutlineError::NotAPlace) }
}
