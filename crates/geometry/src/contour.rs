//! Lines of equal value over a grid: reach rings and height contours.

use crate::fields::model::ring_area;
use crate::fields::strip::inside_ring;
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

/// A piece of land with its holes. The outer ring runs anticlockwise, the holes clockwise; none repeats its first point.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Patch {
    /// The outer ring.
    pub outer: Vec<Xy>,
    /// The holes.
    pub holes: Vec<Vec<Xy>>,
}

impl Patch {
    /// Its area without the holes, square metres.
    #[must_use]
    pub fn area_m2(&self) -> f64 {
        // Holes run the other way round.
        ring_area(&self.outer) + self.holes.iter().map(|hole| ring_area(hole)).sum::<f64>()
    }
}

/// Where a grid of values is at least a level, as patches, the largest first. What is not a number is below every level,
/// and so is everything outside the grid.
///
/// Values are taken to lie within `reach` of the level, so that a wall of values far off does not draw the boundary to
/// itself: between a cell just above the level and one far below it, the boundary lies near the first. Every cell's centre
/// that is at least the level lies in a patch or on its boundary, and no other does.
#[must_use]
pub fn patches(frame: &GridFrame, values: impl Fn(usize, usize) -> f64, level: f64, reach: f64) -> Vec<Patch> {
    let below = level - reach;
    // A row and a column more on every side close what touches the edge.
    let wider = GridFrame {
        origin: frame.origin + Xy::new(-frame.cell_m, frame.cell_m),
        cell_m: frame.cell_m,
        cols: frame.cols + 2,
        rows: frame.rows + 2,
    };
    let padded = |row: usize, col: usize| {
        let inside = (1..=frame.rows).contains(&row) && (1..=frame.cols).contains(&col);
        if !inside {
            return below;
        }
        let value = values(row - 1, col - 1);
        if value.is_nan() { below } else { value.max(below).min(level + reach) }
    };
    let mut outers: Vec<(Patch, Xy, Xy)> = Vec::new();
    let mut holes: Vec<Vec<Xy>> = Vec::new();
    for mut line in contours(&wider, padded, level) {
        if line.len() > 1 && line.first() == line.last() {
            line.pop();
        }
        line.dedup();
        if line.len() < 3 {
            continue;
        }
        let (base, area) = (line[0], ring_area(&line));
        if area > 0.0 {
            let low = line.iter().fold(base, |low, p| Xy::new(low.x.min(p.x), low.y.min(p.y)));
            let high = line.iter().fold(base, |high, p| Xy::new(high.x.max(p.x), high.y.max(p.y)));
            outers.push((Patch { outer: line, holes: Vec::new() }, low, high));
        } else if area < 0.0 {
            holes.push(line);
        }
    }
    // A hole lies in the smallest patch round it; patches are tried from the smallest.
    outers.sort_by(|a, b| ring_area(&a.0.outer).total_cmp(&ring_area(&b.0.outer)));
    for hole in holes {
        let at = hole[0];
        let within = |(patch, low, high): &&mut (Patch, Xy, Xy)| {
            at.x >= low.x && at.x <= high.x && at.y >= low.y && at.y <= high.y && inside_ring(&patch.outer, at)
        };
        if let Some((patch, ..)) = outers.iter_mut().find(within) {
            patch.holes.push(hole);
        }
    }
    outers.into_iter().rev().map(|(patch, ..)| patch).collect()
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
    fn a_ring_of_land_is_one_patch_with_a_hole_and_an_island_in_it_another() {
        let f = frame(101, 101);
        let top = f.centre(50, 50);
        // Covered between 200 and 400 m from the middle and within 60 m of it.
        let value = |r: usize, c: usize| {
            let d = f.centre(r, c).distance(top);
            (60.0 - d).max((100.0 - (d - 300.0).abs()).min(50.0))
        };
        let found = patches(&f, value, 0.0, 50.0);
        assert_eq!(found.len(), 2);
        let pi = core::f64::consts::PI;
        assert!((found[0].area_m2() / (pi * (400.0 * 400.0 - 200.0 * 200.0)) - 1.0).abs() < 0.01);
        assert_eq!((found[0].holes.len(), found[1].holes.len()), (1, 0));
        assert!((found[1].area_m2() / (pi * 60.0 * 60.0) - 1.0).abs() < 0.03);
        // All of a grid is one patch, and nothing of it none.
        let whole = patches(&f, |_, _| 1.0, 0.0, 50.0);
        assert_eq!(whole.len(), 1);
        assert!(whole[0].area_m2() >= 1_000.0 * 1_000.0);
        assert!(patches(&f, |_, _| f64::NAN, 0.0, 50.0).is_empty());
        assert!(patches(&f, |_, _| f64::NEG_INFINITY, 0.0, 50.0).is_empty());
    }

    proptest! {
        /// Whatever the grid holds, a cell's centre lies in the patches exactly when its value is at least the level.
        #[test]
        fn patches_hold_the_centres_that_reach_the_level_and_no_others(
            values in prop::collection::vec(prop_oneof![Just(f64::NAN), Just(f64::INFINITY), -40.0..40.0], 63)
        ) {
            let f = frame(7, 9);
            let found = patches(&f, |r, c| values[r * 9 + c], 0.0, 30.0);
            for r in 0..7 {
                for c in 0..9 {
                    let value = values[r * 9 + c];
                    // On the boundary itself nobody is right.
                    if value.abs() < 1e-6 {
                        continue;
                    }
                    let at = f.centre(r, c);
                    let held = found.iter().any(|p| {
                        inside_ring(&p.outer, at) && !p.holes.iter().any(|hole| inside_ring(hole, at))
                    });
                    prop_assert_eq!(held, value >= 0.0, "{} {}: {}", r, c, value);
                }
            }
        }
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
