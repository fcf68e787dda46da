//! Drills: rehearsed failures, drawn from a set of conditions, flown as the pilot chose, and scored.
//!
//! A [`DrillSet`] says where, how high, in which winds; [`DrillSet::failure`] draws one failure by its number, the same
//! for everyone and on every platform. What the pilot chose and when is a list of [`Choice`]s: the aircraft glides
//! straight on until the first, then flies the circuit of the latest ([`Trial::fly`]), in the true wind, which is not
//! quite the wind that the pilot was told. [`Trial::score`] holds that against the best that was to be had and makes a
//! [`DrillResult`]; [`Progress`] reads many of them, and [`next_number`] picks what to practise next.
//!
//! | module | holds |
//! |---|---|
//! | `dice` | numbers from a seed |
//! | `set` | what an instructor sets |
//! | `failure` | one failure, drawn |
//! | `fan` | fan stops at the home strip as a grid |
//! | `trial` | the failure flown as the pilot chose |
//! | `score` | what was chosen against what was to be had |
//! | `hand_flown` | the failure flown by the pilot's own hand, and its score |
//! | `many` | its circuits flown many times |
//! | `result` | the result as it is kept |
//! | `cell`, `progress` | kinds of failures, how a pilot does over time, what to practise next |
#![allow(clippy::neg_cmp_op_on_partial_ord, reason = "what is not a number must not pass a check")]

mod cell;
mod dice;
mod failure;
mod fan;
mod hand_flown;
mod many;
mod progress;
mod result;
mod score;
mod set;
mod trial;

pub use cell::{Cell, HeightBand, TurnBand, WindBand};
pub use failure::{Failure, HEADINGS, HEIGHT_STEPS};
pub use fan::{FAN_CELLS, FanCell, FanRecord};
pub use hand_flown::HandFlown;
pub use progress::{LEAST_WEIGHT, Median, Progress, SetDay, Weakness, loss, next_number, weights};
pub use result::{
    ByHand, ChangeOfMind, ChoiceMade, DrillResult, DrillRobustness, ManyFlights, Outcome, Regret, Standing,
};
pub use score::{Occasion, Offered};
pub use set::{DrillSet, DrillSetError, DrillWind, MOST_DRILLS, Place, Told};
pub use trial::{Choice, Flown, Moment, Offer, Trial};

#[cfg(test)]
mod tests;
