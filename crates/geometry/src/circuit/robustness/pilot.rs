//! A pilot who flies a circuit in a wind, an aircraft and a skill that are not quite as planned.
//!
//! What he flies by is on the ground. Each turn of the planned circuit begins over some place; he flies straight towards
//! that place, tracking over the ground, and begins the turn when he is abeam it, a little early or late. He turns so far that
//! from where he rolls out the way on leads over the place where the next turn begins, give or take some degrees. He begins the final turn at
//! its place too, and rolls out where the way on leads to the aiming point. On final he meets the strip's line, a little to one
//! side, half-way to the aiming point and follows it at approach speed: where the path meets the ground is where he touches
//! down. He does not stretch, slip or weave on final.
//!
//! He compares his height, misjudged by a fraction of it, with what the plan has there: abeam the aiming point on the
//! downwind leg (else where the leg to the turn to base begins), and where the turn to base would begin. High, he moves
//! the base leg away from the field; low, nearer; by as much as the plan says that this costs or saves, within bounds; at
//! the second judgement only farther, for the place for nearer is behind him. Twice more, where the base leg begins and
//! half-way along it, he bends it towards the field or away. A plan that comes straight in has no such choice.
//!
//! The wind he meets differs in strength and direction at all heights alike, with gusts on top. A gust changes the
//! airspeed by itself; he brings it back, and height pays for it.

use super::brief::Brief;
use super::gusts::Gusts;
use super::inputs::Draw;
use super::turning::Turning;
use crate::circuit::clearance::InTheWay;
use crate::circuit::column::AirColumn;
use crate::circuit::flight::direction;
use crate::circuit::motion::{Control, Flying, Glider, Gust, Motion, STEADY};
use crate::circuit::plan::{FIFTY_FT_M, Landing, Leg};
use crate::math::{self, GRAVITY_MS2};
use crate::position::Xy;

/// Longest step of a leg and of the last part of the final, metres; largest step of a turn, radians.
pub(super) const LEG_M: f64 = 100.0;
pub(super) const LOW_LEG_M: f64 = 25.0;
pub(super) const LOW_M: f64 = 40.0;
pub(super) const TURN_RAD: f64 = 0.42;

/// Height lost for each metre on final, as long as nothing else is known.
pub(super) const FINAL_SLOPE: f64 = 0.2;

/// Steps of one roll.
pub(super) const ROLLS: u8 = 2;

/// Most steps of one flight.
pub(super) const MOST_STEPS: usize = 3_000;

/// A turn whose end lies this much beyond what was planned is ended, radians.
pub(super) const OVERTURNED_RAD: f64 = 1.2;

/// Ground that rises less than this above the landing place is come down on, not run into, metres: 50 ft. Common practice,
/// no source.
pub(super) const RISING_M: f64 = FIFTY_FT_M;

/// How one flight ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub(super) enum End {
    /// On the ground on final.
    #[default]
    Down,
    /// On the ground before the final, or where the wind let it go no further.
    Early,
    /// Against something that stands, before the final against ground well above the landing place, or over ground that is not
    /// known.
    Hit(InTheWay),
    /// A number was not finite.
    Lost,
}

/// One flight.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Run {
    pub(super) end: End,
    /// Where it ended, metres behind the aiming point and to the right of the centre line.
    pub(super) along_m: f64,
    pub(super) aside_m: f64,
    /// Where it stopped, metres behind the aiming point.
    pub(super) stop_along_m: f64,
    /// Height that gusts gave, metres.
    pub(super) gusts_m: f64,
    /// The first quiet zone that was overflown too low.
    pub(super) quiet: Option<usize>,
}

