//! Rings as files hold them, made into rings the geometry can trust, or refused.
//!
//! A repair is made only where there is one way to read the ring: repeated vertices, spikes without width, touches of
//! the ring with itself, and loops too small to matter. A ring that truly crosses itself is refused, because nobody can
//! say which side of the crossing was meant. What stands on each side goes with its side through every step.

use geo::{Coord, Kernel, Orientation, kernels::RobustKernel};
use sparefield_geometry::fields::model::{BoundaryEdge, ring_area};
use sparefield_geometry::position::Xy;
use std::collections::HashMap;

/// Vertices nearer than this, metres, are one: about the last digit of a longitude with eight decimals.
pub(crate) const SAME_PLACE_M: f64 = 1e-3;
/// An area smaller than this, m², is a slip of the hand and not a field or a part of one.
pub(crate) const LEAST_AREA_M2: f64 = 1.0;
/// A hole smaller than this, m², is nothing at all.
const LEAST_HOLE_M2: f64 = 1e-4;
/// More vertices than this in one ring are not a field.
const MOST_VERTICES: usize = 100_000;
const MOST_CROSSINGS: usize = 64;
/// More places than this at which a ring meets itself cannot be told apart any more.
const MOST_MEETINGS: usize = 100_000;
/// Pairs of sides that may be compared in one sweep: a tenth of a second's work, two hundred for each corner of the
/// largest ring. An outline round something takes some few; sides that all lie beside each other take any number.
const MOST_COMPARED: usize = 20_000_000;
/// More holes than this are not a field.
const MOST_HOLES: usize = 10_000;

/// An open ring with what stands on each side; side `i` runs from vertex `i` to the next.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Ring {
    pub(crate) points: Vec<Xy>,
    pub(crate) edges: Vec<BoundaryEdge>,
}

/// Why a ring cannot be used.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum RingFault {
    TooFew,
    NotFinite,
    Crossing(Xy),
    Tiny(f64),
    TooMany(usize),
    TooManyHoles(usize),
    Tangled,
}

impl RingFault {
    pub(crate) fn words(&self) -> String {
        match self {
            Self::TooFew => "it has fewer than three different corners".into(),
            Self::NotFinite => "it has a coordinate that is not a number or lies outside the reference system".into(),
            Self::Crossing(at) => {
                format!(
                    "its outline crosses itself (near {:.1} m east, {:.1} m north of the frame's origin)",
                    at.x, at.y
                )
            }
            Self::Tiny(area) => format!("it is smaller than 1 m² ({area:.2} m²)"),
            Self::TooManyHoles(n) => format!("it has {n} holes, more than the {MOST_HOLES} that are read"),
            Self::Tangled => "its sides lie so close together that nobody can tell its inside".into(),
            Self::TooMany(n) => format!("its outline has {n} corners, more than the {MOST_VERTICES} that are read"),
        }
    }
}

/// An outer ring, anticlockwise, with its holes, clockwise.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Part {
    pub(crate) outer: Ring,
    pub(crate) holes: Vec<Vec<Xy>>,
}

/// The parts that a polygon turned out to have, and what was repaired.
#[derive(Clone, Debug, PartialEq, Default)]
pub(crate) struct Cleaned {
    pub(crate) parts: Vec<Part>,
    pub(crate) repairs: Vec<String>,
}

/// Drops the closing vertex of a ring; the number of sides is then the number of vertices.
pub(crate) fn open<T: PartialEq>(ring: &mut Vec<T>) {
    if ring.len() > 1 && ring.first() == ring.last() {
        ring.pop();
    }
}

