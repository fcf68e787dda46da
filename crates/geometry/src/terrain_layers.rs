//! The ground in classes for the map: how steep it is, and how high above home.

use crate::grid::{Terrain, TerrainAccuracy};
use crate::slope::horn;
use rayon::prelude::*;

/// Slopes (rise over run) at which the class changes, rising.
///
/// 0.02 and 0.0286: mean and local longitudinal slope of a landing strip; 0.125: slope of the fly-over area beside it
/// (CASA CAAP 92-1(1), *Guidelines for aeroplane landing areas*, July 1992; figures from memory). 0.05: the approach
/// surface of the same guidelines, 1 in 20. 0.10: common practice, no source: beyond it people land uphill only.
pub const SLOPE_LIMITS: [f32; 5] = [0.02, 0.0286, 0.05, 0.10, 0.125];

/// The class of ground without a height, or with a neighbour without one.
pub const NO_CLASS: u8 = u8::MAX;

/// The class of a slope: how many of the rising limits it exceeds; [`NO_CLASS`] for what is no number.
#[must_use]
pub fn class_of(value: f32, limits: &[f32]) -> u8 {
    if value.is_nan() {
        return NO_CLASS;
    }
    limits.partition_point(|&limit| limit < value) as u8
}

/// Steepest slope (rise over run) at every post by Horn's weights, row-major like the terrain.
///
/// `NaN` where the post or one of its eight neighbours has no height: at the rim, and beside missing data. Level
/// ground is never assumed there.
///
/// # Source
/// See [`horn`].
#[must_use]
pub fn slopes(terrain: &Terrain) -> Vec<f32> {
    let (rows, cols) = (terrain.frame.rows, terrain.frame.cols);
    let mut out = vec![f32::NAN; rows * cols];
    if rows < 3 || cols < 3 {
        return out;
    }
    let heights = &terrain.heights_m;
    out.par_chunks_mut(cols).enumerate().skip(1).take(rows - 2).for_each(|(row, line)| {
        let window = |dr: usize, col: usize| {
            let at = (row + dr - 1) * cols + col;
            [f64::from(heights[at - 1]), f64::from(heights[at]), f64::from(heights[at + 1])]
        };
        for (col, slope) in line.iter_mut().enumerate().take(cols - 1).skip(1) {
            let nine = [window(0, col), window(1, col), window(2, col)];
            // Horn gives the post itself no weight; without its height nothing is known of it all the same.
            if nine[1][1].is_finite() {
                *slope = horn(&nine, terrain.frame.cell_m).steepness() as f32;
            }
        }
    });
    out
}

/// Slope classes of every post by [`SLOPE_LIMITS`]: 0 is the flattest, [`NO_CLASS`] unknown.
#[must_use]
pub fn slope_classes(terrain: &Terrain) -> Vec<u8> {
    slopes(terrain).into_iter().map(|s| class_of(s, &SLOPE_LIMITS)).collect()
}

/// Classes of every post's height above a datum, by rising limits in metres; [`NO_CLASS`] without a height.
#[must_use]
pub fn height_classes(terrain: &Terrain, datum_amsl_m: f64, limits_m: &[f32]) -> Vec<u8> {
    let above = |&h: &f32| class_of((f64::from(h) - datum_amsl_m) as f32, limits_m);
    terrain.heights_m.iter().map(above).collect()
}

/// Standard error of a slope by Horn's weights (rise over run), from what is known of the heights' errors.
///
/// The six weights 1, 2, 1 on either side over 8 cells give √12 ∕ 8 of a post's error to a cell; a post's error is that
/// of a difference of two, divided by √2. Errors of neighbouring posts are taken as independent, which they are not
/// quite, so the figure is on the high side for errors that change slowly from post to post.
///
/// # Source
/// Propagation of variance through the weights of [`horn`].
#[must_use]
pub fn slope_error(accuracy: TerrainAccuracy, cell_m: f64) -> f64 {
    let post_m = accuracy.point_to_point_m / std::f64::consts::SQRT_2;
    12f64.sqrt() / 8.0 * post_m / cell_m
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::GridFrame;
    use crate::math;
    use crate::position::Xy;
    use proptest::prelude::*;

    fn terrain(rows: usize, cols: usize, cell_m: f64, height: impl Fn(usize, usize) -> f64) -> Terrain {
        let frame = GridFrame { origin: Xy::new(0.0, 0.0), cell_m, cols, rows };
        let heights_m = (0..rows * cols).map(|i| height(i / cols, i % cols) as f32).collect();
        Terrain { frame, heights_m, accuracy: TerrainAccuracy::default() }
    }

    #[test]
    fn a_plane_is_in_one_class_but_for_its_rim() {
        for (slope, class) in [(0.0, 0), (0.019, 0), (0.021, 1), (0.03, 2), (0.07, 3), (0.11, 4), (0.4, 5)] {
            let t = terrain(7, 9, 30.0, |_, col| 200.0 + slope * 30.0 * col as f64);
            let found = slope_classes(&t);
            for row in 0..7 {
                for col in 0..9 {
                    let rim = row == 0 || col == 0 || row == 6 || col == 8;
                    assert_eq!(found[row * 9 + col], if rim { NO_CLASS } else { class }, "{slope} {row} {col}");
                }
            }
        }
    }

    #[test]
    fn missing_ground_makes_its_neighbours_unknown() {
        let t = terrain(7, 7, 10.0, |r, c| if (r, c) == (3, 3) { f64::NAN } else { 50.0 });
        let found = slope_classes(&t);
        let known = found.iter().filter(|&&class| class != NO_CLASS).collect::<Vec<_>>();
        // Of 49 posts, without the rim of 24 and nine round the hole.
        assert_eq!(known.len(), 49 - 24 - 9);
        assert!(slope_classes(&terrain(2, 9, 10.0, |_, _| 1.0)).iter().all(|&c| c == NO_CLASS));
        assert_eq!(height_classes(&t, 40.0, &[5.0, 9.0, 15.0])[0], 2);
        assert_eq!(height_classes(&t, 40.0, &[5.0])[3 * 7 + 3], NO_CLASS);
    }

    #[test]
    fn the_error_of_a_slope_is_that_of_many_noisy_planes() {
        // A second computation: the spread of slopes that noise alone makes on level ground.
        let (cell, sigma_post) = (30.0, 1.4);
        let mut seed = 7u64;
        let mut uniform = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            ((seed >> 11) as f64 + 0.5) / (1u64 << 53) as f64
        };
        let mut sum = 0.0;
        let count = 40_000;
        for _ in 0..count {
            let mut noise = || (-2.0 * math::ln(uniform())).sqrt() * math::cos(math::TAU * uniform()) * sigma_post;
            let window = [[noise(), noise(), noise()], [noise(), noise(), noise()], [noise(), noise(), noise()]];
            sum += horn(&window, cell).east.powi(2);
        }
        let measured = (sum / f64::from(count)).sqrt();
        let accuracy = TerrainAccuracy { point_to_point_m: sigma_post * 2f64.sqrt(), ..TerrainAccuracy::default() };
        assert!((slope_error(accuracy, cell) / measured - 1.0).abs() < 0.02, "{measured}");
    }

    proptest! {
        #[test]
        fn steeper_is_never_in_a_flatter_class(a in 0f32..0.5, b in 0f32..0.5) {
            let (low, high) = (a.min(b), a.max(b));
            prop_assert!(class_of(low, &SLOPE_LIMITS) <= class_of(high, &SLOPE_LIMITS));
        }
    }
}
