//! Turning back to the runway: a teardrop, flown with every bank and either hand, to a landing against the direction of
//! take-off.

use super::{HANDS, RunwayEnd};
use crate::aircraft::Aircraft;
use crate::circuit::{AirColumn, Flying, Motion, Start, Teardrop, TeardropFlown, fly_teardrop};
use crate::fields::circuit_height::Hand;
use crate::grid::Terrain;
use crate::math;
use rayon::prelude::*;

/// How a turn back is flown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TurnBackOptions {
    /// Banks that are tried, radians; those beyond the aircraft's largest are left out. Default 30°, 37.5° and 45°: 45° is
    /// the best (Rogers, *The Possible "Impossible" Turn*, 1995), and what a pilot is used to is less.
    pub banks_rad: [f64; 3],
    /// No turn is flown lower than this above the ground, metres. Default 15: common practice, no source.
    pub least_turning_m: f64,
}

impl Default for TurnBackOptions {
    fn default() -> Self {
        Self { banks_rad: [30.0, 37.5, 45.0].map(|d: f64| d * math::PI / 180.0), least_turning_m: 15.0 }
    }
}

/// A turn back to the runway.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TurnBack {
    /// Which way the first turn goes.
    pub hand: Hand,
    /// Bank, radians.
    pub bank_rad: f64,
    /// Height left over the place where it comes down on the runway, metres; negative: so much short.
    pub spare_m: f64,
    /// Height lost from the engine's stop until the first turn begins, metres.
    pub lost_in_reaction_m: f64,
    /// Height lost in the turns, metres.
    pub lost_in_turns_m: f64,
    /// Heading turned in the first turn, radians.
    pub first_turn_rad: f64,
    /// How far behind the departure end it comes down, metres.
    pub down_from_end_m: f64,
    /// Runway left from there, metres.
    pub runway_left_m: f64,
    /// The aircraft's landing distance lengthened by the square of the speed over the ground there, metres.
    pub landing_distance_m: f64,
    /// Time from the engine's stop, seconds.
    pub duration_s: f64,
}

/// Places on the runway where it may come down, as parts of its length from the departure end.
const PLACES: [f64; 4] = [0.0, 0.15, 0.3, 0.5];

/// Distances at which the runway's line is met again before that place, in turn radii.
const MEETS: [f64; 7] = [1.0, 1.5, 2.2, 3.2, 4.5, 6.5, 9.0];

/// One way to turn back that is tried.
#[derive(Clone, Copy, Debug)]
struct Try {
    banked: Flying,
    down_from_end_m: f64,
    teardrop: Teardrop,
}

/// Everything that is tried, in the order in which the first of equals wins.
fn tries(
    aircraft: &Aircraft,
    flying: &Flying,
    air: &AirColumn,
    runway: &RunwayEnd,
    options: &TurnBackOptions,
    start: &Start,
) -> Vec<Try> {
    let back = runway.heading.reversed();
    let speed = flying.glide_ms * air.to_true(start.motion.height_amsl_m);
    let mut tries = Vec::with_capacity(options.banks_rad.len() * HANDS.len() * PLACES.len() * MEETS.len());
    for bank_rad in options.banks_rad {
        if !(bank_rad > 0.05 && bank_rad <= aircraft.max_bank_rad + 1e-9) {
            continue;
        }
        let mut banked = *flying;
        banked.bank_rad = bank_rad;
        let radius = speed * speed / (math::GRAVITY_MS2 * math::sin(bank_rad));
        for hand in HANDS {
            for place in PLACES {
                let down_from_end_m = place * runway.length_m;
                let down = runway.departure_end + back.unit() * down_from_end_m;
                for meets in MEETS {
                    let teardrop = Teardrop {
                        down,
                        down_amsl_m: runway.elevation_amsl_m,
                        heading: back,
                        meets_before_m: meets * radius,
                        first: hand,
                        least_turning_m: options.least_turning_m,
                    };
                    tries.push(Try { banked, down_from_end_m, teardrop });
                }
            }
        }
    }
    tries
}

/// The turn back that leaves most height, and how to fly it again; anything or nothing once it is stopped.
///
/// Every way is flown on whatever thread is free; the best is chosen in the order of the ways, so that the threads do not
/// matter.
#[expect(clippy::too_many_arguments, reason = "what the climb-out is computed from, and from where")]
pub(super) fn best(
    aircraft: &Aircraft,
    flying: &Flying,
    air: &AirColumn,
    terrain: &Terrain,
    runway: &RunwayEnd,
    options: &TurnBackOptions,
    start: &Start,
    stopped: &(dyn Fn() -> bool + Sync),
) -> Option<(TurnBack, Teardrop)> {
    let tries = tries(aircraft, flying, air, runway, options, start);
    let fly = |tried: &Try| {
        if stopped() {
            return None;
        }
        fly_teardrop(&tried.banked, air, terrain, start, &tried.teardrop, None)
    };
    let flown: Vec<Option<TeardropFlown>> = tries.par_iter().map(fly).collect();
    let mut best: Option<(&Try, TeardropFlown)> = None;
    for (tried, flown) in tries.iter().zip(flown) {
        let Some(flown) = flown else { continue };
        if best.is_none_or(|(_, b)| flown.spare_m > b.spare_m) {
            best = Some((tried, flown));
        }
    }
    best.map(|(tried, flown)| {
        let faster = flown.ground_ms / flying.approach_ms;
        let turn_back = TurnBack {
            hand: tried.teardrop.first,
            bank_rad: tried.banked.bank_rad,
            spare_m: flown.spare_m,
            lost_in_reaction_m: flown.lost_in_reaction_m,
            lost_in_turns_m: flown.lost_in_turns_m,
            first_turn_rad: flown.first_turn_rad,
            down_from_end_m: tried.down_from_end_m,
            runway_left_m: runway.length_m - tried.down_from_end_m,
            landing_distance_m: aircraft.landing_distance_m * faster * faster,
            duration_s: flown.duration_s,
        };
        (turn_back, tried.teardrop)
    })
}

/// The places of a turn back that was found, from the engine's stop to the runway.
pub(super) fn way(
    flying: &Flying,
    air: &AirColumn,
    terrain: &Terrain,
    start: &Start,
    found: &(TurnBack, Teardrop),
) -> Vec<Motion> {
    let mut way = Vec::new();
    let mut banked = *flying;
    banked.bank_rad = found.0.bank_rad;
    match fly_teardrop(&banked, air, terrain, start, &found.1, Some(&mut way)) {
        Some(_) => way,
        // It was flown before, so it flies again.
        None => Vec::new(),
    }
}
