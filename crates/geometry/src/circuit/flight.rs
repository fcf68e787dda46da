//! Flying a plan: legs held over the ground, turns rolled into and out of, everything by the equations of motion.
//!
//! A turn between two legs begins where its end, drift included, lies on the next leg. The legs in between are flown
//! straight over the ground with the heading that the wind asks for at each height.

use super::motion::{Control, Glider, Gust, Motion, STEADY};
use super::plan::{FirstTurn, Landing, Leg, Plan, turn_between};
use crate::fields::circuit_height::Hand;
use crate::math::{self, TAU};
use crate::position::Xy;

/// Drift, in turn radii, after which a pilot who orbits flies back before the next orbit. Common practice, no source.
const DRIFT_RADII: f64 = 2.5;

/// The last part of a final that is computed with finer steps, metres.
const NEAR_GROUND_M: f64 = 200.0;

/// How far the heading after a turn may lie off the leg that follows, radians: coarse flights come out some degrees off.
const MOST_OFF_RAD: f64 = 0.6;

/// How finely a flight is computed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grain {
    /// Longest step of a leg, metres over the ground.
    pub leg_m: f64,
    /// Largest step of a turn, radians.
    pub turn_rad: f64,
    /// Steps of one roll.
    pub rolls: u8,
    /// How often the beginning of a turn is put right.
    pub passes: u8,
}

impl Grain {
    /// For searching: within about a metre of height of [`Grain::FINE`].
    pub const COARSE: Self = Self { leg_m: 80.0, turn_rad: 0.4, rolls: 1, passes: 0 };
    /// For what is shown and judged.
    pub const FINE: Self = Self { leg_m: 5.0, turn_rad: 0.04, rolls: 16, passes: 3 };
}

/// Why a plan cannot be flown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Stuck {
    /// A leg is shorter than the turn at its end needs.
    NoRoom,
    /// The wind is stronger than the airspeed along a leg.
    Wind,
    /// The watcher had enough.
    Stopped,
}

/// Sees every step of a flight.
pub(super) trait Watch {
    /// Gusts over the next step.
    fn gust(&mut self, _at: &Motion, _dt: f64) -> Gust {
        Gust::default()
    }
    /// A step was flown; `false` ends the flight.
    fn step(&mut self, from: &Motion, to: &Motion, part: Part) -> bool;
    /// A part of the flight begins.
    fn begin(&mut self, _at: &Motion, _part: Part) {}
}

/// Sees nothing.
pub(super) struct Unwatched;

impl Watch for Unwatched {
    fn step(&mut self, _from: &Motion, _to: &Motion, _part: Part) -> bool {
        true
    }
}

/// Which part of the flight: a leg, or the turn onto it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Part {
    pub(super) leg: Leg,
    pub(super) turn: bool,
}

const fn leg(leg: Leg) -> Part {
    Part { leg, turn: false }
}
const fn turn(leg: Leg) -> Part {
    Part { leg, turn: true }
}

/// How a flight of a plan came out.
#[derive(Clone, Copy, Debug)]
pub(super) struct Flown {
    /// Over the aiming point, even if that is below the ground there.
    pub(super) at_aim: Motion,
    /// Wings level on final.
    pub(super) wings_level: Motion,
}

/// Where a flight begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Start {
    /// State when the engine stops.
    pub motion: Motion,
    /// Time until the pilot acts, seconds.
    pub reaction_s: f64,
}

struct Flyer<'a, W> {
    glider: Glider<'a>,
    grain: Grain,
    at: Motion,
    /// As [`Plan`] says.
    turns_as_legs: bool,
    watch: &'a mut W,
}

