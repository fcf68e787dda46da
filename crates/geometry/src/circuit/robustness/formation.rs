//! Several flights flown side by side: each exactly as [`super::pilot`] says, all in the same steps of the program.
//!
//! Flights of one circuit have the same legs and turns, so that what one does next the others do too, only not equally often.
//! A flight that has nothing to do, or that has ended, waits: what is computed for it is thrown away. No number of one
//! flight depends on another, so it does not matter which are flown together.
#![expect(clippy::inline_always, reason = "vectors stay in registers only where everything is one function")]

use super::brief::{Brief, Varied};
use super::gusts::{EachGusts, Scales};
use super::inputs::Draw;
use super::lanes::{Each, EachXy, LANES, Which, acos};
use super::pilot::{End, LEG_M, LOW_LEG_M, LOW_M, MOST_STEPS, OVERTURNED_RAD, RISING_M, ROLLS, Run, TURN_RAD};
use super::random::Stream;
use crate::circuit::clearance::InTheWay;
use crate::circuit::column::{Row, STEP_M};
use crate::circuit::motion::{LEAST_GRADIENT_FACTOR, Motion};
use crate::circuit::plan::{FIFTY_FT_M, Landing, Leg};
use crate::math::GRAVITY_MS2;
use crate::position::Xy;
use core::array::from_fn;

const NONE: Each = Each::of(0.0);
const ONE: Each = Each::of(1.0);

/// The air that each meets.
struct EachAir<'a> {
    base_amsl_m: f64,
    rows: &'a [Row],
    cos: Each,
    sin: Each,
    added: EachXy,
}

/// The air at the height of each.
#[derive(Clone, Copy)]
struct AirThere {
    wind: EachXy,
    shear: EachXy,
    to_true: Each,
    to_true_slope: Each,
}

impl EachAir<'_> {
    #[inline(always)]
    fn turned(&self, w: EachXy) -> EachXy {
        EachXy { x: w.x * self.cos + w.y * self.sin, y: w.y * self.cos - w.x * self.sin }
    }

    #[inline(always)]
    fn at(&self, height_amsl_m: Each) -> AirThere {
        let last = self.rows.len() - 1;
        let at = ((height_amsl_m - self.base_amsl_m) * (1.0 / STEP_M)).max(NONE).min(Each::of(last as f64));
        let (rows, t) = at.row_and_rest(last - 1);
        let rows = rows.map(|i| &self.rows[i]);
        let rise = EachXy { x: Each(rows.map(|r| r.rise.x)), y: Each(rows.map(|r| r.rise.y)) };
        let wind = EachXy { x: Each(rows.map(|r| r.wind.x)), y: Each(rows.map(|r| r.wind.y)) };
        let thin = Each(rows.map(|r| r.thin));
        let inside = at.is_above(NONE) & Each::of(last as f64).is_above(at);
        let per_metre = Each::of(1.0 / STEP_M).where_else(inside, NONE);
        AirThere {
            wind: self.turned(wind + rise.times(t)) + self.added,
            shear: self.turned(rise).times(per_metre),
            to_true: Each(rows.map(|r| r.to_true)) + thin * t,
            to_true_slope: thin * per_metre,
        }
    }
}

/// As [`crate::circuit::motion::crab`]: headings along unit vectors over the ground, speeds over the ground, and where the wind
/// allows it.
#[inline(always)]
fn crab(true_speed: Each, wind: EachXy, track: EachXy) -> (EachXy, Each, Which) {
    let across = wind.x * track.y - wind.y * track.x;
    let rest = true_speed * true_speed - across * across;
    let along = rest.sqrt();
    let ground = along + wind.dot(track);
    let per_speed = 1.0 / true_speed;
    let (a, c) = (along * per_speed, across * per_speed);
    let heading = EachXy { x: track.x * a - track.y * c, y: track.y * a + track.x * c };
    (heading, ground, rest.is_above(NONE) & ground.is_above(NONE))
}

/// What the wings carry in a bank: √n, n and tan φ.
#[derive(Clone, Copy)]
struct Bank {
    root_load: Each,
    load: Each,
    tan: Each,
}

