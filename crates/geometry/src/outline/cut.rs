//! One field made two along a drawn line.

use super::crossing::check_chain;
use super::edge::for_each_side;
use super::error::CutFault;
use super::place::{check_places, side_at};
use super::validity::check;
use super::{OutlineError, side};
use crate::fields::model::{BoundaryEdge, Field};
use crate::fields::strip::inside_ring;
use crate::position::Xy;

/// A line that passes a corner within this many metres goes through the corner: a smaller side would be a slip of the
/// hand, and nobody draws to five centimetres.
pub const THROUGH_CORNER_M: f64 = 0.05;

/// Where a line meets a ring.
#[derive(Clone, Copy, Debug)]
struct Hit {
    at: Xy,
    /// Where on the line: the index of its segment and the share of it.
    on_line: f64,
    /// The side of the ring.
    side: usize,
    /// The share of the side; 0 at a corner.
    along: f64,
    /// Lower is better where two hits are at one place.
    rank: u8,
}

/// The field cut in two along a line that enters through one side and leaves through another.
///
/// The first part lies to the left of the line, in the direction in which it was drawn, and gets the first identifier.
/// Kept sides keep what stood on them; `shared` stands on the new ones, in both parts. The line may go through corners,
/// and once across a hole: the hole's sides then become sides of both parts, and what stands on them is unknown. Holes
/// clear of the line go with the part they lie in. Everything else is the same in both parts as it was in the field.
///
/// The parts of the line outside the field do not matter.
///
/// # Errors
/// [`OutlineError::Cut`] when the line does not cut the field in two, the field's own fault when it has one, and the
/// fault of a part that is not a field.
pub fn cut(field: &Field, line: &[Xy], shared: BoundaryEdge, ids: [String; 2]) -> Result<[Field; 2], OutlineError> {
    check_places(line)?;
    check(field)?;
    let outer_hits = hits(line, &field.outer);
    let ends = [line.first(), line.last()].into_iter().flatten();
    let loose = |p: &Xy| inside_ring(&field.outer, *p) && distance_to_ring(*p, &field.outer) > THROUGH_CORNER_M;
    if ends.clone().any(loose) {
        return Err(CutFault::EndsInside.into());
    }
    let mut through = stretches_inside(line, &outer_hits, &field.outer);
    let (Some((enter, leave)), None) = (through.next(), through.next()) else {
        let none = stretches_inside(line, &outer_hits, &field.outer).next().is_none();
        return Err(if none { CutFault::Misses } else { CutFault::MoreThanOnce }.into());
    };
    let chain: Vec<Xy> = core::iter::once(enter.at)
        .chain(line.iter().enumerate().filter(|(k, _)| within(*k as f64, enter, leave)).map(|(_, p)| *p))
        .chain([leave.at])
        .collect();
    check_chain(&chain)?;

    let mut crossed: Vec<(usize, Hit, Hit)> = Vec::new();
    for (h, hole) in field.holes.iter().enumerate() {
        let met = hits(&chain, hole);
        if met.is_empty() {
            continue;
        }
        let mut across = stretches_inside(&chain, &met, hole);
        match (across.next(), across.next()) {
            (Some((from, to)), None) if met.len() == 2 => crossed.push((h, from, to)),
            _ => return Err(CutFault::Hole { hole: h }.into()),
        }
    }
    crossed.sort_by(|a, b| a.1.on_line.total_cmp(&b.1.on_line));

    let edges = for_each_side(field);
    let left = along_chain(&chain, &crossed, &field.holes, shared)
        .into_iter()
        .chain(walk(&field.outer, leave, enter).into_iter().map(|(p, side)| (p, edges[side])));
    let back = backwards(&chain, &crossed);
    let chain_back: Vec<Xy> = chain.iter().rev().copied().collect();
    let right = along_chain(&chain_back, &back, &field.holes, shared)
        .into_iter()
        .chain(walk(&field.outer, enter, leave).into_iter().map(|(p, side)| (p, edges[side])));

    let free = |h: &usize| crossed.iter().all(|c| c.0 != *h);
    let [left_id, right_id] = ids;
    let part = |ring: Vec<(Xy, BoundaryEdge)>, id: String| {
        let (outer, edges): (Vec<Xy>, Vec<BoundaryEdge>) = ring.into_iter().unzip();
        let holes = (0..field.holes.len())
            .filter(|h| free(h) && inside_ring(&outer, field.holes[*h][0]))
            .map(|h| field.holes[h].clone())
            .collect();
        let part = Field { id, outer, holes, edges, ..field.clone() };
        check(&part)?;
        Ok::<Field, OutlineError>(part)
    };
    Ok([part(left.collect(), left_id)?, part(right.collect(), right_id)?])
}

fn within(on_line: f64, from: Hit, to: Hit) -> bool {
    on_line > from.on_line && on_line < to.on_line
}

fn distance_to_ring(p: Xy, ring: &[Xy]) -> f64 {
    (0..ring.len()).map(|i| side_at(ring, i)).map(|(a, b)| side::distance(p, a, b)).fold(f64::INFINITY, f64::min)
}