/// Makes a polygon of an outer ring and holes (all open) into clean parts.
pub(crate) fn clean_polygon(outer: Ring, holes: Vec<Vec<Xy>>) -> Result<Cleaned, RingFault> {
    if holes.len() > MOST_HOLES {
        return Err(RingFault::TooManyHoles(holes.len()));
    }
    let mut cleaned = Cleaned::default();
    let loops = simple_loops(outer, LEAST_AREA_M2, &mut cleaned.repairs)?;
    let (outers, mut inner) = sort_loops(loops)?;
    if outers.len() > 1 {
        cleaned.repairs.push(format!("the outline pinches together; it was parted into {} areas there", outers.len()));
    }
    if !inner.is_empty() {
        cleaned.repairs.push("a hole was tied to the outline by a slit; it was made a hole".into());
    }
    for hole in holes {
        let sides = vec![BoundaryEdge::UNKNOWN; hole.len()];
        match simple_loops(Ring { points: hole, edges: sides }, LEAST_HOLE_M2, &mut cleaned.repairs) {
            // A hole in a hole cannot be told from a slip; both loops stay out of the field.
            Ok(loops) => inner.extend(loops.into_iter().map(|l| l.points)),
            Err(RingFault::TooFew | RingFault::Tiny(_)) => {
                cleaned.repairs.push("a hole without area was left out".into());
            }
            // Without the hole the field would seem larger than it is.
            Err(fault) => return Err(fault),
        }
    }
    cleaned.parts = outers.into_iter().map(|outer| Part { outer, holes: Vec::new() }).collect();
    for mut hole in inner {
        if ring_area(&hole) > 0.0 {
            hole.reverse();
        }
        let mut touches = false;
        for part in &mut cleaned.parts {
            match relation(&hole, &part.outer.points) {
                Relation::Apart => {}
                relation => {
                    if relation == Relation::Across {
                        cleaned.repairs.push("a hole reaches over the outline; it was kept as it is".into());
                    }
                    part.holes.push(hole.clone());
                    touches = true;
                }
            }
        }
        if !touches {
            cleaned.repairs.push("a hole lies outside the outline; it was left out".into());
        }
    }
    // Holes that overlap or reach over the outline are counted whole here: too little area, never too much.
    cleaned.parts.retain(|part| {
        let holes: f64 = part.holes.iter().map(|h| ring_area(h).abs()).sum();
        ring_area(&part.outer.points) - holes >= LEAST_AREA_M2
    });
    if cleaned.parts.is_empty() { Err(RingFault::Tiny(0.0)) } else { Ok(cleaned) }
}

/// The ring turned round, with every side keeping what stands on it.
pub(crate) fn reversed(ring: Ring) -> Ring {
    let Ring { mut points, mut edges } = ring;
    points.reverse();
    // Old side i ran from i to i+1. Reversed, vertex j is old n−1−j, and its side is old n−2−j.
    edges.reverse();
    if !edges.is_empty() {
        edges.rotate_left(1);
    }
    Ring { points, edges }
}

fn anticlockwise(ring: Ring) -> Ring {
    if ring_area(&ring.points) < 0.0 { reversed(ring) } else { ring }
}

/// The simple loops a ring consists of, in the direction in which the ring runs through them.
fn simple_loops(ring: Ring, least_area_m2: f64, repairs: &mut Vec<String>) -> Result<Vec<Ring>, RingFault> {
    if ring.points.len() > MOST_VERTICES {
        return Err(RingFault::TooMany(ring.points.len()));
    }
    if ring.points.iter().any(|p| !(p.x.is_finite() && p.y.is_finite())) {
        return Err(RingFault::NotFinite);
    }
    let mut ring = ring;
    tidy(&mut ring, repairs);
    if ring.points.len() < 3 {
        return Err(RingFault::TooFew);
    }
    let loops = if close_sides(&ring.points)?.is_empty() {
        vec![ring]
    } else {
        node(&mut ring)?;
        tidy(&mut ring, repairs);
        cut_small_loops(&mut ring, least_area_m2, repairs)?;
        let mut loops = part_at_repeated(ring);
        for one in &mut loops {
            tidy(one, &mut Vec::new());
        }
        let before = loops.len();
        if before > MOST_CROSSINGS {
            return Err(RingFault::Tangled);
        }
        loops.retain(|l| l.points.len() >= 3 && ring_area(&l.points).abs() >= least_area_m2);
        if before > 1 && loops.len() < before {
            repairs.push("the outline touched itself; a loop without area was left out".into());
        }
        loops
    };
    let area: f64 = loops.iter().map(|l| ring_area(&l.points).abs()).sum();
    if loops.is_empty() || area < least_area_m2 {
        return Err(RingFault::Tiny(area));
    }
    for one in &loops {
        if let Some(&(i, _)) = close_sides(&one.points)?.first() {
            return Err(RingFault::Crossing(one.points[i]));
        }
    }
    Ok(loops)
}

