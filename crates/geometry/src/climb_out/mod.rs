//! Off the end of a runway: what is in reach when the engine stops in the climb-out, height by height.
//!
//! The aircraft climbs straight out over the runway's line, 50 ft high at a given place. At every height it is asked which
//! of the caller's fields a circuit reaches, how far a glide leads within 30° of the nose, and whether a turn back would
//! reach the runway again, landing against the direction of take-off. Everything is flown by the equations of motion of
//! the circuits, reaction time and the time to roll included.
//!
//! That a turn back would reach the runway here says nothing about a pilot who is startled; the plain advice of the
//! handbooks stands beside it ([`ADVICE`]).
#![allow(clippy::neg_cmp_op_on_partial_ord, reason = "what is not a number must not pass a check")]

mod ahead;
mod turn_back;

pub use ahead::{Ahead, FieldInReach, Side};
pub use turn_back::{TurnBack, TurnBackOptions};

use crate::air::Wind;
use crate::aircraft::Aircraft;
use crate::circuit::{AirColumn, CircuitTask, Flying, Motion, Start, Teardrop};
use crate::fields::circuit_height::Hand;
use crate::grid::Terrain;
use crate::math;
use crate::position::{Bearing, Xy};
use thiserror::Error;

/// 50 ft in metres, the lowest height looked at.
const FIFTY_FT_M: f64 = 15.24;

/// The highest height looked at: 1 500 ft in metres.
const TOP_M: f64 = 457.2;

/// Lowest and highest height above the runway that can be asked about, metres.
pub const CLIMB_OUT_HEIGHTS_M: (f64, f64) = (FIFTY_FT_M, TOP_M);

/// Plain advice, and where it comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Advice {
    /// In words.
    pub words: &'static str,
    /// Where it stands.
    pub source: &'static str,
}

/// What handbooks say about an engine failure after take-off.
pub const ADVICE: [Advice; 5] = [
    Advice {
        words: "Lower the nose at once and land ahead, within about 30° either side.",
        source: "common teaching, from memory: FAA-H-8083-3, emergency procedures",
    },
    Advice {
        words: "Do not turn back unless you have the height that you found out beforehand; below it there is no choice to make.",
        source: "common teaching, from memory: FAA-H-8083-3, emergency procedures",
    },
    Advice {
        words: "Allow for the moment of surprise: four or five seconds pass before most pilots act.",
        source: "Lowry, Performance of Light Aircraft (4 s); AOPA, turn-back practice, May 2011 (5 s)",
    },
    Advice {
        words: "Add half as much again to the height that a practised turn back takes.",
        source: "AOPA, turn-back practice, May 2011",
    },
    Advice {
        words: "Treat a partial loss of power like a full one: choose where to land before it gets worse.",
        source: "ATSB, AR-2010-055, Managing partial power loss after take-off",
    },
];

/// One end of a runway, as used for take-off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RunwayEnd {
    /// The end that is flown over.
    pub departure_end: Xy,
    /// Direction of take-off.
    pub heading: Bearing,
    /// Length, metres.
    pub length_m: f64,
    /// Height of the ground there, metres above sea level.
    pub elevation_amsl_m: f64,
}

/// How the climb-out is flown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClimbOutOptions {
    /// Angle of climb in still air, radians. Default 7°: about 600 ft/min at 55 mph. Common practice, no source: take the
    /// aircraft's own.
    pub climb_rad: f64,
    /// How far beyond the departure end 50 ft are reached, metres; negative before it. Default 0.
    pub fifty_ft_beyond_end_m: f64,
    /// Height from one step to the next, metres. Default 50 ft.
    pub step_m: f64,
    /// How the turn back is flown.
    pub turn_back: TurnBackOptions,
}

impl Default for ClimbOutOptions {
    fn default() -> Self {
        Self {
            climb_rad: 7.0 * math::PI / 180.0,
            fifty_ft_beyond_end_m: 0.0,
            step_m: FIFTY_FT_M,
            turn_back: TurnBackOptions::default(),
        }
    }
}

