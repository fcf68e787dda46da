//! Outlines from outside: hand-computed figures, properties of edits, and slow second computations.

mod crossings;
mod cuts_and_joins;
mod edits;
mod findings;
mod nonsense;
mod sharing;
mod snapping;

use crate::fields::model::{BoundaryEdge, EdgeKind, Field, Stock, Surface, ring_area};
use crate::math;
use crate::position::{Bearing, Xy};
use proptest::prelude::*;

fn xy(x: f64, y: f64) -> Xy {
    Xy::new(x, y)
}

fn hedge(height_m: f64) -> BoundaryEdge {
    BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(height_m) }
}

fn field(id: &str, corners: &[(f64, f64)]) -> Field {
    of_ring(id, corners.iter().map(|c| xy(c.0, c.1)).collect())
}

/// A field whose side `i` has a hedge `i + 1` metres high.
fn of_ring(id: &str, outer: Vec<Xy>) -> Field {
    Field {
        id: id.into(),
        name: String::new(),
        edges: (0..outer.len()).map(|i| hedge(i as f64 + 1.0)).collect(),
        outer,
        holes: vec![],
        surface: Surface::Stubble,
        stock: Stock::None,
        surveyed: None,
        notes: String::new(),
        other: vec![],
        ..Field::default()
    }
}

/// A square of 100 m with its south-west corner at a place.
fn square(id: &str, x: f64, y: f64) -> Field {
    field(id, &[(x, y), (x + 100.0, y), (x + 100.0, y + 100.0), (x, y + 100.0)])
}

/// A square hole of 20 m, clockwise.
fn hole(x: f64, y: f64) -> Vec<Xy> {
    vec![xy(x, y), xy(x, y + 20.0), xy(x + 20.0, y + 20.0), xy(x + 20.0, y)]
}

fn heights(field: &Field) -> Vec<f64> {
    field.edges.iter().map(|e| e.height_m.unwrap_or(-1.0)).collect()
}

/// An anticlockwise outline that turns once around a centre.
fn star() -> impl Strategy<Value = Vec<Xy>> {
    (4usize..14).prop_flat_map(|n| proptest::collection::vec((0.1f64..0.9, 60.0f64..300.0), n)).prop_map(|list| {
        let n = list.len() as f64;
        let place = |(i, (turn, radius)): (usize, (f64, f64))| {
            Bearing::from_rad(-math::TAU * (i as f64 + turn) / n).unit() * radius + xy(500_000.0, 4_200_000.0)
        };
        list.into_iter().enumerate().map(place).collect()
    })
}

/// Which side of a line a point lies on, by plain arithmetic.
fn lies(a: Xy, b: Xy, p: Xy) -> f64 {
    (b - a).cross(p - a)
}

fn to_side(p: Xy, a: Xy, b: Xy) -> f64 {
    let t = ((p - a).dot(b - a) / (b - a).dot(b - a)).clamp(0.0, 1.0);
    p.distance(a + (b - a) * t)
}

/// The shortest distance between two sides, by plain arithmetic.
fn sides_apart(a: Xy, b: Xy, c: Xy, d: Xy) -> f64 {
    if lies(a, b, c) * lies(a, b, d) < 0.0 && lies(c, d, a) * lies(c, d, b) < 0.0 {
        return 0.0;
    }
    to_side(a, c, d).min(to_side(b, c, d)).min(to_side(c, a, b)).min(to_side(d, a, b))
}

fn ring_side(ring: &[Xy], i: usize) -> (Xy, Xy) {
    (ring[i % ring.len()], ring[(i + 1) % ring.len()])
}

/// Whether a ring is sound, by comparing every side with every other; only for rings of four corners and more.
fn simple_by_brute_force(ring: &[Xy]) -> bool {
    let n = ring.len();
    let apart = |i: usize, j: usize| {
        let ((a, b), (c, d)) = (ring_side(ring, i), ring_side(ring, j));
        sides_apart(a, b, c, d) >= super::SAME_PLACE_M
    };
    let on = |i: usize| {
        let ((a, b), (_, c)) = (ring_side(ring, i), ring_side(ring, i + 1));
        a.distance(b) >= super::SAME_PLACE_M
            && ((b - a).dot(c - b) >= 0.0 || to_side(c, a, b).min(to_side(a, b, c)) >= super::SAME_PLACE_M)
    };
    n >= 3 && (0..n).all(on) && (0..n).all(|i| (i + 2..n).all(|j| (i == 0 && j == n - 1) || apart(i, j)))
}

/// Whether a field is sound, by the slow validator.
fn sound(field: &Field) -> bool {
    let holes_sound = field.holes.iter().all(|h| simple_by_brute_force(h) && ring_area(h) < 0.0);
    let clear = field.holes.iter().enumerate().all(|(k, h)| {
        let others = core::iter::once(&field.outer).chain(field.holes.iter().skip(k + 1));
        others.into_iter().all(|ring| {
            (0..h.len()).all(|i| {
                (0..ring.len()).all(|j| {
                    let ((a, b), (c, d)) = (ring_side(h, i), ring_side(ring, j));
                    sides_apart(a, b, c, d) >= super::SAME_PLACE_M
                })
            })
        })
    });
    simple_by_brute_force(&field.outer)
        && ring_area(&field.outer) > 0.0
        && field.edges.len() == field.outer.len()
        && holes_sound
        && clear
}