#[inline(always)]
fn banked(bank_rad: Each) -> Bank {
    let (sin, cos) = bank_rad.sin_cos();
    let load = 1.0 / cos;
    Bank { root_load: load.sqrt(), load, tan: sin * load }
}

/// What the rates depend on.
#[derive(Clone, Copy)]
struct Pose<'b> {
    here: AirThere,
    level_speed: Each,
    bank: &'b Bank,
    along: EachXy,
    roll_rad_s: Each,
    speed_change_ms2: Each,
}

/// As they are and move.
#[derive(Clone, Copy)]
struct Moves {
    place: EachXy,
    height_amsl_m: Each,
    heading_rad: Each,
    /// The unit vector that way.
    ahead: EachXy,
    level_speed_ms: Each,
}

/// Gusts of a step, and what their change of airspeed costs in height.
struct Blown {
    along_ms: Each,
    up_ms: Each,
    traded_m: Each,
}

/// Flights side by side.
pub(super) struct Formation<'a> {
    brief: &'a Brief<'a>,
    landing: &'a Landing,
    /// Unit vectors along the strip and to the right of it.
    along: Xy,
    right: Xy,
    air: EachAir<'a>,
    /// a·V³ + n²·b/V, the factor on the sink rate in both.
    sink_a: Each,
    sink_b: Each,
    glide_ms: Each,
    approach_ms: Each,
    bank_rad: Each,
    reaction_s: Each,
    roll_out_rad: Each,
    judged: [Each; 2],
    late_m: [Each; 2],
    aim: EachXy,
    gusts: EachGusts<'a>,
    at: Moves,
    ground_ms: Each,
    moved_m: Each,
    bent_m: Each,
    gusts_m: Each,
    steps: Each,
    quiet: [Option<usize>; LANES],
    /// Those that still fly.
    live: Which,
    runs: [Run; LANES],
}

impl<'a> Formation<'a> {
    pub(super) fn new(
        brief: &'a Brief<'a>,
        draws: &[Draw; LANES],
        scales: &'a Scales,
        streams: [Stream; LANES],
    ) -> Self {
        let landing = &brief.task.landing;
        let along = landing.along();
        let right = Xy::new(along.y, -along.x);
        let varied: [Varied; LANES] = from_fn(|l| brief.varied(&draws[l]));
        let each = |of: fn(&Varied) -> f64| Each(from_fn(|l| of(&varied[l])));
        let drawn = |of: fn(&Draw) -> f64| Each(from_fn(|l| of(&draws[l])));
        let (base_amsl_m, rows) = brief.task.air.table();
        let (a, b) = brief.task.flying.curve.coefficients();
        let sink_factor = each(|v| v.flying.sink_factor);
        let sideways = drawn(|d| d.sideways_m);
        let start = &brief.start;
        let glide_ms = each(|v| v.flying.glide_ms);
        let at = Moves {
            place: EachXy::of(start.motion.position),
            height_amsl_m: Each::of(start.motion.height_amsl_m),
            heading_rad: Each::of(start.motion.heading_rad),
            ahead: EachXy::of(start.motion.heading().unit()),
            level_speed_ms: start.motion.level_speed_ms + drawn(|d| d.airspeed_ms),
        };
        Self {
            brief,
            landing,
            along,
            right,
            air: EachAir {
                base_amsl_m,
                rows,
                cos: each(|v| v.speed_factor) * each(|v| v.veer_rad).sin_cos().1,
                sin: each(|v| v.speed_factor) * each(|v| v.veer_rad).sin_cos().0,
                added: EachXy { x: each(|v| v.added.x), y: each(|v| v.added.y) },
            },
            sink_a: sink_factor * a,
            sink_b: sink_factor * b,
            glide_ms,
            approach_ms: each(|v| v.flying.approach_ms),
            bank_rad: each(|v| v.flying.bank_rad),
            reaction_s: (start.reaction_s + drawn(|d| d.reaction_s)).max(NONE),
            roll_out_rad: drawn(|d| d.roll_out_rad),
            judged: [drawn(|d| d.judged[0]), drawn(|d| d.judged[1])],
            late_m: [drawn(|d| d.late_m[0]), drawn(|d| d.late_m[1])],
            aim: EachXy { x: landing.aim.x + sideways * right.x, y: landing.aim.y + sideways * right.y },
            gusts: EachGusts::new(scales, streams),
            at,
            ground_ms: glide_ms,
            moved_m: NONE,
            bent_m: NONE,
            gusts_m: NONE,
            steps: NONE,
            quiet: [None; LANES],
            live: Which::ALL,
            runs: [Run::default(); LANES],
        }
    }

