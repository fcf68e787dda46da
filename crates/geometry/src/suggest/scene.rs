//! What fields are suggested from, and what for.

use super::cover::LandCover;
use super::standing::Standing;
use crate::aircraft::Aircraft;
use crate::fields::criteria::MAX_CROSS_SLOPE;
use crate::fields::model::{Field, Hazard, HazardKind, HazardShape, Surface};
use crate::fields::needed::{LandingCase, SafetyFactor};
use crate::fields::strip::room_around_m;
use crate::grid::Terrain;
use crate::position::Xy;
use std::sync::Arc;
use thiserror::Error;

/// Something to keep off.
#[derive(Clone, Debug, PartialEq)]
pub struct Barrier {
    /// Where it is.
    pub shape: HazardShape,
    /// Distance to keep from it, metres.
    pub keep_off_m: f64,
}

/// Distance kept from the middle of a road or track, metres: half a lane with its verge, and wires or ditches beside
/// it. Common practice, no source.
pub const KEEP_OFF_ROAD_M: f64 = 8.0;
/// Distance kept from the middle of a river or stream, metres. Common practice, no source.
pub const KEEP_OFF_RIVER_M: f64 = 15.0;
/// Distance kept from wires, metres. Common practice, no source.
pub const KEEP_OFF_WIRES_M: f64 = 10.0;

impl Barrier {
    /// A known hazard with the room taken around it.
    #[must_use]
    pub fn around(hazard: &Hazard) -> Self {
        let keep_off_m = match hazard.kind {
            HazardKind::Wires => KEEP_OFF_WIRES_M,
            kind => room_around_m(kind),
        };
        Self { shape: hazard.shape.clone(), keep_off_m }
    }
    /// A road or track.
    #[must_use]
    pub fn road(line: Vec<Xy>) -> Self {
        Self { shape: HazardShape::Line(line), keep_off_m: KEEP_OFF_ROAD_M }
    }
    /// A river or stream.
    #[must_use]
    pub fn river(line: Vec<Xy>) -> Self {
        Self { shape: HazardShape::Line(line), keep_off_m: KEEP_OFF_RIVER_M }
    }
}

/// All that is known of the land, in one frame. Only the terrain must be there.
#[derive(Clone, Copy, Debug)]
pub struct Scene<'a> {
    /// Terrain.
    pub terrain: &'a Terrain,
    /// Land cover.
    pub cover: Option<&'a LandCover>,
    /// What stands on the ground.
    pub standing: Option<&'a Standing>,
    /// Fields that are known already; nothing is suggested on them.
    pub fields: &'a [Arc<Field>],
    /// What to keep off.
    pub barriers: &'a [Barrier],
}

/// What a field must offer, and where the search ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// Width of the strip with the margin kept at its sides, metres.
    pub strip_width_m: f64,
    /// Room to be off the middle of the strip, on both sides together, metres: nobody who glides in lines up to the
    /// metre, so a suggestion is this much wider than its strip over the whole needed length. Ribbons of ground along
    /// rivers and roads, which hold a strip and nothing else, are not suggested. 0 asks for no room.
    pub lining_up_m: f64,
    /// Length the landing needs with the margin kept at both ends, metres.
    pub needed_m: f64,
    /// Steepest slope along the strip, rise over run.
    pub max_slope_along: f64,
    /// Steepest slope across the strip, rise over run.
    pub max_slope_across: f64,
    /// Roughest ground: root of the mean squared distance from the mean plane, metres.
    pub max_roughness_m: f64,
    /// Highest step or dip of a post against the ground around it, metres; counts only where posts are close enough to
    /// show one ([`CLOSE_POSTS_M`]).
    pub max_step_m: f64,
    /// Side of the window in which planes are fitted, metres; at least three posts.
    pub window_m: f64,
    /// What stands higher than this is no part of a field, metres.
    pub standing_m: f64,
    /// Ground larger than this is cut into pieces, m².
    pub largest_m2: f64,
    /// Side of a cell of the search, metres; `None` for one that suits the data.
    pub cell_m: Option<f64>,
    /// Most proposals; the best are kept.
    pub most: usize,
}

