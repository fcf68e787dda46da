//! Least height everywhere: how high the aircraft must be so that one, two or three fields are in reach.
//!
//! The mirror image of forward reach, for all fields at once: the least height at a place is that from which a glide
//! over the terrain arrives overhead a field as high as the field asks ([`crate::fields::demand`]), coming from there.
//! Anchored any-angle label setting, from the fields outwards in ascending order of height:
//!
//! 1. Every cell keeps, for each of its best fields, the next bend of the way there, and its height is computed from
//!    that bend over the straight line, never summed along grid edges; on flat ground there is no error of direction.
//! 2. Where the terrain blocks the straight line to that bend, the neighbour itself becomes a bend. Where the floor lies
//!    above the glide, the cell needs the floor's height and becomes a bend.
//! 3. Such bends are moved from the cell's centre to where the ground is passed (`corner`).
//! 4. Labels may be corrected; the queue is a row of buckets.
//!
//! # Accuracy
//! Never optimistic: every line is tested against the bilinear surface exactly, ground without data is never crossed,
//! bends cost the height of the turn as in forward reach, and results are rounded up. The aircraft is taken to glide
//! already, on the way to the field: reaction and first turn are not counted.
//!
//! On a grid of 25 m over ground as steep as the Alps, a grid four times finer over the same surface says the same within
//! 1 m, and on average within a centimetre. Over ground two or three times as steep the worst of a hundred thousand cells
//! was out by 4 m: passages narrower than a cell may be missed, and then the height is too great.

mod blocks;
mod cells;
mod corner;
mod gains;
mod map;
mod patch;
mod shadow;
mod sight;
mod solve;
mod winds;

pub use gains::{Gains, SurveyStep, gains};
pub use map::{Cover, LeastHeights};
pub use solve::{LeastOptions, least_heights};
pub use winds::{MOST_WINDS, ManyWinds, NINE_IN_TEN, WindDoubt, many_winds, winds_about};

use thiserror::Error;

/// Why no least heights could be computed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum LeastError {
    /// Fields needed must be 1, 2 or 3.
    #[error("the number of fields needed must be 1, 2 or 3")]
    Count,
    /// A number is not finite.
    #[error("a number of the aircraft, the wind or a field is not a number")]
    NotFinite,
    /// The caller asked to stop.
    #[error("stopped")]
    Stopped,
}
