//! Lines of equal value over a grid: reach rings and height contours.

use crate::grid::GridFrame;
use crate::position::Xy;
use std::collections::HashMap;

/// An edge between two neighbouring cells: the cell, and whether the edge goes down (south) rather than right (east).
type Edge = (usize, bool);

/// Lines along which a grid of values equals a level, by marching squares with linear interpolation.
///
/// `values` gives the value at (row, column); where it is `NaN`, the squares around yield nothing, so lines end at
/// holes. Each line is a list of points in the frame, closed ones with their first point repeated at the end; higher
/// values lie to the left of the direction of a line. The order is that of the grid from the north-west, and the same
/// for the same input.
///
/// Where a square has its two high corners across, the mean of the four decides which way the lines pass (common
/// practice, no source).
#[must_use]
pub fn contours(frame: &GridFrame, values: impl Fn(usize, usize) -> f64, level: f64) -> Vec<Vec<Xy>> {
    let (rows, cols) = (frame.rows, frame.cols);
    if rows < 2 || cols < 2 || !level.is_finite() {
        return Vec::new();
    }
    // Segments from edge to edge; every edge starts at most one segment and ends at most one.
    let mut next: HashMap<Edge, Edge> = HashMap::new();
    let mut previous: HashMap<Edge, Edge> = HashMap::new();
    let mut order: Vec<Edge> = Vec::new();
    let read_row = |r: usize| -> Vec<f64> { (0..cols).map(|c| values(r, c)).collect() };
    let mut upper = read_row(0);
    for r in 0..rows - 1 {
        let lower = read_row(r + 1);
        for c in 0..cols - 1 {
            let corners = [upper[c], upper[c + 1], lower[c + 1], lower[c]];
            if !corners.iter().all(|v| v.is_finite()) {
                continue;
            }
            let high = corners.map(|v| v >= level);
            let cell = r * cols + c;
            // Edges clockwise from the top; edge i lies between corners i and i + 1.
            let edges: [Edge; 4] = [(cell, false), (cell + 1, true), (cell + cols, false), (cell, true)];
            // Going round clockwise, a line enters the square where low turns high and leaves where high turns low:
            // the high corners are then on its left.
            let crossings: Vec<(usize, bool)> =
                (0..4).filter(|&i| high[i] != high[(i + 1) % 4]).map(|i| (i, !high[i])).collect();
            let mut join = |from: usize, to: usize| {
                next.insert(edges[from], edges[to]);
                previous.insert(edges[to], edges[from]);
                order.push(edges[from]);
            };
            let entries = crossings.iter().filter(|x| x.1).map(|x| x.0);
            match crossings.len() {
                2 => {
                    let exit = crossings.iter().find(|x| !x.1).map(|x| x.0);
                    for entry in entries {
                        if let Some(exit) = exit {
                            join(entry, exit);
                        }
                    }
                }
                4 => {
                    let joined = corners.iter().sum::<f64>() / 4.0 >= level;
                    // Joined high corners: each line cuts off the low corner before its entry; otherwise each cuts off
                    // the high corner after it.
                    for entry in entries {
                        join(entry, if joined { (entry + 3) % 4 } else { (entry + 1) % 4 });
                    }
                }
                _ => {}
            }
        }
        upper = lower;
    }
    let point = |(cell, down): Edge| {
        let (r, c) = (cell / cols, cell % cols);
        let (r2, c2) = if down { (r + 1, c) } else { (r, c + 1) };
        let (a, b) = (values(r, c), values(r2, c2));
        let t = (level - a) / (b - a);
        let (p, q) = (frame.centre(r, c), frame.centre(r2, c2));
        p + (q - p) * t.clamp(0.0, 1.0)
    };
    let mut lines = Vec::new();
    for start in order {
        if !next.contains_key(&start) {
            continue;
        }
        // Back to the beginning of an open line; round to the start for a closed one.
        let mut first = start;
        while let Some(&before) = previous.get(&first) {
            first = before;
            if first == start {
                break;
            }
        }
        let mut line = vec![point(first)];
        let mut edge = first;
        while let Some(after) = next.remove(&edge) {
            previous.remove(&after);
            line.push(point(after));
            edge = after;
        }
        lines.push(line);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn frame(rows: usize, cols: usize) -> GridFrame {
        GridFrame { origin: Xy::new(1000.0, 2000.0), cell_m: 10.0, cols, rows }
    }

    fn signed_area(line: &[Xy]) -> f64 {
        line.windows(2).map(|p| p[0].cross(p[1])).sum::<f64>() / 2.0
    }

    #[test]
    fn a_cone_gives_one_closed_circle() {
        let f = frame(101, 101);
        let top = f.centre(50, 50);
        let lines = contours(&f, |r, c| 500.0 - f.centre(r, c).distance(top), 200.0);
        assert_eq!(lines.len(), 1);
        let line = &lines[0];
        assert_eq!(line.first(), line.last());
        for p in line {
            assert!((p.distance(top) - 300.0).abs() < 0.05, "{}", p.distance(top));
        }
        // High inside, to the left: anticlockwise.
        let area = signed_area(&line.iter().map(|p| *p - top).collect::<Vec<_>>());
        assert!((area / (core::f64::consts::PI * 300.0 * 300.0) - 1.0).abs() < 2e-3, "{area}");
        // The pit has its high side outside.
        let pit = contours(&f, |r, c| f.centre(r, c).distance(top), 300.0);
        assert!(signed_area(&pit[0].iter().map(|p| *p - top).collect::<Vec<_>>()) < 0.0);
    }

    #[test]
    fn a_plane_gives_one_straight_line_from_edge_to_edge() {
        let f = frame(20, 30);
        let lines = contours(&f, |_, c| c as f64, 12.25);
        assert_eq!(lines.len(), 1);
        assert_eq!(lines[0].len(), 20);
        assert!(lines[0].iter().all(|p| (p.x - 1122.5).abs() < 1e-9));
        // East is higher and on the left: the line runs south.
        assert!(lines[0][0].y > lines[0][1].y);
    }

    #[test]
    fn lines_end_at_holes() {
        let f = frame(20, 30);
        let with_hole = |r: usize, c: usize| if r == 10 && c == 12 { f64::NAN } else { c as f64 };
        let lines = contours(&f, with_hole, 12.25);
        assert_eq!(lines.len(), 2);
        assert_eq!(lines.iter().map(Vec::len).sum::<usize>(), 10 + 9);
        assert!(contours(&f, |_, _| f64::NAN, 1.0).is_empty());
        assert!(contours(&frame(1, 5), |_, _| 1.0, 1.0).is_empty());
        assert!(contours(&f, |_, c| c as f64, f64::NAN).is_empty());
    }

    #[test]
    fn saddles_keep_lines_apart() {
        let f = frame(2, 2);
        for (values, expect) in [([1.0, 0.0, 0.0, 1.0], 2), ([0.0, 1.0, 1.0, 0.0], 2), ([3.0, 0.0, 0.0, 3.0], 2)] {
            let lines = contours(&f, |r, c| values[r * 2 + c], 0.6);
            assert_eq!(lines.len(), expect);
        }
    }

    proptest! {
        #[test]
        fn points_lie_on_the_level_and_inner_lines_close(values in prop::collection::vec(0.0..1.0f64, 12 * 12)) {
            let f = frame(12, 12);
            // A low rim: every line is closed.
            let get = |r: usize, c: usize| {
                if r == 0 || c == 0 || r == 11 || c == 11 { -1.0 } else { values[r * 12 + c] }
            };
            let lines = contours(&f, get, 0.5);
            let mut winding = 0.0;
            for line in &lines {
                prop_assert_eq!(line.first(), line.last());
                winding += signed_area(&line.iter().map(|p| *p - f.origin).collect::<Vec<_>>());
                for p in line {
                    let (r, c) = f.fractional(*p);
                    let (r0, c0) = (r.floor() as usize, c.floor() as usize);
                    let (fr, fc) = (r - r.floor(), c - c.floor());
                    let here = get(r0, c0);
                    let value = if fr > 0.0 { here + fr * (get(r0 + 1, c0) - here) }
                        else if fc > 0.0 { here + fc * (get(r0, c0 + 1) - here) } else { here };
                    prop_assert!((value - 0.5).abs() < 1e-6);
                }
            }
            prop_assert!(winding >= 0.0);
        }
    }
}