    pub(super) fn fly(&mut self) -> &[Run; LANES] {
        self.react();
        for i in 0..self.brief.turns.len() {
            self.leg_to(i);
            self.turn(i);
        }
        self.last_leg();
        &self.runs
    }

    #[inline(always)]
    fn along_of(&self, p: EachXy) -> Each {
        (p.x - self.landing.aim.x) * self.along.x + (p.y - self.landing.aim.y) * self.along.y
    }

    fn motion(at: &Moves, l: usize) -> Motion {
        Motion {
            position: at.place.lane(l),
            height_amsl_m: at.height_amsl_m.0[l],
            heading_rad: at.heading_rad.0[l],
            bank_rad: 0.0,
            level_speed_ms: at.level_speed_ms.0[l],
            time_s: 0.0,
        }
    }

    #[cold]
    fn end(&mut self, which: Which, end: End) {
        for l in which.lanes() {
            self.end_one(l, end, self.at.place.lane(l));
        }
    }

    fn end_one(&mut self, l: usize, end: End, at: Xy) {
        let along_m = self.landing.along_of(at);
        self.runs[l] = Run {
            end,
            along_m,
            aside_m: (at - self.landing.aim).dot(self.right),
            stop_along_m: along_m,
            gusts_m: self.gusts_m.0[l],
            quiet: self.quiet[l],
        };
        self.live.0[l] = 0;
    }

    fn react(&mut self) {
        let count = (self.reaction_s * self.ground_ms * (1.0 / LEG_M)).ceil().max(ONE).min(Each::of(200.0));
        let dt = self.reaction_s / count;
        let acts = self.reaction_s.is_above(NONE);
        let banked_now = banked(Each::of(self.brief.start.motion.bank_rad));
        for i in 0..200 {
            let acts = acts & self.live & count.is_above(Each::of(f64::from(i)));
            if !acts.any() {
                break;
            }
            self.turning(acts, [&banked_now; 2], NONE, NONE, dt);
        }
    }

    fn gate(&self, i: usize) -> EachXy {
        let turn = &self.brief.turns[i];
        let by = match turn.onto {
            _ if !turn.moves => NONE,
            Leg::Final => self.moved_m + self.bent_m,
            _ => self.moved_m,
        };
        EachXy { x: turn.begin.x - by * self.along.x, y: turn.begin.y - by * self.along.y }
    }

    fn target(&self, i: usize) -> EachXy {
        if i + 1 < self.brief.turns.len() { self.gate(i + 1) } else { self.aim }
    }

    fn leg_to(&mut self, i: usize) {
        let turn = self.brief.turns[i];
        let judges = turn.moves && self.brief.final_slope > 0.0;
        let late = self.late_m[usize::from(turn.onto == Leg::Final)];
        let (nearest, farthest) = (Each::of(self.brief.limits.0), Each::of(self.brief.limits.1));
        if turn.at_once {
        } else if judges && turn.onto == Leg::Base {
            if turn.leg == Leg::Downwind {
                let before = self.live & self.along_of(self.at.place).is_above(NONE);
                self.straight_to(before, self.gate(i), NONE, true);
            }
            let wanted = self.judge(i, 0, self.moved_m).max(nearest).min(farthest);
            self.moved_m.keep(self.live, wanted);
            self.straight_to(self.live, self.gate(i), late, false);
            let before = self.moved_m;
            let wanted = self.judge(i, 1, before).max(before).min(farthest.max(before));
            self.moved_m.keep(self.live, wanted);
            let farther = self.live & self.moved_m.is_above(before + 1.0);
            self.straight_to(farther, self.gate(i), late, false);
        } else if judges && turn.leg == Leg::Base {
            self.bend(i);
            let half = (self.gate(i) - self.at.place).times(Each::of(0.5));
            self.straight_to(self.live, self.at.place + half, NONE, false);
            self.bend(i);
            self.straight_to(self.live, self.gate(i), late, false);
        } else {
            self.straight_to(self.live, self.gate(i), late, false);
        }
    }

