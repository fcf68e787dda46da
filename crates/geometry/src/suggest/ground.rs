//! Planes through windows of the terrain: slope and roughness at every post.
//!
//! # Method
//! The sums that a least-squares plane needs (z, x·z, y·z, z²) over a square window follow from sums over columns,
//! which follow from the row above by one row in and one row out: the work at a post does not depend on the window.
//! Heights are taken in whole 1/1024 m and added as integers, so that running sums never drift and the answer has the
//! same bits wherever a band of rows begins. This is a summed-area table (F. C. Crow, *Summed-area tables for texture
//! mapping*, SIGGRAPH 1984) of which only the part in use is kept.

use crate::grid::Terrain;
use rayon::prelude::*;

/// Parts of a metre in which heights are added.
const UNIT: f64 = 1024.0;
/// Adding and taking away this rounds a number of up to 2⁵¹ to a whole one: 1.5 · 2⁵², from where doubles lie 1 apart.
const TO_WHOLE: f64 = 6_755_399_441_055_744.0;
/// Rows worked out on one thread at a time.
const BAND_ROWS: usize = 64;
/// Most posts from the middle of a window to its side; keeps every sum within 64 bits for heights up to 16 km.
pub(super) const WIDEST_HALF: usize = 60;

/// The plane through the window around each post, row-major; `NaN` where the window has a missing height or reaches
/// past the edge.
#[derive(Clone, Debug)]
pub(super) struct Planes {
    /// Rise over run towards east.
    pub(super) east: Vec<f32>,
    /// Rise over run towards north.
    pub(super) north: Vec<f32>,
    /// Root of the mean squared distance of the heights from the plane, metres.
    pub(super) roughness_m: Vec<f32>,
    /// Height of the post above the plane, metres.
    pub(super) step_m: Vec<f32>,
}

/// Column sums over the rows of a window: how many posts, z, (row − middle)·z, z².
#[derive(Clone, Copy, Default)]
struct Column {
    posts: i64,
    z: i64,
    yz: i64,
    zz: i64,
}

/// Fits planes to windows of (2·half + 1)² posts.
pub(super) fn planes(terrain: &Terrain, half: usize, cancel: &(dyn Fn() -> bool + Sync)) -> Planes {
    let (rows, cols) = (terrain.frame.rows, terrain.frame.cols);
    let half = half.clamp(1, WIDEST_HALF);
    let empty = || vec![f32::NAN; rows * cols];
    let mut out = Planes { east: empty(), north: empty(), roughness_m: empty(), step_m: empty() };
    if rows < 2 * half + 1 || cols < 2 * half + 1 {
        return out;
    }
    let size = BAND_ROWS * cols;
    out.east
        .par_chunks_mut(size)
        .zip(out.north.par_chunks_mut(size))
        .zip(out.roughness_m.par_chunks_mut(size))
        .zip(out.step_m.par_chunks_mut(size))
        .enumerate()
        .for_each(|(band, (((east, north), roughness), step))| {
            if !cancel() {
                fit_band(terrain, half, band * BAND_ROWS, [east, north, roughness, step]);
            }
        });
    out
}

