//! The floor under a glide: terrain plus clearance, and whether a straight glide stays above it everywhere.
//!
//! Between four posts the terrain is bilinear, so along a straight line it is a quadratic in the distance, and the glide
//! is linear (piecewise, in layered wind). The least margin in every crossed patch is therefore found exactly, not by
//! samples. Tiles of 8 and 64 patches with their highest post let the walk skip what cannot matter.
//!
//! A patch with a post without data is never crossed: ground of unknown height is not assumed to be low. A line that
//! runs exactly along a row or column of posts needs only those posts.

use super::descent::GlideLine;
use crate::grid::Terrain;
use rayon::prelude::*;

/// How far a margin may be negative through rounding, metres.
pub(super) const ROUNDING_M: f64 = 1e-6;

/// Where a line is at its other end but for rounding: a billionth of it, 0.1 mm of 100 km. Without it, a line that ends on
/// the window's edge could seem to leave the window.
const WHOLE: f64 = 1.0 - 1e-9;

/// How much farther than asked a part of a line is looked at, cells.
const ASIDE_CELLS: f64 = 1e-3;

/// Up to how many cells a part of a line is looked at without a look at tiles.
const SHORT_CELLS: f64 = 12.0;

/// Patches per side of a small and a large tile.
pub(super) const SMALL: usize = 8;
const LARGE: usize = 64;

/// Highest posts of the tiles over a window of the terrain; `INFINITY` where a post has no data.
#[derive(Clone, Debug)]
pub(super) struct Pyramid {
    /// First row and column of the window in the terrain.
    pub(super) offset: (usize, usize),
    /// Posts in the window.
    pub(super) rows: usize,
    pub(super) cols: usize,
    small: Vec<f32>,
    pub(super) small_cols: usize,
    pub(super) small_rows: usize,
    large: Vec<f32>,
    large_cols: usize,
}

impl Pyramid {
    pub(super) fn new(terrain: &Terrain, offset: (usize, usize), rows: usize, cols: usize) -> Self {
        let (small_rows, small_cols) = (tiles(rows, SMALL), tiles(cols, SMALL));
        let mut small = vec![f32::NEG_INFINITY; small_rows * small_cols];
        small.par_chunks_mut(small_cols).enumerate().for_each(|(tile_row, tiles)| {
            let row = |r: usize| {
                let start = (offset.0 + r) * terrain.frame.cols + offset.1;
                &terrain.heights_m[start..start + cols]
            };
            // Column by column first, which the processor does for several at once.
            let mut highest = vec![f32::NEG_INFINITY; cols];
            // A post on the border of tiles belongs to both.
            for r in tile_row * SMALL..(tile_row * SMALL + SMALL + 1).min(rows) {
                for (highest, h) in highest.iter_mut().zip(row(r)) {
                    let h = if h.is_nan() { f32::INFINITY } else { *h };
                    *highest = if h > *highest { h } else { *highest };
                }
            }
            for (tile_col, tile) in tiles.iter_mut().enumerate() {
                let first = tile_col * SMALL;
                *tile = highest[first..(first + SMALL + 1).min(cols)].iter().copied().fold(*tile, f32::max);
            }
        });
        let ratio = LARGE / SMALL;
        let (large_rows, large_cols) = (small_rows.div_ceil(ratio), small_cols.div_ceil(ratio));
        let mut large = vec![f32::NEG_INFINITY; large_rows * large_cols];
        for r in 0..small_rows {
            for c in 0..small_cols {
                let tile = &mut large[r / ratio * large_cols + c / ratio];
                *tile = tile.max(small[r * small_cols + c]);
            }
        }
        Self { offset, rows, cols, small, small_cols, small_rows, large, large_cols }
    }

    /// Highest post of a small tile.
    pub(super) fn small_max(&self, row: usize, col: usize) -> f64 {
        f64::from(self.small[row * self.small_cols + col])
    }

    /// Rows and columns of the posts at a small tile's edges: (first row, last row, first column, last column).
    pub(super) fn small_edges(&self, row: usize, col: usize) -> (usize, usize, usize, usize) {
        let end = |i: usize, n: usize| ((i + 1) * SMALL).min(n - 1);
        (row * SMALL, end(row, self.rows), col * SMALL, end(col, self.cols))
    }

    /// The small tile that holds a post.
    pub(super) fn small_of(&self, row: usize, col: usize) -> (usize, usize) {
        ((row / SMALL).min(self.small_rows - 1), (col / SMALL).min(self.small_cols - 1))
    }
}