    fn bend(&mut self, i: usize) {
        let (nearest, farthest) = (Each::of(self.brief.limits.0), Each::of(self.brief.limits.1));
        let wanted = self.judge(i, 1, self.moved_m + self.bent_m).max(nearest).min(farthest);
        self.bent_m.keep(self.live, wanted - self.moved_m);
    }

    fn judge(&self, i: usize, which: usize, moved_m: Each) -> Each {
        let turn = &self.brief.turns[i];
        let (before, after) = if turn.onto == Leg::Final { (0.0, self.brief.final_slope) } else { self.brief.cost };
        if !(before + after > 0.01) {
            return moved_m;
        }
        let (from, from_amsl_m) = turn.leg_from;
        let to_go = (self.gate(i) - self.at.place).norm() / from.distance(turn.begin).max(1.0);
        let to_go = to_go.max(NONE).min(Each::of(1.5));
        let planned = turn.height_amsl_m + (from_amsl_m - turn.height_amsl_m) * to_go + after * moved_m;
        let aim = self.landing.aim_amsl_m;
        let excess = (self.at.height_amsl_m - aim).max(NONE) * self.judged[which] - (planned - aim);
        let wanted = moved_m + excess / (before + after);
        wanted.where_else(wanted.is_finite(), moved_m)
    }

    fn straight_to(&mut self, which: Which, place: EachXy, late_m: Each, until_abeam: bool) {
        let from = self.at.place;
        let way = place - from;
        let (track, is_way) = way.direction();
        let which = which & is_way;
        if !which.any() {
            return;
        }
        let mut length = way.norm() + late_m;
        if until_abeam {
            let fall = -(track.x * self.along.x + track.y * self.along.y);
            let abeam = length.min(self.along_of(from) / fall);
            length.keep(fall.is_above(Each::of(0.1)), abeam);
        }
        self.straight(which, track, length);
    }

    fn straight(&mut self, which: Which, track: EachXy, length_m: Each) {
        let from = self.at.place;
        let mut acts = which;
        loop {
            let left = length_m - (self.at.place - from).dot(track);
            acts = acts & self.live & left.is_above(Each::of(0.5));
            if !acts.any() {
                break;
            }
            let step = left / (left * (1.0 / LEG_M)).ceil();
            let before = self.at;
            self.track_step(acts, track, step, self.glide_ms);
            self.look(acts & self.live, &before, false);
        }
        let there = self.air.at(self.at.height_amsl_m);
        let (heading, _, allowed) = crab(self.at.level_speed_ms * there.to_true, there.wind, track);
        let now = self.at.heading_rad;
        let which = which & self.live & allowed;
        self.at.heading_rad.keep(which, now + (heading.heading_rad() - now).wrap_pi());
        self.at.ahead.keep(which, heading);
    }

    /// Change of airspeed over the next `dt` towards a wanted one.
    #[inline(always)]
    fn speeding(&self, wanted_ms: Each, dt: Each) -> Each {
        let most = Each::of(self.brief.task.flying.speed_change_ms2);
        ((wanted_ms - self.at.level_speed_ms) / dt).max(-most).min(most)
    }

