//! A pilot flying under power, and the path of the whole flight.

use super::Land;
use super::air::MovingAir;
use crate::noise::Dice;
use sparefield_geometry::air::isa_density_ratio;
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::circuit::{Landing, TrackPoint};
use sparefield_geometry::math::{self, GRAVITY_MS2};
use sparefield_geometry::position::{Bearing, Xy};

const DT_S: f64 = 0.25;
const BANK_RAD: f64 = 22.0 * math::PI / 180.0;
const ROLL_RAD_S: f64 = 12.0 * math::PI / 180.0;

/// Where the aircraft was at a moment.
#[derive(Clone, Copy, Debug)]
pub(super) struct Moment {
    pub(super) time_s: f64,
    pub(super) position: Xy,
    pub(super) height_amsl_m: f64,
}

/// What is wanted of a powered leg.
#[derive(Clone, Copy, Debug)]
pub(super) struct PowerGoal {
    pub(super) climb_ms: f64,
    pub(super) airspeed_ms: f64,
}

#[derive(Clone, Debug)]
pub(super) struct Pilot<'a> {
    land: &'a Land<'a>,
    air: MovingAir,
    path: Vec<Moment>,
    position: Xy,
    height_amsl_m: f64,
    heading_rad: f64,
    bank_rad: f64,
    airspeed_ms: f64,
    climb_ms: f64,
    /// Place and height that gusts added so far to what a simulated glide says.
    blown: Xy,
    lifted_m: f64,
    dice: Dice,
}

impl<'a> Pilot<'a> {
    pub(super) fn new(land: &'a Land<'a>, air: MovingAir, home: Landing, seed: u64) -> Self {
        let mut pilot = Self {
            land,
            air,
            path: Vec::new(),
            position: home.aim,
            height_amsl_m: home.aim_amsl_m,
            heading_rad: home.heading.rad(),
            bank_rad: 0.0,
            airspeed_ms: 0.0,
            climb_ms: 0.0,
            blown: Xy::default(),
            lifted_m: 0.0,
            dice: Dice::new(seed, 0xb0),
        };
        pilot.note(0.0);
        pilot
    }
    pub(super) fn path(&self) -> &[Moment] {
        &self.path
    }
    pub(super) fn time_s(&self) -> f64 {
        self.path.last().map_or(0.0, |m| m.time_s)
    }
    pub(super) fn position(&self) -> Xy {
        self.position
    }
    pub(super) fn height_amsl_m(&self) -> f64 {
        self.height_amsl_m
    }
    pub(super) fn heading_rad(&self) -> f64 {
        self.heading_rad
    }
    fn ground_m(&self) -> f64 {
        self.land.terrain().height_at(self.position).unwrap_or(self.land.landings[0].aim_amsl_m)
    }
    pub(super) fn height_agl_m(&self) -> f64 {
        self.height_amsl_m - self.ground_m()
    }
    fn note(&mut self, time_s: f64) {
        self.path.push(Moment { time_s, position: self.position, height_amsl_m: self.height_amsl_m });
    }

    pub(super) fn stand(&mut self, seconds: f64) {
        self.airspeed_ms = 0.0;
        self.climb_ms = 0.0;
        for _ in 0..(seconds / DT_S) as usize {
            self.note(self.time_s() + DT_S);
        }
    }

    /// Rolls and lifts off; the time at which the wheels leave the ground.
    pub(super) fn take_off(&mut self, heading: Bearing, airspeed_ms: f64) -> f64 {
        self.heading_rad = heading.rad();
        self.bank_rad = 0.0;
        let mut ground_ms = self.airspeed_ms;
        while ground_ms < 0.85 * airspeed_ms {
            ground_ms += 2.0 * DT_S;
            self.position = self.position + heading.unit() * (ground_ms * DT_S);
            self.height_amsl_m = self.ground_m();
            self.note(self.time_s() + DT_S);
        }
        let lift_off_s = self.time_s();
        self.airspeed_ms = ground_ms.max(0.9 * airspeed_ms);
        self.straight(25.0, PowerGoal { climb_ms: 3.0, airspeed_ms }, 0.0);
        lift_off_s
    }

    /// Rolls on after touching down until a ground speed is left.
    pub(super) fn roll_out(&mut self, heading: Bearing, until_ms: f64) {
        let n = self.path.len();
        let mut ground_ms = self.path[n - 1].position.distance(self.path[n.saturating_sub(5)].position);
        while ground_ms > until_ms.max(0.5) {
            ground_ms -= 1.6 * DT_S;
            self.position = self.position + heading.unit() * (ground_ms.max(0.0) * DT_S);
            self.height_amsl_m = self.ground_m();
            self.note(self.time_s() + DT_S);
        }
        self.airspeed_ms = ground_ms.max(0.0);
        self.climb_ms = 0.0;
    }

