//! The outline of a piece: a clean polygon in metres.

use super::regions::Piece;
use crate::contour::contours;
use crate::fields::model::ring_area;
use crate::grid::GridFrame;
use crate::math;
use crate::position::Xy;
use geo::{LineString, Polygon, SimplifyIdx, Validation};

/// How far a simplified side may leave the line through the middles of cell sides, in cells: enough to make a straight
/// side of a slanting staircase.
const TOLERANCE: f64 = 0.75;

/// How far fitting may move a corner, in cells; corners cut by the tracing come back, sharp spikes do not grow.
const MOST_MOVED: f64 = 1.0;

/// A hole smaller than this keeps every corner, in cells: it may be one tree.
const SMALL_HOLE: f64 = 16.0;

/// Outer ring (anticlockwise) and holes (clockwise) of a piece, open rings, valid and not crossing.
///
/// `None` when the piece has no cells.
pub(super) fn trace(frame: &GridFrame, piece: &Piece) -> Option<(Vec<Xy>, Vec<Vec<Xy>>)> {
    let (rows, cols) = (piece.bits.rows, piece.bits.cols);
    // A rim of empty cells closes every line. Numbers stay small while shapes are compared.
    let padded = GridFrame { origin: Xy::default(), cell_m: 1.0, cols: cols + 2, rows: rows + 2 };
    let inside = |row: usize, col: usize| {
        let cell = row.checked_sub(1).zip(col.checked_sub(1)).filter(|(r, c)| *r < rows && *c < cols);
        if cell.is_some_and(|(r, c)| piece.bits.get(r, c)) { 1.0 } else { 0.0 }
    };
    // Just above the middle, so that cells which only meet at a corner stay apart.
    let mut rings: Vec<Vec<Xy>> = contours(&padded, inside, 0.501)
        .into_iter()
        .map(|mut line| {
            line.pop();
            line
        })
        .filter(|ring| ring.len() >= 3)
        .collect();
    for ring in &mut rings {
        start_at_a_corner(ring);
    }
    let largest =
        (0..rings.len()).max_by(|&a, &b| ring_area(&rings[a]).total_cmp(&ring_area(&rings[b])).then(b.cmp(&a)))?;
    let outer = rings.swap_remove(largest);
    rings.retain(|ring| ring_area(ring) < 0.0);
    // Holes come in the order of the grid whatever was taken out before.
    rings.sort_by(|a, b| b[0].y.total_cmp(&a[0].y).then(a[0].x.total_cmp(&b[0].x)));
    let mut shape = polygon(&outer, &rings);
    let mut tolerance = TOLERANCE;
    while tolerance > 0.05 {
        // Fitted sides are truest, but may cross where two rings are close.
        let found =
            [true, false].into_iter().map(|fit| simplified(&outer, &rings, tolerance, fit)).find(Validation::is_valid);
        if let Some(found) = found {
            shape = found;
            break;
        }
        tolerance /= 2.0;
    }
    // North-west cell of the padded window.
    let origin = frame.centre(piece.top, piece.left) + Xy::new(-frame.cell_m, frame.cell_m);
    let back = |line: &LineString| -> Vec<Xy> {
        let count = line.0.len().saturating_sub(1);
        line.0[..count].iter().map(|c| origin + Xy::new(c.x, c.y) * frame.cell_m).collect()
    };
    Some((back(shape.exterior()), shape.interiors().iter().map(back).collect()))
}

/// The rings with fewer corners; small holes as they are.
fn simplified(outer: &[Xy], holes: &[Vec<Xy>], tolerance: f64, fit: bool) -> Polygon {
    let simple = |ring: &[Xy]| {
        let mut corners = closed(ring).simplify_idx(tolerance);
        corners.pop();
        if corners.len() < 3 {
            return closed(ring);
        }
        if fit {
            closed(&fitted(ring, &corners))
        } else {
            closed(&corners.iter().map(|&i| ring[i]).collect::<Vec<_>>())
        }
    };
    let holes = holes.iter().map(|h| if ring_area(h).abs() < SMALL_HOLE { closed(h) } else { simple(h) });
    Polygon::new(simple(outer), holes.collect())
}

/// Corners at which the sides meet that fit the ring's points between the chosen corners best.
///
/// The tracing cuts every corner by half a cell; the sides beside it still run where they should.
fn fitted(ring: &[Xy], corners: &[usize]) -> Vec<Xy> {
    let count = corners.len();
    let side = |k: usize| {
        let (from, to) = (corners[k], corners[(k + 1) % count]);
        let length = (to + ring.len() - from) % ring.len();
        // The points at a corner belong to neither side where a side has others.
        let inset = usize::from(length >= 4);
        best_line((inset..=length - inset).map(|i| ring[(from + i) % ring.len()]))
    };
    let sides: Vec<(Xy, Xy)> = (0..count).map(side).collect();
    (0..count)
        .map(|k| {
            let corner = ring[corners[k]];
            let ((p, u), (q, v)) = (sides[(k + count - 1) % count], sides[k]);
            let across = u.cross(v);
            let met = p + u * ((q - p).cross(v) / across);
            // Nearly parallel sides meet anywhere.
            if across.abs() > 0.1 && met.distance(corner) <= MOST_MOVED { met } else { corner }
        })
        .collect()
}