pub(super) struct Pilot<'a, 'g> {
    brief: &'a Brief<'a>,
    landing: &'a Landing,
    draw: &'a Draw,
    flying: Flying,
    air: &'a AirColumn,
    gusts: &'a mut Option<Gusts<'g>>,
    at: Motion,
    /// Speed over the ground in the last step.
    ground_ms: f64,
    pub(super) moved_m: f64,
    /// How much further away than the base leg's line the turn to final begins, metres.
    bent_m: f64,
    pub(super) judges: bool,
    /// Whether he meets what is in the way.
    pub(super) looks: bool,
    quiet: Option<usize>,
    pub(super) base_turn_amsl_m: f64,
    /// Height lost for each metre on final.
    pub(super) final_slope: f64,
    gusts_m: f64,
    steps: usize,
}

/// A flight that ends before the final does.
struct Ended(End);

impl<'a, 'g> Pilot<'a, 'g> {
    pub(super) fn new(
        brief: &'a Brief<'a>,
        draw: &'a Draw,
        flying: Flying,
        air: &'a AirColumn,
        gusts: &'a mut Option<Gusts<'g>>,
    ) -> Self {
        let mut at = brief.start.motion;
        at.level_speed_ms += draw.airspeed_ms;
        Self {
            brief,
            landing: &brief.task.landing,
            draw,
            ground_ms: flying.glide_ms,
            flying,
            air,
            gusts,
            at,
            moved_m: 0.0,
            bent_m: 0.0,
            judges: true,
            looks: true,
            quiet: None,
            base_turn_amsl_m: f64::NAN,
            final_slope: FINAL_SLOPE,
            gusts_m: 0.0,
            steps: 0,
        }
    }

