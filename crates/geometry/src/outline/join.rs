//! Two fields beside each other, or lying over each other, made one.
//!
//! The outlines are first brought onto each other: corners of the second within the given distance of the first go
//! there, and each side gets the corners of the other field that lie on it. A stretch that both fields have is then the
//! same sides in opposite directions; these cancel, and what is left is the outline of both. That keeps every remaining
//! side with what stands on it, to the bit, and a field lying in another's hole needs no case of its own.
//!
//! Where that does not come out, the fields lie over each other by more than the given distance. Then every side is
//! parted where it crosses a side of the other field, and what lies inside the other field goes: the outline of the
//! ground that either of them has.

use super::edge::{for_each_side, merged};
use super::error::JoinFault;
use super::finding::overlap;
use super::place::{rings, side_at};
use super::validity::check;
use super::{OutlineError, SAME_PLACE_M, side};
use crate::fields::model::{BoundaryEdge, Calendar, Field, Remarks, Stock, Surface, ring_area};
use crate::fields::strip::inside_ring;
use crate::position::Xy;
use geo::{Coord, InteriorPoint, Polygon};
use std::collections::{HashMap, HashSet};

/// Corners attract corners up to this many times the distance to the nearest side, so that a boundary ending in the
/// middle of a side is not dragged to the side's end.
const CORNER_BEFORE_SIDE: f64 = 2.0;

/// A ring whose corners each start a side with something on it.
type Ring = Vec<(Xy, BoundaryEdge)>;

/// One of the sides of both fields.
#[derive(Clone, Copy, Debug)]
struct Side {
    from: Xy,
    to: Xy,
    edge: BoundaryEdge,
    /// Which field it comes from.
    second: bool,
}

/// Two fields that share a boundary or lie over each other made one; gaps between them up to `snap_m` metres wide are
/// closed.
///
/// Sides that remain keep what stood on them, and the boundary between the fields is gone, also where it ran through
/// ground of both. The result has the identifier and name of the first; what is known of it is what is known of both
/// ([`facts`]).
///
/// # Errors
/// The fault of a field that is not sound; [`OutlineError::Join`] when they share neither a side nor ground, or do not
/// make one area; the fault that the joined outline would have.
pub fn join(first: &Field, second: &Field, snap_m: f64) -> Result<Field, OutlineError> {
    if !(snap_m.is_finite() && snap_m >= 0.0) {
        return Err(JoinFault::NotALength.into());
    }
    check(first)?;
    check(second)?;
    let beside = outline(first, second, snap_m, false);
    // The way that keeps the most of what was drawn comes first.
    let (outer, holes) = match beside {
        Err(fault) if overlap(first, second).is_some() => {
            outline(first, second, snap_m, true).map_err(|_refused| fault)?
        }
        other => other?,
    };
    let (outer, edges) = outer.into_iter().unzip();
    Ok(Field { outer, holes, edges, ..facts(first, second) })
}

/// The outer ring and the holes of two fields together; with `over`, also of fields that lie over each other.
fn outline(first: &Field, second: &Field, snap_m: f64, over: bool) -> Result<(Ring, Vec<Vec<Xy>>), OutlineError> {
    let reach_m = snap_m.max(SAME_PLACE_M);
    let (mut a, mut b) = (rings_with_edges(first), rings_with_edges(second));
    // Only the rings that face each other are brought together: a hole near the boundary stays where it is.
    let (facing_a, facing_b) = (hole_around(first, second), hole_around(second, first));
    let (ring_a, ring_b) = (&mut a[facing_a.map_or(0, |h| h + 1)], &mut b[facing_b.map_or(0, |h| h + 1)]);
    bring_onto(ring_b, ring_a, reach_m);
    give_corners(ring_a, ring_b, reach_m);
    give_corners(ring_b, ring_a, reach_m);
    a.iter_mut().chain(&mut b).for_each(drop_repeated);
    if over {
        part_at_crossings(&mut a, &mut b);
    }
    let sides: Vec<Side> = sides_of(&a, false).chain(sides_of(&b, true)).collect();
    let (mut left, mut seams) = cancel(&sides);
    if over {
        let before = left.len();
        left = outside(&left, &a, &b);
        // Ground of both is as good as a side of both.
        if left.len() < before {
            seams.extend(left.iter().map(|s| s.from));
        }
    }
    if seams.is_empty() {
        return Err(JoinFault::Apart { gap_m: gap(first, second) }.into());
    }
    let (mut outers, mut holes) = (Vec::new(), Vec::new());
    for ring in loops(&left) {
        let points: Vec<Xy> = ring.iter().map(|s| s.from).collect();
        let area = ring_area(&points);
        let length: f64 = ring.iter().map(|s| s.from.distance(s.to)).sum();
        let of_both = ring.iter().any(|s| s.second) && ring.iter().any(|s| !s.second);
        // What is left of a closed gap or a small overlap; a hole that one of the fields had is never this.
        let closed_gap = of_both && (2.0 * area.abs()) < snap_m * length && outers.len() + holes.len() > 0;
        if closed_gap {
            continue;
        }
        if area > 0.0 { outers.push(ring) } else { holes.push(points) }
    }
    let [outer] = outers.as_slice() else { return Err(JoinFault::NotOneArea.into()) };
    let mut ring: Ring = outer.iter().map(|s| (s.from, s.edge)).collect();
    drop_seams(&mut ring, &seams);
    let (points, edges) = ring.iter().copied().unzip();
    check(&Field { outer: points, holes: holes.clone(), edges, ..Field::default() })?;
    Ok((ring, holes))
}

