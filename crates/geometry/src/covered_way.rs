//! A way between two places that stays over covered ground, or else over as little of other ground as can be.
//!
//! Two lengths are compared one after the other: what lies over ground without cover first, the whole length second. The
//! search (A*, Hart, Nilsson & Raphael 1968) goes from cell centre to cell centre over sixteen neighbours; both lengths are
//! whole millimetres, so that sums do not depend on their order. Corners are then left out where the straight line between
//! others is no longer, and over no more ground without cover; what is cut through is counted cell by cell.
//!
//! # Accuracy
//! Between cells the search is up to 2.8 % longer than the best line (sixteen neighbours, 1 / cos 13.3°), before corners are
//! left out. Its length over ground without cover is the least that such a chain of cells can have.

use crate::grid::GridFrame;
use crate::position::Xy;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// Millimetres in a metre.
const MM: f64 = 1_000.0;
/// Cells settled between two looks at whether to stop.
const CELLS_PER_POLL: usize = 8_192;
/// Columns and rows to the sixteen neighbours.
const MOVES: [(i64, i64); 16] = [
    (1, 0),
    (0, 1),
    (-1, 0),
    (0, -1),
    (1, 1),
    (-1, 1),
    (-1, -1),
    (1, -1),
    (2, 1),
    (1, 2),
    (-1, 2),
    (-2, 1),
    (-2, -1),
    (-1, -2),
    (1, -2),
    (2, -1),
];

/// Millimetres over ground without cover, and all millimetres.
type Cost = (u64, u64);

/// A way found.
#[derive(Clone, Debug, PartialEq)]
pub struct CoveredWay {
    /// Its corners, the two places among them.
    pub line: Vec<Xy>,
    /// Its length, metres.
    pub length_m: f64,
    /// Its length over ground without cover, metres, by cells.
    pub uncovered_m: f64,
}

/// The way between two places; `None` where one of them is outside the grid, or when stopped.
///
/// `covered` says of each cell, by rows from the north-west, whether it is covered.
#[must_use]
pub fn covered_way(
    frame: &GridFrame,
    covered: &[bool],
    from: Xy,
    to: Xy,
    stopped: &dyn Fn() -> bool,
) -> Option<CoveredWay> {
    if covered.len() != frame.len() {
        return None;
    }
    let ground = Ground { frame, covered };
    let cell = |p: Xy| frame.cell_of(p).map(|(row, col)| row * frame.cols + col);
    let cells = ground.search(cell(from)?, cell(to)?, stopped)?;
    let mut line: Vec<Xy> = cells.iter().map(|c| ground.centre(*c)).collect();
    // The two places themselves, and not the centres of their cells.
    if line.len() < 2 {
        line = vec![from, to];
    }
    line[0] = from;
    if let Some(last) = line.last_mut() {
        *last = to;
    }
    let line = ground.straightened(&line, stopped)?;
    let (uncovered, length) = line.windows(2).map(|leg| ground.cost(leg[0], leg[1])).fold((0, 0), add);
    Some(CoveredWay { line, length_m: length as f64 / MM, uncovered_m: uncovered as f64 / MM })
}

fn add(a: Cost, b: Cost) -> Cost {
    (a.0 + b.0, a.1 + b.1)
}

struct Ground<'a> {
    frame: &'a GridFrame,
    covered: &'a [bool],
}

