//! Flights after take-off that are no circuits: a straight glide ahead, and a teardrop back to the runway.

use super::column::AirColumn;
use super::flight::{Grain, Part, Start, Watch, direction, fly};
use super::motion::{Flying, Glider, Gust, Motion, STEADY};
use super::plan::{Corner, FirstTurn, Join, Landing, Leg, Plan};
use crate::fields::circuit_height::Hand;
use crate::grid::Terrain;
use crate::math;
use crate::position::{Bearing, Xy};

/// Longest glide that is followed, steps of some 25 m.
const MOST_STEPS: usize = 2_000;

/// Where a glide on a straight track over the ground meets it, after the reaction; `None` where the wind does not allow
/// the track or the ground is not known.
///
/// The turn onto the track is charged as a steady turn on the spot.
#[must_use]
pub(crate) fn glide_straight(
    flying: &Flying,
    air: &AirColumn,
    terrain: &Terrain,
    start: &Start,
    track: Bearing,
) -> Option<Xy> {
    const DT_S: f64 = 1.0;
    let glider = Glider { flying, air };
    let mut at = start.motion;
    let seconds = start.reaction_s.max(0.0);
    if seconds > 0.0 {
        at = glider.step_turning(Gust::default(), &at, STEADY, seconds);
    }
    let ground_below = |m: &Motion| terrain.height_at(m.position).map(|ground| m.height_amsl_m - ground);
    if ground_below(&at)? <= 0.0 {
        return Some(at.position);
    }
    let unit = track.unit();
    let heading = glider.heading_for(at.height_amsl_m, at.level_speed_ms, unit)?;
    // Both the speed and the sink of the turn grow with height: the loss goes with the square of the first.
    let to_true = air.to_true(at.height_amsl_m);
    let turn = math::wrap_pi(heading - at.heading_rad).abs();
    at.height_amsl_m -= turn * flying.turn_loss_m_per_rad() * to_true * to_true;
    for _ in 0..MOST_STEPS {
        let above = ground_below(&at)?;
        if above <= 0.0 {
            return Some(at.position);
        }
        let next = glider.step_tracking(Gust::default(), &at, unit, 0.0, DT_S)?;
        let below = ground_below(&next)?;
        if below <= 0.0 {
            return Some(at.position + (next.position - at.position) * (above / (above - below)));
        }
        at = next;
    }
    None
}

/// A turn back: where it comes down, how far before that the runway's line is met, and which way the first turn goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Teardrop {
    /// Where it comes down.
    pub down: Xy,
    /// Height of the ground there, metres above sea level.
    pub down_amsl_m: f64,
    /// Landing direction.
    pub heading: Bearing,
    /// How far before that place the legs meet, metres.
    pub meets_before_m: f64,
    /// Which way the first turn goes.
    pub first: Hand,
    /// No turn is flown lower than this above the ground, metres.
    pub least_turning_m: f64,
}

/// How a teardrop came out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct TeardropFlown {
    /// Height left over the place where it comes down, metres.
    pub spare_m: f64,
    /// Height lost until the first turn begins, metres.
    pub lost_in_reaction_m: f64,
    /// Height lost in turns, metres.
    pub lost_in_turns_m: f64,
    /// Heading turned in the first turn, radians, either way.
    pub first_turn_rad: f64,
    /// Speed over the ground at the end, m/s.
    pub ground_ms: f64,
    /// Time from the engine's stop, seconds.
    pub duration_s: f64,
}

struct Observer<'a> {
    terrain: &'a Terrain,
    least_turning_m: f64,
    lost_in_reaction_m: f64,
    lost_in_turns_m: f64,
    turns: usize,
    first_turn_rad: f64,
    /// Every place, where somebody wants to see them.
    way: Option<&'a mut Vec<Motion>>,
}

impl Watch for Observer<'_> {
    fn begin(&mut self, _at: &Motion, part: Part) {
        self.turns += usize::from(part.turn);
    }
    fn step(&mut self, from: &Motion, to: &Motion, part: Part) -> bool {
        let lost = from.height_amsl_m - to.height_amsl_m;
        if let Some(way) = &mut self.way {
            if way.is_empty() {
                way.push(*from);
            }
            way.push(*to);
        }
        if part.leg == Leg::Reaction {
            self.lost_in_reaction_m += lost;
        }
        let floor = if part.turn { self.least_turning_m } else { 0.0 };
        if part.turn {
            self.lost_in_turns_m += lost;
            if self.turns == 1 {
                self.first_turn_rad += (to.heading_rad - from.heading_rad).abs();
            }
        }
        // What comes down short on final is told as short, not as blocked.
        if part.leg == Leg::Final && !part.turn {
            return true;
        }
        self.terrain.height_at(to.position).is_some_and(|ground| to.height_amsl_m - ground >= floor)
    }
}

/// Flies a turn back, and writes its places down where they are wanted; `None` where there is no room, the wind does not allow it, or it comes too low over the ground.
#[must_use]
pub(crate) fn fly_teardrop(
    flying: &Flying,
    air: &AirColumn,
    terrain: &Terrain,
    start: &Start,
    teardrop: &Teardrop,
    way: Option<&mut Vec<Motion>>,
) -> Option<TeardropFlown> {
    let glider = Glider { flying, air };
    let landing = Landing {
        aim: teardrop.down,
        aim_amsl_m: teardrop.down_amsl_m,
        heading: teardrop.heading,
        slope: 0.0,
        aim_from_start_m: 0.0,
        displacement_m: 0.0,
        length_m: 0.0,
        width_m: 0.0,
        stop_from_50_ft_m: 0.0,
    };
    let meets = teardrop.down - teardrop.heading.unit() * teardrop.meets_before_m;
    let corner = Corner { at: meets, leg: Some(Leg::Joining) };
    let mut plan = Plan::new(Join::StraightIn, teardrop.first, teardrop.meets_before_m, 0.0, &[corner]);
    plan.first_turn = match teardrop.first {
        Hand::Left => FirstTurn::Left,
        Hand::Right => FirstTurn::Right,
    };
    let mut observer = Observer {
        terrain,
        least_turning_m: teardrop.least_turning_m,
        lost_in_reaction_m: 0.0,
        lost_in_turns_m: 0.0,
        turns: 0,
        first_turn_rad: 0.0,
        way,
    };
    let flown = fly(glider, &landing, &plan, start, Grain::COARSE, &mut observer).ok()?;
    let end = flown.at_aim;
    let track = direction(landing.along())?;
    let (ground_ms, _) = glider.tracking_rates(Gust::default(), &end, track)?;
    let spare_m = end.height_amsl_m - teardrop.down_amsl_m;
    spare_m.is_finite().then_some(TeardropFlown {
        spare_m,
        lost_in_reaction_m: observer.lost_in_reaction_m,
        lost_in_turns_m: observer.lost_in_turns_m,
        first_turn_rad: observer.first_turn_rad,
        ground_ms,
        duration_s: end.time_s,
    })
}