/// What is known of two fields as of one, without an outline: the identifier and name of the first, and otherwise only
/// what holds for both. The survey is as old as the older one, stock is present where it is on either, a month's
/// surface stays where both calendars have it, and remarks say to which part they belong.
#[must_use]
pub fn facts(first: &Field, second: &Field) -> Field {
    let both = |of: fn(&Field) -> &String| {
        let (a, b) = (of(first), of(second));
        let part = |field: &Field, text: &String| format!("{}: {text}", field.label());
        match (a.is_empty(), b.is_empty()) {
            _ if a == b => a.clone(),
            (false, false) => format!("{}; {}", part(first, a), part(second, b)),
            (false, true) => part(first, a),
            (true, _) => part(second, b),
        }
    };
    let stock_day = |field: &Field| field.stock_seen.or(field.surveyed);
    let stock_seen = match (first.stock_seen, second.stock_seen) {
        (None, None) => None,
        _ => stock_day(first).min(stock_day(second)),
    };
    let same_year = first.calendar.year == second.calendar.year;
    let mut calendar = Calendar::default();
    if same_year {
        calendar.year = first.calendar.year;
        for (month, (a, b)) in calendar.months.iter_mut().zip(first.calendar.months.iter().zip(&second.calendar.months))
        {
            *month = a.filter(|_| a == b);
        }
        if first.calendar.crop == second.calendar.crop {
            calendar.crop.clone_from(&first.calendar.crop);
        }
        if calendar.is_empty() {
            calendar.year = None;
        }
    }
    let mut photographs = first.remarks.photographs.clone();
    photographs.extend(second.remarks.photographs.iter().filter(|p| !first.remarks.photographs.contains(p)).cloned());
    let mut other = first.other.clone();
    other.extend(second.other.iter().filter(|(name, _)| first.other.iter().all(|(known, _)| known != name)).cloned());
    Field {
        surface: if first.surface == second.surface { first.surface } else { Surface::Unknown },
        stock: match (first.stock, second.stock) {
            (a, b) if a == b => a,
            (Stock::Present, _) | (_, Stock::Present) => Stock::Present,
            _ => Stock::Unknown,
        },
        surveyed: first.surveyed.min(second.surveyed),
        stock_seen,
        calendar,
        remarks: Remarks {
            hazards: both(|f| &f.remarks.hazards),
            access: both(|f| &f.remarks.access),
            permission: both(|f| &f.remarks.permission),
            photographs,
        },
        notes: both(|f| &f.notes),
        other,
        ..Field { id: first.id.clone(), name: first.name.clone(), ..Field::default() }
    }
}

fn rings_with_edges(field: &Field) -> Vec<Ring> {
    let edges = for_each_side(field);
    let outer = field.outer.iter().copied().zip(edges).collect();
    let hole = |h: &Vec<Xy>| h.iter().map(|&p| (p, BoundaryEdge::UNKNOWN)).collect();
    core::iter::once(outer).chain(field.holes.iter().map(hole)).collect()
}

fn ends(ring: &Ring, i: usize) -> (Xy, Xy) {
    (ring[i].0, ring[(i + 1) % ring.len()].0)
}

/// The hole of a field in which another field lies.
fn hole_around(field: &Field, inner: &Field) -> Option<usize> {
    let outer = inner.outer.iter().map(|p| Coord { x: p.x, y: p.y }).collect();
    let inside = Polygon::new(outer, Vec::new()).interior_point()?;
    field.holes.iter().position(|h| inside_ring(h, Xy::new(inside.x(), inside.y())))
}

