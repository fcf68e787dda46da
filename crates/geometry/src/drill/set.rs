//! What an instructor sets: where, how high, in which winds, with what.

use crate::circuit::Join;
use crate::fields::model::ring_area;
use crate::position::{Bearing, Xy};
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Most drills of one set.
pub const MOST_DRILLS: u32 = 10_000;
/// Most places or winds of one set.
const MOST_PARTS: usize = 1_000;
/// Most corners of a place.
const MOST_CORNERS: usize = 10_000;
/// Highest failure above ground, metres.
const HIGHEST_M: f64 = 5_000.0;
/// Strongest surface wind, m/s.
const STRONGEST_MS: f64 = 40.0;
/// Longest time for which the engine still runs, seconds.
const LONGEST_RUN_S: f64 = 3_600.0;
/// The least share that an area must have of the rectangle round it, so that places in it are found.
pub(super) const LEAST_SHARE: f64 = 0.01;

/// Where engines stop.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "kind")]
pub enum Place {
    /// Anywhere along a line, on its heading.
    Route {
        /// Its corners in the order flown, metres in the frame; at least two.
        line: Vec<Xy>,
        /// Whether it is flown either way.
        #[serde(default)]
        both_ways: bool,
    },
    /// Anywhere in an area, on any heading.
    Area {
        /// Its outline, metres in the frame.
        outer: Vec<Xy>,
    },
    /// Anywhere in a circle, on any heading.
    Circle {
        /// Its middle.
        centre: Xy,
        /// Its radius, metres.
        radius_m: f64,
    },
    /// Fan stops at the home strip: over its middle, from every height and on every heading in turn.
    HomeStrip {
        /// How far from the middle at most, metres.
        #[serde(default)]
        within_m: f64,
    },
}

/// How much of the wind the pilot is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Told {
    /// Direction and speed.
    #[default]
    Everything,
    /// The direction alone.
    Direction,
    /// Nothing.
    Nothing,
}

impl Told {
    /// What is told, in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Everything => "direction and speed",
            Self::Direction => "the direction alone",
            Self::Nothing => "nothing",
        }
    }
}

/// A surface wind of a set, and how far the true one may be from it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct DrillWind {
    /// Where it comes from, from grid north; nothing stands for any direction, drawn anew for each failure.
    pub from_grid: Option<Bearing>,
    /// Speed at 10 m, m/s.
    pub speed_ms: f64,
    /// How much the pilot is told.
    #[serde(default)]
    pub told: Told,
    /// How far the true direction is from the told one at most, radians.
    #[serde(default)]
    pub direction_error_rad: f64,
    /// How far the true speed is from the told one at most, m/s.
    #[serde(default)]
    pub speed_error_ms: f64,
}

/// A set of drills. Its failures depend on everything here but the identifier, the name and the number of drills.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DrillSet {
    /// Identifier, unique in the area.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// The seed: whoever has it gets the same failures.
    pub seed: u64,
    /// How many drills it has, numbered from 1. Higher numbers can be flown too, as further practice.
    pub drills: u32,
    /// Where engines stop; each as likely as any other.
    pub places: Vec<Place>,
    /// Lowest height above ground, metres.
    pub lowest_agl_m: f64,
    /// Highest height above ground, metres.
    pub highest_agl_m: f64,
    /// Winds; each as likely as any other.
    pub winds: Vec<DrillWind>,
    /// The gliding aircraft, by name.
    pub aircraft: String,
    /// Joins that may be used; empty for all.
    #[serde(default)]
    pub joins: Vec<Join>,
    /// Shortest time for which the engine still runs, seconds.
    #[serde(default)]
    pub shortest_run_s: f64,
    /// Longest time for which the engine still runs, seconds.
    #[serde(default)]
    pub longest_run_s: f64,
}

/// Why a set cannot be drilled, as one sentence without a full stop.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum DrillSetError {
    /// Nothing or too much of something: give some of it.
    #[error("the drill set “{set}” has {count} {what}; give it 1 to {most}")]
    Count {
        /// The set's name.
        set: String,
        /// Of what.
        what: &'static str,
        /// How many.
        count: usize,
        /// Most.
        most: usize,
    },
    /// A number that makes no sense: correct it.
    #[error("in the drill set “{set}” {what}; correct it")]
    Number {
        /// The set's name.
        set: String,
        /// What is wrong.
        what: &'static str,
    },
    /// A place that is none: draw it again.
    #[error("place {number} of the drill set “{set}” {what}; draw it again")]
    Place {
        /// The set's name.
        set: String,
        /// Which place, from 1.
        number: usize,
        /// What is wrong.
        what: &'static str,
    },
    /// Fan stops where there is no home strip: name one.
    #[error(
        "the drill set “{set}” practises at the home strip, and the area has none; set one, or choose other places"
    )]
    NoHome {
        /// The set's name.
        set: String,
    },
    /// Drills are numbered from 1.
    #[error("drills are numbered from 1, so there is no drill 0")]
    NumberZero,
}