/// Flies a plan from a state to over its aiming point.
pub(super) fn fly<W: Watch>(
    glider: Glider<'_>,
    landing: &Landing,
    plan: &Plan,
    start: &Start,
    grain: Grain,
    watch: &mut W,
) -> Result<Flown, Stuck> {
    let flying = glider.flying;
    let mut flyer = Flyer { glider, grain, at: start.motion, turns_as_legs: plan.turns_as_legs, watch };
    if start.reaction_s > 0.0 {
        flyer.watch.begin(&start.motion, leg(Leg::Reaction));
        flyer.hold_heading(start.reaction_s)?;
    }
    let corners = plan.corners();
    let along = landing.along();
    let mut first = true;
    // Whole turns are flown on leaving the last joining corner, or at once where there is none.
    let orbit_after = corners.iter().rposition(|c| c.leg == Some(Leg::Joining)).filter(|_| corners.len() > 1);
    if plan.orbits > 0 && orbit_after.is_none_or(|i| i + 1 == corners.len()) {
        flyer.orbit(plan)?;
    }
    for (i, corner) in corners.iter().enumerate() {
        let this = corner.leg.unwrap_or(Leg::Joining);
        if first {
            flyer.turn_to(corner.at, this, plan.first_turn)?;
            first = false;
        }
        let last = i + 1 == corners.len();
        let next_leg = if last { Leg::Final } else { corners[i + 1].leg.unwrap_or(Leg::Joining) };
        let speed = if last { flying.approach_ms } else { flying.glide_ms };
        if plan.orbits > 0 && orbit_after == Some(i) && !last {
            flyer.straight_to(corner.at, this)?;
            flyer.orbit(plan)?;
            flyer.turn_to(corners[i + 1].at, next_leg, FirstTurn::Shorter)?;
            continue;
        }
        let onto = if last { along } else { direction(corners[i + 1].at - corner.at).ok_or(Stuck::NoRoom)? };
        flyer.leg_and_turn(corner.at, onto, this, next_leg, speed)?;
    }
    let wings_level = flyer.at;
    let to_go = -landing.along_of(wings_level.position);
    if !(to_go > 0.0) {
        return Err(Stuck::NoRoom);
    }
    let track = direction(landing.aim - wings_level.position).ok_or(Stuck::NoRoom)?;
    flyer.leads_along(track)?;
    let length = (landing.aim - wings_level.position).norm();
    // The wind gradient is steepest near the ground.
    let near = if grain.leg_m < NEAR_GROUND_M { NEAR_GROUND_M.min(length) } else { 0.0 };
    flyer.straight(length - near, track, Leg::Final, flying.approach_ms)?;
    flyer.grain.leg_m *= 0.2;
    flyer.more_of_leg(near, track, Leg::Final, flying.approach_ms)?;
    Ok(Flown { at_aim: flyer.at, wings_level })
}

/// The unit vector along a displacement.
pub(super) fn direction(d: Xy) -> Option<Xy> {
    let length = d.norm();
    (length > 1e-9 && length.is_finite()).then(|| d * (1.0 / length))
}