/// The line through points that leaves the least sum of squared distances: its middle and direction.
fn best_line(points: impl Iterator<Item = Xy> + Clone) -> (Xy, Xy) {
    let n = points.clone().count().max(1) as f64;
    let middle = points.clone().fold(Xy::default(), |a, p| a + p) * (1.0 / n);
    let (mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0);
    for p in points {
        let d = p - middle;
        xx += d.x * d.x;
        yy += d.y * d.y;
        xy += d.x * d.y;
    }
    let (sin, cos) = math::sin_cos(0.5 * math::atan2(2.0 * xy, xx - yy));
    (middle, Xy::new(cos, sin))
}

/// Turns a ring so that it starts at its southernmost vertex, the westernmost of those: simplification keeps the start.
fn start_at_a_corner(ring: &mut [Xy]) {
    let first = (0..ring.len()).min_by(|&a, &b| {
        let (p, q) = (ring[a], ring[b]);
        p.y.total_cmp(&q.y).then(p.x.total_cmp(&q.x))
    });
    if let Some(first) = first {
        ring.rotate_left(first);
    }
}

fn closed(ring: &[Xy]) -> LineString {
    LineString::from(ring.iter().chain(ring.first()).map(|p| (p.x, p.y)).collect::<Vec<_>>())
}

fn polygon(outer: &[Xy], holes: &[Vec<Xy>]) -> Polygon {
    Polygon::new(closed(outer), holes.iter().map(|h| closed(h)).collect())
}

#[cfg(test)]
mod tests {
    use super::super::bits::Bits;
    use super::super::regions::components;
    use super::*;
    use geo::Area;
    use proptest::prelude::*;

    fn frame() -> GridFrame {
        GridFrame { origin: Xy::new(1_005.0, 2_995.0), cell_m: 10.0, cols: 60, rows: 60 }
    }
    fn piece(cells: impl Fn(usize, usize) -> bool) -> Piece {
        let mut bits = Bits::none(60, 60);
        for r in 0..60 {
            for c in 0..60 {
                if cells(r, c) {
                    bits.set(r, c);
                }
            }
        }
        Piece { top: 0, left: 0, bits, cut: false }
    }

    #[test]
    fn a_square_with_a_hole_is_one() {
        let with_hole = |r: usize, c: usize| {
            (10..50).contains(&r) && (10..40).contains(&c) && !((20..30).contains(&r) && (20..28).contains(&c))
        };
        let (outer, holes) = trace(&frame(), &piece(with_hole)).unwrap();
        assert_eq!(holes.len(), 1);
        // Levels just above the middle move sides by a thousandth of a cell.
        assert!((ring_area(&outer) - 400.0 * 300.0).abs() < 50.0, "{}", ring_area(&outer));
        assert!((ring_area(&holes[0]) + 100.0 * 80.0).abs() < 50.0);
        assert_eq!((outer.len(), holes[0].len()), (4, 4));
        assert!(outer.iter().all(|p| p.x >= 1_100.0 - 0.1 && p.x <= 1_400.1 && p.y <= 2_900.1 && p.y >= 2_499.9));
    }

    #[test]
    fn a_slanting_side_is_straight() {
        let slant = |r: usize, c: usize| (5..55).contains(&r) && c >= 5 + r / 3 && c < 35 + r / 3;
        let (outer, holes) = trace(&frame(), &piece(slant)).unwrap();
        assert!(holes.is_empty());
        assert!(outer.len() <= 8, "{outer:?}");
        let cells = (5..55).map(|r| (5 + r / 3..35 + r / 3).len()).sum::<usize>() as f64;
        assert!((ring_area(&outer) / 100.0 - cells).abs() < 15.0, "{}", ring_area(&outer));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        #[test]
        fn outlines_are_valid_and_as_large_as_the_cells(cells in prop::collection::vec(0u8..10, 20 * 23), share in 3u8..9) {
            let mut bits = Bits::none(20, 23);
            for (i, v) in cells.iter().enumerate() {
                if *v < share {
                    bits.set(i / 23, i % 23);
                }
            }
            for runs in components(&bits) {
                let mut own = Bits::none(20, 23);
                for run in &runs {
                    own.set_run(*run);
                }
                let count = own.count() as f64;
                let part = Piece { top: 0, left: 0, bits: own, cut: false };
                let (outer, holes) = trace(&frame(), &part).unwrap();
                let shape = polygon(&outer, &holes);
                prop_assert!(shape.is_valid());
                prop_assert!(ring_area(&outer) > 0.0 && holes.iter().all(|h| ring_area(h) < 0.0));
                let cells = shape.unsigned_area() / 100.0;
                // A side leaves its cells by the tolerance at most.
                let rim = 4.0 * count * TOLERANCE;
                prop_assert!((cells - count).abs() <= rim, "{} {}", cells, count);
            }
        }
    }
}
