//! Several files on several lattices, resampled into one grid of the frame.
//!
//! Files whose posts lie on one lattice (the tiles of one model) are read as one, so that the surface between the last
//! row of a tile and the first row of the next is interpolated like any other. Lattices are taken finest first; a
//! coarser one fills what the finer ones leave open. A post of the grid has no height where any source post that
//! carries weight has none.

use super::affine::Affine;
use super::lattice::Lattice;
use super::source::{Source, Window};
use crate::error::{LoadError, LoadErrorKind, Progress};
use crate::frame::{FrameError, Transformer};
use sparefield_geometry::grid::GridFrame;
use sparefield_geometry::position::Xy;
use std::path::Path;

/// Rows of the grid computed at a time; bounds what is held of the sources.
const BAND_ROWS: usize = 128;
/// Most source posts read at once when averaging: 16 million.
const MOST_READ: usize = 16 << 20;
/// How near to a post counts as on it, in posts: 1e-6 of a 30 m post is 0.03 mm.
const ON_POST: f64 = 1e-6;

/// A source with the resolution that is read from it.
pub(crate) struct Member<'a> {
    pub(crate) source: Box<dyn Source + 'a>,
    /// Number of the level among the header's.
    pub(crate) level: usize,
    /// Where the member's posts begin on the group's lattice.
    pub(crate) col0: i64,
    pub(crate) row0: i64,
    pub(crate) cols: usize,
    pub(crate) rows: usize,
}

/// Sources on one lattice.
pub(crate) struct Group<'a> {
    pub(crate) members: Vec<Member<'a>>,
    /// From lattice posts to coordinates of the members' reference system.
    pub(crate) to_crs: Affine,
    pub(crate) transformer: Transformer,
    /// Longitude of the area's middle, for a geographic system: longitudes are taken within 180° of it.
    pub(crate) middle_lon_deg: Option<f64>,
    /// Mean spacing of the lattice's posts in metres.
    pub(crate) spacing_m: f64,
    /// Side of the square of posts that is averaged into one; 1 for none.
    pub(crate) averaged: usize,
}

/// Columns and rows: first and one past the last.
pub(crate) type Extent = (i64, i64, i64, i64);

impl Group<'_> {
    /// The part of the lattice that is covered.
    fn fine_extent(&self) -> Extent {
        let mut extent = (i64::MAX, i64::MAX, i64::MIN, i64::MIN);
        for m in &self.members {
            extent.0 = extent.0.min(m.col0);
            extent.1 = extent.1.min(m.row0);
            extent.2 = extent.2.max(m.col0 + m.cols as i64);
            extent.3 = extent.3.max(m.row0 + m.rows as i64);
        }
        extent
    }

    /// The posts after averaging: their map, and the part that is covered.
    pub(crate) fn posts(&self) -> (Affine, Extent) {
        let fine = self.fine_extent();
        if self.averaged <= 1 {
            return (self.to_crs, fine);
        }
        let k = self.averaged as f64;
        let inset = (k - 1.0) / 2.0;
        let map = self.to_crs.resampled(fine.0 as f64 + inset, fine.1 as f64 + inset, k, k);
        let side = self.averaged as i64;
        (map, (0, 0, (fine.2 - fine.0) / side, (fine.3 - fine.1) / side))
    }

    /// Heights of a rectangle of posts, after averaging.
    fn read(&mut self, at: Rectangle, progress: &dyn Progress) -> Result<Vec<f32>, LoadError> {
        let k = self.averaged;
        if k <= 1 {
            return self.gather(at, progress);
        }
        let fine = self.fine_extent();
        let mut out = Vec::with_capacity(at.cols * at.rows);
        let rows_at_once = (MOST_READ / (at.cols * k * k)).clamp(1, at.rows);
        let mut row = 0;
        while row < at.rows {
            let rows = rows_at_once.min(at.rows - row);
            let part = Rectangle {
                col: fine.0 + at.col * k as i64,
                row: fine.1 + (at.row + row as i64) * k as i64,
                cols: at.cols * k,
                rows: rows * k,
            };
            let heights = self.gather(part, progress)?;
            for r in 0..rows {
                for c in 0..at.cols {
                    // One missing post makes the mean unknown: NaN passes through the sum.
                    let mut sum = 0.0f64;
                    for line in 0..k {
                        let from = (r * k + line) * part.cols + c * k;
                        sum += heights[from..from + k].iter().map(|&h| f64::from(h)).sum::<f64>();
                    }
                    out.push((sum / (k * k) as f64) as f32);
                }
            }
            row += rows;
        }
        Ok(out)
    }

    /// Heights of a rectangle of the lattice, gathered from all members; the first with a height at a post wins.
    fn gather(&mut self, at: Rectangle, progress: &dyn Progress) -> Result<Vec<f32>, LoadError> {
        let mut out = vec![f32::NAN; at.cols * at.rows];
        for member in &mut self.members {
            let left = at.col.max(member.col0);
            let right = (at.col + at.cols as i64).min(member.col0 + member.cols as i64);
            let top = at.row.max(member.row0);
            let bottom = (at.row + at.rows as i64).min(member.row0 + member.rows as i64);
            if left >= right || top >= bottom {
                continue;
            }
            if progress.cancelled() {
                return Err(cancelled(&member.source.header().path));
            }
            let part = Window {
                col: (left - member.col0) as usize,
                row: (top - member.row0) as usize,
                cols: (right - left) as usize,
                rows: (bottom - top) as usize,
            };
            let heights = member.source.read(member.level, part)?;
            for row in 0..part.rows {
                let to = ((top - at.row) as usize + row) * at.cols + (left - at.col) as usize;
                for (target, &height) in out[to..to + part.cols].iter_mut().zip(&heights[row * part.cols..]) {
                    if target.is_nan() {
                        *target = height;
                    }
                }
            }
        }
        Ok(out)
    }
}