/// Tiles needed for a number of posts; at least one.
fn tiles(posts: usize, size: usize) -> usize {
    posts.saturating_sub(1).div_ceil(size).max(1)
}

/// A place in the window: columns east and rows south of its north-west post.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Place {
    pub(super) x: f64,
    pub(super) y: f64,
}

/// The floor over a window of terrain.
#[derive(Clone, Copy, Debug)]
pub(super) struct Floor<'a> {
    pub(super) terrain: &'a Terrain,
    pub(super) pyramid: &'a Pyramid,
    pub(super) clearance_m: f64,
}

/// One direction of the walk through the patches.
#[derive(Clone, Copy)]
struct Axis {
    start: f64,
    change: f64,
    inverse: f64,
    /// Patches in this direction.
    count: i64,
}

impl Axis {
    fn new(from: f64, to: f64, posts: usize) -> Self {
        let change = to - from;
        Self { start: from, change, inverse: 1.0 / change, count: posts as i64 - 1 }
    }
    /// The patch just ahead of a coordinate.
    fn patch_ahead(&self, at: f64) -> i64 {
        // Without the library's rounding, which is a call where the processor may be an old one.
        let whole = at as i64;
        if self.change < 0.0 {
            if (whole as f64) < at { whole } else { whole - 1 }
        } else if whole as f64 > at {
            whole - 1
        } else {
            whole
        }
    }
    /// Parameter at which the line leaves the patches `first..first + size`.
    fn leaves(&self, first: i64, size: i64) -> f64 {
        if self.change == 0.0 {
            return f64::INFINITY;
        }
        let border = if self.change > 0.0 { first + size } else { first };
        (border as f64 - self.start) * self.inverse
    }
    fn at(&self, t: f64) -> f64 {
        self.start + self.change * t
    }
    /// The patch entered on leaving `first..first + size`.
    fn next(&self, first: i64, size: i64) -> i64 {
        if self.change > 0.0 { first + size } else { first - 1 }
    }
}

