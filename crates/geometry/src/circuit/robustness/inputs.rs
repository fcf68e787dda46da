//! What is not known exactly before a circuit is flown, how well it is known, and one draw of it.

use super::random::{DIMENSIONS, normal_score};
use crate::math;
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// How well the wind, the aircraft and the pilot are known. Every deviation is one standard deviation; zero switches the
/// input off.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Uncertainty {
    /// Wind speed at 10 m, m/s. Default 1.6: 30-day station benchmarks of weather models with 2.5 km grids give a root mean
    /// square error of 1.5 to 1.8 m/s.
    pub wind_speed_ms: f64,
    /// Wind direction, radians. Default 30°: the same benchmarks give a mean absolute error of 22 to 30°, which is 28 to
    /// 38° as a standard deviation.
    pub wind_direction_rad: f64,
    /// Strength of gusts, as a multiple of what MIL-F-8785C gives for the wind at 20 ft. Default 1.
    pub gust_factor: f64,
    /// Mean factor on the sink rate of the glide curve; see [`Uncertainty::STOPPED_PROPELLER`]. Default 1: as measured.
    pub sink_factor: f64,
    /// Sink rate, as a fraction. Default 0.1: owners' timed glides differ by 0 to 20 % between idle and stopped.
    pub sink: f64,
    /// Reaction time, seconds. Default 1: 2.3 to 3 s of startle and about 2 s to take effect in the literature, 5 s held in
    /// practice demonstrations.
    pub reaction_s: f64,
    /// Bank of turns, radians. Default 4°. Common practice, no source.
    pub bank_rad: f64,
    /// Heading on which turns end, radians. Default 4°. Common practice, no source.
    pub roll_out_rad: f64,
    /// Place where a turn begins, metres along the leg. Default 20: about a second of flight. Common practice, no source.
    pub turn_begin_m: f64,
    /// Height as judged by eye, as a fraction of the height. Default 0.1. Common practice, no source.
    pub height_judged: f64,
    /// Airspeed held, m/s. Default 1.3: half of the ±5 kt that flight tests allow (CAA NZ flight test standards; Transport
    /// Canada TP 12475 allows +10/−5 kt).
    pub airspeed_ms: f64,
    /// Aiming across the strip, metres. Default 2. Common practice, no source.
    pub sideways_m: f64,
    /// How far the pilot moves the base leg towards the field when low, metres. Default 200. Common practice, no source.
    pub base_nearer_m: f64,
    /// How far the pilot moves the base leg away when high, metres. Default 250. Common practice, no source.
    pub base_farther_m: f64,
}

impl Default for Uncertainty {
    fn default() -> Self {
        Self {
            wind_speed_ms: 1.6,
            wind_direction_rad: 30.0 * math::PI / 180.0,
            gust_factor: 1.0,
            sink_factor: 1.0,
            sink: 0.1,
            reaction_s: 1.0,
            bank_rad: 4.0 * math::PI / 180.0,
            roll_out_rad: 4.0 * math::PI / 180.0,
            turn_begin_m: 20.0,
            height_judged: 0.1,
            airspeed_ms: 1.3,
            sideways_m: 2.0,
            base_nearer_m: 200.0,
            base_farther_m: 250.0,
        }
    }
}

/// Why a circuit's robustness cannot be told.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum RobustnessError {
    /// A number is negative or not finite.
    #[error("{what} is {value}, but must be {expected}")]
    OutOfRange {
        /// Which.
        what: &'static str,
        /// What was given.
        value: f64,
        /// What is allowed.
        expected: &'static str,
    },
    /// The plan cannot be flown even when everything is as expected.
    #[error("the circuit cannot be flown even when wind and aircraft are as expected; choose another")]
    CannotFly,
    /// Stopped before anything was flown.
    #[error("stopped before the first flight")]
    Stopped,
}

impl Uncertainty {
    /// Factor on the sink rate with a stopped propeller where the curve was measured at idle: owners' timed glides give
    /// 0 to 16 % more (8.5 : 1 against 7.9 : 1; 70 s against 60 s for 1 000 ft).
    pub const STOPPED_PROPELLER: f64 = 1.08;
    /// Factor on the sink rate with a windmilling propeller where the curve is a published best glide: discount about a
    /// fifth (Brandon, *Gliding*, pilot training text).
    pub const WINDMILLING_PROPELLER: f64 = 1.25;

    /// Everything exactly as expected.
    pub const NONE: Self = Self {
        wind_speed_ms: 0.0,
        wind_direction_rad: 0.0,
        gust_factor: 0.0,
        sink_factor: 1.0,
        sink: 0.0,
        reaction_s: 0.0,
        bank_rad: 0.0,
        roll_out_rad: 0.0,
        turn_begin_m: 0.0,
        height_judged: 0.0,
        airspeed_ms: 0.0,
        sideways_m: 0.0,
        base_nearer_m: 0.0,
        base_farther_m: 0.0,
    };