/// Sorts loops into outer rings (anticlockwise) and holes; refuses what could be read in more than one way.
fn sort_loops(loops: Vec<Ring>) -> Result<(Vec<Ring>, Vec<Vec<Xy>>), RingFault> {
    let size = |l: &Ring| ring_area(&l.points);
    let largest = loops.iter().map(size).max_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(0.0);
    let (same, opposite): (Vec<Ring>, Vec<Ring>) = loops.into_iter().partition(|l| (size(l) > 0.0) == (largest > 0.0));
    for (i, a) in same.iter().enumerate() {
        for (j, b) in same.iter().enumerate() {
            // Round twice: the inside of the inside.
            if i != j && lies_within(&b.points, &a.points) {
                return Err(RingFault::Crossing(b.points[0]));
            }
        }
    }
    for hole in &opposite {
        // Turned the other way and beside it: a bow-tie.
        if !same.iter().any(|outer| lies_within(&hole.points, &outer.points)) {
            return Err(RingFault::Crossing(hole.points[0]));
        }
    }
    Ok((same.into_iter().map(anticlockwise).collect(), opposite.into_iter().map(|l| l.points).collect()))
}

/// Drops repeated vertices and spikes.
fn tidy(ring: &mut Ring, repairs: &mut Vec<String>) {
    let before = ring.points.len();
    drop_repeated(ring);
    let repeated = before - ring.points.len();
    let spikes = drop_spikes(ring);
    if repeated > 0 {
        repairs.push(format!(
            "{repeated} repeated {} left out",
            if repeated == 1 { "corner was" } else { "corners were" }
        ));
    }
    if spikes > 0 {
        repairs
            .push(format!("{spikes} {} without width left out", if spikes == 1 { "spike was" } else { "spikes were" }));
    }
}

fn drop_repeated(ring: &mut Ring) {
    let mut points: Vec<Xy> = Vec::with_capacity(ring.points.len());
    let mut edges: Vec<BoundaryEdge> = Vec::with_capacity(ring.points.len());
    for (&p, &edge) in ring.points.iter().zip(&ring.edges) {
        match (points.last(), edges.last_mut()) {
            // The side between the two has no length; the later side starts at the kept vertex.
            (Some(last), Some(last_edge)) if last.distance(p) < SAME_PLACE_M => *last_edge = edge,
            _ => {
                points.push(p);
                edges.push(edge);
            }
        }
    }
    while points.len() > 1 && points[0].distance(points[points.len() - 1]) < SAME_PLACE_M {
        points.pop();
        edges.pop();
    }
    *ring = Ring { points, edges };
}

fn drop_spikes(ring: &mut Ring) -> usize {
    let mut dropped = 0;
    let mut i = 0;
    // How many vertices in a row were found to be no spike; a full round ends the search.
    let mut quiet = 0;
    while ring.points.len() >= 3 && quiet < ring.points.len() {
        let n = ring.points.len();
        i %= n;
        let (before, after) = ((i + n - 1) % n, (i + 1) % n);
        let (a, b, c) = (ring.points[before], ring.points[i], ring.points[after]);
        if (b - a).dot(c - b) >= 0.0 {
            (i, quiet) = (i + 1, quiet + 1);
            continue;
        }
        // The way out and the way back lie on each other; what is left belongs to the longer of the two.
        let back_shorter = c.distance(b) <= a.distance(b);
        let flat = if back_shorter { distance_to_side(c, a, b) } else { distance_to_side(a, b, c) } < SAME_PLACE_M;
        if !flat {
            (i, quiet) = (i + 1, quiet + 1);
            continue;
        }
        if !back_shorter {
            ring.edges[before] = ring.edges[i];
        }
        ring.points.remove(i);
        ring.edges.remove(i);
        dropped += 1;
        drop_repeated(ring);
        quiet = 0;
        i = i.saturating_sub(2);
    }
    dropped
}

pub(crate) fn distance_to_side(p: Xy, a: Xy, b: Xy) -> f64 {
    let along = b - a;
    let length2 = along.dot(along);
    let t = if length2 > 0.0 { ((p - a).dot(along) / length2).clamp(0.0, 1.0) } else { 0.0 };
    p.distance(a + along * t)
}

