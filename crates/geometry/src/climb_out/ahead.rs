//! What lies ahead: the farthest glide within 30° of the nose, and fields that a circuit reaches.

use super::RunwayEnd;
use crate::circuit::{AirColumn, CircuitTask, Flying, Start, glide_straight};
use crate::grid::Terrain;
use crate::math;
use crate::position::{Bearing, Xy};
use rayon::prelude::*;
use serde::Serialize;

/// Turns that count as landing ahead. Handbooks: within about 30° either side of the nose.
const AHEAD_RAD: f64 = 30.0 * math::PI / 180.0;

/// Directions tried to each side.
const TRIED: i32 = 3;

/// The farthest glide ahead.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ahead {
    /// Direction of the track over the ground.
    pub track: Bearing,
    /// Distance over the ground from where the engine stops, metres.
    pub distance_m: f64,
    /// Where it meets the ground.
    pub ends: Xy,
}

/// On which side of the nose a field lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// Within 30° of the nose.
    Ahead,
    /// Further to the left, up to straight behind.
    Left,
    /// Further to the right.
    Right,
}

/// A field that a circuit reaches.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FieldInReach {
    /// Its place in the caller's list.
    pub index: usize,
    /// Height left over the aiming point, metres.
    pub spare_m: f64,
    /// Where its aiming point lies from the nose, radians, right positive.
    pub from_nose_rad: f64,
    /// On which side.
    pub side: Side,
}

/// Glides within 30° of the runway's direction, after the reaction, from left to right.
pub(super) fn glides(
    flying: &Flying,
    air: &AirColumn,
    terrain: &Terrain,
    runway: &RunwayEnd,
    start: &Start,
) -> Vec<Ahead> {
    let glide = |i: i32| {
        let track = Bearing::from_rad(runway.heading.rad() + AHEAD_RAD * f64::from(i) / f64::from(TRIED));
        let ends = glide_straight(flying, air, terrain, start, track)?;
        Some(Ahead { track, distance_m: ends.distance(start.motion.position), ends })
    };
    (-TRIED..=TRIED).filter_map(glide).collect()
}

/// The farthest of them; of those that lead as far, the leftmost.
pub(super) fn farthest(glides: &[Ahead]) -> Option<Ahead> {
    let mut best: Option<Ahead> = None;
    for glide in glides {
        if best.is_none_or(|b| glide.distance_m > b.distance_m + 1.0) {
            best = Some(*glide);
        }
    }
    best
}

/// Fields that a circuit reaches, most spare height first; some are left out once it is stopped.
pub(super) fn fields(
    tasks: &[CircuitTask<'_>],
    start: &Start,
    stopped: &(dyn Fn() -> bool + Sync),
) -> Vec<FieldInReach> {
    let mut found: Vec<FieldInReach> = tasks
        .par_iter()
        .with_max_len(1)
        .enumerate()
        .filter_map(|(index, task)| {
            if stopped() || task.is_beyond_reach(start) {
                return None;
            }
            let least = task.least(start).ok()?;
            let towards = (task.landing().aim - start.motion.position).bearing()?;
            let from_nose_rad = start.motion.heading().turn_to(towards);
            let side = match from_nose_rad {
                a if a.abs() <= AHEAD_RAD => Side::Ahead,
                a if a < 0.0 => Side::Left,
                _ => Side::Right,
            };
            Some(FieldInReach { index, spare_m: least.spare_m, from_nose_rad, side })
        })
        .collect();
    found.sort_by(|a, b| b.spare_m.total_cmp(&a.spare_m).then(a.index.cmp(&b.index)));
    found
}
