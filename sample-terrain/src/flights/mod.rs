//! Invented flights whose truth is known: powered flight by a small pilot model, practice failures by the circuit
//! simulation, moving air, and a receiver that errs.
//!
//! Nothing here is shared with the analysis of flights: it knows neither energy nor phases, only what the pilot did.

mod air;
mod pilot;
mod receiver;

pub use receiver::Receiver;

use crate::noise::Dice;
use air::MovingAir;
use pilot::{Pilot, PowerGoal};
use sparefield_geometry::air::{Wind, WindProfile, WindVector};
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::circuit::{
    Circuit, CircuitOptions, CircuitTask, Join, Landing, Leg, Surroundings, TrackPoint,
};
use sparefield_geometry::grid::Terrain;
use sparefield_geometry::position::{Bearing, Xy};
use sparefield_geometry::reach::AircraftState;
use sparefield_geometry::track::Track;

/// How hard a flight is to read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difficulty {
    /// Standard deviation of vertical air, m/s.
    pub vertical_air_ms: f64,
    /// Standard deviation of horizontal gusts, m/s.
    pub gusts_ms: f64,
    /// Whether cruise is flown faster than the glide, so that a failure shows in the speed.
    pub slows_down: bool,
    /// Whether there are powered descents of up to 2 m/s between exercises.
    pub powered_descents: bool,
    /// How often the pilot first flies to another field and changes his mind, from 0 to 1.
    pub changes: f64,
    /// The receiver.
    pub receiver: Receiver,
}

impl Difficulty {
    /// Calm air, a good receiver.
    pub const PLAIN: Self = Self {
        vertical_air_ms: 0.3,
        gusts_ms: 0.4,
        slows_down: true,
        powered_descents: false,
        changes: 0.0,
        receiver: Receiver::GOOD,
    };
    /// Thermic air, no change of speed at the failure, powered descents, a poor receiver with gaps.
    pub const HARD: Self = Self {
        vertical_air_ms: 1.0,
        gusts_ms: 0.8,
        slows_down: false,
        powered_descents: true,
        changes: 0.0,
        receiver: Receiver::POOR,
    };
}

/// The land flights are made over.
#[derive(Clone, Copy, Debug)]
pub struct Land<'a> {
    /// Where practice failures may lead; the first is where the flight begins and ends.
    pub landings: &'a [Landing],
    /// What circuits are held against.
    pub surroundings: Surroundings<'a>,
}

impl Land<'_> {
    fn terrain(&self) -> &Terrain {
        self.surroundings.terrain
    }
}

/// How a true exercise ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TrueEnding {
    /// Power came back.
    GoAround,
    /// It touched down and flew on.
    TouchAndGo,
    /// It landed and stopped.
    Stop,
}

/// A practice failure as it was flown.
#[derive(Clone, Debug, PartialEq)]
pub struct TrueExercise {
    /// Seconds into the flight at which the engine stopped.
    pub start_s: f64,
    /// Seconds at which power came back or the wheels touched.
    pub end_s: f64,
    /// Height above the ground at the failure, metres.
    pub height_agl_m: f64,
    /// How it ended.
    pub ending: TrueEnding,
    /// Which landing it was flown to.
    pub landing: usize,
    /// The landing flown to first, and when the pilot changed his mind, seconds.
    pub changed: Option<(usize, f64)>,
    /// How the circuit was joined.
    pub join: Join,
    /// Distance of the base leg from the landing end, where one was flown to its end, metres.
    pub base_leg_distance_m: Option<f64>,
    /// Lowest height above the ground, metres.
    pub lowest_agl_m: f64,
}

/// A flight and the truth about it.
#[derive(Clone, Debug)]
pub struct Flight {
    /// What the receiver wrote.
    pub track: Track,
    /// Practice failures in order.
    pub exercises: Vec<TrueExercise>,
    /// The wind it was flown in.
    pub wind: Wind,
    /// Take-offs, seconds.
    pub take_offs_s: Vec<f64>,
    /// Touchdowns, seconds.
    pub touchdowns_s: Vec<f64>,
}

/// A wind in which a light aircraft flies, from a seed.
#[must_use]
pub fn invented_wind(dice: &mut Dice, ground_amsl_m: f64) -> Wind {
    let surface = WindVector::coming_from(Bearing::from_deg(dice.within(0.0, 360.0)), dice.within(0.5, 6.0));
    Wind::new(surface, WindProfile::OPEN_GRASS, Vec::new(), ground_amsl_m)
}