impl<W: Watch> Flyer<'_, W> {
    /// Change of airspeed over the next `dt` towards a wanted one.
    fn speeding(&self, wanted_ms: f64, dt: f64) -> f64 {
        let most = self.glider.flying.speed_change_ms2;
        ((wanted_ms - self.at.level_speed_ms) / dt).clamp(-most, most)
    }

    fn turning_step(&mut self, control: Control, dt: f64, part: Part) -> Result<(), Stuck> {
        let gust = self.watch.gust(&self.at, dt);
        let to = self.glider.step_turning(gust, &self.at, control, dt);
        self.take(to, part)
    }

    fn take(&mut self, to: Motion, part: Part) -> Result<(), Stuck> {
        if !self.watch.step(&self.at, &to, part) {
            return Err(Stuck::Stopped);
        }
        self.at = to;
        Ok(())
    }

    /// Flies on, wings level, on the present heading.
    fn hold_heading(&mut self, seconds: f64) -> Result<(), Stuck> {
        let speed = self.at.level_speed_ms * self.glider.air.at(self.at.height_amsl_m).to_true;
        let count = (seconds * speed / self.grain.leg_m).ceil().max(1.0);
        for _ in 0..count as usize {
            self.turning_step(STEADY, seconds / count, leg(Leg::Reaction))?;
        }
        Ok(())
    }

    /// A straight leg of a length over the ground.
    fn straight(&mut self, length_m: f64, track: Xy, this: Leg, speed_ms: f64) -> Result<(), Stuck> {
        self.watch.begin(&self.at, leg(this));
        self.more_of_leg(length_m, track, this, speed_ms)
    }

    fn more_of_leg(&mut self, length_m: f64, track: Xy, this: Leg, speed_ms: f64) -> Result<(), Stuck> {
        if !(length_m > 0.0) {
            return Ok(());
        }
        let from = self.at.position;
        let count = (length_m / self.grain.leg_m).ceil().max(1.0);
        for i in 1..=count as usize {
            let target = length_m * i as f64 / count;
            let left = target - (self.at.position - from).dot(track);
            let gust = self.watch.gust(&self.at, 0.0);
            let (ground, _) = self.glider.tracking_rates(gust, &self.at, track).ok_or(Stuck::Wind)?;
            let dt = left / ground;
            if !(dt > 0.0) {
                continue;
            }
            let change = self.speeding(speed_ms, dt);
            let to = self.glider.step_tracking(gust, &self.at, track, change, dt).ok_or(Stuck::Wind)?;
            // A wind that changes on the way carries a little too far or not far enough: the step is cut to length.
            let part = left / (to.position - self.at.position).dot(track);
            self.take(self.at.towards(&to, part), leg(this))?;
        }
        if let Some(heading) = self.glider.heading_for(self.at.height_amsl_m, self.at.level_speed_ms, track) {
            self.at.heading_rad += math::wrap_pi(heading - self.at.heading_rad);
        }
        Ok(())
    }

    fn straight_to(&mut self, point: Xy, this: Leg) -> Result<(), Stuck> {
        let d = point - self.at.position;
        let Some(track) = direction(d) else { return Ok(()) };
        self.straight(d.norm(), track, this, self.glider.flying.glide_ms)
    }

    /// A turn through an angle, rolled into and out of.
    fn turn(&mut self, angle_rad: f64, this: Leg, speed_ms: f64) -> Result<(), Stuck> {
        self.watch.begin(&self.at, turn(this));
        let side = if angle_rad < 0.0 { -1.0 } else { 1.0 };
        let aim = self.at.heading_rad + angle_rad;
        let level = self.at.level_speed_ms * self.glider.air.at(self.at.height_amsl_m).to_true;
        let bank = self.glider.flying.bank_for(angle_rad.abs(), level);
        let roll_s = bank / self.glider.flying.roll_rad_s;
        let rolls = self.grain.rolls.max(1);
        let dt = roll_s / f64::from(rolls);
        if dt > 0.0 {
            for _ in 0..rolls {
                let control = Control {
                    roll_rad_s: side * self.glider.flying.roll_rad_s,
                    speed_change_ms2: self.speeding(speed_ms, dt),
                };
                self.turning_step(control, dt, turn(this))?;
            }
        }
        self.at.bank_rad = side * bank;
        loop {
            let level = self.at.level_speed_ms * self.glider.air.at(self.at.height_amsl_m).to_true;
            let left = side * (aim - self.at.heading_rad) - self.glider.flying.roll_turn(bank, level);
            if left <= 1e-9 || bank <= 0.0 {
                break;
            }
            let rate = math::GRAVITY_MS2 * math::tan(bank) / (level / math::cos(bank).sqrt());
            let count = (left / self.grain.turn_rad).ceil().max(1.0);
            let dt = left / count / rate;
            // Speed that still changes makes the rest longer or shorter: it is looked at again after each step.
            let control = Control { roll_rad_s: 0.0, speed_change_ms2: self.speeding(speed_ms, dt) };
            self.turning_step(control, dt, turn(this))?;
            if count <= 1.0 {
                break;
            }
        }
        if dt > 0.0 {
            for _ in 0..rolls {
                let control = Control {
                    roll_rad_s: -side * self.glider.flying.roll_rad_s,
                    speed_change_ms2: self.speeding(speed_ms, dt),
                };
                self.turning_step(control, dt, turn(this))?;
            }
        }
        self.at.bank_rad = 0.0;
        Ok(())
    }

    /// Whole turns; between them the drift is made up again where it would carry the glider away.
    fn orbit(&mut self, plan: &Plan) -> Result<(), Stuck> {
        let side = match plan.hand {
            Hand::Left => -1.0,
            Hand::Right => 1.0,
        };
        let over = self.at.position;
        let radius = turn_radius(self.glider, self.at.height_amsl_m);
        for i in 0..plan.orbits {
            if i > 0 && self.at.position.distance(over) > DRIFT_RADII * radius {
                self.turn_to(over, Leg::Orbit, FirstTurn::Shorter)?;
                self.straight_to(over, Leg::Orbit)?;
            }
            self.turn(side * TAU, Leg::Orbit, self.glider.flying.glide_ms)?;
        }
        Ok(())
    }

    /// The turn that ends on a track over the ground.
    fn angle_onto(&self, from: &Motion, track: Xy, speed_ms: f64, way: FirstTurn) -> Result<f64, Stuck> {
        let now = self.glider.heading_for(from.height_amsl_m, from.level_speed_ms, track).ok_or(Stuck::Wind)?;
        let rough = turn_between(from.heading_rad, now, way);
        // The wind at the end decides; the end lies lower.
        let lost = rough.abs() * self.loss_per_rad(from);
        let level = if rough.abs() > 0.3 { speed_ms } else { from.level_speed_ms };
        let end = self.glider.heading_for(from.height_amsl_m - lost, level, track).ok_or(Stuck::Wind)?;
        Ok(rough + math::wrap_pi(end - now))
    }

    fn loss_per_rad(&self, from: &Motion) -> f64 {
        let bank = self.glider.flying.bank_rad;
        let to_true = self.glider.air.at(from.height_amsl_m).to_true;
        let load = 1.0 / math::cos(bank);
        let equivalent = from.level_speed_ms * load.sqrt();
        let straight = Motion { bank_rad: bank, ..*from };
        let probe = self.glider.step_turning(Gust::default(), &straight, STEADY, 1.0);
        let rate = math::GRAVITY_MS2 * math::tan(bank) / (equivalent * to_true);
        (from.height_amsl_m - probe.height_amsl_m) / rate
    }

    fn silently<T>(
        &self,
        from: &Motion,
        grain: Grain,
        f: impl FnOnce(&mut Flyer<'_, Unwatched>) -> Result<T, Stuck>,
    ) -> Result<T, Stuck> {
        let mut nobody = Unwatched;
        let mut flyer =
            Flyer { glider: self.glider, grain, at: *from, turns_as_legs: self.turns_as_legs, watch: &mut nobody };
        f(&mut flyer)
    }

    /// Turns so that the straight way on leads over a point.
    fn turn_to(&mut self, point: Xy, this: Leg, way: FirstTurn) -> Result<(), Stuck> {
        let angle = match self.angle_to(point, this, way) {
            // Half a turn may be shorter one way at its beginning and the other way at its end.
            Err(Stuck::NoRoom) if way == FirstTurn::Shorter => {
                let left = self.angle_to(point, this, FirstTurn::Left);
                let right = self.angle_to(point, this, FirstTurn::Right);
                match (left, right) {
                    (Ok(left), Ok(right)) => Ok(if right.abs() < left.abs() { right } else { left }),
                    (left, right) => left.or(right),
                }
            }
            found => found,
        }?;
        if angle.abs() > 1e-6 {
            self.turn(angle, this, self.glider.flying.glide_ms)?;
        }
        Ok(())
    }

    /// The turn after which the straight way on leads over a point, radians.
    fn angle_to(&self, point: Xy, this: Leg, way: FirstTurn) -> Result<f64, Stuck> {
        let from = self.at;
        let mut track = direction(point - from.position).ok_or(Stuck::NoRoom)?;
        let glide = self.glider.flying.glide_ms;
        // The end of the turn lies elsewhere than its beginning: the track is put right until it leads to the point.
        for pass in 0..12 {
            let angle = self.angle_onto(&from, track, glide, way)?;
            let end = self.silently(&from, self.grain, |f| {
                f.turn(angle, this, glide)?;
                Ok(f.at)
            })?;
            let better = direction(point - end.position).ok_or(Stuck::NoRoom)?;
            let off = track.cross(better).abs() + if track.dot(better) < 0.0 { 1.0 } else { 0.0 };
            if off < 1e-4 || (self.grain.passes == 0 && pass >= 2 && off < 0.01) {
                return Ok(angle);
            }
            track = better;
        }
        // The point lies inside the turn: it cannot be reached this way.
        Err(Stuck::NoRoom)
    }

    /// Whether the turn before came out about along the track that is flown next: if it ended beyond the corner to come, the
    /// next leg would begin with a reversal that nobody flies.
    fn leads_along(&self, track: Xy) -> Result<(), Stuck> {
        let heading =
            self.glider.heading_for(self.at.height_amsl_m, self.at.level_speed_ms, track).ok_or(Stuck::Wind)?;
        let off = math::wrap_pi(heading - self.at.heading_rad).abs();
        if off <= MOST_OFF_RAD { Ok(()) } else { Err(Stuck::NoRoom) }
    }

    /// Flies towards a corner and turns so as to come out on the next leg, which leaves the corner along `onto`.
    fn leg_and_turn(&mut self, corner: Xy, onto: Xy, this: Leg, next: Leg, speed_ms: f64) -> Result<(), Stuck> {
        let from = self.at;
        let way = corner - from.position;
        let track = direction(way).ok_or(Stuck::NoRoom)?;
        self.leads_along(track)?;
        let across = track.cross(onto);
        if across.abs() < 0.02 {
            if track.dot(onto) < 0.0 {
                return Err(Stuck::NoRoom);
            }
            return self.straight(way.norm(), track, this, self.glider.flying.glide_ms);
        }
        let glide = self.glider.flying.glide_ms;
        let (ground, climb) = self.glider.tracking_rates(Gust::default(), &from, track).ok_or(Stuck::Wind)?;
        let mut at_turn =
            Motion { position: corner, height_amsl_m: from.height_amsl_m + climb / ground * way.norm(), ..from };
        at_turn.heading_rad += math::wrap_pi(
            self.glider.heading_for(at_turn.height_amsl_m, at_turn.level_speed_ms, track).ok_or(Stuck::Wind)?
                - at_turn.heading_rad,
        );
        let turned = |f: &mut Flyer<'_, Unwatched>| {
            let angle = f.angle_round(track, onto, speed_ms)?;
            f.turn(angle, next, speed_ms)?;
            Ok(f.at)
        };
        let end = self.silently(&at_turn, self.grain, turned)?;
        let mut length = way.norm() - (end.position - corner).cross(onto) / across;
        for _ in 0..self.grain.passes {
            if length < 0.0 {
                return Err(Stuck::NoRoom);
            }
            let end = self.silently(&from, self.grain, |f| {
                f.straight(length, track, this, glide)?;
                turned(f)
            })?;
            let off = (end.position - corner).cross(onto) / across;
            length -= off;
            if off.abs() < 1e-3 {
                break;
            }
        }
        if !(length >= 0.0) {
            return Err(Stuck::NoRoom);
        }
        self.straight(length, track, this, glide)?;
        let angle = self.angle_round(track, onto, speed_ms)?;
        self.turn(angle, next, speed_ms)
    }

    /// The turn from one leg onto the next: the shorter way of the heading, or, where the plan asks for it, the way the legs turn.
    ///
    /// With the wind held off on both legs the heading may turn through more than half a circle where the tracks do not: the
    /// shorter way then goes round the other side. Where tracks hardly turn, the heading may well go the other way.
    fn angle_round(&self, track: Xy, onto: Xy, speed_ms: f64) -> Result<f64, Stuck> {
        let angle = self.angle_onto(&self.at, onto, speed_ms, FirstTurn::Shorter)?;
        // Positive to the left.
        let across = track.cross(onto);
        if !self.turns_as_legs || angle.abs() < math::FRAC_PI_2 || angle * across < 0.0 {
            return Ok(angle);
        }
        let way = if across > 0.0 { FirstTurn::Left } else { FirstTurn::Right };
        self.angle_onto(&self.at, onto, speed_ms, way)
    }
}

