//! What stands inside a field, as rings that block strips.

use super::{bounds, inside_ring};
use crate::fields::model::{Field, Hazard, HazardKind, HazardShape, ring_area};
use crate::math;
use crate::position::{Bearing, Xy};

/// Room taken around a hazard that stands inside a field, metres. From memory: crown, walls, stays or sway.
#[must_use]
pub fn room_around_m(kind: HazardKind) -> f64 {
    match kind {
        HazardKind::Wires | HazardKind::Mast | HazardKind::Wood => 3.0,
        HazardKind::LoneTree | HazardKind::Other => 5.0,
        HazardKind::Building => 8.0,
        HazardKind::Water => 0.0,
    }
}

/// The rings that hazards block inside a field, for [`StripSpace::new`].
///
/// Blocking rings run clockwise; clearings inside an area run anticlockwise. A point becomes an octagon, every stretch
/// of a line and every side of an area a rectangle, each with the room of [`room_around_m`]; they overlap, and may.
/// Hazards that do not come near the field are left out.
#[must_use]
pub fn field_obstacles(field: &Field, hazards: &[&Hazard]) -> Vec<Vec<Xy>> {
    let Some((low, high)) = bounds(&field.outer) else { return Vec::new() };
    let near = |ring: &[Xy]| {
        bounds(ring).is_some_and(|(l, h)| l.x <= high.x && h.x >= low.x && l.y <= high.y && h.y >= low.y)
            && may_touch(ring, &field.outer)
    };
    let mut rings = Vec::new();
    for hazard in hazards {
        let room = room_around_m(hazard.kind);
        // The outline of an area already shows its extent.
        let area_room = room.min(3.0);
        match &hazard.shape {
            HazardShape::Point(p) => push_near(&mut rings, octagon(*p, room), near),
            HazardShape::Line(line) => {
                for pair in line.windows(2) {
                    push_near(&mut rings, around_segment(pair[0], pair[1], room), near);
                }
            }
            HazardShape::Area { outer, holes } => {
                push_near(&mut rings, running(outer, false), near);
                for hole in holes.iter().filter(|h| h.iter().all(|p| inside_ring(outer, *p))) {
                    push_near(&mut rings, running(hole, true), near);
                }
                if area_room > 0.0 {
                    for ring in core::iter::once(outer).chain(holes) {
                        for (i, &p) in ring.iter().enumerate() {
                            push_near(&mut rings, around_segment(p, ring[(i + 1) % ring.len()], area_room), near);
                        }
                    }
                }
            }
        }
    }
    rings
}

/// Whether two rings may share a place: an edge meets an edge, or one holds a vertex of the other.
///
/// A ring that is not finite could be anywhere. Woods beside a field have hundreds of sides near it, and every ring
/// kept costs time for each heading looked at.
fn may_touch(a: &[Xy], b: &[Xy]) -> bool {
    let side = |p: Xy, q: Xy, r: Xy| (q - p).cross(r - p);
    let meet = |p: Xy, q: Xy, r: Xy, s: Xy| {
        p.x.min(q.x) <= r.x.max(s.x)
            && p.x.max(q.x) >= r.x.min(s.x)
            && p.y.min(q.y) <= r.y.max(s.y)
            && p.y.max(q.y) >= r.y.min(s.y)
            && side(p, q, r) * side(p, q, s) <= 0.0
            && side(r, s, p) * side(r, s, q) <= 0.0
    };
    let edges = |ring: &[Xy], i: usize| (ring[i], ring[(i + 1) % ring.len()]);
    if a.iter().chain(b).any(|p| !(p.x.is_finite() && p.y.is_finite())) {
        return true;
    }
    a.iter().any(|&p| inside_ring(b, p))
        || b.iter().any(|&p| inside_ring(a, p))
        || (0..a.len()).any(|i| {
            let (p, q) = edges(a, i);
            (0..b.len()).any(|j| {
                let (r, s) = edges(b, j);
                meet(p, q, r, s)
            })
        })
}

fn push_near(rings: &mut Vec<Vec<Xy>>, ring: Vec<Xy>, near: impl Fn(&[Xy]) -> bool) {
    if ring.len() >= 3 && near(&ring) {
        rings.push(ring);
    }
}

/// The ring, turned to run anticlockwise or clockwise.
fn running(ring: &[Xy], anticlockwise: bool) -> Vec<Xy> {
    let mut ring = ring.to_vec();
    if (ring_area(&ring) > 0.0) != anticlockwise {
        ring.reverse();
    }
    ring
}

/// A clockwise octagon that contains the circle of the radius.
fn octagon(centre: Xy, radius: f64) -> Vec<Xy> {
    let r = radius.max(0.1) / math::cos(math::PI / 8.0);
    (0..8).map(|i| centre + Bearing::from_rad(f64::from(i) * math::PI / 4.0).unit() * r).collect()
}

/// A clockwise rectangle that contains everything within the radius of a segment.
fn around_segment(a: Xy, b: Xy, radius: f64) -> Vec<Xy> {
    let Some(along) = (b - a).bearing() else { return octagon(a, radius) };
    let u = along.unit() * radius.max(0.1);
    let right = Xy::new(u.y, -u.x);
    vec![a - u - right, b + u - right, b + u + right, a - u + right]
}
