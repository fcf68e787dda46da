//! Flown circuits: the drawer under the map with the flight over time, the page in the card, and the marks on the map.
//!
//! | module | draws |
//! |---|---|
//! | `drawer` | the sentence, play and scrub, what the aircraft does now |
//! | `profile` | height against time or distance, with the ground under the track |
//! | `panel` | the card's page: choices, key positions, turns, margins, and two circuits side by side |
//! | [`marks`] | a flight as the map takes it |

mod drawer;
pub mod marks;
mod panel;
mod profile;

pub use drawer::drawer;
pub use panel::{page, tabs};
