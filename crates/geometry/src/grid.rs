//! Regular grids in the projected frame, and the terrain surface on them.

use crate::position::Xy;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

/// Heights of a terrain that one thread looks at in one go.
const AT_ONCE: usize = 1 << 17;

/// Where a grid lies: square cells, rows from north to south, columns from west to east.
///
/// Heights belong to cell *centres* (posts); the surface between four posts is bilinear.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct GridFrame {
    /// Centre of the north-west cell (row 0, column 0), in metres.
    pub origin: Xy,
    /// Side of a cell in metres, greater than zero.
    pub cell_m: f64,
    /// Number of columns.
    pub cols: usize,
    /// Number of rows.
    pub rows: usize,
}

impl GridFrame {
    /// Number of cells.
    #[must_use]
    pub fn len(&self) -> usize {
        self.cols * self.rows
    }
    /// Whether the grid has no cells.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.cols == 0 || self.rows == 0
    }
    /// Centre of the cell at (row, column).
    #[must_use]
    pub fn centre(&self, row: usize, col: usize) -> Xy {
        Xy::new(self.origin.x + col as f64 * self.cell_m, self.origin.y - row as f64 * self.cell_m)
    }
    /// Fractional (row, column) of a point; may lie outside the grid.
    #[must_use]
    pub fn fractional(&self, p: Xy) -> (f64, f64) {
        ((self.origin.y - p.y) / self.cell_m, (p.x - self.origin.x) / self.cell_m)
    }
    /// The (row, column) of the cell whose square holds the point, if any.
    #[must_use]
    pub fn cell_of(&self, p: Xy) -> Option<(usize, usize)> {
        let (r, c) = self.fractional(p);
        let (r, c) = ((r + 0.5).floor(), (c + 0.5).floor());
        let inside = r >= 0.0 && c >= 0.0 && r < self.rows as f64 && c < self.cols as f64;
        inside.then_some((r as usize, c as usize))
    }
    /// The corners of the area covered by cell squares: (south-west, north-east).
    #[must_use]
    pub fn bounds(&self) -> (Xy, Xy) {
        let half = self.cell_m / 2.0;
        (
            Xy::new(self.origin.x - half, self.origin.y - (self.rows as f64 - 0.5) * self.cell_m),
            Xy::new(self.origin.x + (self.cols as f64 - 0.5) * self.cell_m, self.origin.y + half),
        )
    }
}

/// What a terrain grid's heights describe.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SurfaceKind {
    /// Bare ground.
    BareGround,
    /// Top of trees and buildings included.
    SurfaceModel,
    /// The source does not say.
    Unknown,
}

/// How far terrain heights may be wrong, as the source states it or as assumed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct TerrainAccuracy {
    /// Standard error of the height difference between two nearby posts, metres; limits how well slope is known.
    pub point_to_point_m: f64,
    /// What the heights describe.
    pub kind: SurfaceKind,
}

impl Default for TerrainAccuracy {
    /// 2 m point to point: the order of a global 30 m model on gentle ground (Copernicus DEM product handbook,
    /// relative vertical accuracy < 2 m for slopes up to 20 %), taken where a source says nothing.
    fn default() -> Self {
        Self { point_to_point_m: 2.0, kind: SurfaceKind::Unknown }
    }
}

/// Terrain heights above mean sea level on a grid; `NaN` marks a cell without data, never sea level.
#[derive(Clone, Debug)]
pub struct Terrain {
    /// Where the grid lies.
    pub frame: GridFrame,
    /// Heights in metres above mean sea level, row-major from the north-west; `NaN` is no data.
    pub heights_m: Vec<f32>,
    /// How far the heights may be wrong.
    pub accuracy: TerrainAccuracy,
}

impl Terrain {
    /// Height of the post at (row, column), `None` outside the grid or without data.
    #[must_use]
    pub fn post(&self, row: usize, col: usize) -> Option<f64> {
        if row >= self.frame.rows || col >= self.frame.cols {
            return None;
        }
        let h = f64::from(self.heights_m[row * self.frame.cols + col]);
        h.is_finite().then_some(h)
    }

