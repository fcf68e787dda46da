//! Turns in a glide: how far, how steep, and what they cost against what the glide curve says.

use super::phases::Flight;
use super::samples::Sample;
use crate::air::isa_density_ratio;
use crate::aircraft::{Aircraft, GlidingTurn};
use crate::math;
use core::ops::Range;

/// A turn as it was flown.
#[derive(Clone, Debug, PartialEq)]
pub struct Turn {
    /// Its samples.
    pub samples: Range<usize>,
    /// Change of heading, radians, right positive.
    pub turned_rad: f64,
    /// Mean bank, radians, right positive.
    pub bank_rad: f64,
    /// Steepest bank, radians, without sign.
    pub steepest_rad: f64,
    /// Height lost, metres; `None` without heights.
    pub lost_m: Option<f64>,
    /// Height that the glide curve says for this turn at this bank, metres.
    pub predicted_m: f64,
}

/// Slowest turn that counts, rad/s. Numbers of this block: common practice, no source.
const LEAST_RATE: f64 = 3.5 * math::PI / 180.0;
/// Least change of heading of a turn, radians.
const LEAST_TURN: f64 = 25.0 * math::PI / 180.0;
/// Seconds of level flight that do not end a turn.
const BREATH: usize = 2;
/// Turns one way and back within this many seconds are an S-turn.
const S_TURN_S: f64 = 15.0;

/// Turns within a range of samples.
#[must_use]
pub(super) fn turns(flight: &Flight, range: Range<usize>, aircraft: &Aircraft) -> Vec<Turn> {
    let rate = |i: usize| flight.flying[i].turn_rad_s;
    let mut found = Vec::new();
    let mut i = range.start;
    while i < range.end {
        if rate(i).abs() < LEAST_RATE {
            i += 1;
            continue;
        }
        let (from, sign) = (i, rate(i).signum());
        let (mut to, mut level) = (i, 0);
        while i < range.end && level <= BREATH {
            if rate(i) * sign >= LEAST_RATE {
                to = i;
                level = 0;
            } else {
                level += 1;
            }
            i += 1;
        }
        i = to + 1;
        let samples = from..to + 1;
        let step = |k: usize| {
            if k + 1 < flight.samples.all.len() {
                // Nothing is known of a turn while the record breaks.
                (flight.samples.all[k + 1].time_s - flight.samples.all[k].time_s).min(2.0)
            } else {
                1.0
            }
        };
        let turned_rad: f64 = samples.clone().map(|k| rate(k) * step(k)).sum();
        if turned_rad.abs() < LEAST_TURN {
            continue;
        }
        let n = samples.len() as f64;
        let bank_rad = samples.clone().map(|k| flight.flying[k].bank_rad).sum::<f64>() / n;
        let steepest_rad = samples.clone().map(|k| flight.flying[k].bank_rad.abs()).fold(0.0, f64::max);
        let airspeed = samples.clone().map(|k| flight.flying[k].airspeed_ms).sum::<f64>() / n;
        let heights = flight.samples.all[from].height_amsl_m.zip(flight.samples.all[to].height_amsl_m);
        let bank = bank_rad.abs().clamp(0.05, 1.2);
        // The straight speed whose angle of attack this turn is flown at.
        let straight = airspeed.max(aircraft.stall_speed_ms) * math::cos(bank).sqrt();
        let density = isa_density_ratio(heights.map_or(0.0, |h| 0.5 * (h.0 + h.1)));
        let model = GlidingTurn::at_constant_incidence(&aircraft.glide, straight, bank, density);
        found.push(Turn {
            turned_rad,
            bank_rad,
            steepest_rad,
            lost_m: heights.map(|h| h.0 - h.1),
            predicted_m: model.loss_m_per_rad * turned_rad.abs(),
            samples,
        });
    }
    found
}

/// How many S-turns and whole turns there were.
pub(super) fn s_turns_and_orbits(turns: &[Turn], all: &[Sample]) -> (usize, usize) {
    let orbits = turns.iter().map(|t| ((t.turned_rad.abs() + 0.35) / math::TAU).floor() as usize).sum();
    let (mut s_turns, mut k) = (0, 1);
    while k < turns.len() {
        let (a, b) = (&turns[k - 1], &turns[k]);
        let opposite = a.turned_rad * b.turned_rad < 0.0;
        let small = a.turned_rad.abs() < 0.75 * math::PI && b.turned_rad.abs() < 0.75 * math::PI;
        let soon = all[b.samples.start].time_s - all[a.samples.end - 1].time_s <= S_TURN_S;
        if opposite && small && soon {
            s_turns += 1;
            k += 2;
        } else {
            k += 1;
        }
    }
    (s_turns, orbits)
}