impl Ground<'_> {
    fn centre(&self, cell: usize) -> Xy {
        self.frame.centre(cell / self.frame.cols, cell % self.frame.cols)
    }

    fn is_covered(&self, row: i64, col: i64) -> bool {
        let inside = (0..self.frame.rows as i64).contains(&row) && (0..self.frame.cols as i64).contains(&col);
        inside && self.covered[row as usize * self.frame.cols + col as usize]
    }

    /// What a move of the search costs: the cells it crosses have equal parts of it.
    fn move_cost(&self, row: i64, col: i64, (right, down): (i64, i64), lengths: &[u64; 3]) -> Cost {
        let at = |r: i64, c: i64| u64::from(!self.is_covered(row + r, col + c));
        let (across, along) = (right.abs(), down.abs());
        let length = lengths[(across * across + along * along) as usize / 2];
        let ends = at(0, 0) + at(down, right);
        if across + along < 3 {
            return (length * ends / 2, length);
        }
        // A knight's move passes two cells between: straight on along its longer part, then beside it.
        let (between, beside) = if across > along {
            (at(0, right.signum()), at(down, right.signum()))
        } else {
            (at(down.signum(), 0), at(down.signum(), right))
        };
        (length * (ends + between + beside) / 4, length)
    }

    /// The cells of the best chain.
    fn search(&self, from: usize, to: usize, stopped: &dyn Fn() -> bool) -> Option<Vec<usize>> {
        let (rows, cols) = (self.frame.rows as i64, self.frame.cols as i64);
        let side = (self.frame.cell_m * MM).round().max(1.0);
        // By half the squared number of cells: one (0), two (1), five (2). Divisible by four.
        let lengths = [1.0, 2.0, 5.0_f64].map(|squared: f64| ((side * squared.sqrt() / 4.0).ceil() as u64) * 4);
        let goal = (to as i64 / cols, to as i64 % cols);
        // A little less than the straight line, so that rounding never makes it too long.
        let ahead = |cell: usize| {
            let (r, c) = ((cell as i64 / cols - goal.0) as f64, (cell as i64 % cols - goal.1) as f64);
            (side * (r * r + c * c).sqrt() * 0.999_999).floor() as u64
        };
        let mut best: Vec<Cost> = vec![(u64::MAX, u64::MAX); self.frame.len()];
        let mut before: Vec<u8> = vec![u8::MAX; self.frame.len()];
        let mut queue = BinaryHeap::new();
        best[from] = (0, 0);
        queue.push(Reverse(((0, ahead(from)), from)));
        let mut settled = 0_usize;
        while let Some(Reverse((estimate, cell))) = queue.pop() {
            if cell == to {
                return Some(self.chain(&before, from, to));
            }
            let own = best[cell];
            if estimate != add(own, (0, ahead(cell))) {
                continue;
            }
            settled += 1;
            if settled.is_multiple_of(CELLS_PER_POLL) && stopped() {
                return None;
            }
            let (row, col) = (cell as i64 / cols, cell as i64 % cols);
            for (number, step) in MOVES.into_iter().enumerate() {
                let (r, c) = (row + step.1, col + step.0);
                if !(0..rows).contains(&r) || !(0..cols).contains(&c) {
                    continue;
                }
                let next = (r * cols + c) as usize;
                let cost = add(own, self.move_cost(row, col, step, &lengths));
                if cost < best[next] {
                    best[next] = cost;
                    before[next] = number as u8;
                    queue.push(Reverse((add(cost, (0, ahead(next))), next)));
                }
            }
        }
        None
    }

    fn chain(&self, before: &[u8], from: usize, to: usize) -> Vec<usize> {
        let mut cells = vec![to];
        let mut at = to as i64;
        while at != from as i64 {
            let Some((right, down)) = MOVES.get(before[at as usize] as usize) else { break };
            at -= down * self.frame.cols as i64 + right;
            cells.push(at as usize);
        }
        cells.reverse();
        cells
    }

    /// What a straight line costs, cell by cell.
    fn cost(&self, from: Xy, to: Xy) -> Cost {
        let length = from.distance(to);
        let (start, end) = (self.frame.fractional(from), self.frame.fractional(to));
        // Where it crosses from cell to cell: cells end half way between centres.
        let mut cuts = vec![0.0, 1.0];
        for (a, b) in [(start.0, end.0), (start.1, end.1)] {
            let (low, high) = if a < b { (a, b) } else { (b, a) };
            let mut edge = (low + 0.5).floor() + 0.5;
            while edge < high {
                cuts.push((edge - a) / (b - a));
                edge += 1.0;
            }
        }
        cuts.sort_by(f64::total_cmp);
        let mut uncovered = 0.0;
        for cut in cuts.windows(2) {
            let middle = 0.5 * (cut[0] + cut[1]);
            let at = |a: f64, b: f64| (a + (b - a) * middle).round() as i64;
            if !self.is_covered(at(start.0, end.0), at(start.1, end.1)) {
                uncovered += cut[1] - cut[0];
            }
        }
        ((uncovered * length * MM).round() as u64, (length * MM).round() as u64)
    }

    /// The line without the corners that it does not need; `None` when stopped.
    fn straightened(&self, line: &[Xy], stopped: &dyn Fn() -> bool) -> Option<Vec<Xy>> {
        let legs: Vec<Cost> = line.windows(2).map(|leg| self.cost(leg[0], leg[1])).collect();
        let mut out = vec![*line.first()?];
        let mut at = 0;
        while at + 1 < line.len() {
            if stopped() {
                return None;
            }
            let mut next = at + 1;
            let mut along = legs[at];
            for far in at + 2..line.len() {
                along = add(along, legs[far - 1]);
                // Rounding of each leg to whole millimetres is no reason to keep a corner.
                let slack = (far - at) as u64;
                let straight = self.cost(line[at], line[far]);
                if straight.0 > along.0 + slack || straight.1 > along.1 + slack {
                    break;
                }
                next = far;
            }
            out.push(line[next]);
            at = next;
        }
        Some(out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn frame(rows: usize, cols: usize) -> GridFrame {
        GridFrame { origin: Xy::new(1_000.0, 9_000.0), cell_m: 25.0, cols, rows }
    }

    /// Every move from every cell again and again until nothing changes.
    fn by_brute_force(ground: &Ground<'_>, from: usize, to: usize) -> Cost {
        let (rows, cols) = (ground.frame.rows as i64, ground.frame.cols as i64);
        let lengths = [25_000, 35_356, 55_904];
        let mut best = vec![(u64::MAX, u64::MAX); ground.frame.len()];
        best[from] = (0, 0);
        loop {
            let mut changed = false;
            for row in 0..rows {
                for col in 0..cols {
                    let own = best[(row * cols + col) as usize];
                    if own.0 == u64::MAX {
                        continue;
                    }
                    for step in MOVES {
                        let (r, c) = (row + step.1, col + step.0);
                        if (0..rows).contains(&r) && (0..cols).contains(&c) {
                            let cost = add(own, ground.move_cost(row, col, step, &lengths));
                            let there = &mut best[(r * cols + c) as usize];
                            changed |= cost < *there;
                            *there = cost.min(*there);
                        }
                    }
                }
            }
            if !changed {
                return best[to];
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(60))]
        #[test]
        fn it_is_the_best_of_all_and_straightening_makes_it_no_worse(
            rows in 2usize..12, cols in 2usize..12, seed in prop::collection::vec(0u8..3, 144),
            ends in (0usize..144, 0usize..144),
        ) {
            let frame = frame(rows, cols);
            let covered: Vec<bool> = seed[..frame.len()].iter().map(|s| *s > 0).collect();
            let ground = Ground { frame: &frame, covered: &covered };
            let (from, to) = (ends.0 % frame.len(), ends.1 % frame.len());
            let cells = ground.search(from, to, &|| false).unwrap();
            let mut cost = (0, 0);
            for pair in cells.windows(2) {
                let at = |cell: usize| (cell as i64 / cols as i64, cell as i64 % cols as i64);
                let (a, b) = (at(pair[0]), at(pair[1]));
                cost = add(cost, ground.move_cost(a.0, a.1, (b.1 - a.1, b.0 - a.0), &[25_000, 35_356, 55_904]));
            }
            prop_assert_eq!(cost, by_brute_force(&ground, from, to));
            let way = covered_way(&frame, &covered, ground.centre(from), ground.centre(to), &|| false).unwrap();
            prop_assert!(way.length_m <= cost.1 as f64 / MM + 0.1, "{} {:?}", way.length_m, cost);
            prop_assert!(way.uncovered_m <= cost.0 as f64 / MM + 0.1, "{} {:?}", way.uncovered_m, cost);
            prop_assert!(way.length_m >= ground.centre(from).distance(ground.centre(to)) - 0.1);
        }
    }

    #[test]
    fn where_all_is_covered_it_is_straight_and_round_a_gap_it_goes() {
        let frame = frame(61, 61);
        let all = vec![true; frame.len()];
        let (from, to) = (frame.centre(30, 3) + Xy::new(4.0, -3.0), frame.centre(41, 57));
        let way = covered_way(&frame, &all, from, to, &|| false).unwrap();
        assert_eq!(way.line, vec![from, to]);
        assert_eq!(way.uncovered_m, 0.0);
        // A wall of uncovered ground with its opening at the south end.
        let open: Vec<bool> = (0..frame.len()).map(|cell| cell % 61 != 30 || cell / 61 >= 55).collect();
        let way = covered_way(&frame, &open, from, to, &|| false).unwrap();
        assert_eq!(way.uncovered_m, 0.0);
        let corner = frame.centre(55, 30);
        let shortest = from.distance(corner) + corner.distance(to);
        // Corners lie on cell centres, and the line passes the wall within its cell.
        assert!(way.length_m <= shortest * 1.01 && way.length_m >= shortest - 40.0, "{} {shortest}", way.length_m);
        // Without an opening it crosses where that is shortest: straight over one cell.
        let closed: Vec<bool> = (0..frame.len()).map(|cell| cell % 61 != 30).collect();
        let way = covered_way(&frame, &closed, from, to, &|| false).unwrap();
        assert!((way.uncovered_m - 25.0).abs() < 0.01, "{}", way.uncovered_m);
    }

    #[test]
    fn outside_the_grid_or_when_stopped_there_is_none() {
        let frame = frame(200, 200);
        let all = vec![false; frame.len()];
        let (a, b) = (frame.centre(0, 0), frame.centre(199, 150));
        assert!(covered_way(&frame, &all, a, b + Xy::new(9_000.0, 0.0), &|| false).is_none());
        assert!(covered_way(&frame, &all, a, b, &|| true).is_none());
        assert!(covered_way(&frame, &all[1..], a, b, &|| false).is_none());
        assert!(covered_way(&frame, &all, a, a, &|| false).is_some_and(|w| w.length_m == 0.0));
    }
}