impl DrillSet {
    /// Whether a join may be used, in the order of [`Join::ALL`].
    #[must_use]
    pub fn allowed_joins(&self) -> [bool; 5] {
        Join::ALL.map(|join| self.joins.is_empty() || self.joins.contains(&join))
    }

    /// Whether it practises at the home strip.
    #[must_use]
    pub fn needs_home(&self) -> bool {
        self.places.iter().any(|p| matches!(p, Place::HomeStrip { .. }))
    }

    /// Checks that failures can be drawn.
    ///
    /// # Errors
    /// Says what is wrong with the set.
    pub fn validate(&self) -> Result<(), DrillSetError> {
        let set = || self.name.clone();
        let number = |what| DrillSetError::Number { set: set(), what };
        let count = |what, count, most| DrillSetError::Count { set: set(), what, count, most };
        if !(1..=MOST_DRILLS).contains(&self.drills) {
            return Err(count("drills", self.drills as usize, MOST_DRILLS as usize));
        }
        if !(1..=MOST_PARTS).contains(&self.places.len()) {
            return Err(count("places", self.places.len(), MOST_PARTS));
        }
        if !(1..=MOST_PARTS).contains(&self.winds.len()) {
            return Err(count("winds", self.winds.len(), MOST_PARTS));
        }
        let (low, high) = (self.lowest_agl_m, self.highest_agl_m);
        if !(low > 0.0 && low <= high && high <= HIGHEST_M) {
            return Err(number("the heights do not go from above the ground upwards to at most 5 000 m"));
        }
        let (short, long) = (self.shortest_run_s, self.longest_run_s);
        if !(short >= 0.0 && short <= long && long <= LONGEST_RUN_S) {
            return Err(number(
                "the time for which the engine still runs does not go from 0 upwards to at most an hour",
            ));
        }
        for wind in &self.winds {
            let speeds = [wind.speed_ms, wind.speed_error_ms];
            let direction_ok = wind.from_grid.is_none_or(|b| b.rad().is_finite());
            if !(direction_ok && speeds.iter().all(|s| (0.0..=STRONGEST_MS).contains(s))) {
                return Err(number("a wind is no number or stronger than 40 m/s"));
            }
            if !(0.0..=crate::math::PI).contains(&wind.direction_error_rad) {
                return Err(number("a wind's direction may be wrong by more than half a turn"));
            }
        }
        for (i, place) in self.places.iter().enumerate() {
            place.check().map_err(|what| DrillSetError::Place { set: set(), number: i + 1, what })?;
        }
        Ok(())
    }
}

impl Place {
    fn check(&self) -> Result<(), &'static str> {
        let finite = |points: &[Xy]| points.iter().all(|p| p.x.is_finite() && p.y.is_finite());
        match self {
            Self::Route { line, .. } => {
                let length: f64 = line.windows(2).map(|w| w[0].distance(w[1])).sum();
                match () {
                    () if line.len() > MOST_CORNERS => Err("has too many corners"),
                    () if !finite(line) => Err("has a corner that is no number"),
                    () if !(length > 0.0 && length.is_finite()) => Err("is a route of no length"),
                    () => Ok(()),
                }
            }
            Self::Area { outer } => {
                let (low, high) = corners(outer);
                let size = high - low;
                match () {
                    () if outer.len() > MOST_CORNERS => Err("has too many corners"),
                    () if !finite(outer) => Err("has a corner that is no number"),
                    () if outer.len() < 3 => Err("is an area of fewer than three corners"),
                    () if !(ring_area(outer).abs() > LEAST_SHARE * size.x * size.y) => {
                        Err("is an area of hardly any width, or crosses itself")
                    }
                    () => Ok(()),
                }
            }
            Self::Circle { centre, radius_m } => {
                if finite(&[*centre]) && *radius_m > 0.0 && radius_m.is_finite() {
                    Ok(())
                } else {
                    Err("is a circle without a middle or a radius")
                }
            }
            Self::HomeStrip { within_m } => {
                if (0.0..=10_000.0).contains(within_m) {
                    Ok(())
                } else {
                    Err("is farther than 10 km from the home strip")
                }
            }
        }
    }
}

/// South-west and north-east corner of the rectangle round some points.
pub(super) fn corners(points: &[Xy]) -> (Xy, Xy) {
    let first = points.first().copied().unwrap_or_default();
    points.iter().fold((first, first), |(low, high), p| {
        (Xy::new(low.x.min(p.x), low.y.min(p.y)), Xy::new(high.x.max(p.x), high.y.max(p.y)))
    })
}