/// A landing on level ground.
#[must_use]
pub fn level_landing(aim: Xy, aim_amsl_m: f64, heading: Bearing, length_m: f64) -> Landing {
    Landing {
        aim,
        aim_amsl_m,
        heading,
        slope: 0.0,
        aim_from_start_m: 60.0,
        displacement_m: 0.0,
        length_m,
        width_m: 20.0,
        stop_from_50_ft_m: 200.0,
    }
}

/// Flies a sortie with a number of practice failures.
///
/// The same seed gives the same flight. An exercise for which no circuit is found from where the aircraft happens to be
/// is flown to another landing, or left out.
#[must_use]
pub fn fly(land: &Land<'_>, aircraft: &Aircraft, wind: &Wind, exercises: usize, how: Difficulty, seed: u64) -> Flight {
    let mut dice = Dice::new(seed, 0xf1);
    let air = MovingAir::new(wind.clone(), how.gusts_ms, how.vertical_air_ms, seed);
    let home = land.landings[0];
    // What the engine puts in at idle and what the curve on paper gets wrong.
    let real = Aircraft { glide: aircraft.glide.degraded(dice.within(0.93, 1.07)), ..aircraft.clone() };
    let glide = aircraft.straight_speed_ms();
    let cruise = if how.slows_down { glide * dice.within(1.18, 1.35) } else { glide * dice.within(1.0, 1.05) };
    let mut pilot = Pilot::new(land, air, home, seed);
    let mut truth = Vec::new();
    let (mut take_offs_s, mut touchdowns_s) = (Vec::new(), Vec::new());
    pilot.stand(dice.within(20.0, 60.0));
    take_offs_s.push(pilot.take_off(home.heading, glide));
    for k in 0..exercises {
        let agl = dice.within(170.0, 520.0);
        // Not all landings are near: fly to somewhere within some 1.5 km of one.
        let target = land.landings[dice.below(land.landings.len())];
        let place = target.aim + Bearing::from_deg(dice.within(0.0, 360.0)).unit() * dice.within(150.0, 1_400.0);
        pilot.climb_towards(place, agl, dice.within(2.0, 3.5), cruise);
        pilot.fly_to(place, PowerGoal { climb_ms: 0.0, airspeed_ms: cruise }, 400.0);
        if how.powered_descents && dice.chance(0.7) {
            let down = PowerGoal { climb_ms: -dice.within(1.0, 2.0), airspeed_ms: cruise };
            let turn = dice.within(-60.0, 60.0);
            pilot.turn_by(turn.to_radians(), down);
            pilot.straight(dice.within(10.0, 40.0), down, 170.0);
            pilot.straight(dice.within(10.0, 25.0), PowerGoal { climb_ms: 0.0, airspeed_ms: cruise }, 0.0);
        }
        if dice.chance(0.6) {
            let turn = dice.within(90.0, 400.0) * if dice.chance(0.5) { 1.0 } else { -1.0 };
            pilot.turn_by(turn.to_radians(), PowerGoal { climb_ms: 0.0, airspeed_ms: cruise });
        }
        pilot.straight(dice.within(15.0, 40.0), PowerGoal { climb_ms: 0.0, airspeed_ms: cruise }, 0.0);
        let ending = match dice.below(5) {
            0 => TrueEnding::Stop,
            1 => TrueEnding::TouchAndGo,
            _ => TrueEnding::GoAround,
        };
        let break_off_m = dice.within(35.0, 110.0);
        if let Some(done) = exercise(&mut pilot, land, &real, wind, ending, break_off_m, how.changes, &mut dice) {
            if done.ending != TrueEnding::GoAround {
                touchdowns_s.push(done.end_s);
                let heading = land.landings[done.landing].heading;
                if done.ending == TrueEnding::Stop {
                    pilot.roll_out(heading, 0.0);
                    pilot.stand(dice.within(60.0, 120.0));
                } else {
                    pilot.roll_out(heading, 12.0);
                }
                take_offs_s.push(pilot.take_off(heading, glide));
            }
            truth.push(done);
        }
        let away = PowerGoal { climb_ms: dice.within(2.0, 3.5), airspeed_ms: glide * 1.05 };
        let seconds = if k + 1 == exercises { 40.0 } else { dice.within(30.0, 70.0) };
        pilot.straight(seconds, away, 0.0);
    }
    touchdowns_s.push(pilot.land_under_power(&home, glide * 1.1));
    pilot.roll_out(home.heading, 0.0);
    pilot.stand(dice.within(20.0, 60.0));
    let track = how.receiver.record(pilot.path(), seed);
    Flight { track, exercises: truth, wind: wind.clone(), take_offs_s, touchdowns_s }
}