    #[inline(always)]
    fn rates(&self, up_ms: Each, pose: &Pose<'_>) -> (Each, Each) {
        let Pose { here, level_speed, bank, along, roll_rad_s, speed_change_ms2 } = *pose;
        let equivalent = level_speed * bank.root_load;
        let true_speed = equivalent * here.to_true;
        let cubed = equivalent * equivalent * equivalent;
        let sink = (self.sink_a * cubed + bank.load * bank.load * self.sink_b / equivalent) * here.to_true;
        let gain = here.to_true * bank.root_load * (0.5 * bank.tan * roll_rad_s * level_speed + speed_change_ms2);
        let per_g = true_speed * (1.0 / GRAVITY_MS2);
        let gradient = 1.0 + per_g * (here.shear.dot(along) + equivalent * here.to_true_slope);
        let climb = -(sink + per_g * gain) / gradient.max(Each::of(LEAST_GRADIENT_FACTOR)) + up_ms;
        (climb, true_speed)
    }

    #[inline(always)]
    fn gust(&mut self, which: Which, dt: Each) -> Blown {
        let speed = self.at.level_speed_ms;
        let step = self.gusts.step(which, self.at.height_amsl_m - self.landing.aim_amsl_m, speed, dt);
        let traded_m = speed * (1.0 / GRAVITY_MS2) * step.along_change;
        let gained = self.gusts_m + step.up * dt - traded_m;
        self.gusts_m.keep(which, gained);
        Blown { along_ms: step.along, up_ms: step.up, traded_m }
    }

    /// Rates of climb and speeds over the ground along tracks, and where the wind allows them.
    #[inline(always)]
    fn tracking(
        &self,
        height_amsl_m: Each,
        level_speed: Each,
        track: EachXy,
        gust: EachXy,
        up_ms: Each,
        speed_change_ms2: Each,
    ) -> (Each, Each, Which) {
        let here = self.air.at(height_amsl_m);
        let true_speed = level_speed * here.to_true;
        let (along, ground, allowed) = crab(true_speed, here.wind + gust, track);
        // As `rates`, wings level.
        let cubed = level_speed * level_speed * level_speed;
        let sink = (self.sink_a * cubed + self.sink_b / level_speed) * here.to_true;
        let per_g = true_speed * (1.0 / GRAVITY_MS2);
        let gradient = 1.0 + per_g * (here.shear.dot(along) + level_speed * here.to_true_slope);
        let gain = here.to_true * speed_change_ms2;
        let climb = -(sink + per_g * gain) / gradient.max(Each::of(LEAST_GRADIENT_FACTOR)) + up_ms;
        (climb, ground, allowed)
    }

    /// One step along a track of each, as [`crate::circuit::motion::Glider::step_tracking`].
    #[inline(never)]
    fn track_step(&mut self, which: Which, track: EachXy, step_m: Each, speed_ms: Each) {
        let dt = step_m / self.ground_ms.max(ONE);
        let change = self.speeding(speed_ms, dt);
        let blown = self.gust(which, dt);
        let half = dt * 0.5;
        let gust = track.times(blown.along_ms);
        let m = self.at;
        let (climb, _, may_start) = self.tracking(m.height_amsl_m, m.level_speed_ms, track, gust, blown.up_ms, change);
        let (height, level_speed) = (m.height_amsl_m + climb * half, m.level_speed_ms + change * half);
        let (climb, ground, may_go) = self.tracking(height, level_speed, track, gust, blown.up_ms, change);
        let allowed = may_start & may_go;
        let to = Moves {
            place: m.place + track.times(ground * dt),
            height_amsl_m: m.height_amsl_m + climb * dt,
            level_speed_ms: m.level_speed_ms + change * dt,
            ..m
        };
        let blown_away = which & !allowed;
        if blown_away.any() {
            self.end(blown_away, End::Early);
        }
        let which = which & allowed;
        self.ground_ms.keep(which, ground);
        self.take(which, &to, blown.traded_m);
    }

