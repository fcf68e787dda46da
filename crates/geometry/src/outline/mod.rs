//! Outlines as people draw and edit them: what is allowed, what is refused and why, and what lies beside what.
//!
//! Everything here takes fields and gives new fields back; nothing is changed in place. An edit of a sound field either
//! gives a sound field, whose boundary edges still belong to the sides they stood on, or an [`OutlineError`] that says
//! where and why not.
//!
//! | module | holds |
//! |---|---|
//! | [`crossing`] | whether an outline crosses or touches itself, also while it is being drawn |
//! | [`validity`] | everything that can be wrong with the outline of one field |
//! | [`corner`], [`hole`] | edits of corners and holes |
//! | [`edge`] | what stands on a side when two sides become one |
//! | [`cut`], [`join`] | one field made two, two made one |
//! | [`index`] | fields and lines found by place |
//! | [`snap`], [`guide`] | places that attract the pointer, shared boundaries followed corner by corner |
//! | [`pick`] | what is under the pointer or inside a lasso |
//! | [`shared`], [`paint`] | sides that two fields share, and what is said about them said for both |
//! | [`measure`] | area, lengths, bearings, angles, longest strip |
//! | [`finding`] | what is wrong or doubtful in a whole area |

pub mod corner;
pub mod crossing;
pub mod cut;
pub mod edge;
pub mod error;
pub mod finding;
pub mod guide;
pub mod hole;
pub mod index;
pub mod join;
pub mod measure;
pub mod paint;
pub mod pick;
pub mod place;
pub mod shared;
mod side;
pub mod snap;
pub mod validity;

pub use error::OutlineError;
pub use index::OutlineIndex;
pub use place::{CornerRef, RingRef, SideRef};

/// Places nearer than this, metres, are one, and outlines nearer than this touch: the last digit of a longitude with
/// eight decimals, and the same figure that vector files are read with.
pub const SAME_PLACE_M: f64 = 1e-3;

/// An outline that encloses less than this, m², is a slip of the hand.
pub const LEAST_AREA_M2: f64 = 1.0;

/// Coordinates beyond this many metres are no place on Earth in any projected frame.
pub const FARTHEST_M: f64 = 1e8;

#[cfg(test)]
mod tests;