    pub(super) fn check(&self) -> Result<(), RobustnessError> {
        let deviations = [
            ("the deviation of wind speed", self.wind_speed_ms, 50.0),
            ("the deviation of wind direction", self.wind_direction_rad, 10.0),
            ("the factor on gusts", self.gust_factor, 20.0),
            ("the deviation of sink", self.sink, 2.0),
            ("the deviation of reaction time", self.reaction_s, 60.0),
            ("the deviation of bank", self.bank_rad, 1.0),
            ("the deviation of roll-out", self.roll_out_rad, 1.0),
            ("the deviation of where turns begin", self.turn_begin_m, 2_000.0),
            ("the deviation of judged height", self.height_judged, 2.0),
            ("the deviation of airspeed", self.airspeed_ms, 20.0),
            ("the deviation across the strip", self.sideways_m, 1_000.0),
            ("how far the base leg is moved nearer", self.base_nearer_m, 5_000.0),
            ("how far the base leg is moved away", self.base_farther_m, 5_000.0),
        ];
        for (what, value, most) in deviations {
            if !(0.0..=most).contains(&value) {
                return Err(RobustnessError::OutOfRange { what, value, expected: "from 0 to what a flight can be" });
            }
        }
        if !(0.2..=5.0).contains(&self.sink_factor) {
            let what = "the factor on sink";
            return Err(RobustnessError::OutOfRange { what, value: self.sink_factor, expected: "from 0.2 to 5" });
        }
        Ok(())
    }
}

/// Something that is not known exactly.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Input {
    /// Wind speed.
    WindSpeed,
    /// Wind direction.
    WindDirection,
    /// Gusts met on the way.
    Gusts,
    /// Glide performance.
    Glide,
    /// Reaction time.
    Reaction,
    /// Bank and roll-out of turns.
    Turns,
    /// Where turns are begun.
    Aiming,
    /// Height as judged abeam and at the turn to base.
    HeightJudged,
    /// Airspeed held.
    Airspeed,
    /// Aiming across the strip.
    Sideways,
}

impl Input {
    /// The input in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::WindSpeed => "wind speed",
            Self::WindDirection => "wind direction",
            Self::Gusts => "gusts",
            Self::Glide => "glide performance",
            Self::Reaction => "reaction time",
            Self::Turns => "bank and roll-out of turns",
            Self::Aiming => "where turns are begun",
            Self::HeightJudged => "height as judged",
            Self::Airspeed => "airspeed held",
            Self::Sideways => "aiming across the strip",
        }
    }
    /// Every input, and the coordinates of a point that belong to it.
    pub(super) const ALL: [(Self, &'static [usize]); 10] = [
        (Self::WindSpeed, &[0]),
        (Self::WindDirection, &[1]),
        (Self::Gusts, &[]),
        (Self::Glide, &[2]),
        (Self::Reaction, &[3]),
        (Self::Turns, &[6, 7]),
        (Self::Aiming, &[8, 9]),
        (Self::HeightJudged, &[4, 10]),
        (Self::Airspeed, &[5]),
        (Self::Sideways, &[11]),
    ];
}

/// One draw of everything that is a plain number, each a deviation from what is expected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Draw {
    pub(super) wind_speed_ms: f64,
    pub(super) wind_direction_rad: f64,
    /// Factor on the sink rate.
    pub(super) sink: f64,
    pub(super) reaction_s: f64,
    /// Judged height over true height at the first and the second judgement.
    pub(super) judged: [f64; 2],
    pub(super) airspeed_ms: f64,
    pub(super) bank_rad: f64,
    pub(super) roll_out_rad: f64,
    /// How late turns begin, metres: all but the final turn, and the final turn.
    pub(super) late_m: [f64; 2],
    pub(super) sideways_m: f64,
    /// Where the wind comes from when the expected wind is calm, radians.
    pub(super) calm_from_rad: f64,
}

impl Draw {
    /// Everything as expected.
    pub(super) const NONE: Self = Self {
        wind_speed_ms: 0.0,
        wind_direction_rad: 0.0,
        sink: 1.0,
        reaction_s: 0.0,
        judged: [1.0, 1.0],
        airspeed_ms: 0.0,
        bank_rad: 0.0,
        roll_out_rad: 0.0,
        late_m: [0.0, 0.0],
        sideways_m: 0.0,
        calm_from_rad: 0.0,
    };

    /// From a point of the unit cube. Normal numbers; further out than three deviations counts as three.
    pub(super) fn at(point: &[f64; DIMENSIONS], u: &Uncertainty) -> Self {
        let score = |i: usize| normal_score(point[i]).clamp(-3.0, 3.0);
        Self {
            wind_speed_ms: u.wind_speed_ms * score(0),
            wind_direction_rad: u.wind_direction_rad * score(1),
            // A factor that cannot become negative, with the mean asked for nearly its median.
            sink: u.sink_factor * math::exp(u.sink * score(2)),
            reaction_s: u.reaction_s * score(3),
            judged: [(1.0 + u.height_judged * score(4)).max(0.1), (1.0 + u.height_judged * score(10)).max(0.1)],
            airspeed_ms: u.airspeed_ms * score(5),
            bank_rad: u.bank_rad * score(6),
            roll_out_rad: u.roll_out_rad * score(7),
            late_m: [u.turn_begin_m * score(8), u.turn_begin_m * score(9)],
            sideways_m: u.sideways_m * score(11),
            calm_from_rad: math::TAU * point[1],
        }
    }
}