    /// One step of a turn or of flight on a heading, as [`crate::circuit::motion::Glider::step_turning`].
    #[inline(never)]
    fn turning(&mut self, which: Which, banks: [&Bank; 2], roll_rad_s: Each, change: Each, dt: Each) {
        let blown = self.gust(which, dt);
        let half = dt * 0.5;
        let m = self.at;
        let ahead = m.ahead;
        let start = Pose {
            here: self.air.at(m.height_amsl_m),
            level_speed: m.level_speed_ms,
            bank: banks[0],
            along: ahead,
            roll_rad_s,
            speed_change_ms2: change,
        };
        let (climb, speed) = self.rates(blown.up_ms, &start);
        let turn = banks[0].tan * GRAVITY_MS2 / speed;
        let mid = Pose {
            here: self.air.at(m.height_amsl_m + climb * half),
            level_speed: m.level_speed_ms + change * half,
            bank: banks[1],
            along: ahead.turned_by((turn * half).sin_cos_of_a_little()),
            ..start
        };
        let (climb, speed) = self.rates(blown.up_ms, &mid);
        let turned = banks[1].tan * GRAVITY_MS2 / speed * dt;
        let x2 = 0.25 * turned * turned;
        let chord = 1.0 - x2 * (1.0 / 6.0) * (1.0 - x2 * 0.05);
        let half_turn = (0.5 * turned).sin_cos_of_a_little();
        let middle = ahead.turned_by(half_turn);
        let way = middle.times(speed * chord) + mid.here.wind + ahead.times(blown.along_ms);
        let to = Moves {
            place: m.place + way.times(dt),
            height_amsl_m: m.height_amsl_m + climb * dt,
            heading_rad: m.heading_rad + turned,
            ahead: middle.turned_by(half_turn),
            level_speed_ms: m.level_speed_ms + change * dt,
        };
        self.take(which, &to, blown.traded_m);
        self.look(which & self.live, &m, false);
    }

    #[inline(always)]
    fn take(&mut self, which: Which, to: &Moves, traded_m: Each) {
        let height_amsl_m = to.height_amsl_m - traded_m;
        self.steps = self.steps + ONE.where_else(which, NONE);
        let found =
            (to.place.x + to.place.y + height_amsl_m).is_finite() & Each::of(MOST_STEPS as f64).is_at_least(self.steps);
        let lost = which & !found;
        if lost.any() {
            self.end(lost, End::Lost);
        }
        let which = which & found;
        self.at.place.keep(which, to.place);
        self.at.height_amsl_m.keep(which, height_amsl_m);
        self.at.heading_rad.keep(which, to.heading_rad);
        self.at.ahead.keep(which, to.ahead);
        self.at.level_speed_ms.keep(which, to.level_speed_ms);
    }

    /// Whether something is in the way of the last step of some; a flight ends where it is met.
    #[inline(always)]
    fn look(&mut self, which: Which, from: &Moves, on_final: bool) {
        let lowest = from.height_amsl_m.min(self.at.height_amsl_m);
        let near = which & !self.brief.obstacles.are_far_below(from.place, self.at.place, lowest);
        if near.any() {
            self.look_closely(near, from, on_final);
        }
    }

    #[inline(never)]
    fn look_closely(&mut self, which: Which, from: &Moves, on_final: bool) {
        for l in which.lanes() {
            let (a, b) = (Self::motion(from, l), Self::motion(&self.at, l));
            let Some(met) = self.brief.obstacles.met(&a, &b, on_final, &mut self.quiet[l]) else { continue };
            // On final, and on ground hardly higher than the landing place, nothing was in the way: the height did not reach.
            let is_low = on_final || met.at.height_amsl_m <= self.landing.aim_amsl_m + RISING_M;
            let is_short = met.over == InTheWay::Ground && is_low;
            self.end_one(l, if is_short { End::Early } else { End::Hit(met.over) }, met.at.position);
        }
    }

    /// As [`crate::circuit::motion::Flying::bank_for`].
    fn bank_for(&self, turn_rad: Each, level_true_ms: Each) -> Each {
        let root = 1.0 - turn_rad * level_true_ms * (self.brief.task.flying.roll_rad_s / (4.0 * GRAVITY_MS2));
        let is_small = root.is_above(NONE);
        if !is_small.any() {
            return self.bank_rad;
        }
        acos(root * root).where_else(is_small, self.bank_rad).min(self.bank_rad)
    }