/// Moves the corners of a ring onto another ring where that is near.
fn bring_onto(moved: &mut Ring, onto: &Ring, reach_m: f64) {
    for (p, _) in moved.iter_mut() {
        let corner = onto.iter().map(|c| c.0).min_by(|c, d| c.distance(*p).total_cmp(&d.distance(*p)));
        let on_side = (0..onto.len())
            .map(|i| ends(onto, i))
            .map(|(a, b)| side::nearest(*p, a, b).0)
            .min_by(|c, d| c.distance(*p).total_cmp(&d.distance(*p)));
        let (Some(corner), Some(on_side)) = (corner, on_side) else { continue };
        let (to_corner, to_side) = (corner.distance(*p), on_side.distance(*p));
        if to_corner <= reach_m && to_corner <= CORNER_BEFORE_SIDE * to_side + SAME_PLACE_M {
            *p = corner;
        } else if to_side <= reach_m {
            *p = on_side;
        }
    }
}

/// Gives each side of a ring the corners of another ring that lie within reach of it.
fn give_corners(ring: &mut Ring, other: &Ring, reach_m: f64) {
    let known: HashSet<(u64, u64)> = ring.iter().map(|c| key(c.0)).collect();
    let mut given: Vec<Vec<(f64, Xy)>> = vec![Vec::new(); ring.len()];
    for p in other.iter().map(|c| c.0).filter(|p| !known.contains(&key(*p))) {
        let places = (0..ring.len()).map(|i| {
            let (a, b) = ends(ring, i);
            let (at, along) = side::nearest(p, a, b);
            (at.distance(p), i, along)
        });
        if let Some((distance, i, along)) = places.min_by(|a, b| a.0.total_cmp(&b.0))
            && distance <= reach_m
            && along > 0.0
            && along < 1.0
        {
            given[i].push((along, p));
        }
    }
    let old = core::mem::take(ring);
    for ((p, edge), mut given) in old.into_iter().zip(given) {
        ring.push((p, edge));
        given.sort_by(|a, b| a.0.total_cmp(&b.0));
        ring.extend(given.iter().map(|g| (g.1, edge)));
    }
}

fn drop_repeated(ring: &mut Ring) {
    // The side between two equal corners has no length; the later corner starts the side that is kept.
    let mut kept: Ring = Vec::with_capacity(ring.len());
    for &(p, edge) in ring.iter() {
        match kept.last_mut() {
            Some(last) if last.0 == p => last.1 = edge,
            _ => kept.push((p, edge)),
        }
    }
    while kept.len() > 1 && kept[0].0 == kept[kept.len() - 1].0 {
        kept.pop();
    }
    *ring = kept;
}

/// Gives both fields a corner, the very same, wherever a side of one crosses a side of the other.
fn part_at_crossings(a: &mut [Ring], b: &mut [Ring]) {
    let mut met_a: Vec<Vec<Vec<Xy>>> = a.iter().map(|ring| vec![Vec::new(); ring.len()]).collect();
    let mut met_b: Vec<Vec<Vec<Xy>>> = b.iter().map(|ring| vec![Vec::new(); ring.len()]).collect();
    for (ring, met_ring) in a.iter().zip(&mut met_a) {
        for (i, met_side) in met_ring.iter_mut().enumerate() {
            let (from, to) = ends(ring, i);
            for (other, met_other) in b.iter().zip(&mut met_b) {
                for (j, met_theirs) in met_other.iter_mut().enumerate() {
                    let (c, d) = ends(other, j);
                    if side::cross_properly(from, to, c, d) {
                        let (at, _) = side::crossing_point(from, to, c, d);
                        met_side.push(at);
                        met_theirs.push(at);
                    }
                }
            }
        }
    }
    for (rings, met) in [(a, met_a), (b, met_b)] {
        for (ring, mut met) in rings.iter_mut().zip(met) {
            let old = core::mem::take(ring);
            for ((p, edge), met) in old.into_iter().zip(&mut met) {
                ring.push((p, edge));
                met.sort_by(|q, r| q.distance(p).total_cmp(&r.distance(p)));
                ring.extend(met.iter().map(|q| (*q, edge)));
            }
            drop_repeated(ring);
        }
    }
}