    /// Height of the bilinear surface at a point, metres above mean sea level.
    ///
    /// `None` outside the outermost posts, or where a post that carries weight has no data.
    #[must_use]
    pub fn height_at(&self, p: Xy) -> Option<f64> {
        let (r, c) = self.frame.fractional(p);
        let (last_r, last_c) = (self.frame.rows as f64 - 1.0, self.frame.cols as f64 - 1.0);
        if !(r >= 0.0 && c >= 0.0 && r <= last_r && c <= last_c) {
            return None;
        }
        let (r0, c0) = (r.floor() as usize, c.floor() as usize);
        let (fr, fc) = (r - r0 as f64, c - c0 as f64);
        let mut sum = 0.0;
        for (dr, wr) in [(0, 1.0 - fr), (1, fr)] {
            for (dc, wc) in [(0, 1.0 - fc), (1, fc)] {
                let w = wr * wc;
                if w > 0.0 {
                    sum += w * self.post(r0 + dr, c0 + dc)?;
                }
            }
        }
        Some(sum)
    }

    /// The posts within a rectangle (south-west and north-east corner), `None` where there is none.
    #[must_use]
    pub fn part(&self, low: Xy, high: Xy) -> Option<Self> {
        let frame = self.frame;
        // A coordinate that is no number would pass for the edge of the grid below.
        if frame.is_empty() || [low.x, low.y, high.x, high.y].iter().any(|c| c.is_nan()) {
            return None;
        }
        let (top, left) = frame.fractional(Xy::new(low.x, high.y));
        let (bottom, right) = frame.fractional(Xy::new(high.x, low.y));
        let range = |first: f64, last: f64, count: usize| {
            let (first, last) = (first.ceil().max(0.0), last.floor().min(count as f64 - 1.0));
            (first <= last).then_some(first as usize..last as usize + 1)
        };
        let (rows, cols) = (range(top, bottom, frame.rows)?, range(left, right, frame.cols)?);
        let part =
            GridFrame { origin: frame.centre(rows.start, cols.start), cols: cols.len(), rows: rows.len(), ..frame };
        let line = |r: usize| &self.heights_m[r * frame.cols + cols.start..r * frame.cols + cols.end];
        Some(Self { frame: part, heights_m: rows.flat_map(line).copied().collect(), accuracy: self.accuracy })
    }

    /// Lowest and highest height with data, `None` when there is none.
    #[must_use]
    pub fn range(&self) -> Option<(f64, f64)> {
        // Eight at a time: one after the other each would wait for the one before.
        let among = |heights: &[f32]| {
            let (mut low, mut high) = ([f32::INFINITY; 8], [f32::NEG_INFINITY; 8]);
            let mut widen = |heights: &[f32]| {
                for ((low, high), h) in low.iter_mut().zip(&mut high).zip(heights) {
                    let known = h.abs() < f32::INFINITY;
                    *low = if known && *h < *low { *h } else { *low };
                    *high = if known && *h > *high { *h } else { *high };
                }
            };
            let (eights, rest) = heights.as_chunks::<8>();
            for eight in eights {
                widen(eight);
            }
            widen(rest);
            (low.into_iter().fold(f32::INFINITY, f32::min), high.into_iter().fold(f32::NEG_INFINITY, f32::max))
        };
        let wider = |a: (f32, f32), b: (f32, f32)| (a.0.min(b.0), a.1.max(b.1));
        let parts = self.heights_m.par_chunks(AT_ONCE).map(among);
        let (low, high) = parts.reduce(|| (f32::INFINITY, f32::NEG_INFINITY), wider);
        (low <= high).then(|| (f64::from(low), f64::from(high)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_keeps_its_posts_where_they_were() {
        let frame = GridFrame { origin: Xy::new(5.0, 95.0), cell_m: 10.0, cols: 8, rows: 10 };
        let heights_m = (0..80).map(|i| i as f32).collect();
        let all = Terrain { frame, heights_m, accuracy: TerrainAccuracy::default() };
        let part = all.part(Xy::new(20.0, 31.0), Xy::new(46.0, 500.0)).unwrap();
        assert_eq!((part.frame.rows, part.frame.cols), (7, 3));
        for r in 0..7 {
            for c in 0..3 {
                let at = part.frame.centre(r, c);
                let (row, col) = all.frame.cell_of(at).unwrap();
                assert_eq!(part.post(r, c), all.post(row, col));
            }
        }
        assert!(all.part(Xy::new(200.0, 0.0), Xy::new(300.0, 50.0)).is_none());
        assert!(all.part(Xy::new(f64::NAN, 0.0), Xy::new(300.0, 50.0)).is_none());
    }
}
