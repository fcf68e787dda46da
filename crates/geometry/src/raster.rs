//! Which cells of a grid lie within an outline.

use crate::fields::hazards::segments;
use crate::grid::GridFrame;
use crate::position::Xy;
use core::ops::Range;

/// Columns of a grid whose middle lies between two eastings, metres; empty where none does.
#[must_use]
pub fn columns_between(frame: &GridFrame, from: f64, to: f64) -> Range<usize> {
    let first = ((from - frame.origin.x) / frame.cell_m).ceil().max(0.0);
    let past = ((to - frame.origin.x) / frame.cell_m).floor().min(frame.cols as f64 - 1.0) + 1.0;
    if first < past { first as usize..past as usize } else { 0..0 }
}

/// Tells `each`, row by row, the stretches of columns whose middle lies inside a ring and outside its holes (even–odd).
///
/// Rings are open. Nothing is told of a ring of fewer than three vertices, nor of one that is not finite.
pub fn inside(frame: &GridFrame, outer: &[Xy], holes: &[Vec<Xy>], mut each: impl FnMut(usize, Range<usize>)) {
    let rings = || core::iter::once(outer).chain(holes.iter().map(Vec::as_slice));
    if outer.len() < 3 || rings().flatten().any(|p| !(p.x.is_finite() && p.y.is_finite())) {
        return;
    }
    let top = outer.iter().fold(f64::NEG_INFINITY, |m, p| m.max(p.y));
    let bottom = outer.iter().fold(f64::INFINITY, |m, p| m.min(p.y));
    let first = frame.fractional(Xy::new(0.0, top)).0.ceil().max(0.0);
    let last = frame.fractional(Xy::new(0.0, bottom)).0.floor().min(frame.rows as f64 - 1.0);
    if first > last {
        return;
    }
    let mut crossings = Vec::new();
    for row in first as usize..=last as usize {
        let y = frame.centre(row, 0).y;
        crossings.clear();
        for ring in rings() {
            for (p, q) in segments(ring, true) {
                if (p.y > y) != (q.y > y) {
                    crossings.push(p.x + (q.x - p.x) * (y - p.y) / (q.y - p.y));
                }
            }
        }
        crossings.sort_by(f64::total_cmp);
        for pair in crossings.chunks_exact(2) {
            let columns = columns_between(frame, pair[0], pair[1]);
            if !columns.is_empty() {
                each(row, columns);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fields::strip::inside_ring;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_cell_is_inside_when_its_middle_is(corners in prop::collection::vec((0.0..100.0f64, 0.0..100.0f64), 3..8)) {
            let frame = GridFrame { origin: Xy::new(2.5, 97.5), cell_m: 5.0, cols: 20, rows: 20 };
            let ring: Vec<Xy> = corners.iter().map(|c| Xy::new(c.0, c.1)).collect();
            let mut found = vec![false; frame.len()];
            inside(&frame, &ring, &[], |row, cols| found[row * 20..][cols].fill(true));
            for row in 0..20 {
                for col in 0..20 {
                    prop_assert_eq!(found[row * 20 + col], inside_ring(&ring, frame.centre(row, col)), "{} {}", row, col);
                }
            }
        }
    }
}
