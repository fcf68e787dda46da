//! Holds a flight against the surroundings and the rules while it is flown.

use super::clearance::{Surroundings, TooLow};
use super::flight::{Part, Watch};
use super::motion::Motion;
use super::plan::{Landing, Leg};
use super::search::CircuitOptions;
use crate::math;

/// Turns through less than this may go either way.
const SMALL_TURN_RAD: f64 = 45.0 * math::PI / 180.0;

pub(super) struct Judge<'a> {
    surroundings: &'a Surroundings<'a>,
    landing: &'a Landing,
    options: &'a CircuitOptions,
    pub(super) too_low: Option<TooLow>,
    pub(super) least_m: f64,
    turn: Option<(Motion, f64)>,
    turned_away: bool,
}

impl<'a> Judge<'a> {
    pub(super) fn new(surroundings: &'a Surroundings<'a>, landing: &'a Landing, options: &'a CircuitOptions) -> Self {
        Self { surroundings, landing, options, too_low: None, least_m: f64::INFINITY, turn: None, turned_away: false }
    }

    /// Whether some low turn went away from the landing.
    pub(super) fn turned_away(&self) -> bool {
        self.turned_away || self.turn.as_ref().is_some_and(|t| self.is_away(t))
    }

    fn is_away(&self, (from, heading_rad): &(Motion, f64)) -> bool {
        let turned = heading_rad - from.heading_rad;
        let above = from.height_amsl_m - self.landing.aim_amsl_m;
        if above >= self.options.turn_towards_below_m || turned.abs() <= SMALL_TURN_RAD {
            return false;
        }
        let Some(towards) = (self.landing.aim - from.position).bearing() else { return false };
        let aside = math::wrap_pi(towards.rad() - from.heading_rad);
        aside * turned < 0.0 && aside.abs() < math::PI - SMALL_TURN_RAD / 2.0
    }
}

impl Watch for Judge<'_> {
    fn begin(&mut self, at: &Motion, part: Part) {
        if let Some(turn) = self.turn.take() {
            self.turned_away |= self.is_away(&turn);
        }
        if part.turn {
            self.turn = Some((*at, at.heading_rad));
        }
    }
    fn step(&mut self, from: &Motion, to: &Motion, part: Part) -> bool {
        if let Some(turn) = &mut self.turn {
            turn.1 = to.heading_rad;
        }
        // The glide path is judged down to the aiming point; beyond, it is the landing.
        if part.leg == Leg::Final && !part.turn && self.landing.along_of(to.position) > -self.landing.aim_from_start_m {
            return true;
        }
        let quiet = self.options.heed_quiet_zones;
        let look = self.surroundings.look(from, to, part, self.landing.aim_amsl_m, quiet);
        self.least_m = self.least_m.min(look.least_m);
        self.too_low = self.too_low.or(look.too_low);
        self.too_low.is_none()
    }
}