fn coord(p: Xy) -> Coord<f64> {
    Coord { x: p.x, y: p.y }
}

/// Whether two sides cross inside both of them, by exact predicates.
fn cross_properly(a: Xy, b: Xy, c: Xy, d: Xy) -> bool {
    let side = |p, q, r| RobustKernel::orient2d(coord(p), coord(q), coord(r));
    let opposite = |s, t| {
        matches!(
            (s, t),
            (Orientation::Clockwise, Orientation::CounterClockwise)
                | (Orientation::CounterClockwise, Orientation::Clockwise)
        )
    };
    opposite(side(a, b, c), side(a, b, d)) && opposite(side(c, d, a), side(c, d, b))
}

fn crossing_point(a: Xy, b: Xy, c: Xy, d: Xy) -> Xy {
    let (r, s) = (b - a, d - c);
    let denominator = r.cross(s);
    let t = if denominator == 0.0 { 0.5 } else { ((c - a).cross(s) / denominator).clamp(0.0, 1.0) };
    a + r * t
}

fn sides_near(a: Xy, b: Xy, c: Xy, d: Xy) -> bool {
    cross_properly(a, b, c, d)
        || distance_to_side(a, c, d) < SAME_PLACE_M
        || distance_to_side(b, c, d) < SAME_PLACE_M
        || distance_to_side(c, a, b) < SAME_PLACE_M
        || distance_to_side(d, a, b) < SAME_PLACE_M
}

/// Pairs of sides, not neighbours, that touch or cross; found with a sweep along the x axis.
fn close_sides(points: &[Xy]) -> Result<Vec<(usize, usize)>, RingFault> {
    let n = points.len();
    let side = |i: usize| (points[i], points[(i + 1) % n]);
    let mut order: Vec<usize> = (0..n).collect();
    let low = |i: usize| side(i).0.x.min(side(i).1.x);
    order.sort_by(|&i, &j| low(i).total_cmp(&low(j)).then(i.cmp(&j)));
    let mut active: Vec<usize> = Vec::new();
    let mut pairs = Vec::new();
    let mut compared = 0_usize;
    for &i in &order {
        let (a, b) = side(i);
        let left = a.x.min(b.x) - SAME_PLACE_M;
        active.retain(|&j| side(j).0.x.max(side(j).1.x) >= left);
        compared += active.len();
        if compared > MOST_COMPARED {
            return Err(RingFault::Tangled);
        }
        for &j in &active {
            if (i + 1) % n == j || (j + 1) % n == i {
                continue;
            }
            let (c, d) = side(j);
            let apart = a.y.min(b.y) - SAME_PLACE_M > c.y.max(d.y) || c.y.min(d.y) - SAME_PLACE_M > a.y.max(b.y);
            if !apart && sides_near(a, b, c, d) {
                if pairs.len() == MOST_MEETINGS {
                    return Err(RingFault::Crossing(crossing_point(a, b, c, d)));
                }
                pairs.push((i.min(j), i.max(j)));
            }
        }
        active.push(i);
    }
    pairs.sort_unstable();
    Ok(pairs)
}

/// Gives the ring a vertex wherever it touches itself, with the very same coordinates at both places.
fn node(ring: &mut Ring) -> Result<(), RingFault> {
    let n = ring.points.len();
    let pairs = close_sides(&ring.points)?;
    for &(i, j) in &pairs {
        for a in [i, (i + 1) % n] {
            for b in [j, (j + 1) % n] {
                if ring.points[a] != ring.points[b] && ring.points[a].distance(ring.points[b]) < SAME_PLACE_M {
                    ring.points[a.max(b)] = ring.points[a.min(b)];
                }
            }
        }
    }
    let mut inserted: HashMap<usize, Vec<Xy>> = HashMap::new();
    for &(i, j) in &pairs {
        for (side, other) in [(i, j), (j, i)] {
            let (a, b) = (ring.points[side], ring.points[(side + 1) % n]);
            for v in [ring.points[other], ring.points[(other + 1) % n]] {
                let on_side = distance_to_side(v, a, b) < SAME_PLACE_M;
                if on_side && v.distance(a) >= SAME_PLACE_M && v.distance(b) >= SAME_PLACE_M {
                    inserted.entry(side).or_default().push(v);
                }
            }
        }
    }
    let mut points = Vec::with_capacity(n + inserted.len());
    let mut edges = Vec::with_capacity(n + inserted.len());
    for i in 0..n {
        points.push(ring.points[i]);
        edges.push(ring.edges[i]);
        if let Some(mut more) = inserted.remove(&i) {
            more.sort_by(|p, q| p.distance(ring.points[i]).total_cmp(&q.distance(ring.points[i])));
            for p in more {
                points.push(p);
                edges.push(ring.edges[i]);
            }
        }
    }
    *ring = Ring { points, edges };
    Ok(())
}