/// Why a climb-out cannot be computed.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum ClimbOutError {
    /// A number is out of range.
    #[error("{what} is {value}, but must be {expected}")]
    OutOfRange {
        /// Which.
        what: &'static str,
        /// What was given.
        value: f64,
        /// What is allowed.
        expected: &'static str,
    },
    /// The wind does not allow a straight climb-out.
    #[error("the wind is stronger than the climbing speed along the runway; choose another runway")]
    Wind,
    /// Stopped by the caller.
    #[error("stopped")]
    Stopped,
}

/// What is in reach at one height.
#[derive(Clone, Debug, PartialEq)]
pub struct ClimbOutStep {
    /// Height above the runway, metres.
    pub height_m: f64,
    /// Where the engine stops.
    pub position: Xy,
    /// Distance beyond the departure end, metres.
    pub beyond_end_m: f64,
    /// The farthest glide within 30° of the nose, `None` where the ground is not known.
    pub ahead: Option<Ahead>,
    /// Fields that a circuit reaches, most spare height first.
    pub fields: Vec<FieldInReach>,
    /// The turn back that leaves most, `None` where none can be flown.
    pub turn_back: Option<TurnBack>,
}

/// What is in reach at one height, with the ways that were flown.
#[derive(Clone, Debug, PartialEq)]
pub struct ClimbOutAt {
    /// What is in reach.
    pub step: ClimbOutStep,
    /// Glides ahead, from left to right, in every direction that was tried and that the wind allows.
    pub glides: Vec<Ahead>,
    /// The turn back as flown, from the engine's stop to the height of the runway or, where it is short, to above the
    /// place that it was meant to reach; empty where none can be flown.
    pub turn_back_way: Vec<Motion>,
}

/// A climb-out off one end of a runway.
#[derive(Clone, Debug, PartialEq)]
pub struct ClimbOut {
    /// From 50 ft upwards.
    pub steps: Vec<ClimbOutStep>,
    /// Least height above the runway from which a turn back would reach it, metres to one metre, rounded up.
    pub least_turn_back_m: Option<f64>,
}

/// What a climb-out is computed from.
#[derive(Clone, Copy, Debug)]
pub struct ClimbOutTask<'a> {
    /// The aircraft.
    pub aircraft: &'a Aircraft,
    /// The wind.
    pub wind: &'a Wind,
    /// The ground.
    pub terrain: &'a Terrain,
    /// Landings that may be reached, each made ready up to 1 500 ft above the runway or higher.
    pub fields: &'a [CircuitTask<'a>],
    /// The runway.
    pub runway: RunwayEnd,
    /// How it is flown.
    pub options: ClimbOutOptions,
}

