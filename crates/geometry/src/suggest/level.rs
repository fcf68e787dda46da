//! Dead level ground, which terrain models show where there is water.
//!
//! Whoever makes a terrain model flattens its lakes: every post of a lake gets one height. To a search for level ground a
//! reservoir is then the best field of all. Ground does not come as level as that over tens of metres, so what does is
//! left out. Heights in whole metres hide the difference: a plain has stretches of one height there, at many heights, and
//! a lake has one. Then nothing is left out, and it is said that water was not told from ground.
//!
//! # Source
//! Flattened water: the Copernicus DEM is an edited surface model in which water bodies are flattened (OpenTopography's
//! description of the data set); laser terrain is hydro-flattened likewise (USGS *Lidar Base Specification*, from memory).
//! The size and the centimetre: common practice, no source.

use super::bits::Bits;
use crate::grid::Terrain;

/// Heights that differ by less are one height, metres: more than the rounding of a resampled lake.
const SAME_M: f32 = 0.01;

/// Side of the square that must be of one height, metres.
const ACROSS_M: f64 = 100.0;

/// Level stretches at so many whole heights are a plain in whole metres.
const MANY_HEIGHTS: usize = 8;

/// What is dead level.
pub(super) struct Level {
    /// Posts in squares of one height; empty where the terrain is in whole metres.
    pub(super) posts: Bits,
    /// Whether the heights are in whole metres.
    pub(super) whole_metres: bool,
}

impl Level {
    pub(super) fn of(terrain: &Terrain) -> Self {
        let (rows, cols) = (terrain.frame.rows, terrain.frame.cols);
        let none = || Self { posts: Bits::none(rows, cols), whole_metres: false };
        if rows < 2 || cols < 2 {
            return none();
        }
        // Patches between four posts of one height.
        let level = Bits::by_rows(rows - 1, cols - 1, |row, words| {
            let north = &terrain.heights_m[row * cols..(row + 1) * cols];
            let south = &terrain.heights_m[(row + 1) * cols..(row + 2) * cols];
            for col in 0..cols - 1 {
                let four = [north[col], north[col + 1], south[col], south[col + 1]];
                // A missing height is not equal to anything.
                let is_level = four.iter().all(|h| (h - four[0]).abs() <= SAME_M);
                words[col / 64] |= u64::from(is_level) << (col % 64);
            }
        });
        if level.is_empty() {
            return none();
        }
        if in_whole_metres(terrain, &level) {
            return Self { whole_metres: true, ..none() };
        }
        let side = ((ACROSS_M / terrain.frame.cell_m).round() as usize).max(2);
        Self { posts: in_squares(&level, side), whole_metres: false }
    }
}

/// Whether level stretches lie at many heights, all of them whole metres.
fn in_whole_metres(terrain: &Terrain, level: &Bits) -> bool {
    let mut heights: Vec<i32> = Vec::new();
    for row in 0..level.rows {
        for col in 0..level.cols {
            if !level.get(row, col) {
                continue;
            }
            let height = terrain.heights_m[row * terrain.frame.cols + col];
            if (height - height.round()).abs() > SAME_M {
                return false;
            }
            let whole = height.round() as i32;
            if let Err(at) = heights.binary_search(&whole) {
                heights.insert(at, whole);
            }
        }
    }
    heights.len() >= MANY_HEIGHTS
}

/// Posts of the squares of so many patches that are all level.
fn in_squares(level: &Bits, side: usize) -> Bits {
    let (rows, cols) = (level.rows, level.cols);
    let mut posts = Bits::none(rows + 1, cols + 1);
    // Level patches in an unbroken column upwards, by column.
    let mut high = vec![0_u32; cols];
    for row in 0..rows {
        let mut run = 0;
        for (col, high) in high.iter_mut().enumerate() {
            *high = if level.get(row, col) { *high + 1 } else { 0 };
            run = if *high as usize >= side { run + 1 } else { 0 };
            if run >= side {
                for r in row + 1 - side..=row + 1 {
                    let (from, to) = (col + 1 - side, col + 2);
                    posts.set_run(super::bits::Run { row: r as u32, from: from as u32, to: to as u32 });
                }
            }
        }
    }
    posts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::GridFrame;
    use crate::position::Xy;

    fn ground(height: impl Fn(usize, usize) -> f64) -> Terrain {
        let frame = GridFrame { origin: Xy::default(), cell_m: 25.0, cols: 60, rows: 50 };
        let heights_m = (0..frame.len()).map(|i| height(i / 60, i % 60) as f32).collect();
        Terrain { frame, heights_m, accuracy: crate::grid::TerrainAccuracy::default() }
    }

    #[test]
    fn a_lake_is_level_and_a_field_is_not() {
        // A lake of 200 m by 300 m at 311.37 m in ground that falls by one in a hundred.
        let lake = |r: usize, c: usize| (10..=18).contains(&r) && (20..=32).contains(&c);
        let found = Level::of(&ground(|r, c| if lake(r, c) { 311.37 } else { 320.0 - 0.25 * c as f64 }));
        assert!(!found.whole_metres);
        for row in 0..50 {
            for col in 0..60 {
                assert_eq!(found.posts.get(row, col), lake(row, col), "{row} {col}");
            }
        }
    }

    #[test]
    fn a_pond_and_a_gap_are_not_water_and_neither_is_a_plain_in_whole_metres() {
        let pond = Level::of(&ground(|r, c| if r < 4 && c < 4 { 50.5 } else { 60.0 - 0.25 * c as f64 }));
        assert!(pond.posts.is_empty());
        let gap = Level::of(&ground(|r, c| if c == 30 { f64::NAN } else { 60.0 - 0.25 * r as f64 }));
        assert!(gap.posts.is_empty());
        let plain = Level::of(&ground(|r, c| (40.0 + 0.2 * (r + c) as f64).floor()));
        assert!(plain.whole_metres && plain.posts.is_empty());
        // One level stretch at one whole height is a lake all the same.
        let lake = Level::of(&ground(|r, c| if r < 20 && c < 20 { 40.0 } else { 40.3 + 0.3 * c as f64 }));
        assert!(!lake.whole_metres && lake.posts.count() == 400);
    }
}