    fn glider(&self) -> Glider<'_> {
        Glider { flying: &self.flying, air: self.air }
    }

    pub(super) fn fly(&mut self) -> Run {
        match self.all() {
            Ok(run) => run,
            Err(Ended(end)) => {
                let along_m = self.landing.along_of(self.at.position);
                Run {
                    end,
                    along_m,
                    aside_m: self.aside(self.at.position),
                    stop_along_m: along_m,
                    gusts_m: self.gusts_m,
                    quiet: self.quiet,
                }
            }
        }
    }

    /// Metres to the right of the centre line.
    fn aside(&self, p: Xy) -> f64 {
        let u = self.landing.along();
        (p - self.landing.aim).dot(Xy::new(u.y, -u.x))
    }

    fn all(&mut self) -> Result<Run, Ended> {
        let reaction_s = (self.brief.start.reaction_s + self.draw.reaction_s).max(0.0);
        if reaction_s > 0.0 {
            let count = (reaction_s * self.ground_ms / LEG_M).ceil().clamp(1.0, 200.0);
            for _ in 0..count as usize {
                self.turning(STEADY, reaction_s / count)?;
            }
        }
        for i in 0..self.brief.turns.len() {
            self.leg_to(i)?;
            self.turn(i)?;
        }
        self.last_leg()
    }

    /// Where a turn begins, the base leg moved.
    fn gate(&self, i: usize) -> Xy {
        let turn = &self.brief.turns[i];
        let by = match turn.onto {
            _ if !turn.moves => 0.0,
            Leg::Final => self.moved_m + self.bent_m,
            _ => self.moved_m,
        };
        turn.begin - self.landing.along() * by
    }

    /// Where the way on leads after a turn.
    fn target(&self, i: usize) -> Xy {
        let turns = &self.brief.turns;
        match turns.get(i + 1) {
            Some(_) => self.gate(i + 1),
            None => self.landing.aim + self.right() * self.draw.sideways_m,
        }
    }

    fn right(&self) -> Xy {
        let u = self.landing.along();
        Xy::new(u.y, -u.x)
    }

    fn leg_to(&mut self, i: usize) -> Result<(), Ended> {
        let turn = self.brief.turns[i];
        let judges = self.judges && turn.moves && self.brief.final_slope > 0.0;
        let late = self.draw.late_m[usize::from(turn.onto == Leg::Final)];
        if turn.at_once {
        } else if judges && turn.onto == Leg::Base {
            if turn.leg == Leg::Downwind && self.landing.along_of(self.at.position) > 0.0 {
                self.straight_to(self.gate(i), 0.0, true)?;
            }
            let (nearest, farthest) = self.brief.limits;
            self.moved_m = self.judged(i, 0, self.moved_m).clamp(nearest, farthest);
            self.straight_to(self.gate(i), late, false)?;
            let before = self.moved_m;
            self.moved_m = self.judged(i, 1, before).clamp(before, farthest.max(before));
            if self.moved_m > before + 1.0 {
                self.straight_to(self.gate(i), late, false)?;
            }
        } else if judges && turn.leg == Leg::Base {
            self.bend(i);
            let half = (self.gate(i) - self.at.position) * 0.5;
            self.straight_to(self.at.position + half, 0.0, false)?;
            self.bend(i);
            self.straight_to(self.gate(i), late, false)?;
        } else {
            self.straight_to(self.gate(i), late, false)?;
        }
        if turn.onto == Leg::Base {
            self.base_turn_amsl_m = self.at.height_amsl_m;
        }
        Ok(())
    }

    /// Moves the beginning of the final turn alone.
    fn bend(&mut self, i: usize) {
        let (nearest, farthest) = self.brief.limits;
        let wanted = self.judged(i, 1, self.moved_m + self.bent_m);
        self.bent_m = wanted.clamp(nearest, farthest) - self.moved_m;
    }

    /// Where a turn that is moved by `moved_m` would have to be moved, by the height as judged.
    fn judged(&self, i: usize, which: usize, moved_m: f64) -> f64 {
        let turn = &self.brief.turns[i];
        let (before, after) = if turn.onto == Leg::Final { (0.0, self.brief.final_slope) } else { self.brief.cost };
        let (from, from_amsl_m) = turn.leg_from;
        // What the plan has as far from the turn as the pilot is from where he would begin it now.
        let to_go = self.at.position.distance(self.gate(i)) / from.distance(turn.begin).max(1.0);
        let planned = turn.height_amsl_m + (from_amsl_m - turn.height_amsl_m) * to_go.clamp(0.0, 1.5) + after * moved_m;
        let aim = self.landing.aim_amsl_m;
        let excess = (self.at.height_amsl_m - aim).max(0.0) * self.draw.judged[which] - (planned - aim);
        let wanted = moved_m + excess / (before + after);
        if before + after > 0.01 && wanted.is_finite() { wanted } else { moved_m }
    }

    /// Straight towards a place and `late_m` beyond it; or, on the way, until abeam the aiming point.
    fn straight_to(&mut self, place: Xy, late_m: f64, until_abeam: bool) -> Result<(), Ended> {
        let from = self.at.position;
        let Some(track) = direction(place - from) else { return Ok(()) };
        let mut length = (place - from).norm() + late_m;
        if until_abeam {
            let fall = -track.dot(self.landing.along());
            if fall > 0.1 {
                length = length.min(self.landing.along_of(from) / fall);
            }
        }
        let glide = self.flying.glide_ms;
        self.straight(track, length, glide)
    }

    fn straight(&mut self, track: Xy, length_m: f64, speed_ms: f64) -> Result<(), Ended> {
        let from = self.at.position;
        loop {
            let left = length_m - (self.at.position - from).dot(track);
            if !(left > 0.5) {
                break;
            }
            let step = left / (left / LEG_M).ceil();
            let before = self.at;
            self.track_step(track, step, speed_ms)?;
            self.look(&before, false)?;
        }
        if let Some(heading) = self.glider().heading_for(self.at.height_amsl_m, self.at.level_speed_ms, track) {
            self.at.heading_rad += math::wrap_pi(heading - self.at.heading_rad);
        }
        Ok(())
    }

    fn track_step(&mut self, track: Xy, step_m: f64, speed_ms: f64) -> Result<(), Ended> {
        let dt = step_m / self.ground_ms.max(1.0);
        let most = self.flying.speed_change_ms2;
        let change = ((speed_ms - self.at.level_speed_ms) / dt).clamp(-most, most);
        let (gust, traded) = self.gust(dt);
        let glider = Glider { flying: &self.flying, air: self.air };
        let to = glider.step_tracking(gust, &self.at, track, change, dt).ok_or(Ended(End::Early))?;
        self.ground_ms = (to.position - self.at.position).dot(track) / dt;
        self.take(to, traded)
    }

    fn turning(&mut self, control: Control, dt: f64) -> Result<(), Ended> {
        let (gust, traded) = self.gust(dt);
        let glider = Glider { flying: &self.flying, air: self.air };
        let before = self.at;
        let to = glider.step_turning(gust, &before, control, dt);
        self.take(to, traded)?;
        self.look(&before, false)
    }

    /// The gust over the next step, and the height that its change of airspeed costs.
    fn gust(&mut self, dt: f64) -> (Gust, f64) {
        let Some(gusts) = self.gusts.as_mut() else { return (Gust::default(), 0.0) };
        let speed = self.at.level_speed_ms;
        let step = gusts.step(self.at.height_amsl_m - self.landing.aim_amsl_m, speed, dt);
        let traded = speed / GRAVITY_MS2 * step.along_change;
        self.gusts_m += step.up * dt - traded;
        (Gust { along_ms: step.along, up_ms: step.up }, traded)
    }

    fn take(&mut self, mut to: Motion, traded_m: f64) -> Result<(), Ended> {
        to.height_amsl_m -= traded_m;
        self.steps += 1;
        let is_finite = to.position.x.is_finite() && to.position.y.is_finite() && to.height_amsl_m.is_finite();
        if !is_finite || self.steps > MOST_STEPS {
            return Err(Ended(End::Lost));
        }
        self.at = to;
        Ok(())
    }

    /// Whether something is in the way of the last step; the flight ends where it is met.
    fn look(&mut self, from: &Motion, on_final: bool) -> Result<(), Ended> {
        if !self.looks {
            return Ok(());
        }
        let Some(met) = self.brief.obstacles.met(from, &self.at, on_final, &mut self.quiet) else { return Ok(()) };
        self.at = met.at;
        // On final, and on ground hardly higher than the landing place, nothing was in the way: the height did not reach.
        let is_low = on_final || met.at.height_amsl_m <= self.landing.aim_amsl_m + RISING_M;
        let is_short = met.over == InTheWay::Ground && is_low;
        Err(Ended(if is_short { End::Early } else { End::Hit(met.over) }))
    }

    fn turn(&mut self, i: usize) -> Result<(), Ended> {
        let planned = self.brief.turns[i];
        let side = if planned.angle_rad < 0.0 { -1.0 } else { 1.0 };
        let is_orbit = planned.onto == Leg::Orbit;
        let speed = if planned.onto == Leg::Final { self.flying.approach_ms } else { self.flying.glide_ms };
        let from_rad = self.at.heading_rad;
        let expected = planned.angle_rad.abs();
        let off = self.draw.roll_out_rad;
        let target = self.target(i);
        let level = self.at.level_speed_ms * self.air.at(self.at.height_amsl_m).to_true;
        let planned_bank = self.flying.bank_for(expected, level);
        let (sin_bank, cos_bank) = math::sin_cos(planned_bank);
        let mut whole = expected;
        // How far there is still to turn. Where the turn ends depends on how far it goes: the first time a second pass puts that
        // right, later the last answer is as good.
        let mut left = |pilot: &Self, passes: u8| {
            let done = side * (pilot.at.heading_rad - from_rad);
            let planned = expected - done;
            if is_orbit {
                return planned + off;
            }
            let turning = Turning::new(&pilot.at, &pilot.air.at(pilot.at.height_amsl_m), side, sin_bank, cos_bank);
            for _ in 0..passes {
                let Some(wanted) = turning.heading_towards(target, (whole - done).max(0.0)) else { break };
                let rest = planned + math::wrap_pi(side * (wanted - pilot.at.heading_rad) - planned);
                whole = (done + rest).min(expected + OVERTURNED_RAD);
            }
            whole - done + off
        };
        let first = left(self, 2);
        if !(first > 0.0) {
            return Ok(());
        }
        let bank = self.flying.bank_for(first, level);
        let roll = side * self.flying.roll_rad_s;
        let roll_s = bank / self.flying.roll_rad_s;
        if !(roll_s > 0.0) {
            return Ok(());
        }
        let change = |pilot: &Self, dt: f64| {
            let most = pilot.flying.speed_change_ms2;
            ((speed - pilot.at.level_speed_ms) / dt).clamp(-most, most)
        };
        for _ in 0..ROLLS {
            let dt = roll_s / f64::from(ROLLS);
            self.turning(Control { roll_rad_s: roll, speed_change_ms2: change(self, dt) }, dt)?;
        }
        self.at.bank_rad = side * bank;
        let (tan, root) = (math::tan(bank), (1.0 / math::cos(bank)).sqrt());
        let out = self.flying.roll_turn(bank, level);
        for _ in 0..200 {
            let rest = left(self, 1) - out;
            if !(rest > 0.02) {
                break;
            }
            let dt = rest / (rest / TURN_RAD).ceil() * level * root / (GRAVITY_MS2 * tan);
            let control = Control { roll_rad_s: 0.0, speed_change_ms2: change(self, dt) };
            self.turning(control, dt)?;
        }
        for _ in 0..ROLLS {
            let dt = roll_s / f64::from(ROLLS);
            self.turning(Control { roll_rad_s: -roll, speed_change_ms2: change(self, dt) }, dt)?;
        }
        self.at.bank_rad = 0.0;
        Ok(())
    }

    /// From wings level to the ground and to a stop.
    fn last_leg(&mut self) -> Result<Run, Ended> {
        let along = self.landing.along();
        let aim = self.landing.aim + self.right() * self.draw.sideways_m;
        let half = -0.5 * self.landing.along_of(self.at.position);
        let mut track = along;
        if let Some(onto) =
            direction(aim - along * half - self.at.position).filter(|t| half > 0.0 && t.dot(along) > 0.5)
        {
            track = onto;
        }
        let above = |m: &Motion, l: &Landing| m.height_amsl_m - l.ground_amsl_m(l.along_of(m.position));
        let mut at_50_ft = None;
        let begun = self.at;
        loop {
            let from = self.at;
            let high = above(&from, self.landing);
            if !(high > 0.0) {
                // Wings come level below the ground.
                return Err(Ended(End::Early));
            }
            let step = if high > LOW_M + LEG_M * FINAL_SLOPE { LEG_M } else { LOW_LEG_M };
            let to_line = (-half - self.landing.along_of(from.position)) / track.dot(along);
            let step = if to_line > 0.5 { step.min(to_line) } else { step };
            if !(to_line > 0.5) {
                track = along;
            }
            self.track_step(track, step, self.flying.approach_ms)?;
            let low = above(&self.at, self.landing);
            let crossing = |level: f64| {
                let t = (high - level) / (high - low);
                from.position + (self.at.position - from.position) * t
            };
            if high >= FIFTY_FT_M && low < FIFTY_FT_M {
                at_50_ft = Some(self.landing.along_of(crossing(FIFTY_FT_M)) - self.brief.coarse_m);
            }
            if low > 0.0 {
                self.look(&from, true)?;
                continue;
            }
            let down = crossing(0.0);
            let length = begun.position.distance(down);
            if length > 1.0 {
                self.final_slope = (begun.height_amsl_m - self.landing.aim_amsl_m) / length;
            }
            let along_m = self.landing.along_of(down) - self.brief.coarse_m;
            // The energy to be lost on the ground goes with the square of the speed over it.
            let faster = self.ground_ms / self.brief.planned_ground_ms;
            let stop = at_50_ft.unwrap_or(along_m) + self.landing.stop_from_50_ft_m * faster * faster;
            return Ok(Run {
                end: End::Down,
                along_m,
                aside_m: self.aside(down),
                stop_along_m: stop.max(along_m),
                gusts_m: self.gusts_m,
                quiet: self.quiet,
            });
        }
    }
}