impl Floor<'_> {
    /// Height of the post at a row and column of the window, plus clearance; `NaN` without data.
    pub(super) fn at_post(&self, row: usize, col: usize) -> f64 {
        self.post(row, col) + self.clearance_m
    }

    /// Heights of the posts in a row of the window, from a column to another, without the clearance.
    pub(super) fn posts(&self, row: usize, first: usize, last: usize) -> &[f32] {
        let start = (row + self.pyramid.offset.0) * self.terrain.frame.cols + self.pyramid.offset.1;
        &self.terrain.heights_m[start + first..=start + last]
    }

    fn post(&self, row: usize, col: usize) -> f64 {
        let (r, c) = (row + self.pyramid.offset.0, col + self.pyramid.offset.1);
        f64::from(self.terrain.heights_m[r * self.terrain.frame.cols + c])
    }

    /// Height of the surface plus clearance at a place; `NaN` outside the window or without data.
    pub(super) fn at(&self, p: Place) -> f64 {
        let inside = p.x >= 0.0 && p.y >= 0.0 && p.x <= self.last_col() && p.y <= self.last_row();
        if !inside {
            return f64::NAN;
        }
        let (c, r) = (p.x.floor(), p.y.floor());
        let (fx, fy) = (p.x - c, p.y - r);
        let (c, r) = (c as usize, r as usize);
        let row = |r: usize| {
            let west = self.post(r, c);
            if fx > 0.0 { west + fx * (self.post(r, c + 1) - west) } else { west }
        };
        let north = row(r);
        (if fy > 0.0 { north + fy * (row(r + 1) - north) } else { north }) + self.clearance_m
    }

    fn last_col(&self) -> f64 {
        self.pyramid.cols as f64 - 1.0
    }
    fn last_row(&self) -> f64 {
        self.pyramid.rows as f64 - 1.0
    }

    /// Whether the glide stays above the floor over its whole length, both ends included.
    ///
    /// The walk goes from the end back to the start. `known_clear` is asked for each small tile on the way and may say
    /// that everything from the start up to any place of that tile is known to be clear.
    pub(super) fn is_clear(
        &self,
        start: Place,
        end: Place,
        line: &mut GlideLine<'_>,
        known_clear: impl FnMut(usize, usize) -> bool,
    ) -> bool {
        let (x, y) = self.axes(start, end);
        if x.change == 0.0 && y.change == 0.0 {
            return line.height(0.0) - self.at(end) >= -ROUNDING_M;
        }
        if x.change == 0.0 && end.x == end.x.floor() {
            return self.is_clear_along(y, line, |i| (end.x, i));
        }
        if y.change == 0.0 && end.y == end.y.floor() {
            return self.is_clear_along(x, line, |i| (i, end.y));
        }
        let first = (x.patch_ahead(end.x), y.patch_ahead(end.y));
        self.is_clear_from((x, y), (0.0, first), 1.0, line, known_clear)
    }

    fn axes(&self, start: Place, end: Place) -> (Axis, Axis) {
        (Axis::new(end.x, start.x, self.pyramid.cols), Axis::new(end.y, start.y, self.pyramid.rows))
    }

    /// Whether the glide stays above the floor from so many cells before its end to so many, where it is known to
    /// elsewhere.
    pub(super) fn is_clear_between(
        &self,
        start: Place,
        end: Place,
        line: &mut GlideLine<'_>,
        near_cells: f64,
        far_cells: f64,
    ) -> bool {
        let (x, y) = self.axes(start, end);
        let along = |axis: Axis, at: f64| axis.change == 0.0 && at == at.floor();
        if along(x, end.x) || along(y, end.y) {
            return self.is_clear(start, end, line, |_, _| false);
        }
        // A little more is looked at on either side, whatever rounding says of where they begin.
        let length = (x.change * x.change + y.change * y.change).sqrt();
        let (from, until) = ((near_cells - ASIDE_CELLS) / length, (far_cells + ASIDE_CELLS) / length);
        let patch = |axis: Axis| axis.patch_ahead(axis.at(from)).clamp(0, axis.count - 1);
        let (from, first) = if from > 0.0 && from < 1.0 {
            (from, (patch(x), patch(y)))
        } else {
            (0.0, (x.patch_ahead(end.x), y.patch_ahead(end.y)))
        };
        if length * (until.min(1.0) - from) < SHORT_CELLS
            && let Some((height, rise)) = line.whole()
        {
            return self.is_clear_by_patch((x, y), (from, first), until, (height, rise), line);
        }
        self.is_clear_from((x, y), (from, first), until, line, |_, _| false)
    }

    /// The walk of [`Floor::is_clear`] over few patches, one by one, from the height at the end of a line that is straight all
    /// along and its rise.
    fn is_clear_by_patch(
        &self,
        (x, y): (Axis, Axis),
        (from, (mut px, mut py)): (f64, (i64, i64)),
        until: f64,
        (height, rise): (f64, f64),
        line: &mut GlideLine<'_>,
    ) -> bool {
        let mut t = from;
        let until = until.min(WHOLE);
        let (mut leaves_x, mut leaves_y) = (x.leaves(px, 1), y.leaves(py, 1));
        loop {
            if px < 0 || py < 0 || px >= x.count || py >= y.count {
                return false;
            }
            let leave = leaves_x.min(leaves_y).clamp(t, 1.0);
            if !self.patch_is_clear(px, py, (x, y), (t, leave), height + rise * t, line) {
                return false;
            }
            if leave >= until {
                return true;
            }
            let (cross_x, cross_y) = (leaves_x <= leaves_y, leaves_y <= leaves_x);
            if cross_x {
                px = x.next(px, 1);
                leaves_x = x.leaves(px, 1);
            }
            if cross_y {
                py = y.next(py, 1);
                leaves_y = y.leaves(py, 1);
            }
            t = leave;
        }
    }

    /// The walk of [`Floor::is_clear`] from a parameter and the patch that begins there until another.
    fn is_clear_from(
        &self,
        (x, y): (Axis, Axis),
        (from, (mut px, mut py)): (f64, (i64, i64)),
        until: f64,
        line: &mut GlideLine<'_>,
        mut known_clear: impl FnMut(usize, usize) -> bool,
    ) -> bool {
        let mut t = from;
        let until = until.min(WHOLE);
        let (mut not_large, mut not_small) = ((i64::MIN, 0), (i64::MIN, 0));
        loop {
            if px < 0 || py < 0 || px >= x.count || py >= y.count {
                return false;
            }
            let height = line.height(t);
            let top = height - self.clearance_m;
            let (large, small) = ((px / LARGE as i64, py / LARGE as i64), (px / SMALL as i64, py / SMALL as i64));
            let mut size = 1;
            if large != not_large {
                let highest = self.pyramid.large[large.1 as usize * self.pyramid.large_cols + large.0 as usize];
                if f64::from(highest) <= top {
                    size = LARGE as i64;
                } else {
                    not_large = large;
                }
            }
            if size == 1 && small != not_small {
                if known_clear(small.1 as usize, small.0 as usize) {
                    return true;
                }
                if self.pyramid.small_max(small.1 as usize, small.0 as usize) <= top {
                    size = SMALL as i64;
                } else {
                    not_small = small;
                }
            }
            let (ax, ay) = (px - px % size, py - py % size);
            let (tx, ty) = (x.leaves(ax, size), y.leaves(ay, size));
            let leave = tx.min(ty).clamp(t, 1.0);
            if size == 1 && !self.patch_is_clear(px, py, (x, y), (t, leave), height, line) {
                return false;
            }
            if leave >= until {
                return true;
            }
            let (cross_x, cross_y) = (tx <= ty, ty <= tx);
            if size > 1 {
                // Where the line leaves a tile through one side, its other coordinate stays within the tile.
                if !cross_x {
                    px = x.patch_ahead(x.at(leave)).clamp(ax, (ax + size).min(x.count) - 1);
                }
                if !cross_y {
                    py = y.patch_ahead(y.at(leave)).clamp(ay, (ay + size).min(y.count) - 1);
                }
            }
            if cross_x {
                px = x.next(ax, size);
            }
            if cross_y {
                py = y.next(ay, size);
            }
            t = leave;
        }
    }

    /// Least margin in one patch, over the parameters `from..to`, against zero.
    fn patch_is_clear(
        &self,
        px: i64,
        py: i64,
        (x, y): (Axis, Axis),
        (from, to): (f64, f64),
        height: f64,
        line: &mut GlideLine<'_>,
    ) -> bool {
        let (col, row) = (px as usize, py as usize);
        let (nw, ne) = (self.post(row, col), self.post(row, col + 1));
        let (sw, se) = (self.post(row + 1, col), self.post(row + 1, col + 1));
        let top = height - self.clearance_m;
        if nw <= top && ne <= top && sw <= top && se <= top {
            return true;
        }
        let twist = nw - ne - sw + se;
        let surface = |t: f64| {
            let u = (x.at(t) - px as f64).clamp(0.0, 1.0);
            let v = (y.at(t) - py as f64).clamp(0.0, 1.0);
            nw + u * (ne - nw) + v * (sw - nw) + u * v * twist
        };
        let (mut a, mut margin_a) = (from, height - surface(from) - self.clearance_m);
        loop {
            let limit = line.linear_until();
            let b = if limit < to { limit.max(a) } else { to };
            let margin_b = line.height(b) - surface(b) - self.clearance_m;
            let step = b - a;
            // Second-order part of the margin over the piece: −twist·Δu·Δv.
            let bend = -twist * x.change * y.change * step * step;
            let rise = margin_b - margin_a;
            let mut least = margin_a.min(margin_b);
            if bend > 0.0 && rise.abs() < bend {
                least = least.min(margin_a - (bend - rise) * (bend - rise) / (4.0 * bend));
            }
            // A margin that is not a number is a post without data.
            if !(least >= -ROUNDING_M && twist.is_finite()) {
                return false;
            }
            if b >= to {
                return true;
            }
            line.advance(b);
            (a, margin_a) = (b, margin_b);
        }
    }

    /// How far a glide is below the floor at most, metres, and at which parameter; 0 where all of it is clear. `None` where
    /// the floor is not known, or where a depth is more than `most`.
    ///
    /// The walk is that of [`Floor::is_clear`], but along a row or column of posts a patch on one side counts as crossed.
    pub(super) fn depth(&self, start: Place, end: Place, line: &mut GlideLine<'_>, most: f64) -> Option<(f64, f64)> {
        let (x, y) = self.axes(start, end);
        let mut deepest = (0.0, 0.0);
        let mut t = 0.0;
        let patch = |axis: Axis| axis.patch_ahead(axis.start).clamp(0, (axis.count - 1).max(0));
        let (mut px, mut py) = (patch(x), patch(y));
        loop {
            if px < 0 || py < 0 || px >= x.count || py >= y.count {
                return None;
            }
            let height = line.height(t);
            // What is no deeper than the deepest so far need not be looked at.
            let top = height + deepest.0 - self.clearance_m;
            let (large, small) = ((px / LARGE as i64, py / LARGE as i64), (px / SMALL as i64, py / SMALL as i64));
            let highest = self.pyramid.large[large.1 as usize * self.pyramid.large_cols + large.0 as usize];
            let size = if f64::from(highest) <= top {
                LARGE as i64
            } else if self.pyramid.small_max(small.1 as usize, small.0 as usize) <= top {
                SMALL as i64
            } else {
                1
            };
            let (ax, ay) = (px - px % size, py - py % size);
            let (tx, ty) = (x.leaves(ax, size), y.leaves(ay, size));
            let leave = tx.min(ty).clamp(t, 1.0);
            if size == 1 {
                let found = self.patch_depth((px, py), (x, y), (t, leave), height, line);
                // A post without data compares false.
                if !(found.0 <= most) {
                    return None;
                }
                if found.0 > deepest.0 {
                    deepest = found;
                }
            }
            if leave >= WHOLE {
                return Some(deepest);
            }
            let (cross_x, cross_y) = (tx <= ty, ty <= tx);
            if size > 1 {
                // Where the line leaves a tile through one side, its other coordinate stays within the tile.
                if !cross_x {
                    px = x.patch_ahead(x.at(leave)).clamp(ax, (ax + size).min(x.count) - 1);
                }
                if !cross_y {
                    py = y.patch_ahead(y.at(leave)).clamp(ay, (ay + size).min(y.count) - 1);
                }
            }
            if cross_x {
                px = x.next(ax, size);
            }
            if cross_y {
                py = y.next(ay, size);
            }
            t = leave;
        }
    }

    /// Greatest depth below the floor in one patch, over the parameters `from..to`, and where; `NaN` for a post without data.
    fn patch_depth(
        &self,
        (px, py): (i64, i64),
        (x, y): (Axis, Axis),
        (from, to): (f64, f64),
        height: f64,
        line: &mut GlideLine<'_>,
    ) -> (f64, f64) {
        let (col, row) = (px as usize, py as usize);
        let (nw, ne) = (self.at_post(row, col), self.at_post(row, col + 1));
        let (sw, se) = (self.at_post(row + 1, col), self.at_post(row + 1, col + 1));
        let twist = nw - ne - sw + se;
        let surface = |t: f64| {
            let u = (x.at(t) - px as f64).clamp(0.0, 1.0);
            let v = (y.at(t) - py as f64).clamp(0.0, 1.0);
            nw + u * (ne - nw) + v * (sw - nw) + u * v * twist
        };
        let (mut a, mut depth_a) = (from, surface(from) - height);
        let mut deepest = (depth_a, from);
        if !twist.is_finite() {
            return (f64::NAN, from);
        }
        loop {
            let limit = line.linear_until();
            let b = if limit < to { limit.max(a) } else { to };
            let depth_b = surface(b) - line.height(b);
            if depth_b > deepest.0 {
                deepest = (depth_b, b);
            }
            // Second-order part of the depth over the piece.
            let step = b - a;
            let bend = -twist * x.change * y.change * step * step;
            let rise = depth_b - depth_a;
            if bend > 0.0 && rise.abs() < bend {
                let share = 0.5 * (rise + bend) / bend;
                let most = depth_a + share * share * bend;
                if most > deepest.0 {
                    deepest = (most, a + share * step);
                }
            }
            if b >= to {
                return deepest;
            }
            line.advance(b);
            (a, depth_a) = (b, depth_b);
        }
    }

    /// [`Floor::is_clear`] along a row or column of posts, where the surface is linear from post to post.
    fn is_clear_along(&self, axis: Axis, line: &mut GlideLine<'_>, place: impl Fn(f64) -> (f64, f64)) -> bool {
        let mut i = axis.patch_ahead(axis.start);
        let mut t = 0.0f64;
        loop {
            if i < 0 || i >= axis.count {
                return false;
            }
            let leave = axis.leaves(i, 1).clamp(t, 1.0);
            let surface = |at: f64| {
                // Both posts must be known, even where one carries no weight.
                let low = place(i as f64);
                let high = place((i + 1) as f64);
                let a = self.at(Place { x: low.0, y: low.1 });
                let b = self.at(Place { x: high.0, y: high.1 });
                a + (at - i as f64).clamp(0.0, 1.0) * (b - a)
            };
            loop {
                if !(line.height(t) - surface(axis.at(t)) >= -ROUNDING_M) {
                    return false;
                }
                let limit = line.linear_until();
                if limit >= leave {
                    break;
                }
                t = limit.max(t);
                line.advance(t);
            }
            if !(line.height(leave) - surface(axis.at(leave)) >= -ROUNDING_M) {
                return false;
            }
            if leave >= WHOLE {
                return true;
            }
            t = leave;
            i = axis.next(i, 1);
        }
    }
}