    fn turn(&mut self, i: usize) {
        let planned = self.brief.turns[i];
        let side = if planned.angle_rad < 0.0 { -1.0 } else { 1.0 };
        let is_orbit = planned.onto == Leg::Orbit;
        let speed = if planned.onto == Leg::Final { self.approach_ms } else { self.glide_ms };
        let roll_rad_s = self.brief.task.flying.roll_rad_s;
        let expected = planned.angle_rad.abs();
        let level = self.at.level_speed_ms * self.air.at(self.at.height_amsl_m).to_true;
        let (sin_bank, cos_bank) = self.bank_for(Each::of(expected), level).sin_cos();
        let mut goes = Turn {
            side,
            expected,
            from_rad: self.at.heading_rad,
            is_orbit,
            target: self.target(i),
            root: cos_bank.sqrt(),
            per_g: 1.0 / (sin_bank.max(Each::of(1e-3)) * GRAVITY_MS2),
            whole: Each::of(expected),
        };
        let first = self.left(&mut goes, 2);
        let mut turns = self.live & first.is_above(NONE);
        let bank = self.bank_for(first, level);
        let roll_s = bank * (1.0 / roll_rad_s);
        turns = turns & roll_s.is_above(NONE);
        if !turns.any() {
            return;
        }
        let roll = Each::of(side * roll_rad_s);
        let roll_dt = roll_s * (1.0 / f64::from(ROLLS));
        // The banks at the beginning and half-way of every step of a roll.
        let banks: [Bank; 2 * ROLLS as usize + 1] =
            from_fn(|i| banked(bank * (side * i as f64 / (2.0 * f64::from(ROLLS)))));
        for i in 0..usize::from(ROLLS) {
            let change = self.speeding(speed, roll_dt);
            self.turning(turns & self.live, [&banks[2 * i], &banks[2 * i + 1]], roll, change, roll_dt);
        }
        turns = turns & self.live;
        let (sin, cos) = bank.sin_cos();
        // As `Flying::roll_turn`, and the seconds of one radian.
        let out = (1.0 - cos.sqrt()) * (2.0 * GRAVITY_MS2 / roll_rad_s) / level;
        let seconds_per_rad = level * cos.sqrt() / (sin * GRAVITY_MS2);
        let mut acts = turns;
        for _ in 0..200 {
            let rest = self.left(&mut goes, 1) - out;
            acts = acts & self.live & rest.is_above(Each::of(0.02));
            if !acts.any() {
                break;
            }
            let dt = rest / (rest * (1.0 / TURN_RAD)).ceil() * seconds_per_rad;
            let change = self.speeding(speed, dt);
            self.turning(acts, [&banks[2 * usize::from(ROLLS)]; 2], NONE, change, dt);
        }
        for i in (1..=usize::from(ROLLS)).rev() {
            let change = self.speeding(speed, roll_dt);
            self.turning(turns & self.live, [&banks[2 * i], &banks[2 * i - 1]], -roll, change, roll_dt);
        }
    }

    /// How far there is still to turn, radians.
    #[inline(never)]
    fn left(&self, turn: &mut Turn, passes: u8) -> Each {
        let now = self.at.heading_rad;
        let done = (now - turn.from_rad) * turn.side;
        let planned = turn.expected - done;
        if turn.is_orbit {
            return planned + self.roll_out_rad;
        }
        // As `Turning`.
        let there = self.air.at(self.at.height_amsl_m);
        let true_ms = self.at.level_speed_ms * there.to_true;
        let seconds_per_rad = true_ms * turn.root * turn.per_g;
        let radius = true_ms / turn.root * seconds_per_rad;
        let (east, north) = (self.at.ahead.x, self.at.ahead.y);
        let inward = EachXy { x: north * turn.side, y: -east * turn.side };
        for _ in 0..passes {
            let angle = (turn.whole - done).max(NONE);
            let (sin, cos) = angle.sin_cos();
            let (ahead, aside) = (radius * sin, radius * (1.0 - cos));
            let end = self.at.place
                + EachXy { x: east * ahead + inward.x * aside, y: north * ahead + inward.y * aside }
                + there.wind.times(seconds_per_rad * angle);
            let (track, is_way) = (turn.target - end).direction();
            let (heading, _, allowed) = crab(true_ms, there.wind, track);
            let rest = planned + ((heading.heading_rad() - now) * turn.side - planned).wrap_pi();
            let whole = (done + rest).min(Each::of(turn.expected + OVERTURNED_RAD));
            turn.whole.keep(is_way & allowed, whole);
        }
        turn.whole - done + self.roll_out_rad
    }