    /// One step under power with a wanted rate of turn by bank.
    fn step(&mut self, goal: PowerGoal, bank_rad: f64) {
        let (wind, gust, up) = self.air.step(self.height_amsl_m, self.height_agl_m(), DT_S);
        let towards = |from: f64, to: f64, most: f64| from + (to - from).clamp(-most, most);
        self.bank_rad = towards(self.bank_rad, bank_rad, ROLL_RAD_S * DT_S);
        self.airspeed_ms = towards(self.airspeed_ms, goal.airspeed_ms, 0.8 * DT_S);
        self.climb_ms = towards(self.climb_ms, goal.climb_ms, 1.5 * DT_S);
        let true_ms = self.airspeed_ms / isa_density_ratio(self.height_amsl_m).sqrt();
        self.heading_rad += GRAVITY_MS2 * math::tan(self.bank_rad) / true_ms.max(5.0) * DT_S;
        let through = Bearing::from_rad(self.heading_rad).unit() * true_ms;
        self.position = self.position + (through + wind + gust) * DT_S;
        self.height_amsl_m += (self.climb_ms + up) * DT_S;
        let ground = self.ground_m();
        self.height_amsl_m = self.height_amsl_m.max(ground);
        self.note(self.time_s() + DT_S);
    }

    fn bank_towards(&self, heading_rad: f64) -> f64 {
        let off = math::wrap_pi(heading_rad - self.heading_rad);
        (off * 1.2).clamp(-BANK_RAD, BANK_RAD)
    }

    /// Straight on for a time, no lower than a height above ground where one is given.
    pub(super) fn straight(&mut self, seconds: f64, goal: PowerGoal, floor_agl_m: f64) {
        let heading = self.heading_rad;
        let n = (seconds / DT_S) as usize;
        for _ in 0..n {
            if goal.climb_ms < 0.0 && self.height_agl_m() < floor_agl_m {
                return;
            }
            self.step(goal, self.bank_towards(heading));
        }
    }

    pub(super) fn turn_by(&mut self, angle_rad: f64, goal: PowerGoal) {
        let end = self.heading_rad + angle_rad;
        let bank = BANK_RAD * self.dice.within(0.6, 1.2);
        while (end - self.heading_rad) * angle_rad > 0.0 && (end - self.heading_rad).abs() > 0.15 {
            self.step(goal, bank * angle_rad.signum());
        }
        while self.bank_rad.abs() > 0.02 {
            self.step(goal, 0.0);
        }
    }

    fn aim(&self, place: Xy) -> f64 {
        // Heading that makes good the track in the mean wind, near enough.
        let (wind, v) = (self.air_wind(), self.airspeed_ms.max(10.0));
        let Some(bearing) = (place - self.position).bearing() else { return self.heading_rad };
        let u = bearing.unit();
        let across = wind.dot(Xy::new(u.y, -u.x));
        bearing.rad() - math::asin((across / v).clamp(-0.9, 0.9))
    }

    fn air_wind(&self) -> Xy {
        self.air.clone().step(self.height_amsl_m, 0.0, 1e-9).0
    }

    /// Towards a place until near it, or for at most so many seconds.
    pub(super) fn fly_to(&mut self, place: Xy, goal: PowerGoal, most_s: f64) {
        let until = self.time_s() + most_s;
        while self.position.distance(place) > 120.0 && self.time_s() < until {
            let bank = self.bank_towards(self.aim(place));
            self.step(goal, bank);
        }
    }

    /// Climbs, or descends under power, to a height above ground while flying towards a place.
    pub(super) fn climb_towards(&mut self, place: Xy, agl_m: f64, climb_ms: f64, airspeed_ms: f64) {
        let until = self.time_s() + 400.0;
        let up = self.height_agl_m() < agl_m;
        let goal = PowerGoal { climb_ms: if up { climb_ms } else { -1.2 }, airspeed_ms };
        while (self.height_agl_m() < agl_m) == up && self.time_s() < until {
            // In a wide circle when there already.
            let there = self.position.distance(place) < 400.0;
            let bank = if there { 0.35 } else { self.bank_towards(self.aim(place)) };
            self.step(goal, bank);
        }
        self.straight(3.0, PowerGoal { climb_ms: 0.0, airspeed_ms }, 0.0);
    }