/// Distance over the ground from which a glide along `track` at approach speed arrives at a height, metres; found by
/// flying it backwards from the ground up. `None` when the wind does not allow the track.
pub(super) fn final_length(glider: Glider<'_>, ground_amsl_m: f64, height_m: f64, track: Xy) -> Option<f64> {
    let (mut length, mut height) = (0.0, 0.0);
    while height < height_m {
        let m = Motion {
            position: Xy::default(),
            height_amsl_m: ground_amsl_m + height + 2.5,
            heading_rad: 0.0,
            bank_rad: 0.0,
            level_speed_ms: glider.flying.approach_ms,
            time_s: 0.0,
        };
        let (ground, climb) = glider.tracking_rates(Gust::default(), &m, track)?;
        if !(climb < 0.0) || length > 20_000.0 {
            return None;
        }
        let up = (height_m - height).min(5.0);
        length += up * ground / -climb;
        height += up;
    }
    Some(length)
}

/// How far a final turn from the base leg takes the glider over the ground, metres; `None` when the wind does not allow
/// the base leg or the final.
pub(super) fn turn_probe(glider: Glider<'_>, landing: &Landing, hand: Hand, final_height_m: f64) -> Option<Xy> {
    let base_track = -landing.side(hand);
    let height = landing.aim_amsl_m + final_height_m + 25.0;
    let flying = glider.flying;
    let heading_rad = glider.heading_for(height, flying.glide_ms, base_track)?;
    let from = Motion {
        position: Xy::default(),
        height_amsl_m: height,
        heading_rad,
        bank_rad: 0.0,
        level_speed_ms: flying.glide_ms,
        time_s: 0.0,
    };
    let mut nobody = Unwatched;
    let mut flyer = Flyer { glider, grain: Grain::FINE, at: from, turns_as_legs: false, watch: &mut nobody };
    let angle = flyer.angle_onto(&from, landing.along(), flying.approach_ms, FirstTurn::Shorter).ok()?;
    flyer.turn(angle, Leg::Final, flying.approach_ms).ok()?;
    Some(flyer.at.position)
}

/// Radius of a turn at gliding speed through the air, metres.
pub(super) fn turn_radius(glider: Glider<'_>, height_amsl_m: f64) -> f64 {
    let flying = glider.flying;
    let speed = flying.glide_ms * glider.air.at(height_amsl_m).to_true;
    let (sin, cos) = math::sin_cos(flying.bank_rad);
    // (V₁√n)²/(g·tan φ) with n = 1/cos φ.
    speed * speed / (cos * math::GRAVITY_MS2 * sin / cos)
}