/// A rectangle of a lattice, which may begin anywhere.
#[derive(Clone, Copy)]
struct Rectangle {
    col: i64,
    row: i64,
    cols: usize,
    rows: usize,
}

/// The longitude within 180° of another one.
pub(crate) fn near_longitude(lon_deg: f64, middle_deg: f64) -> f64 {
    lon_deg + 360.0 * ((middle_deg - lon_deg) / 360.0).round()
}

pub(crate) fn cancelled(path: &Path) -> LoadError {
    LoadError::new(path, LoadErrorKind::Cancelled, "reading was stopped", "")
}

/// Bounds of a lattice in the frame: the area spanned by its outermost posts, along edges divided finely enough.
pub(crate) fn bounds_in_frame(
    to_crs: &Affine,
    extent: Extent,
    transformer: &Transformer,
) -> Result<(Xy, Xy), FrameError> {
    const STEPS: usize = 20;
    let (c0, r0) = (extent.0 as f64, extent.1 as f64);
    let (c1, r1) = (extent.2 as f64 - 1.0, extent.3 as f64 - 1.0);
    let mut low = Xy::new(f64::INFINITY, f64::INFINITY);
    let mut high = Xy::new(f64::NEG_INFINITY, f64::NEG_INFINITY);
    for i in 0..=STEPS {
        let t = i as f64 / STEPS as f64;
        let (c, r) = (c0 + (c1 - c0) * t, r0 + (r1 - r0) * t);
        for (col, row) in [(c, r0), (c, r1), (c0, r), (c1, r)] {
            let (x, y) = to_crs.apply(col, row);
            let at = transformer.to_frame(x, y)?;
            low = Xy::new(low.x.min(at.x), low.y.min(at.y));
            high = Xy::new(high.x.max(at.x), high.y.max(at.y));
        }
    }
    Ok((low, high))
}