/// Where a line meets a ring, in order along the line; corners of either attract, and what lies within
/// [`THROUGH_CORNER_M`] of each other is one place.
fn hits(line: &[Xy], ring: &[Xy]) -> Vec<Hit> {
    let mut found: Vec<Hit> = Vec::new();
    let n = ring.len();
    for (k, pair) in line.windows(2).enumerate() {
        for (i, &corner) in ring.iter().enumerate() {
            let (at, share) = side::nearest(corner, pair[0], pair[1]);
            if at.distance(corner) <= THROUGH_CORNER_M {
                found.push(Hit { at: corner, on_line: k as f64 + share, side: i, along: 0.0, rank: 0 });
            }
            let (a, b) = (corner, ring[(i + 1) % n]);
            if side::cross_properly(pair[0], pair[1], a, b) {
                let (at, share) = side::crossing_point(pair[0], pair[1], a, b);
                let (_, along) = side::nearest(at, a, b);
                found.push(Hit { at, on_line: k as f64 + share, side: i, along, rank: 2 });
            }
        }
    }
    for (k, &p) in line.iter().enumerate() {
        for i in 0..n {
            let (a, b) = side_at(ring, i);
            let (at, along) = side::nearest(p, a, b);
            if at.distance(p) <= THROUGH_CORNER_M && along > 0.0 && along < 1.0 {
                found.push(Hit { at, on_line: k as f64, side: i, along, rank: 1 });
            }
        }
    }
    found.sort_by(|a, b| a.rank.cmp(&b.rank).then(a.on_line.total_cmp(&b.on_line)));
    let mut kept: Vec<Hit> = Vec::new();
    for hit in found {
        // Twice the reach, so that no two kept hits are so near each other that a side between them is a slip.
        if kept.iter().all(|k| k.at.distance(hit.at) > 2.0 * THROUGH_CORNER_M) {
            kept.push(hit);
        }
    }
    kept.sort_by(|a, b| a.on_line.total_cmp(&b.on_line));
    kept
}

/// The stretches of a line between two hits that lie inside the ring and not along it.
fn stretches_inside<'a>(line: &'a [Xy], hits: &'a [Hit], ring: &'a [Xy]) -> impl Iterator<Item = (Hit, Hit)> + 'a {
    hits.windows(2).map(|pair| (pair[0], pair[1])).filter(|&(from, to)| {
        let corners = line.iter().enumerate().filter(|(k, _)| within(*k as f64, from, to)).map(|(_, p)| *p);
        let points: Vec<Xy> = core::iter::once(from.at).chain(corners).chain([to.at]).collect();
        // The stretch has no hit between its ends, so any of its places that is clear of the ring tells.
        let middles = points.windows(2).map(|p| (p[0] + p[1]) * 0.5);
        middles
            .max_by(|p, q| distance_to_ring(*p, ring).total_cmp(&distance_to_ring(*q, ring)))
            .is_some_and(|p| distance_to_ring(p, ring) > THROUGH_CORNER_M / 2.0 && inside_ring(ring, p))
    })
}

/// The corners of a ring from one hit to another in the direction of the ring, each with the side that starts there;
/// the last hit itself is left out.
fn walk(ring: &[Xy], from: Hit, to: Hit) -> Vec<(Xy, usize)> {
    let mut points = vec![(from.at, from.side)];
    if from.side == to.side && to.along > from.along {
        return points;
    }
    let mut k = from.side;
    loop {
        k = (k + 1) % ring.len();
        points.push((ring[k], k));
        if k == to.side {
            break;
        }
    }
    if to.along == 0.0 {
        points.pop();
    }
    points
}

/// The new boundary in one direction with what stands on each side, round the holes it crosses; the last corner is left
/// out. A hole runs clockwise, so following its direction keeps the field on the left, as the outline does.
fn along_chain(
    chain: &[Xy],
    crossed: &[(usize, Hit, Hit)],
    holes: &[Vec<Xy>],
    shared: BoundaryEdge,
) -> Vec<(Xy, BoundaryEdge)> {
    let mut points = Vec::new();
    let mut k = 0;
    for &(h, from, to) in crossed {
        while (k as f64) < from.on_line {
            points.push((chain[k], shared));
            k += 1;
        }
        points.extend(walk(&holes[h], from, to).into_iter().map(|(p, _)| (p, BoundaryEdge::UNKNOWN)));
        points.push((to.at, shared));
        while (k as f64) <= to.on_line {
            k += 1;
        }
    }
    points.extend(chain[k..chain.len() - 1].iter().map(|p| (*p, shared)));
    points
}

fn backwards(chain: &[Xy], crossed: &[(usize, Hit, Hit)]) -> Vec<(usize, Hit, Hit)> {
    let last = (chain.len() - 1) as f64;
    let turned = |hit: Hit| Hit { on_line: last - hit.on_line, ..hit };
    crossed.iter().rev().map(|&(h, from, to)| (h, turned(to), turned(from))).collect()
}