/// Posts at most this far apart show steps and ditches, metres. Common practice, no source.
pub const CLOSE_POSTS_M: f64 = 3.0;

/// Strips are looked for along this many headings over half a circle.
pub const HEADINGS: u32 = 36;

/// Most cells of a search: 64 million.
pub const MOST_CELLS: usize = 64_000_000;

impl Default for Options {
    /// For the example aircraft; see [`Options::of`].
    fn default() -> Self {
        Self::of(&Aircraft::example_flexwing(), SafetyFactor::Recommended)
    }
}

impl Options {
    /// What an aircraft needs on a surface nobody knows, in still air at sea level, with the margin it keeps from edges
    /// on all sides.
    ///
    /// To line up there is half the aircraft's own strip on either side; common practice, no source.
    ///
    /// The slope along may reach 6 %, which the slope criterion still calls workable when landed on uphill; the slope
    /// across the limit of that criterion. Roughness as that criterion, 1 m over a window. A quarter section (160
    /// acres, 65 ha) is about the largest field that is farmed as one; common practice, no source.
    #[must_use]
    pub fn of(aircraft: &Aircraft, safety: SafetyFactor) -> Self {
        let case =
            LandingCase { surface: Surface::Unknown, slope: Some(0.0), headwind_ms: 0.0, density_ratio: 1.0, safety };
        let margins_m = 2.0 * aircraft.edge_margin_m;
        Self {
            strip_width_m: aircraft.strip_width_m + margins_m,
            lining_up_m: aircraft.strip_width_m,
            needed_m: case.needed_m(aircraft) + margins_m,
            max_slope_along: 0.06,
            max_slope_across: MAX_CROSS_SLOPE,
            max_roughness_m: 1.0,
            max_step_m: 0.5,
            window_m: 60.0,
            standing_m: 1.0,
            largest_m2: 650_000.0,
            cell_m: None,
            most: 2_000,
        }
    }

    /// Width of the ground that a suggestion offers over the needed length, metres.
    #[must_use]
    pub fn room_m(&self) -> f64 {
        self.strip_width_m + self.lining_up_m
    }

    /// Whether the numbers can be worked with.
    ///
    /// # Errors
    /// Names the first that cannot.
    pub fn check(&self) -> Result<(), SuggestError> {
        let positive = [
            ("strip width", self.strip_width_m),
            // Nothing is a width of room that can be asked for.
            (
                "strip width with room to line up",
                if self.lining_up_m >= 0.0 { self.room_m() } else { self.lining_up_m },
            ),
            ("needed length", self.needed_m),
            ("slope along", self.max_slope_along),
            ("slope across", self.max_slope_across),
            ("roughness", self.max_roughness_m),
            ("step", self.max_step_m),
            ("window", self.window_m),
            ("height that stands", self.standing_m),
            ("largest field", self.largest_m2),
            ("cell", self.cell_m.unwrap_or(1.0)),
        ];
        match positive.into_iter().find(|(_, v)| !(*v > 0.0 && v.is_finite())) {
            Some((what, value)) => Err(SuggestError::BadOption { what, value }),
            None => Ok(()),
        }
    }
}

/// Why no fields were suggested.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum SuggestError {
    /// A number among the options cannot be worked with.
    #[error("the {what} is {value}, but must be greater than zero")]
    BadOption {
        /// Which.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// The terrain is too small to fit a plane to.
    #[error("the terrain has {cols} × {rows} posts, too few to measure a slope; use a larger piece")]
    TooSmall {
        /// Columns.
        cols: usize,
        /// Rows.
        rows: usize,
    },
    /// The cell asked for makes too many of them.
    #[error("cells of {cell_m} m make {millions:.0} million of them, more than {}; use larger cells or a smaller area", MOST_CELLS / 1_000_000)]
    TooLarge {
        /// Side of a cell, metres.
        cell_m: f64,
        /// How many, in millions.
        millions: f64,
    },
    /// The caller asked to stop.
    #[error("suggesting fields was stopped")]
    Cancelled,
}
