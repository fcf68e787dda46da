//! One failure of a set: drawn by its number alone.

use super::cell::Cell;
use super::dice::Dice;
use super::set::{DrillSet, DrillSetError, DrillWind, Place, Told, corners};
use crate::air::WindVector;
use crate::fields::strip::inside_ring;
use crate::grid::Terrain;
use crate::math;
use crate::position::{Bearing, Xy};
use crate::reach::AircraftState;

/// Directions of fan stops at the home strip.
pub const HEADINGS: usize = 12;
/// Height bands of fan stops at the home strip.
pub const HEIGHT_STEPS: usize = 4;

/// Tries for a place inside an outline: at the least share of the rectangle that a set may have, one in 10²² fails.
const TRIES: usize = 5_000;

/// One failure, drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Failure {
    /// Its number in the set, from 1.
    pub number: u32,
    /// The set's seed.
    pub seed: u64,
    /// Which place of the set.
    pub place: usize,
    /// Where the engine stops.
    pub position: Xy,
    /// Height there above the ground, metres.
    pub height_agl_m: f64,
    /// Heading, from grid north.
    pub heading: Bearing,
    /// How much of the wind the pilot is told.
    pub told: Told,
    /// The surface wind as the set has it: what is told is never more than this.
    pub told_wind: WindVector,
    /// The surface wind that blows.
    pub true_wind: WindVector,
    /// For how long the engine still runs, seconds: the drill begins so long before.
    pub stops_after_s: f64,
    /// The gliding aircraft, by name.
    pub aircraft: String,
    /// Joins that may be used, in the order of [`crate::circuit::Join::ALL`].
    pub joins: [bool; 5],
}

impl DrillSet {
    /// The failure of a number, from 1. `home` is the middle of the home strip.
    ///
    /// Numbers beyond the set's count give further failures of the same kind. A failure depends on the set's seed and
    /// conditions and on its number alone.
    ///
    /// # Errors
    /// When the set cannot be drilled.
    pub fn failure(&self, number: u32, home: Option<Xy>) -> Result<Failure, DrillSetError> {
        self.validate()?;
        if number == 0 {
            return Err(DrillSetError::NumberZero);
        }
        let mut dice = Dice::new(self.seed, u64::from(number));
        let place = dice.below(self.places.len());
        let wind = self.winds[dice.below(self.winds.len())];
        let mut height_share = dice.unit();
        let (position, heading) = match &self.places[place] {
            Place::Route { line, both_ways } => {
                let turned_round = dice.unit() < 0.5 && *both_ways;
                let (at, along) = along_line(line, dice.unit());
                (at, if turned_round { Bearing::from_rad(along.rad() + math::PI) } else { along })
            }
            Place::Area { outer } => (inside(outer, &mut dice), any_heading(&mut dice)),
            Place::Circle { centre, radius_m } => (*centre + in_circle(&mut dice) * *radius_m, any_heading(&mut dice)),
            Place::HomeStrip { within_m } => {
                let middle = home.ok_or_else(|| DrillSetError::NoHome { set: self.name.clone() })?;
                let (step, direction) = self.fan_stop(number);
                height_share = (step as f64 + height_share) / HEIGHT_STEPS as f64;
                let heading = (direction as f64 + dice.unit() - 0.5) * math::TAU / HEADINGS as f64;
                (middle + in_circle(&mut dice) * *within_m, Bearing::from_rad(heading))
            }
        };
        let (told_wind, true_wind) = winds(&wind, &mut dice);
        Ok(Failure {
            number,
            seed: self.seed,
            place,
            position,
            height_agl_m: self.lowest_agl_m + (self.highest_agl_m - self.lowest_agl_m) * height_share,
            heading,
            told: wind.told,
            told_wind,
            true_wind,
            stops_after_s: dice.within(self.shortest_run_s, self.longest_run_s),
            aircraft: self.aircraft.clone(),
            joins: self.allowed_joins(),
        })
    }

    /// Height band and direction of a fan stop: in every 48 numbers, each of 4 × 12 comes once.
    fn fan_stop(&self, number: u32) -> (usize, usize) {
        const EACH: usize = HEADINGS * HEIGHT_STEPS;
        let index = number.saturating_sub(1) as usize;
        let round = (index / EACH) as u64;
        let cell = Dice::new(self.seed, round | 1 << 40).order(EACH)[index % EACH];
        (cell / HEADINGS, cell % HEADINGS)
    }
}

impl Failure {
    /// The state when the engine stops; `None` where there is no terrain under it.
    #[must_use]
    pub fn state(&self, terrain: &Terrain) -> Option<AircraftState> {
        let height_amsl_m = terrain.height_at(self.position)? + self.height_agl_m;
        Some(AircraftState { position: self.position, height_amsl_m, heading: Some(self.heading) })
    }

    /// Where the aircraft is some seconds before the engine stops, flying level at a velocity over the ground.
    #[must_use]
    pub fn before(&self, ground_velocity_ms: Xy, seconds: f64) -> Xy {
        self.position - ground_velocity_ms * seconds
    }

    /// What kind of failure it is, for practising what is weak.
    #[must_use]
    pub fn cell(&self) -> Cell {
        Cell::of(self.height_agl_m, self.heading, self.told_wind)
    }
}

fn any_heading(dice: &mut Dice) -> Bearing {
    Bearing::from_rad(dice.unit() * math::TAU)
}

/// A place in the circle of radius 1, evenly over its area.
fn in_circle(dice: &mut Dice) -> Xy {
    let (radius, angle) = (dice.unit().sqrt(), dice.unit() * math::TAU);
    let (sin, cos) = math::sin_cos(angle);
    Xy::new(sin * radius, cos * radius)
}

/// The place at a share of a line's length, and the line's direction there.
fn along_line(line: &[Xy], share: f64) -> (Xy, Bearing) {
    let length: f64 = line.windows(2).map(|w| w[0].distance(w[1])).sum();
    let mut left = share * length;
    let mut last = (line.first().copied().unwrap_or_default(), Bearing::NORTH);
    for leg in line.windows(2) {
        let (way, long) = (leg[1] - leg[0], leg[0].distance(leg[1]));
        let Some(heading) = way.bearing() else { continue };
        last = (leg[1], heading);
        if left <= long {
            return (leg[0] + way * (left / long), heading);
        }
        left -= long;
    }
    last
}

/// A place inside an outline, evenly over its area.
fn inside(outer: &[Xy], dice: &mut Dice) -> Xy {
    let (low, high) = corners(outer);
    for _ in 0..TRIES {
        let at = Xy::new(dice.within(low.x, high.x), dice.within(low.y, high.y));
        if inside_ring(outer, at) {
            return at;
        }
    }
    (outer[0] + outer[1]) * 0.5
}

/// The wind of the set and the one that blows.
fn winds(wind: &DrillWind, dice: &mut Dice) -> (WindVector, WindVector) {
    let any = any_heading(dice);
    let from = wind.from_grid.unwrap_or(any);
    let turned = Bearing::from_rad(from.rad() + dice.about_zero(wind.direction_error_rad));
    let speed = (wind.speed_ms + dice.about_zero(wind.speed_error_ms)).max(0.0);
    (WindVector::coming_from(from, wind.speed_ms), WindVector::coming_from(turned, speed))
}