/// Cuts off the smaller loop at every true crossing, if it is too small to matter; refuses the ring otherwise.
fn cut_small_loops(ring: &mut Ring, least_area_m2: f64, repairs: &mut Vec<String>) -> Result<(), RingFault> {
    for _ in 0..MOST_CROSSINGS {
        let n = ring.points.len();
        let side = |k: usize| (ring.points[k], ring.points[(k + 1) % n]);
        let crossing = close_sides(&ring.points)?.into_iter().find(|&(i, j)| {
            let ((a, b), (c, d)) = (side(i), side(j));
            cross_properly(a, b, c, d)
        });
        let Some((i, j)) = crossing else { return Ok(()) };
        let ((a, b), (c, d)) = (side(i), side(j));
        let at = crossing_point(a, b, c, d);
        // One loop runs from the crossing through i+1…j and back, the other through j+1…i.
        let with_crossing = |indices: Vec<usize>, first_edge: usize| Ring {
            points: std::iter::once(at).chain(indices.iter().map(|&k| ring.points[k])).collect(),
            edges: std::iter::once(ring.edges[first_edge]).chain(indices.iter().map(|&k| ring.edges[k])).collect(),
        };
        let inner = with_crossing((i + 1..=j).collect(), i);
        let outer = with_crossing((j + 1..n).chain(0..=i).collect(), j);
        let (small, large) = if ring_area(&inner.points).abs() <= ring_area(&outer.points).abs() {
            (inner, outer)
        } else {
            (outer, inner)
        };
        if ring_area(&small.points).abs() >= least_area_m2 {
            return Err(RingFault::Crossing(at));
        }
        repairs.push("the outline crossed itself in a loop smaller than 1 m²; the loop was left out".into());
        *ring = large;
        tidy(ring, &mut Vec::new());
        if ring.points.len() < 3 {
            return Err(RingFault::TooFew);
        }
    }
    Err(RingFault::Crossing(ring.points[0]))
}

/// Parts a ring into loops wherever it comes back to the same vertex.
fn part_at_repeated(ring: Ring) -> Vec<Ring> {
    let key = |p: Xy| ((p.x + 0.0).to_bits(), (p.y + 0.0).to_bits());
    let mut loops = Vec::new();
    let mut stack: Vec<(Xy, BoundaryEdge)> = Vec::new();
    let mut place: HashMap<(u64, u64), usize> = HashMap::new();
    for (p, edge) in ring.points.into_iter().zip(ring.edges) {
        if let Some(&at) = place.get(&key(p)) {
            let (points, edges): (Vec<Xy>, Vec<BoundaryEdge>) = stack.drain(at..).unzip();
            for q in &points {
                place.remove(&key(*q));
            }
            loops.push(Ring { points, edges });
        }
        place.insert(key(p), stack.len());
        stack.push((p, edge));
    }
    let (points, edges) = stack.into_iter().unzip();
    loops.push(Ring { points, edges });
    loops
}

/// Whether a point lies inside a ring, by counting crossings of a ray; points on the ring may fall either way.
pub(crate) fn contains(ring: &[Xy], p: Xy) -> bool {
    let mut inside = false;
    for (i, &a) in ring.iter().enumerate() {
        let b = ring[(i + 1) % ring.len()];
        if (a.y > p.y) != (b.y > p.y) && p.x < a.x + (p.y - a.y) / (b.y - a.y) * (b.x - a.x) {
            inside = !inside;
        }
    }
    inside
}

