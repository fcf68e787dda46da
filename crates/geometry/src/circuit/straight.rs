//! Gliding straight on while nothing is decided.

use super::column::AirColumn;
use super::motion::{Flying, Glider, Gust, Motion, STEADY};
use crate::air::Wind;
use crate::aircraft::Aircraft;
use crate::grid::Terrain;

/// Longest step, seconds.
const STEP_S: f64 = 1.0;

/// A straight glide on one heading.
#[derive(Clone, Debug, PartialEq)]
pub struct StraightGlide {
    /// A state for every second, the first where it begins, the last where it ends.
    pub track: Vec<Motion>,
    /// Whether it ended on the ground before its time was over.
    pub on_ground: bool,
}

impl StraightGlide {
    /// Flies on with wings level, on the present heading, until a time counted from when the engine stopped, or into
    /// ground whose height is known.
    ///
    /// The wind follows the ground at the beginning. A step that meets the ground is cut where it does.
    #[must_use]
    pub fn fly(aircraft: &Aircraft, wind: &Wind, terrain: &Terrain, from: &Motion, until_s: f64) -> Self {
        let flying = Flying::of(aircraft);
        let ground = |m: &Motion| terrain.height_at(m.position);
        let base = ground(from).unwrap_or(wind.ground_amsl_m);
        let air = AirColumn::new(wind, base, from.height_amsl_m + 50.0);
        let glider = Glider { flying: &flying, air: &air };
        let mut at = Motion { bank_rad: 0.0, ..*from };
        let mut track = vec![at];
        // Until the wanted time, or until the aircraft must have come down.
        while until_s - at.time_s > 1e-9 {
            let dt = (until_s - at.time_s).min(STEP_S);
            let next = glider.step_turning(Gust::default(), &at, STEADY, dt);
            let (above, then) = match (ground(&at), ground(&next)) {
                (Some(a), Some(b)) => (at.height_amsl_m - a, next.height_amsl_m - b),
                _ => (1.0, next.height_amsl_m - base + 1_000.0),
            };
            if !(then > 0.0) {
                let share = if above > 0.0 { above / (above - then) } else { 0.0 };
                let part = glider.step_turning(Gust::default(), &at, STEADY, dt * share.clamp(0.0, 1.0));
                track.push(part);
                return Self { track, on_ground: true };
            }
            at = next;
            track.push(at);
        }
        Self { track, on_ground: false }
    }

    /// Where it ends.
    #[must_use]
    pub fn end(&self) -> Motion {
        self.track[self.track.len() - 1]
    }
}
