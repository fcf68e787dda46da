//! Whether an outline crosses or touches itself, also while it is being drawn.
//!
//! Two sides *cross* when each has its ends on both sides of the other; that is decided without rounding (adaptive
//! predicates of Shewchuk, *Adaptive Precision Floating-Point Arithmetic and Fast Robust Geometric Predicates*, 1997,
//! through the `robust` library). They *touch* when they come within [`super::SAME_PLACE_M`] of each other. Both are
//! refused: nobody can say on which side of such a place the field lies.

use super::error::OutlineError;
use super::place::{CornerRef, RingRef, SideRef, check_places, rings_of, side_at};
use super::{SAME_PLACE_M, side};
use crate::position::Xy;

/// How two sides meet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Meeting {
    /// Each has its ends on both sides of the other.
    Cross,
    /// They come within [`SAME_PLACE_M`] of each other.
    Touch,
}

/// A place where an outline meets itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossing {
    /// Where.
    pub at: Xy,
    /// One of the two sides; the earlier one.
    pub first: SideRef,
    /// The other.
    pub second: SideRef,
    /// How they meet.
    pub meeting: Meeting,
}

/// A side with its name.
#[derive(Clone, Copy, Debug)]
struct Named {
    side: SideRef,
    a: Xy,
    b: Xy,
    /// The index of the side that starts where this one ends.
    next: Option<usize>,
}

impl Named {
    fn follows(&self, before: &Self) -> bool {
        before.side.ring == self.side.ring && before.next == Some(self.side.side)
    }

    fn meets(&self, other: &Self) -> Option<Crossing> {
        let (first, second) = if self.side <= other.side { (self, other) } else { (other, self) };
        let found = if second.follows(first) {
            side::fold(first.a, first.b, second.b).map(|at| (at, Meeting::Touch))
        } else if first.follows(second) {
            side::fold(second.a, second.b, first.b).map(|at| (at, Meeting::Touch))
        } else {
            side::meet(first.a, first.b, second.a, second.b)
        };
        found.map(|(at, meeting)| Crossing { at, first: first.side, second: second.side, meeting })
    }
}

fn named(ring: RingRef, points: &[Xy]) -> impl Iterator<Item = Named> + '_ {
    (0..points.len()).map(move |i| {
        let (a, b) = side_at(points, i);
        Named { side: SideRef { ring, side: i }, a, b, next: Some((i + 1) % points.len()) }
    })
}

fn chain_sides(chain: &[Xy]) -> impl Iterator<Item = Named> + '_ {
    chain.windows(2).enumerate().map(|(i, pair)| Named {
        side: SideRef::outer(i),
        a: pair[0],
        b: pair[1],
        next: Some(i + 1),
    })
}

fn check_lengths(sides: &[Named]) -> Result<(), OutlineError> {
    match sides.iter().find(|s| s.a.distance(s.b) < SAME_PLACE_M) {
        Some(short) => Err(OutlineError::ShortSide { side: short.side, length_m: short.a.distance(short.b) }),
        None => Ok(()),
    }
}

/// Every pair of sides that meet, up to a number, found with a sweep along the longer extent.
fn meetings(sides: &[Named], limit: usize) -> Vec<Crossing> {
    let mut low = Xy::new(f64::INFINITY, f64::INFINITY);
    let mut high = -low;
    for s in sides {
        low = Xy::new(low.x.min(s.a.x), low.y.min(s.a.y));
        high = Xy::new(high.x.max(s.a.x), high.y.max(s.a.y));
    }
    let key = |p: Xy| if high.x - low.x >= high.y - low.y { p.x } else { p.y };
    let from = |s: &Named| key(s.a).min(key(s.b));
    let mut order: Vec<&Named> = sides.iter().collect();
    order.sort_by(|s, t| from(s).total_cmp(&from(t)).then(s.side.cmp(&t.side)));
    let mut active: Vec<&Named> = Vec::new();
    let mut found = Vec::new();
    for s in order {
        let start = from(s) - SAME_PLACE_M;
        active.retain(|t| key(t.a).max(key(t.b)) >= start);
        for t in &active {
            if let Some(crossing) = s.meets(t) {
                found.push(crossing);
                if found.len() >= limit {
                    return found;
                }
            }
        }
        active.push(s);
    }
    found.sort_by_key(|c| (c.first, c.second));
    found
}

fn refuse(found: Option<Crossing>) -> Result<(), OutlineError> {
    found.map_or(Ok(()), |crossing| Err(OutlineError::Crosses(crossing)))
}