fn fit_band(terrain: &Terrain, half: usize, top: usize, out: [&mut [f32]; 4]) {
    let (rows, cols) = (terrain.frame.rows, terrain.frame.cols);
    let [east, north, roughness, step] = out;
    let count = east.len() / cols;
    let first = top.max(half);
    let last = (top + count).min(rows - half);
    if first >= last {
        return;
    }
    let side = 2 * half + 1;
    let n = (side * side) as f64;
    // Σx² over the window, in posts².
    let spread = side as f64 * (half * (half + 1) * (2 * half + 1)) as f64 / 3.0;
    let whole = |row: usize, col: usize| {
        let h = terrain.heights_m[row * cols + col];
        h.is_finite().then(|| (f64::from(h) * UNIT + TO_WHOLE - TO_WHOLE) as i64)
    };
    // Heights count from the middle of the band, so that squares stay small.
    let base = (0..cols).find_map(|c| whole(first, c)).unwrap_or(0);
    let mut columns = vec![Column::default(); cols];
    for row in first - half..=first + half {
        let y = row as i64 - first as i64;
        for (col, column) in columns.iter_mut().enumerate() {
            if let Some(z) = whole(row, col) {
                let z = z - base;
                column.posts += 1;
                column.z += z;
                column.yz += y * z;
                column.zz += z * z;
            }
        }
    }
    let full = (side * side) as i64;
    for row in first..last {
        if row > first {
            let (gone, come) = (row - 1 - half, row + half);
            let reach = half as i64;
            for (col, column) in columns.iter_mut().enumerate() {
                // The middle moves on by one row: every distance from it falls by one.
                if let Some(z) = whole(gone, col) {
                    let z = z - base;
                    column.posts -= 1;
                    column.z -= z;
                    column.yz += reach * z;
                    column.zz -= z * z;
                }
                column.yz -= column.z;
                if let Some(z) = whole(come, col) {
                    let z = z - base;
                    column.posts += 1;
                    column.z += z;
                    column.yz += reach * z;
                    column.zz += z * z;
                }
            }
        }
        let mut sum = Column::default();
        // Σ (column − middle)·z.
        let mut xz = 0i64;
        for (col, column) in columns[..side].iter().enumerate() {
            sum.posts += column.posts;
            sum.z += column.z;
            sum.yz += column.yz;
            sum.zz += column.zz;
            xz += (col as i64 - half as i64) * column.z;
        }
        for col in half..cols - half {
            if col > half {
                let (gone, come) = (columns[col - 1 - half], columns[col + half]);
                let reach = half as i64;
                sum.posts += come.posts - gone.posts;
                sum.yz += come.yz - gone.yz;
                sum.zz += come.zz - gone.zz;
                xz += reach * gone.z;
                sum.z -= gone.z;
                xz -= sum.z;
                sum.z += come.z;
                xz += reach * come.z;
            }
            if sum.posts != full {
                continue;
            }
            let (z, zz) = (sum.z as f64, sum.zz as f64);
            let (x_slope, y_slope) = (xz as f64 / spread, sum.yz as f64 / spread);
            let mean = z / n;
            let off = (zz - z * mean) / n - (x_slope * x_slope + y_slope * y_slope) * spread / n;
            let at = (row - top) * cols + col;
            let per_metre = 1.0 / (UNIT * terrain.frame.cell_m);
            east[at] = (x_slope * per_metre) as f32;
            // Rows run south.
            north[at] = (-y_slope * per_metre) as f32;
            roughness[at] = (off.max(0.0).sqrt() / UNIT) as f32;
            if let Some(own) = whole(row, col) {
                step[at] = (((own - base) as f64 - mean) / UNIT) as f32;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::{GridFrame, TerrainAccuracy};
    use crate::position::Xy;
    use proptest::prelude::*;

    pub(super) fn terrain(rows: usize, cols: usize, cell_m: f64, height: impl Fn(Xy) -> f64) -> Terrain {
        let frame = GridFrame { origin: Xy::new(0.0, 0.0), cell_m, cols, rows };
        let heights_m = (0..rows * cols).map(|i| height(frame.centre(i / cols, i % cols)) as f32).collect();
        Terrain { frame, heights_m, accuracy: TerrainAccuracy::default() }
    }

    /// The plane by its normal equations, one post after the other.
    fn plainly(t: &Terrain, half: usize, row: usize, col: usize) -> Option<[f64; 4]> {
        let (mut n, mut sx, mut sy, mut mean) = (0.0, 0.0, 0.0, 0.0);
        let (mut xx, mut yy) = (0.0, 0.0);
        let h = half as i64;
        let mut posts = Vec::new();
        for dr in -h..=h {
            for dc in -h..=h {
                let z = t.post(row.checked_add_signed(dr as isize)?, col.checked_add_signed(dc as isize)?)?;
                let (x, y) = (dc as f64 * t.frame.cell_m, -dr as f64 * t.frame.cell_m);
                posts.push((x, y, z));
                n += 1.0;
                mean += z;
            }
        }
        mean /= n;
        for &(x, y, z) in &posts {
            sx += x * (z - mean);
            sy += y * (z - mean);
            xx += x * x;
            yy += y * y;
        }
        let (e, no) = (sx / xx, sy / yy);
        let rough: f64 = posts.iter().map(|&(x, y, z)| (z - mean - e * x - no * y).powi(2)).sum::<f64>() / n;
        Some([e, no, rough.sqrt(), t.post(row, col)? - mean])
    }

    proptest! {
        #[test]
        fn running_sums_give_the_planes_of_plain_sums(
            heights in prop::collection::vec(0.0..900.0f64, 150 * 9), half in 1usize..4, hole in 0usize..1350,
        ) {
            let mut t = terrain(150, 9, 10.0, |_| 0.0);
            for (to, from) in t.heights_m.iter_mut().zip(&heights) {
                // Heights that whole 1/1024 m hold exactly.
                *to = ((from * 64.0).round() / 64.0) as f32;
            }
            t.heights_m[hole] = f32::NAN;
            let found = planes(&t, half, &|| false);
            for row in 0..150 {
                for col in 0..9 {
                    let at = row * 9 + col;
                    match plainly(&t, half, row, col) {
                        None => prop_assert!(found.east[at].is_nan() && found.roughness_m[at].is_nan()),
                        Some([e, n, rough, step]) => {
                            prop_assert!((f64::from(found.east[at]) - e).abs() < 1e-5);
                            prop_assert!((f64::from(found.north[at]) - n).abs() < 1e-5);
                            prop_assert!((f64::from(found.roughness_m[at]) - rough).abs() < 1e-2);
                            prop_assert!((f64::from(found.step_m[at]) - step).abs() < 1e-2);
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn a_plane_is_its_own_and_not_rough_even_high_up() {
        let t = terrain(200, 40, 1.0, |p| 8_000.0 + 0.04 * p.x - 0.03 * p.y);
        let found = planes(&t, 15, &|| false);
        let at = 100 * 40 + 20;
        assert!((f64::from(found.east[at]) - 0.04).abs() < 1e-4);
        assert!((f64::from(found.north[at]) + 0.03).abs() < 1e-4);
        // The heights are single precision: 0.5 mm at 8 km.
        assert!(found.roughness_m[at] < 0.002, "{}", found.roughness_m[at]);
        assert!(found.east[14 * 40 + 20].is_nan() && !found.east[15 * 40 + 20].is_nan());
    }
}
