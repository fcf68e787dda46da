//! What a circuit is made of before it is flown: corners over the ground, orbits, and the landing.

use crate::fields::circuit_height::Hand;
use crate::fields::verdict::StripVerdict;
use crate::math;
use crate::position::{Bearing, Xy};
use serde::{Deserialize, Serialize};

/// How a circuit begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Join {
    /// Onto final.
    StraightIn,
    /// Onto the base leg.
    Base,
    /// Onto the downwind leg.
    Downwind,
    /// Across the upwind end of the field onto the downwind leg.
    Crosswind,
    /// Over the landing point first.
    Overhead,
}

impl Join {
    /// Every join, the shortest way in first.
    pub const ALL: [Self; 5] = [Self::StraightIn, Self::Base, Self::Downwind, Self::Crosswind, Self::Overhead];
    /// The join in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::StraightIn => "straight in",
            Self::Base => "base",
            Self::Downwind => "downwind",
            Self::Crosswind => "crosswind",
            Self::Overhead => "overhead",
        }
    }
    /// The join whose name this is; case and hyphens do not matter.
    #[must_use]
    pub fn from_words(text: &str) -> Option<Self> {
        let plain = text.trim().to_lowercase().replace(['-', '_'], " ");
        Self::ALL.into_iter().find(|j| j.words() == plain)
    }
}

/// What a part of the flight is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Leg {
    /// Straight on while the pilot takes in what happened.
    Reaction,
    /// Whole turns that use up height.
    Orbit,
    /// To the place where the circuit is joined.
    Joining,
    /// Across the upwind end.
    Crosswind,
    /// Against the landing direction.
    Downwind,
    /// Across the approach.
    Base,
    /// From side to side across the approach, to use up height.
    STurns,
    /// Along the landing direction to the ground.
    Final,
}

impl Leg {
    /// The leg in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Reaction => "reaction",
            Self::Orbit => "orbit",
            Self::Joining => "joining",
            Self::Crosswind => "crosswind",
            Self::Downwind => "downwind",
            Self::Base => "base",
            Self::STurns => "S-turns",
            Self::Final => "final",
        }
    }
}

/// The landing a circuit ends in: a place on the ground, a direction, and the room before and behind it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Landing {
    /// Where the glide path meets the ground.
    pub aim: Xy,
    /// Height of the ground there, metres above sea level.
    pub aim_amsl_m: f64,
    /// Landing direction.
    pub heading: Bearing,
    /// Slope of the ground along the heading, rise over run, uphill positive.
    pub slope: f64,
    /// How far the aiming point lies behind the strip's start, metres.
    pub aim_from_start_m: f64,
    /// How far what stands under the approach moves the landing end in, metres from the strip's start.
    pub displacement_m: f64,
    /// Length of the strip, metres.
    pub length_m: f64,
    /// Width of the strip, metres.
    pub width_m: f64,
    /// Distance from 50 ft on the approach to the stop, with every factor but the general safety factor, metres.
    pub stop_from_50_ft_m: f64,
}

/// 50 ft in metres: the height from which landing distances are counted (CS-23.75, landing distance).
pub const FIFTY_FT_M: f64 = 15.24;

