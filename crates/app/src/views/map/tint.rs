//! The ground in classes: how steep it is for landing, or how high above home.

use super::relief::{GroundLook, TILE_PX};
use crate::theme::{Colours, Theme, mix, with_alpha};
use egui::Color32;
use sparefield_geometry::grid::{GridFrame, Terrain};
use sparefield_geometry::position::Xy;
use sparefield_geometry::terrain_layers::{NO_CLASS, SLOPE_LIMITS, height_classes, slope_classes};

/// Metres of a foot, by definition.
const FOOT_M: f32 = 0.304_8;
/// Heights above home at which the class changes, feet and metres; common practice, no source: fine near the height
/// of home, where a glide and an altimeter set on the home strip are judged by it.
const HEIGHT_LIMITS_FT: [f32; 8] = [-300.0, -150.0, -50.0, 50.0, 150.0, 300.0, 600.0, 1_000.0];
const HEIGHT_LIMITS_M: [f32; 8] = [-100.0, -50.0, -15.0, 15.0, 50.0, 100.0, 200.0, 300.0];
/// The class that holds the datum itself.
const AT_HOME: usize = 3;
/// How much of light and shade, and of an image, a class hides.
const OVER_SHADING: f32 = 0.62;
const OVER_IMAGE: f32 = 0.5;

/// Which classes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Tint {
    /// By slope.
    Slope,
    /// By height above a datum.
    Height {
        /// Height of the datum above mean sea level, metres.
        datum_m: f64,
        /// Classes are round in feet rather than in metres.
        feet: bool,
    },
}

impl Tint {
    /// The rising limits between the classes: rise over run, or metres above the datum.
    #[must_use]
    pub fn limits(&self) -> Vec<f32> {
        match self {
            Self::Slope => SLOPE_LIMITS.to_vec(),
            Self::Height { feet: true, .. } => HEIGHT_LIMITS_FT.map(|f| f * FOOT_M).to_vec(),
            Self::Height { feet: false, .. } => HEIGHT_LIMITS_M.to_vec(),
        }
    }

    /// The class of every post.
    #[must_use]
    pub fn classes(&self, terrain: &Terrain) -> Vec<u8> {
        match self {
            Self::Slope => slope_classes(terrain),
            Self::Height { datum_m, .. } => height_classes(terrain, *datum_m, &self.limits()),
        }
    }

    /// The colour of a class.
    #[must_use]
    pub fn colour(&self, class: usize, colours: &Colours) -> Color32 {
        let last = self.limits().len();
        match self {
            Self::Slope => mix(colours.slope_gentle, colours.slope_steep, class as f32 / last as f32),
            Self::Height { .. } if class < AT_HOME => {
                mix(colours.at_home, colours.below_home, (AT_HOME - class) as f32 / AT_HOME as f32)
            }
            Self::Height { .. } => {
                mix(colours.at_home, colours.above_home, (class - AT_HOME) as f32 / (last - AT_HOME) as f32)
            }
        }
    }

    /// Lays the classes over the pixels of a tile. Every cell shows its own class: nothing between posts is made up.
    #[allow(clippy::too_many_arguments, reason = "one step of drawing a tile")]
    pub(super) fn paint(
        &self,
        frame: &GridFrame,
        classes: &[u8],
        nw: Xy,
        mpp: f64,
        theme: &Theme,
        look: &GroundLook,
        pixels: &mut [Color32],
    ) {
        let colours: Vec<Color32> = (0..=self.limits().len()).map(|class| self.colour(class, &theme.colours)).collect();
        for (i, pixel) in pixels.iter_mut().enumerate() {
            let at = Xy::new(nw.x + ((i % TILE_PX) as f64 + 0.5) * mpp, nw.y - ((i / TILE_PX) as f64 + 0.5) * mpp);
            let Some((row, col)) = frame.cell_of(at) else { continue };
            let class = classes.get(row * frame.cols + col).copied().unwrap_or(NO_CLASS);
            // Unknown ground keeps the look of the ground without a class.
            let Some(&colour) = colours.get(usize::from(class)) else { continue };
            *pixel = if look.shading {
                mix(*pixel, colour, OVER_SHADING * look.strength)
            } else {
                with_alpha(colour, OVER_IMAGE * look.strength)
            };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::theme::{Palette, Scheme};

    #[test]
    fn classes_are_ordered_by_lightness() {
        let palette = Palette::built_in().unwrap();
        let light = |c: Color32| 0.299 * f32::from(c.r()) + 0.587 * f32::from(c.g()) + 0.114 * f32::from(c.b());
        for scheme in [Scheme::Day, Scheme::Night] {
            let theme = Theme::new(&palette, scheme);
            let height = Tint::Height { datum_m: 0.0, feet: true };
            let runs = [(Tint::Slope, 0, 5), (height, AT_HOME, 8), (height, AT_HOME, 0)];
            for (tint, from, to) in runs {
                let steps: Vec<usize> = if from < to { (from..=to).collect() } else { (to..=from).rev().collect() };
                for pair in steps.windows(2) {
                    let [a, b] = [pair[0], pair[1]].map(|class| light(tint.colour(class, &theme.colours)));
                    let apart = if scheme == Scheme::Day { a - b } else { b - a };
                    assert!(apart > 10.0, "{tint:?} {scheme:?}: classes {pair:?} are {apart} apart");
                }
            }
        }
    }

    #[test]
    fn home_is_in_the_class_around_it() {
        for feet in [true, false] {
            let tint = Tint::Height { datum_m: 100.0, feet };
            let limits = tint.limits();
            assert!(limits[AT_HOME - 1] < 0.0 && limits[AT_HOME] > 0.0);
            assert!(limits.windows(2).all(|w| w[0] < w[1]));
        }
    }
}