impl ClimbOutTask<'_> {
    /// What is in reach at every height from 50 to 1 500 ft.
    ///
    /// `stopped` is asked again and again, and `tell` told the share done after every height.
    ///
    /// # Errors
    /// When a number is out of range, the wind does not allow the climb-out, or the caller stopped it.
    pub fn compute(&self, stopped: &(dyn Fn() -> bool + Sync), tell: &dyn Fn(f32)) -> Result<ClimbOut, ClimbOutError> {
        self.compute_and_show(stopped, tell, &|_| {})
    }

    /// The same; every height is shown as soon as it is finished, from 50 ft upwards.
    ///
    /// # Errors
    /// As [`ClimbOutTask::compute`].
    pub fn compute_and_show(
        &self,
        stopped: &(dyn Fn() -> bool + Sync),
        tell: &dyn Fn(f32),
        show: &dyn Fn(&ClimbOutStep),
    ) -> Result<ClimbOut, ClimbOutError> {
        self.check()?;
        let flying = Flying::of(self.aircraft);
        let air = self.air();
        let mut steps = Vec::new();
        let mut height_m = FIFTY_FT_M;
        while height_m <= TOP_M + 0.01 {
            if stopped() {
                return Err(ClimbOutError::Stopped);
            }
            let start = self.start(&flying, &air, height_m)?;
            let glides = ahead::glides(&flying, &air, self.terrain, &self.runway, &start);
            let turn_back = self.turn_back_from(&flying, &air, &start, stopped);
            let step = self.step(height_m, &start, &glides, turn_back, stopped);
            // What was cut short must not be taken for an answer.
            if stopped() {
                return Err(ClimbOutError::Stopped);
            }
            show(&step);
            steps.push(step);
            // Higher up more is in reach and takes as much longer.
            let done = height_m / TOP_M;
            tell((done * done).min(1.0) as f32);
            height_m += self.options.step_m;
        }
        let least_turn_back_m = self.least(&flying, &air, &steps, stopped)?;
        Ok(ClimbOut { steps, least_turn_back_m })
    }

    /// What is in reach at one height above the runway, and the ways there.
    ///
    /// # Errors
    /// When a number is out of range or the wind does not allow the climb-out.
    pub fn at(&self, height_m: f64) -> Result<ClimbOutAt, ClimbOutError> {
        self.at_unless(height_m, &|| false)
    }

    /// The same, unless it is stopped meanwhile: `stopped` is asked again and again, from several threads.
    ///
    /// # Errors
    /// As [`ClimbOutTask::at`], and when the caller stopped it.
    pub fn at_unless(&self, height_m: f64, stopped: &(dyn Fn() -> bool + Sync)) -> Result<ClimbOutAt, ClimbOutError> {
        self.check()?;
        // Half a foot of rounding is nobody's mistake.
        let within = (FIFTY_FT_M - 0.2..=TOP_M + 0.2).contains(&height_m);
        if !within {
            let (what, expected) = ("the height", "between 50 and 1 500 ft above the runway");
            return Err(ClimbOutError::OutOfRange { what, value: height_m, expected });
        }
        let (flying, air) = (Flying::of(self.aircraft), self.air());
        let start = self.start(&flying, &air, height_m)?;
        let glides = ahead::glides(&flying, &air, self.terrain, &self.runway, &start);
        let found = self.found_turn_back(&flying, &air, &start, stopped);
        let way = found.as_ref().map(|found| turn_back::way(&flying, &air, self.terrain, &start, found));
        let turn_back = found.map(|(turn_back, _)| turn_back);
        let step = self.step(height_m, &start, &glides, turn_back, stopped);
        if stopped() {
            return Err(ClimbOutError::Stopped);
        }
        Ok(ClimbOutAt { step, glides, turn_back_way: way.unwrap_or_default() })
    }

    fn air(&self) -> AirColumn {
        AirColumn::new(self.wind, self.runway.elevation_amsl_m, self.runway.elevation_amsl_m + TOP_M + 100.0)
    }

    fn step(
        &self,
        height_m: f64,
        start: &Start,
        glides: &[Ahead],
        turn_back: Option<TurnBack>,
        stopped: &(dyn Fn() -> bool + Sync),
    ) -> ClimbOutStep {
        let position = start.motion.position;
        ClimbOutStep {
            height_m,
            position,
            beyond_end_m: (position - self.runway.departure_end).dot(self.runway.heading.unit()),
            ahead: ahead::farthest(glides),
            fields: ahead::fields(self.fields, start, stopped),
            turn_back,
        }
    }

    fn found_turn_back(
        &self,
        flying: &Flying,
        air: &AirColumn,
        start: &Start,
        stopped: &(dyn Fn() -> bool + Sync),
    ) -> Option<(TurnBack, Teardrop)> {
        let options = &self.options.turn_back;
        turn_back::best(self.aircraft, flying, air, self.terrain, &self.runway, options, start, stopped)
    }

    fn turn_back_from(
        &self,
        flying: &Flying,
        air: &AirColumn,
        start: &Start,
        stopped: &(dyn Fn() -> bool + Sync),
    ) -> Option<TurnBack> {
        self.found_turn_back(flying, air, start, stopped).map(|(turn_back, _)| turn_back)
    }

    /// The lowest height that works, between the last step that does not and the first that does.
    fn least(
        &self,
        flying: &Flying,
        air: &AirColumn,
        steps: &[ClimbOutStep],
        stopped: &(dyn Fn() -> bool + Sync),
    ) -> Result<Option<f64>, ClimbOutError> {
        let works = |t: &Option<TurnBack>| t.is_some_and(|t| t.spare_m >= 0.0);
        let Some(first) = steps.iter().position(|s| works(&s.turn_back)) else { return Ok(None) };
        let mut high = steps[first].height_m;
        let Some(mut low) = first.checked_sub(1).map(|i| steps[i].height_m) else { return Ok(Some(high.ceil())) };
        while high - low > 0.5 {
            let middle = 0.5 * (low + high);
            let start = self.start(flying, air, middle)?;
            let turn_back = self.turn_back_from(flying, air, &start, stopped);
            if stopped() {
                return Err(ClimbOutError::Stopped);
            }
            if works(&turn_back) { high = middle } else { low = middle }
        }
        Ok(Some(high.ceil()))
    }

    /// Where the engine stops at a height, by climbing straight out along the runway's line.
    fn start(&self, flying: &Flying, air: &AirColumn, height_m: f64) -> Result<Start, ClimbOutError> {
        const DT_S: f64 = 0.5;
        let along = self.runway.heading.unit();
        let (sin, cos) = math::sin_cos(self.options.climb_rad);
        let mut height = FIFTY_FT_M;
        let mut beyond = self.options.fifty_ft_beyond_end_m;
        let heading = loop {
            let amsl = self.runway.elevation_amsl_m + height;
            let speed = flying.glide_ms * air.to_true(amsl);
            let wind = air.wind_at(amsl).xy();
            let right = Xy::new(along.y, -along.x);
            let across = wind.dot(right);
            let rest = speed * speed * cos * cos - across * across;
            if !(rest > 0.0) {
                return Err(ClimbOutError::Wind);
            }
            let ground = rest.sqrt() + wind.dot(along);
            if !(ground > 0.0) {
                return Err(ClimbOutError::Wind);
            }
            if !(height < height_m) {
                break (along * rest.sqrt() - right * across) * (1.0 / (speed * cos));
            }
            let dt = ((height_m - height) / (speed * sin)).min(DT_S);
            height += speed * sin * dt;
            beyond += ground * dt;
            if dt < DT_S {
                height = height_m;
            }
        };
        let motion = Motion {
            position: self.runway.departure_end + along * beyond,
            height_amsl_m: self.runway.elevation_amsl_m + height_m,
            heading_rad: math::atan2(heading.x, heading.y),
            bank_rad: 0.0,
            level_speed_ms: flying.glide_ms,
            time_s: 0.0,
        };
        Ok(Start { motion, reaction_s: self.aircraft.reaction_time_s })
    }

    fn check(&self) -> Result<(), ClimbOutError> {
        let within = |what, value: f64, low: f64, high: f64, expected| {
            if (low..=high).contains(&value) {
                Ok(())
            } else {
                Err(ClimbOutError::OutOfRange { what, value, expected })
            }
        };
        let far = 1e8;
        within("the runway's place", self.runway.departure_end.x, -far, far, "a place of the area")?;
        within("the runway's place", self.runway.departure_end.y, -far, far, "a place of the area")?;
        within("the runway's heading", self.runway.heading.rad(), 0.0, math::TAU, "a direction")?;
        within("the runway's length", self.runway.length_m, 50.0, 10_000.0, "between 50 and 10 000 m")?;
        within("the runway's height", self.runway.elevation_amsl_m, -500.0, 9_000.0, "between −500 and 9 000 m")?;
        within("the angle of climb", self.options.climb_rad, 0.01, 0.8, "between 0.6 and 46 degrees")?;
        within("the place of 50 ft", self.options.fifty_ft_beyond_end_m, -10_000.0, 10_000.0, "near the runway")?;
        within("the step of height", self.options.step_m, 3.0, 500.0, "between 3 and 500 m")?;
        within("the reaction time", self.aircraft.reaction_time_s, 0.0, 60.0, "between 0 and 60 seconds")
    }
}

/// Both hands.
const HANDS: [Hand; 2] = [Hand::Left, Hand::Right];

#[cfg(test)]
mod tests;