/// Up to `limit` places where the rings of an outline meet themselves or each other.
///
/// Coordinates must be places, and no side without length: it would touch its neighbours.
pub(super) fn crossings(outer: &[Xy], holes: &[Vec<Xy>], limit: usize) -> Vec<Crossing> {
    let sides: Vec<Named> = rings_of(outer, holes).flat_map(|(ring, points)| named(ring, points)).collect();
    meetings(&sides, limit)
}

/// Refuses an open chain of corners that meets itself.
///
/// # Errors
/// [`OutlineError::NotAPlace`], [`OutlineError::ShortSide`] or [`OutlineError::Crosses`].
pub fn check_chain(chain: &[Xy]) -> Result<(), OutlineError> {
    check_places(chain)?;
    let sides: Vec<Named> = chain_sides(chain).collect();
    check_lengths(&sides)?;
    refuse(meetings(&sides, 1).first().copied())
}

/// Refuses the next corner of an open chain that is itself sound, in one pass over the chain.
///
/// The side that would be added has the index of the last corner. Going back to the first corner is a touch; whether
/// the chain may be closed is asked with [`check_closing`].
///
/// # Errors
/// As [`check_chain`].
pub fn check_next(chain: &[Xy], next: Xy) -> Result<(), OutlineError> {
    check_places(chain.iter().chain([&next]))?;
    let Some(&last) = chain.last() else { return Ok(()) };
    let added = Named { side: SideRef::outer(chain.len() - 1), a: last, b: next, next: None };
    check_lengths(&[added])?;
    refuse(chain_sides(chain).find_map(|s| added.meets(&s)))
}

/// Refuses the side that would close an open chain that is itself sound, in one pass over the chain.
///
/// # Errors
/// As [`check_chain`], and [`OutlineError::TooFewCorners`].
pub fn check_closing(chain: &[Xy]) -> Result<(), OutlineError> {
    check_places(chain)?;
    if chain.len() < 3 {
        return Err(OutlineError::TooFewCorners { ring: RingRef::Outer, corners: chain.len() });
    }
    let last = chain.len() - 1;
    let closing = Named { side: SideRef::outer(last), a: chain[last], b: chain[0], next: Some(0) };
    check_lengths(&[closing])?;
    refuse(chain_sides(chain).find_map(|s| closing.meets(&s)))
}

/// Refuses an outline (open rings) that meets itself; the direction of the rings does not matter.
///
/// # Errors
/// As [`check_closing`].
pub fn check_rings(outer: &[Xy], holes: &[Vec<Xy>]) -> Result<(), OutlineError> {
    let mut sides = Vec::new();
    for (ring, points) in rings_of(outer, holes) {
        check_places(points)?;
        if points.len() < 3 {
            return Err(OutlineError::TooFewCorners { ring, corners: points.len() });
        }
        sides.extend(named(ring, points));
    }
    check_lengths(&sides)?;
    refuse(meetings(&sides, 1).first().copied())
}

/// Refuses a new place for one corner of an outline that is itself sound, in one pass over its sides.
///
/// Only crossings are looked for; that a ring is not turned inside out and a hole stays inside is checked when the
/// corner is moved ([`super::corner::move_corner`]).
///
/// # Errors
/// As [`check_closing`], and [`OutlineError::Missing`] when there is no such corner.
pub fn check_moved_corner(outer: &[Xy], holes: &[Vec<Xy>], corner: CornerRef, to: Xy) -> Result<(), OutlineError> {
    check_places([&to])?;
    let Some((_, ring)) = rings_of(outer, holes).find(|(r, points)| *r == corner.ring && corner.corner < points.len())
    else {
        return Err(OutlineError::Missing { what: "corner" });
    };
    let n = ring.len();
    if n < 3 {
        return Err(OutlineError::TooFewCorners { ring: corner.ring, corners: n });
    }
    let (before, after) = ((corner.corner + n - 1) % n, (corner.corner + 1) % n);
    let at = |i| SideRef { ring: corner.ring, side: i };
    let moved = [
        Named { side: at(before), a: ring[before], b: to, next: Some(corner.corner) },
        Named { side: at(corner.corner), a: to, b: ring[after], next: Some(after) },
    ];
    check_lengths(&moved)?;
    refuse(moved[0].meets(&moved[1]))?;
    for (name, points) in rings_of(outer, holes) {
        check_places(points)?;
        let others = named(name, points).filter(|s| s.side != moved[0].side && s.side != moved[1].side);
        for other in others {
            refuse(moved[0].meets(&other).or_else(|| moved[1].meets(&other)))?;
        }
    }
    Ok(())
}