    /// Idles on the heading held until the gliding speed is reached: height is what energy leaves.
    pub(super) fn slow_down(&mut self, real: &Aircraft, glide_ms: f64) {
        loop {
            let change = (glide_ms - self.airspeed_ms).clamp(-1.5 * DT_S, 1.5 * DT_S);
            let to_true = 1.0 / isa_density_ratio(self.height_amsl_m).sqrt();
            let sink = real.glide.sink_ms(self.airspeed_ms, 1.0) * to_true;
            let gain = self.airspeed_ms * to_true * to_true * change / DT_S / GRAVITY_MS2;
            self.airspeed_ms += change;
            // The engine runs down and the nose goes down in about a second.
            let wanted = -sink - gain;
            self.climb_ms += (wanted - self.climb_ms).clamp(-4.0 * DT_S, 4.0 * DT_S);
            let (goal, heading) =
                (PowerGoal { climb_ms: self.climb_ms, airspeed_ms: self.airspeed_ms }, self.heading_rad);
            self.step(goal, self.bank_towards(heading));
            if (glide_ms - self.airspeed_ms).abs() < 1e-9 && (self.climb_ms - wanted).abs() < 0.2 {
                break;
            }
        }
    }

    /// Follows a simulated glide through moving air; to the ground when it lands.
    pub(super) fn glide(&mut self, flown: &[TrackPoint], lands: bool) {
        let (first, last) = (flown[0].motion, flown[flown.len() - 1].motion);
        let duration = last.time_s - first.time_s;
        let begin_s = self.time_s();
        let n = (duration / DT_S).floor() as usize;
        self.blown = Xy::default();
        self.lifted_m = 0.0;
        let (mut k, mut states) = (0, Vec::with_capacity(n));
        for step in 1..=n {
            let t = first.time_s + step as f64 * DT_S;
            while k + 2 < flown.len() && flown[k + 1].motion.time_s < t {
                k += 1;
            }
            let (a, b) = (flown[k].motion, flown[k + 1].motion);
            let part = if b.time_s > a.time_s { (t - a.time_s) / (b.time_s - a.time_s) } else { 0.0 };
            let m = a.towards(&b, part.clamp(0.0, 1.0));
            let above = m.height_amsl_m - last.height_amsl_m;
            let (_, gust, up) = self.air.step(m.height_amsl_m, above.max(0.0), DT_S);
            // The pilot corrects what gusts do to the path, slowly.
            self.blown = self.blown * (1.0 - DT_S / 15.0) + gust * DT_S;
            self.lifted_m += up * DT_S;
            states.push((m, self.blown, self.lifted_m));
        }
        let total = self.lifted_m;
        for (i, (m, blown, lifted)) in states.iter().enumerate() {
            let share = (i + 1) as f64 / n as f64;
            self.position = m.position + if lands { *blown * (1.0 - share) } else { *blown };
            self.height_amsl_m = m.height_amsl_m + lifted - if lands { total * share } else { 0.0 };
            if !lands {
                self.height_amsl_m = self.height_amsl_m.max(self.ground_m() + 10.0);
            }
            self.note(begin_s + (i + 1) as f64 * DT_S);
        }
        self.heading_rad = last.heading_rad;
        self.bank_rad = last.bank_rad;
        self.airspeed_ms = last.airspeed_ms();
        self.climb_ms = if lands { 0.0 } else { -2.5 };
    }

    /// Joins a long final and lands with power on; the time of touching down.
    pub(super) fn land_under_power(&mut self, home: &Landing, airspeed_ms: f64) -> f64 {
        let gate = home.aim - home.heading.unit() * 1_400.0;
        self.climb_towards(gate, 170.0, 2.5, airspeed_ms);
        self.fly_to(gate - home.heading.unit() * 400.0, PowerGoal { climb_ms: 0.0, airspeed_ms }, 600.0);
        self.fly_to(gate, PowerGoal { climb_ms: 0.0, airspeed_ms }, 300.0);
        let until = self.time_s() + 400.0;
        while self.height_agl_m() > 0.5 && self.time_s() < until {
            let left = (-home.along_of(self.position)).max(20.0);
            let n = self.path.len();
            let ground_ms = self.path[n - 1].position.distance(self.path[n - 5].position).max(8.0);
            let down = (self.height_agl_m() * ground_ms / left).clamp(0.5, 2.2);
            let bank = self.bank_towards(self.aim(home.aim + home.heading.unit() * 300.0));
            self.step(PowerGoal { climb_ms: -down, airspeed_ms }, bank);
        }
        self.time_s()
    }
}