#[expect(clippy::too_many_arguments, reason = "everything that one exercise depends on")]
/// Flies one practice failure; `None` where no circuit works from here.
fn exercise(
    pilot: &mut Pilot<'_>,
    land: &Land<'_>,
    real: &Aircraft,
    wind: &Wind,
    ending: TrueEnding,
    break_off_m: f64,
    changes: f64,
    dice: &mut Dice,
) -> Option<TrueExercise> {
    let start_s = pilot.time_s();
    let height_agl_m = pilot.height_agl_m();
    let before = pilot.clone();
    // The speed runs off on the heading held.
    pilot.slow_down(real, real.straight_speed_ms());
    let mut order: Vec<usize> = (0..land.landings.len()).collect();
    dice.shuffle(&mut order);
    let mut changed = None;
    if dice.chance(changes) {
        // Some way towards one field, then to another.
        let lost = dice.within(15.0, 30.0);
        let first = order.iter().find_map(|&l| Some((l, circuit(pilot, land, real, wind, l, 2.0)?)));
        if let Some((landing, flown)) = first {
            let until = flown.track.iter().position(|p| p.motion.time_s > lost).unwrap_or(0);
            if until > 1 && flown.track[until].leg != Leg::Final {
                pilot.glide(&flown.track[..=until], false);
                changed = Some((landing, pilot.time_s()));
                order.retain(|&l| l != landing);
            }
        }
    }
    let reaction_s = if changed.is_some() { 0.0 } else { dice.within(0.0, 4.0) };
    for landing in order {
        let place = land.landings[landing];
        let Some(circuit) = circuit(pilot, land, real, wind, landing, reaction_s) else { continue };
        let until = |above: f64| {
            let low = |p: &TrackPoint| {
                let ground = land.terrain().height_at(p.motion.position).unwrap_or(place.aim_amsl_m);
                p.motion.height_amsl_m - ground < above
            };
            circuit.track.iter().position(low).unwrap_or(circuit.track.len() - 1)
        };
        let last = if ending == TrueEnding::GoAround { until(break_off_m) } else { circuit.track.len() - 1 };
        let flown = &circuit.track[..=last];
        let on_final = flown.iter().any(|p| p.leg == Leg::Final && !p.turning);
        let has_base = flown.iter().any(|p| p.leg == Leg::Base && !p.turning);
        // Joined on base, the leg is flown at a slant from wherever the aircraft was.
        let square = matches!(circuit.plan.join, Join::Downwind | Join::Crosswind | Join::Overhead);
        pilot.glide(flown, ending != TrueEnding::GoAround);
        let lowest_agl_m = pilot.height_agl_m();
        return Some(TrueExercise {
            start_s,
            end_s: pilot.time_s(),
            height_agl_m,
            ending,
            landing,
            changed,
            join: circuit.plan.join,
            base_leg_distance_m: (on_final && has_base && square).then_some(circuit.base_leg_distance_m),
            lowest_agl_m,
        });
    }
    *pilot = before;
    None
}

/// The circuit from where the pilot is to a landing near enough; `None` where there is none.
fn circuit(
    pilot: &Pilot<'_>,
    land: &Land<'_>,
    real: &Aircraft,
    wind: &Wind,
    landing: usize,
    reaction_s: f64,
) -> Option<Circuit> {
    let place = land.landings[landing];
    if place.aim.distance(pilot.position()) > 3_000.0 {
        return None;
    }
    let options = CircuitOptions { heed_quiet_zones: false, ..CircuitOptions::default() };
    let top = pilot.height_amsl_m();
    let task = CircuitTask::new(real, wind, place, land.surroundings, options, top).ok()?;
    let state = AircraftState {
        position: pilot.position(),
        height_amsl_m: top,
        heading: Some(Bearing::from_rad(pilot.heading_rad())),
    };
    task.circuit(&task.start(&state, reaction_s)).ok()
}