/// The sides that bound the ground of either field: none inside the other field, and of two in one place the first.
fn outside(sides: &[Side], a: &[Ring], b: &[Ring]) -> Vec<Side> {
    let corners = |rings: &[Ring]| rings.iter().map(|r| r.iter().map(|c| c.0).collect::<Vec<_>>()).collect::<Vec<_>>();
    let (a, b) = (corners(a), corners(b));
    let of_first: HashSet<_> = sides.iter().filter(|s| !s.second).map(|s| (key(s.from), key(s.to))).collect();
    let of_second: HashSet<_> = sides.iter().filter(|s| s.second).map(|s| (key(s.from), key(s.to))).collect();
    let kept = |s: &&Side| {
        let ends = (key(s.from), key(s.to));
        // In one place and one direction the ground of both lies on the same side of it.
        if s.second && of_first.contains(&ends) {
            return false;
        }
        if !s.second && of_second.contains(&ends) {
            return true;
        }
        let rings = if s.second { &a } else { &b };
        let middle = (s.from + s.to) * 0.5;
        let within = rings.split_first().is_some_and(|(outer, holes)| {
            inside_ring(outer, middle) && !holes.iter().any(|hole| inside_ring(hole, middle))
        });
        !within
    };
    sides.iter().filter(kept).copied().collect()
}

fn sides_of(rings: &[Ring], second: bool) -> impl Iterator<Item = Side> + '_ {
    rings.iter().flat_map(move |ring| {
        (0..ring.len()).map(move |i| {
            let (from, to) = ends(ring, i);
            Side { from, to, edge: ring[i].1, second }
        })
    })
}

fn key(p: Xy) -> (u64, u64) {
    // Adding zero makes -0 and 0 one.
    ((p.x + 0.0).to_bits(), (p.y + 0.0).to_bits())
}

/// Takes out sides that run both ways; gives the rest, and the corners at which something was taken out.
fn cancel(sides: &[Side]) -> (Vec<Side>, Vec<Xy>) {
    let mut by_ends: HashMap<_, Vec<usize>> = HashMap::new();
    for (i, s) in sides.iter().enumerate() {
        by_ends.entry((key(s.from), key(s.to))).or_default().push(i);
    }
    let mut gone = vec![false; sides.len()];
    let mut seams = Vec::new();
    for (i, s) in sides.iter().enumerate() {
        if gone[i] {
            continue;
        }
        let opposite = by_ends.get(&(key(s.to), key(s.from))).into_iter().flatten().find(|&&j| !gone[j] && j != i);
        if let Some(&j) = opposite {
            (gone[i], gone[j]) = (true, true);
            if s.second != sides[j].second {
                seams.extend([s.from, s.to]);
            }
        }
    }
    (sides.iter().zip(gone).filter(|(_, gone)| !gone).map(|(s, _)| *s).collect(), seams)
}

/// Closed rings made of sides, the one with the largest area first.
fn loops(sides: &[Side]) -> Vec<Vec<Side>> {
    let mut starting: HashMap<_, Vec<usize>> = HashMap::new();
    for (i, s) in sides.iter().enumerate().rev() {
        starting.entry(key(s.from)).or_default().push(i);
    }
    let mut used = vec![false; sides.len()];
    let mut rings = Vec::new();
    for start in 0..sides.len() {
        let mut ring = Vec::new();
        let mut at = start;
        while !used[at] {
            used[at] = true;
            ring.push(sides[at]);
            let next = starting.get(&key(sides[at].to)).into_iter().flatten().rev().find(|&&i| !used[i]);
            let Some(&next) = next else { break };
            at = next;
        }
        if ring.len() >= 3 {
            rings.push(ring);
        }
    }
    let area = |ring: &Vec<Side>| ring_area(&ring.iter().map(|s| s.from).collect::<Vec<_>>()).abs();
    rings.sort_by(|a, b| area(b).total_cmp(&area(a)));
    rings
}

/// Drops corners where the old boundary ended in the middle of a straight side with the same on both halves.
fn drop_seams(ring: &mut Ring, seams: &[Xy]) {
    for &seam in seams {
        let n = ring.len();
        let Some(i) = ring.iter().position(|c| c.0 == seam) else { continue };
        let before = (i + n - 1) % n;
        let (a, c) = (ring[before].0, ring[(i + 1) % n].0);
        let straight = side::distance(seam, a, c) < SAME_PLACE_M;
        if n > 3 && straight && merged(ring[before].1, ring[i].1).lost.is_none() {
            ring.remove(i);
        }
    }
}

fn gap(first: &Field, second: &Field) -> f64 {
    let mut gap_m = f64::INFINITY;
    for (_, ring) in rings(first) {
        for (_, other) in rings(second) {
            for i in 0..ring.len() {
                let (a, b) = side_at(ring, i);
                for j in 0..other.len() {
                    let (c, d) = side_at(other, j);
                    gap_m = gap_m.min(side::between(a, b, c, d));
                }
            }
        }
    }
    gap_m
}
