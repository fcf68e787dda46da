//! Slope of the terrain around one post.

use crate::math;

/// The steepest slope and where it points, from a 3 × 3 window of heights.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gradient {
    /// Rise over run towards east.
    pub east: f64,
    /// Rise over run towards north.
    pub north: f64,
}

impl Gradient {
    /// Steepest rise over run, never negative.
    #[must_use]
    pub fn steepness(self) -> f64 {
        math::hypot(self.east, self.north)
    }
    /// Angle of the steepest slope, radians in [0, π/2).
    #[must_use]
    pub fn angle_rad(self) -> f64 {
        math::atan(self.steepness())
    }
}

/// Gradient at the middle of nine heights by Horn's weights, which damp noise of single posts.
///
/// # Units
/// Heights and the side of a cell in metres.
///
/// # Shape
/// Rows from north to south, columns from west to east, like every grid of the crate. `NaN` among the heights that
/// carry weight makes the result `NaN`: a neighbour without data is never taken for level ground.
///
/// # Source
/// B. K. P. Horn, *Hill shading and the reflectance map*, Proceedings of the IEEE 69 (1981), pp. 14–47.
#[must_use]
pub fn horn(window_m: &[[f64; 3]; 3], cell_m: f64) -> Gradient {
    let [[a, b, c], [d, _, f], [g, h, i]] = *window_m;
    Gradient {
        east: ((c + 2.0 * f + i) - (a + 2.0 * d + g)) / (8.0 * cell_m),
        north: ((a + 2.0 * b + c) - (g + 2.0 * h + i)) / (8.0 * cell_m),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plane_has_its_own_gradient() {
        let (east, north) = (0.03, -0.08);
        let mut window = [[0.0; 3]; 3];
        for (row, line) in window.iter_mut().enumerate() {
            for (col, height) in line.iter_mut().enumerate() {
                *height = 100.0 + east * 25.0 * col as f64 - north * 25.0 * row as f64;
            }
        }
        let gradient = horn(&window, 25.0);
        assert!((gradient.east - east).abs() < 1e-12 && (gradient.north - north).abs() < 1e-12);
    }

    #[test]
    fn a_missing_neighbour_is_not_level_ground() {
        let mut window = [[50.0; 3]; 3];
        window[0][2] = f64::NAN;
        assert!(horn(&window, 25.0).steepness().is_nan());
    }
}
