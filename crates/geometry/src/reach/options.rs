//! What a reach takes for granted.

use crate::aircraft::Aircraft;
use serde::{Deserialize, Serialize};

/// The assumptions of a reach besides aircraft, wind and terrain.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReachOptions {
    /// Height to keep above the terrain all the way, metres.
    pub clearance_m: f64,
    /// Time from the failure to the first action, flown straight on, seconds; counts only with a heading.
    pub reaction_time_s: f64,
    /// Whether bends on the way cost the height of the turn.
    pub bend_turns: bool,
}

impl ReachOptions {
    /// The aircraft's own clearance and reaction time, with bends that cost height.
    #[must_use]
    pub fn of(aircraft: &Aircraft) -> Self {
        Self { clearance_m: aircraft.terrain_clearance_m, reaction_time_s: aircraft.reaction_time_s, bend_turns: true }
    }
}