/// Resamples all groups into a grid; `NaN` is no data.
pub(crate) fn resample(
    groups: &mut [Group<'_>],
    grid: &GridFrame,
    progress: &dyn Progress,
) -> Result<Vec<f32>, LoadError> {
    let mut heights = vec![f32::NAN; grid.len()];
    let seams = seams(groups);
    let mut top = 0;
    while top < grid.rows {
        let rows = BAND_ROWS.min(grid.rows - top);
        let band = GridFrame { origin: grid.centre(top, 0), rows, ..*grid };
        let out = &mut heights[top * grid.cols..(top + rows) * grid.cols];
        for group in groups.iter_mut() {
            fill(group, &band, out, 0.0, progress)?;
        }
        // Between two lattices that adjoin, neither reaches across: half a post past its edge, the edge is taken.
        for (group, _) in groups.iter_mut().zip(&seams).filter(|(_, seam)| **seam) {
            fill(group, &band, out, 0.5, progress)?;
        }
        top += rows;
        progress.report(top as f64 / grid.rows as f64);
        if progress.cancelled() {
            let path = groups.first().and_then(|g| g.members.first()).map(|m| m.source.header().path.clone());
            return Err(cancelled(&path.unwrap_or_default()));
        }
    }
    Ok(heights)
}

/// For each lattice, whether another one begins within a post of it, so that a seam may lie between them.
fn seams(groups: &[Group<'_>]) -> Vec<bool> {
    let bounds: Vec<_> = groups
        .iter()
        .map(|g| {
            let (map, extent) = g.posts();
            bounds_in_frame(&map, extent, &g.transformer).ok()
        })
        .collect();
    let near = |a: usize, b: usize| {
        let (Some((al, ah)), Some((bl, bh))) = (bounds[a], bounds[b]) else { return false };
        let spacing = |g: &Group<'_>| g.spacing_m * g.averaged as f64;
        let reach = spacing(&groups[a]) + spacing(&groups[b]);
        bl.x <= ah.x + reach && bh.x >= al.x - reach && bl.y <= ah.y + reach && bh.y >= al.y - reach
    };
    (0..groups.len()).map(|a| (0..groups.len()).any(|b| a != b && near(a, b))).collect()
}

/// Fills the posts of a band that have no height yet; `past_edge` is how far beyond the outermost posts the edge counts.
fn fill(
    group: &mut Group<'_>,
    band: &GridFrame,
    out: &mut [f32],
    past_edge: f64,
    progress: &dyn Progress,
) -> Result<(), LoadError> {
    if out.iter().all(|h| !h.is_nan()) {
        return Ok(());
    }
    let (map, extent) = group.posts();
    let Some(to_lattice) = map.inverse() else { return Ok(()) };
    let transformer = &group.transformer;
    let middle_lon_deg = group.middle_lon_deg;
    let lattice = Lattice::new(band, |at| {
        let (x, y) = transformer.from_frame(at).ok()?;
        Some(to_lattice.apply(middle_lon_deg.map_or(x, |middle| near_longitude(x, middle)), y))
    });
    let Some((low_col, low_row, high_col, high_row)) = lattice.bounds() else { return Ok(()) };
    // One post of slack on each side for the approximation and the second post of the interpolation.
    let col0 = ((low_col.floor() as i64).saturating_sub(1)).max(extent.0);
    let col1 = ((high_col.ceil() as i64).saturating_add(2)).min(extent.2);
    let row0 = ((low_row.floor() as i64).saturating_sub(1)).max(extent.1);
    let row1 = ((high_row.ceil() as i64).saturating_add(2)).min(extent.3);
    if col0 >= col1 || row0 >= row1 {
        return Ok(());
    }
    let (cols, rows) = ((col1 - col0) as usize, (row1 - row0) as usize);
    let posts = group.read(Rectangle { col: col0, row: row0, cols, rows }, progress)?;
    let (last_col, last_row) = ((cols - 1) as f64, (rows - 1) as f64);
    for row in 0..band.rows {
        for (col, (source_col, source_row)) in lattice.row(row).enumerate() {
            let target = &mut out[row * band.cols + col];
            if !target.is_nan() {
                continue;
            }
            let (c, r) = (source_col - col0 as f64, source_row - row0 as f64);
            let (Some(c), Some(r)) = (inside(c, last_col, past_edge), inside(r, last_row, past_edge)) else {
                continue;
            };
            *target = bilinear(&posts, cols, c, r);
        }
    }
    Ok(())
}

/// The coordinate on the lattice, put on the post it lies on and on the edge it lies just past.
fn inside(value: f64, last: f64, past_edge: f64) -> Option<f64> {
    if !value.is_finite() {
        return None;
    }
    let nearest = value.round();
    let value = if (value - nearest).abs() <= ON_POST { nearest } else { value };
    if value >= -past_edge && value <= last + past_edge { Some(value.clamp(0.0, last)) } else { None }
}

/// The bilinear surface between posts; `NaN` where a post that carries weight has no height.
fn bilinear(posts: &[f32], cols: usize, c: f64, r: f64) -> f32 {
    let (c0, r0) = (c.floor(), r.floor());
    let (fc, fr) = (c - c0, r - r0);
    let at = r0 as usize * cols + c0 as usize;
    let line = |start: usize| {
        let first = f64::from(posts[start]);
        if fc > 0.0 { first * (1.0 - fc) + f64::from(posts[start + 1]) * fc } else { first }
    };
    let upper = line(at);
    let height = if fr > 0.0 { upper * (1.0 - fr) + line(at + cols) * fr } else { upper };
    height as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_post_without_weight_does_not_matter_and_one_with_weight_does() {
        let posts = [1.0, f32::NAN, 3.0, 4.0];
        assert_eq!(bilinear(&posts, 2, 0.0, 0.0), 1.0);
        assert_eq!(bilinear(&posts, 2, 0.0, 0.5), 2.0);
        assert!(bilinear(&posts, 2, 1e-5, 0.5).is_nan());
        assert!(bilinear(&posts, 2, 0.5, 0.0).is_nan());
        assert_eq!(bilinear(&posts, 2, 0.5, 1.0), 3.5);
    }

    #[test]
    fn positions_are_put_on_posts_and_edges() {
        assert_eq!(inside(2.999_999_9, 3.0, 0.0), Some(3.0));
        assert_eq!(inside(-0.000_000_1, 3.0, 0.0), Some(0.0));
        assert_eq!(inside(-0.4, 3.0, 0.0), None);
        assert_eq!(inside(-0.4, 3.0, 0.5), Some(0.0));
        assert_eq!(inside(f64::NAN, 3.0, 0.5), None);
    }
}