fn on_outline(ring: &[Xy], p: Xy) -> bool {
    (0..ring.len()).any(|i| distance_to_side(p, ring[i], ring[(i + 1) % ring.len()]) < SAME_PLACE_M)
}

/// Whether a loop that does not cross a ring lies inside it.
pub(crate) fn lies_within(inner: &[Xy], ring: &[Xy]) -> bool {
    let middles = inner.iter().enumerate().map(|(i, &p)| (p + inner[(i + 1) % inner.len()]) * 0.5);
    match inner.iter().copied().chain(middles).find(|&p| !on_outline(ring, p)) {
        Some(p) => contains(ring, p),
        // The same outline.
        None => true,
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Relation {
    Within,
    Across,
    Apart,
}

fn relation(hole: &[Xy], outer: &[Xy]) -> Relation {
    let crosses = (0..hole.len()).any(|i| {
        let (a, b) = (hole[i], hole[(i + 1) % hole.len()]);
        (0..outer.len()).any(|j| cross_properly(a, b, outer[j], outer[(j + 1) % outer.len()]))
    });
    if crosses {
        return Relation::Across;
    }
    let free: Vec<bool> = hole.iter().filter(|p| !on_outline(outer, **p)).map(|p| contains(outer, *p)).collect();
    match (free.iter().any(|inside| *inside), free.iter().any(|inside| !inside)) {
        (true, true) => Relation::Across,
        (true, false) => Relation::Within,
        (false, true) if outer.iter().any(|p| !on_outline(hole, *p) && contains(hole, *p)) => Relation::Across,
        (false, true) => Relation::Apart,
        (false, false) => {
            if lies_within(hole, outer) {
                Relation::Within
            } else {
                Relation::Apart
            }
        }
    }
}

/// Groups rings that only their direction tells apart: a ring inside an odd number of others is a hole.
///
/// Direction is not trusted: too many files have it wrong. The second value is whether direction (outer clockwise, as
/// the shapefile format has it) would have said otherwise.
pub(crate) fn nest(rings: Vec<Vec<Xy>>) -> (Vec<(usize, Vec<usize>)>, bool) {
    let areas: Vec<f64> = rings.iter().map(|r| ring_area(r)).collect();
    let bounds: Vec<(Xy, Xy)> = rings
        .iter()
        .map(|r| {
            r.iter().fold((Xy::new(f64::MAX, f64::MAX), Xy::new(f64::MIN, f64::MIN)), |(lo, hi), p| {
                (Xy::new(lo.x.min(p.x), lo.y.min(p.y)), Xy::new(hi.x.max(p.x), hi.y.max(p.y)))
            })
        })
        .collect();
    let holds = |i: usize, j: usize| {
        let ((lo, hi), (low, high)) = (bounds[i], bounds[j]);
        areas[i].abs() > areas[j].abs()
            && lo.x <= low.x
            && lo.y <= low.y
            && hi.x >= high.x
            && hi.y >= high.y
            && lies_within(&rings[j], &rings[i])
    };
    let n = rings.len();
    let holders: Vec<Vec<usize>> = (0..n).map(|j| (0..n).filter(|&i| i != j && holds(i, j)).collect()).collect();
    let mut groups: Vec<(usize, Vec<usize>)> =
        (0..n).filter(|&j| holders[j].len().is_multiple_of(2)).map(|j| (j, Vec::new())).collect();
    let mut odd_direction = false;
    for j in 0..n {
        let hole = holders[j].len() % 2 == 1;
        odd_direction |= areas[j] != 0.0 && (areas[j] > 0.0) != hole;
        if hole {
            // The smallest ring around it that is not itself a hole.
            let owner = holders[j]
                .iter()
                .copied()
                .filter(|&i| holders[i].len().is_multiple_of(2))
                .min_by(|&a, &b| areas[a].abs().total_cmp(&areas[b].abs()));
            if let Some(group) = owner.and_then(|o| groups.iter_mut().find(|g| g.0 == o)) {
                group.1.push(j);
            }
        }
    }
    (groups, odd_direction)
}

#[cfg(test)]
#[path = "ring_tests.rs"]
mod tests;