    /// From wings level to the ground and to a stop.
    fn last_leg(&mut self) {
        let along = EachXy::of(self.along);
        let half = self.along_of(self.at.place) * -0.5;
        let before_aim = EachXy { x: self.aim.x - half * self.along.x, y: self.aim.y - half * self.along.y };
        let (onto, is_way) = (before_aim - self.at.place).direction();
        let mut track = along;
        track.keep(is_way & half.is_above(NONE) & onto.dot(along).is_above(Each::of(0.5)), onto);
        let mut at_50_ft = Each::of(f64::NAN);
        let fifty = Each::of(FIFTY_FT_M);
        while self.live.any() {
            let from = self.at;
            let high = self.above(&from);
            let under = self.live & !high.is_above(NONE);
            if under.any() {
                // Wings come level below the ground.
                self.end(under, End::Early);
            }
            let acts = self.live;
            let is_high = high.is_above(Each::of(LOW_M + LEG_M * super::pilot::FINAL_SLOPE));
            let step = Each::of(LEG_M).where_else(is_high, Each::of(LOW_LEG_M));
            let to_line = (-half - self.along_of(from.place)) / track.dot(along);
            let is_before = to_line.is_above(Each::of(0.5));
            let step = step.min(to_line).where_else(is_before, step);
            track.keep(!is_before, along);
            self.track_step(acts, track, step, self.approach_ms);
            let acts = acts & self.live;
            let low = self.above(&self.at);
            let way = self.at.place - from.place;
            let crossing = |level: f64| from.place + way.times((high - level) / (high - low));
            let passes = acts & high.is_at_least(fifty) & fifty.is_above(low);
            at_50_ft.keep(passes, self.along_of(crossing(FIFTY_FT_M)) - self.brief.coarse_m);
            let flies_on = low.is_above(NONE);
            self.look(acts & flies_on, &from, true);
            let down = acts & !flies_on;
            if down.any() {
                self.touch(down, crossing(0.0), at_50_ft);
            }
        }
    }

    /// Height over the strip's plane.
    #[inline(always)]
    fn above(&self, at: &Moves) -> Each {
        let along = self.along_of(at.place).max(Each::of(-self.landing.aim_from_start_m));
        at.height_amsl_m - self.landing.aim_amsl_m - along * self.landing.slope
    }

    #[cold]
    fn touch(&mut self, which: Which, down: EachXy, at_50_ft: Each) {
        for l in which.lanes() {
            let place = down.lane(l);
            let along_m = self.landing.along_of(place) - self.brief.coarse_m;
            // The energy to be lost on the ground goes with the square of the speed over it.
            let faster = self.ground_ms.0[l] / self.brief.planned_ground_ms;
            let at_50_ft = if at_50_ft.0[l].is_nan() { along_m } else { at_50_ft.0[l] };
            let stop = at_50_ft + self.landing.stop_from_50_ft_m * faster * faster;
            self.end_one(l, End::Down, place);
            self.runs[l].along_m = along_m;
            self.runs[l].stop_along_m = stop.max(along_m);
        }
    }
}

/// One turn of each.
struct Turn {
    side: f64,
    expected: f64,
    from_rad: Each,
    is_orbit: bool,
    target: EachXy,
    /// Cosine's root of the bank that was planned, and 1/(g·sin).
    root: Each,
    per_g: Each,
    /// How far the whole turn goes.
    whole: Each,
}