impl Landing {
    /// The landing on a strip as judged; `None` where the height of its ground is not known.
    ///
    /// A slope that is not known counts as level: the needed length has charged for it.
    #[must_use]
    pub fn on(strip: &StripVerdict) -> Option<Self> {
        let start_amsl_m = strip.start_amsl_m?;
        let slope = strip.slope.unwrap_or(0.0);
        let landing = Self {
            aim: strip.start + strip.heading.unit() * strip.aim_from_start_m,
            aim_amsl_m: start_amsl_m + slope * strip.aim_from_start_m,
            heading: strip.heading,
            slope,
            aim_from_start_m: strip.aim_from_start_m,
            displacement_m: strip.displacement_m,
            length_m: strip.length_m,
            width_m: strip.width_m,
            stop_from_50_ft_m: strip.expected_length_m,
        };
        landing.is_finite().then_some(landing)
    }
    /// Unit vector of the landing direction.
    #[must_use]
    pub fn along(&self) -> Xy {
        self.heading.unit()
    }
    /// Unit vector towards the side of the circuit.
    #[must_use]
    pub fn side(&self, hand: Hand) -> Xy {
        let u = self.along();
        match hand {
            Hand::Left => Xy::new(-u.y, u.x),
            Hand::Right => Xy::new(u.y, -u.x),
        }
    }
    /// The place `along` metres behind the aiming point in landing direction and `aside` metres to the circuit's side.
    #[must_use]
    pub fn place(&self, hand: Hand, along: f64, aside: f64) -> Xy {
        self.aim + self.along() * along + self.side(hand) * aside
    }
    /// How far a place lies behind the aiming point in landing direction, metres.
    #[must_use]
    pub fn along_of(&self, p: Xy) -> f64 {
        (p - self.aim).dot(self.along())
    }
    /// Height of the strip's plane at a distance behind the aiming point, metres above sea level.
    #[must_use]
    pub fn ground_amsl_m(&self, along: f64) -> f64 {
        // Before the strip the plane is not known to go on: the approach is judged against its beginning.
        self.aim_amsl_m + self.slope * along.max(-self.aim_from_start_m)
    }
    /// Start of the strip, its landing end.
    #[must_use]
    pub fn start(&self) -> Xy {
        self.aim - self.along() * self.aim_from_start_m
    }
    /// Whether every number in it is finite.
    #[must_use]
    pub fn is_finite(&self) -> bool {
        [
            self.aim.x,
            self.aim.y,
            self.aim_amsl_m,
            self.heading.rad(),
            self.slope,
            self.aim_from_start_m,
            self.displacement_m,
            self.length_m,
            self.width_m,
            self.stop_from_50_ft_m,
        ]
        .iter()
        .all(|v| v.is_finite())
    }
}

/// A corner of the circuit over the ground, and the leg that leads to it.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Corner {
    /// Where the two legs would meet.
    pub at: Xy,
    /// What the leg to it is.
    pub leg: Option<Leg>,
}

/// Most corners of a circuit.
pub(super) const MOST_CORNERS: usize = 8;

/// Which way the first turn goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum FirstTurn {
    /// The shorter way.
    #[default]
    Shorter,
    /// Left.
    Left,
    /// Right.
    Right,
}

/// A circuit to be flown: everything that the pilot decides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plan {
    /// How it begins.
    pub join: Join,
    /// Which way it turns.
    pub hand: Hand,
    /// Whole turns flown before leaving for the last of the corners marked [`Leg::Joining`].
    pub orbits: u8,
    /// Which way the first turn goes.
    pub first_turn: FirstTurn,
    /// Distance of the base leg's line before the aiming point, metres; the beginning of the final when straight in.
    pub base_distance_m: f64,
    /// Distance of the downwind leg, or of the beginning of the base leg, from the centre line, metres.
    pub width_m: f64,
    /// Whether the turn at a corner always goes the way the legs turn, even where the heading, with the wind held off on both legs,
    /// turns through more than half a circle.
    pub(super) turns_as_legs: bool,
    corners: [Corner; MOST_CORNERS],
    count: usize,
}

impl Plan {
    pub(super) fn new(join: Join, hand: Hand, base_distance_m: f64, width_m: f64, corners: &[Corner]) -> Self {
        let mut kept = [Corner::default(); MOST_CORNERS];
        let count = corners.len().min(MOST_CORNERS);
        kept[..count].copy_from_slice(&corners[..count]);
        Self {
            join,
            hand,
            orbits: 0,
            first_turn: FirstTurn::default(),
            base_distance_m,
            width_m,
            turns_as_legs: false,
            corners: kept,
            count,
        }
    }
    /// The corners in the order flown; the last lies on the centre line before the aiming point.
    #[must_use]
    pub fn corners(&self) -> &[Corner] {
        &self.corners[..self.count]
    }
    /// Whether height is used up by S-turns across the approach.
    #[must_use]
    pub fn has_s_turns(&self) -> bool {
        self.corners().iter().any(|c| c.leg == Some(Leg::STurns))
    }
}

/// The signed turn between two headings, turning the way asked; radians, right positive.
pub(super) fn turn_between(from_rad: f64, to_rad: f64, way: FirstTurn) -> f64 {
    let shorter = math::wrap_pi(to_rad - from_rad);
    match way {
        FirstTurn::Left if shorter > 0.0 => shorter - math::TAU,
        FirstTurn::Right if shorter < 0.0 => shorter + math::TAU,
        _ => shorter,
    }
}
