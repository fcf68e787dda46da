//! What one practice failure teaches: heights, delays, turns, speeds, distances, and where it would have ended.

use super::aims::{Aim, aims, flown_to};
use super::exercises::{Ending, Exercise};
use super::options::{Needs, OptionsAt};
use super::phases::Flight;
use super::turns::{Turn, turns};
use crate::aircraft::Aircraft;
use crate::circuit::{FIFTY_FT_M, Landing, Surroundings};
use crate::fields::hazards::distance_to_m;
use crate::fields::strip::inside_ring;
use crate::math;
use crate::position::Xy;
use core::ops::Range;
use serde::Serialize;

/// How an exercise came out, by where the glide would have ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// It landed, or the glide would have met the ground in the strip and stopped in it.
    InField,
    /// It would have come down before the strip.
    Short,
    /// It would have run off the far end.
    Long,
    /// Broken off before the final, with height for a landing.
    BrokenOffInReach,
    /// Broken off before the final, without height for any landing there.
    BrokenOffTooLow,
    /// No field was recognised.
    NoField,
}

impl Outcome {
    /// The outcome in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::InField => "would have stopped in the field",
            Self::Short => "would have come down short",
            Self::Long => "would have run off the far end",
            Self::BrokenOffInReach => "broken off before final, still in reach",
            Self::BrokenOffTooLow => "broken off before final, too low for a circuit by estimate",
            Self::NoField => "no field recognised",
        }
    }
}

/// Something passed lower than it should.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct PassedLow {
    /// What.
    pub over: Over,
    /// Seconds since the first fix when lowest over it.
    pub time_s: f64,
    /// Height over its top, or above the ground in a zone or over stock, metres.
    pub height_m: f64,
    /// What is asked for, metres.
    pub wanted_m: f64,
}

/// What was passed low.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "kind", content = "index")]
pub enum Over {
    /// A hazard, by index.
    Hazard(usize),
    /// A quiet zone, by index.
    QuietZone(usize),
    /// A candidate's field with stock in it, by index of the field.
    Stock(usize),
}

/// A landing as it was flown or would have been.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Arrival {
    /// Where the glide met or would have met the ground, metres behind the strip's landing end.
    pub touchdown_m: f64,
    /// Where it would have stopped, metres behind the landing end.
    pub stop_m: f64,
    /// How far short of what may be landed on, metres; zero when not.
    pub short_m: f64,
    /// How far beyond the far end, metres; zero when not.
    pub long_m: f64,
}

/// Everything measured about one exercise. Heights above the landing place unless they say above ground.
#[derive(Clone, Debug, PartialEq)]
pub struct Measures {
    /// Samples from the failure to the end.
    pub samples: Range<usize>,
    /// Where the engine stopped.
    pub position: Xy,
    /// Height above the ground there, metres; `None` without terrain.
    pub height_agl_m: Option<f64>,
    /// Height above mean sea level there, metres.
    pub height_amsl_m: f64,
    /// Seconds until the gliding speed was held, `None` when it never was.
    pub to_glide_speed_s: Option<f64>,
    /// Seconds until the first turn towards the field.
    pub to_first_turn_s: Option<f64>,
    /// Fields aimed for, in order.
    pub aims: Vec<Aim>,
    /// The landing it ended at, index into the candidates.
    pub landing: Option<usize>,
    /// Turns, in order.
    pub turns: Vec<Turn>,
    /// Mean equivalent airspeed once gliding, m/s.
    pub mean_speed_ms: Option<f64>,
    /// Slowest and fastest once gliding, m/s.
    pub speed_range_ms: Option<(f64, f64)>,
    /// Distance of the base leg from the landing end, metres.
    pub base_leg_distance_m: Option<f64>,
    /// Height abeam the aiming point.
    pub abeam_m: Option<f64>,
    /// Height at the turn to base.
    pub at_base_m: Option<f64>,
    /// Height with wings level on final.
    pub on_final_m: Option<f64>,
    /// Turns one way and back across the approach.
    pub s_turns: usize,
    /// Whole turns.
    pub orbits: usize,
    /// Sample of the lowest point.
    pub lowest: usize,
    /// Height above ground there, metres.
    pub lowest_agl_m: Option<f64>,
    /// Where the lowest point lies behind the landing end, metres; negative before it.
    pub lowest_along_m: Option<f64>,
    /// Where it landed or would have.
    pub arrival: Option<Arrival>,
    /// What was passed lower than it should.
    pub passed_low: Vec<PassedLow>,
    /// How it came out.
    pub outcome: Outcome,
    /// Seconds since the first fix after which no option was left, by estimate; `None` when one was left to the end.
    pub last_option_s: Option<f64>,
}

/// What exercises are measured against.
#[derive(Clone, Copy, Debug)]
pub struct Against<'a> {
    /// The aircraft.
    pub aircraft: &'a Aircraft,
    /// Landings.
    pub needs: &'a Needs<'a>,
    /// Hazards and quiet zones.
    pub surroundings: Surroundings<'a>,
    /// Outlines of fields with stock, with the field's index.
    pub stock: &'a [(usize, Vec<Xy>)],
    /// Least height over stock, metres above ground.
    pub over_stock_m: f64,
}

/// Within this of the intended speed counts as held, m/s: 5 kt (CAA NZ flight test standard for forced landings).
pub const SPEED_HELD_MS: f64 = 5.0 * 1_852.0 / 3_600.0;

/// Measures one exercise.
#[must_use]
pub fn measure(flight: &Flight, options: &[OptionsAt], exercise: &Exercise, against: &Against<'_>) -> Option<Measures> {
    let all = &flight.samples.all;
    let range = flight.samples.index_at(exercise.start_s)..flight.samples.index_at(exercise.end_s) + 1;
    if range.len() < 3 || range.end > all.len() {
        return None;
    }
    let start = &all[range.start];
    let last = range.end - 1;
    let height_amsl_m = start.height_amsl_m?;
    let intended = against.aircraft.straight_speed_ms();
    let speed = |i: usize| flight.flying[i].airspeed_ms;
    let held = |i: usize| (speed(i) - intended).abs() <= SPEED_HELD_MS;
    let known_wind = !flight.wind.bands.is_empty();
    let gliding_from = range.clone().find(|&i| held(i) && (i..(i + 3).min(range.end)).all(held)).filter(|_| known_wind);
    let once_gliding: Vec<f64> = gliding_from.map_or(Vec::new(), |from| (from..range.end).map(speed).collect());
    let turns = turns(flight, range.clone(), against.aircraft);
    let landing = flown_to(flight, against.needs, last);
    let aims = aims(flight, against.needs, range.clone(), landing);
    let candidates = against.needs.candidates();
    let to_first_turn_s = aims.first().and_then(|aim| {
        let place = candidates[aim.candidate].landing.aim;
        let towards = |t: &&Turn| {
            let s = &all[t.samples.start];
            let wanted = s.ground.cross(place - s.position);
            // Positive cross products lie to the left; right turns are positive.
            wanted * t.turned_rad <= 0.0 || t.turned_rad.abs() > math::PI
        };
        turns.iter().find(towards).map(|t| all[t.samples.start].time_s - start.time_s)
    });
    let pattern = landing.map(|c| Pattern::of(flight, &range, &candidates[c].landing));
    let lowest = range
        .clone()
        .filter(|&i| all[i].height_amsl_m.is_some())
        .min_by(|&a, &b| height(flight, a).total_cmp(&height(flight, b)))
        .unwrap_or(last);
    let along = |l: &Landing, p: Xy| l.along_of(p) + l.aim_from_start_m;
    let arrival = landing.and_then(|c| arrival(flight, exercise, last, &candidates[c].landing));
    let spare_at_end = aims.last().and_then(|aim| {
        let (sin, cos) = math::sin_cos(flight.flying[last].heading_rad);
        against.needs.spare_m(aim.candidate, all[last].position, all[last].height_amsl_m?, Xy::new(sin, cos))
    });
    let outcome = match (arrival, spare_at_end) {
        (Some(a), _) if a.short_m > 0.0 => Outcome::Short,
        (Some(a), _) if a.long_m > 0.0 => Outcome::Long,
        (Some(_), _) => Outcome::InField,
        (None, Some(spare)) if spare >= 0.0 => Outcome::BrokenOffInReach,
        (None, Some(_)) => Outcome::BrokenOffTooLow,
        (None, None) => Outcome::NoField,
    };
    let last_option = range.clone().rev().find(|&i| options.get(i).is_some_and(|o| o.fields > 0));
    // On a short final the estimate of a circuit says nothing more: the landing itself is the option.
    let held_to_end = matches!(outcome, Outcome::InField | Outcome::Long);
    let last_option_s = match last_option {
        Some(i) if i == last || held_to_end => None,
        Some(i) => Some(all[i].time_s),
        None if held_to_end => None,
        None => Some(start.time_s),
    };
    let (s_turns, orbits) = super::turns::s_turns_and_orbits(&turns, all);
    Some(Measures {
        position: start.position,
        height_agl_m: flight.flying[range.start].height_agl_m,
        height_amsl_m,
        to_glide_speed_s: gliding_from.map(|i| all[i].time_s - start.time_s),
        to_first_turn_s,
        landing,
        mean_speed_ms: (!once_gliding.is_empty()).then(|| once_gliding.iter().sum::<f64>() / once_gliding.len() as f64),
        speed_range_ms: (!once_gliding.is_empty())
            .then(|| once_gliding.iter().fold((f64::INFINITY, 0.0_f64), |(lo, hi), &v| (lo.min(v), hi.max(v)))),
        base_leg_distance_m: pattern.and_then(|p| p.base_leg_distance_m),
        abeam_m: pattern.and_then(|p| p.abeam_m),
        at_base_m: pattern.and_then(|p| p.at_base_m),
        on_final_m: pattern.and_then(|p| p.on_final_m),
        s_turns,
        orbits,
        lowest,
        lowest_agl_m: flight.flying[lowest].height_agl_m,
        lowest_along_m: landing.map(|c| along(&candidates[c].landing, all[lowest].position)),
        arrival,
        passed_low: passed_low(flight, &range, landing.map(|c| candidates[c].field), against),
        outcome,
        last_option_s,
        aims,
        turns,
        samples: range,
    })
}

fn height(flight: &Flight, i: usize) -> f64 {
    flight.samples.all[i].height_amsl_m.unwrap_or(f64::INFINITY)
}

/// The circuit as it was flown to one landing.
#[derive(Clone, Copy, Debug, Default)]
#[expect(clippy::struct_field_names, reason = "units stand in names")]
struct Pattern {
    base_leg_distance_m: Option<f64>,
    abeam_m: Option<f64>,
    at_base_m: Option<f64>,
    on_final_m: Option<f64>,
}

/// The ground track counts as along a leg within this, radians. Common practice, no source.
const ON_LEG_RAD: f64 = 28.0 * math::PI / 180.0;

impl Pattern {
    fn of(flight: &Flight, range: &Range<usize>, landing: &Landing) -> Self {
        let all = &flight.samples.all;
        let along = landing.along();
        let off = |i: usize, leg: Xy| math::atan2(all[i].ground.cross(leg), all[i].ground.dot(leg)).abs();
        let above = |i: usize| all[i].height_amsl_m.map(|h| h - landing.aim_amsl_m);
        let out = |i: usize| landing.along_of(all[i].position);
        let aside = |i: usize| (all[i].position - landing.aim).cross(along);
        let level = |i: usize| flight.flying[i].bank_rad.abs() < 12f64.to_radians();
        // From the end backwards: final, base, downwind.
        let last = range.end - 1;
        if off(last, along) > ON_LEG_RAD {
            return Self::default();
        }
        let mut final_from = last;
        while final_from > range.start && off(final_from - 1, along) <= ON_LEG_RAD {
            final_from -= 1;
        }
        let wings_level = (final_from..=last).find(|&i| level(i) && off(i, along) < 0.26);
        let on_final_m = wings_level.and_then(above);
        // Across the approach towards the centre line, whichever side.
        let inbound = |i: usize| {
            let left = Xy::new(-along.y, along.x);
            left * -(all[i].position - landing.aim).dot(left).signum()
        };
        let on_base = |i: usize| out(i) < 0.0 && aside(i).abs() > 20.0 && off(i, inbound(i)) <= ON_LEG_RAD;
        let mut base_to = final_from;
        while base_to > range.start && !on_base(base_to - 1) {
            base_to -= 1;
            if final_from - base_to > 25 {
                return Self { on_final_m, ..Self::default() };
            }
        }
        let mut base_from = base_to;
        while base_from > range.start && on_base(base_from - 1) {
            base_from -= 1;
        }
        if base_to <= base_from {
            return Self { on_final_m, ..Self::default() };
        }
        let mut lines: Vec<f64> =
            (base_from..base_to).filter(|&i| level(i)).map(|i| -out(i) - landing.aim_from_start_m).collect();
        // A turn without a straight base leg is as far out as it goes; a leg that comes in at a slant has no distance.
        let farthest = (base_from..base_to).map(|i| -out(i) - landing.aim_from_start_m).fold(f64::MIN, f64::max);
        lines.sort_by(f64::total_cmp);
        let base_leg_distance_m = match (lines.first(), lines.last()) {
            (Some(first), Some(last)) if lines.len() >= 3 => {
                (last - first <= SLANTED_M).then(|| lines[lines.len() / 2])
            }
            _ => Some(farthest),
        };
        let downwind = |i: usize| off(i, -along) <= ON_LEG_RAD;
        let mut downwind_to = base_from;
        while downwind_to > range.start && base_from - downwind_to < 25 && !downwind(downwind_to - 1) {
            downwind_to -= 1;
        }
        let turned_from_downwind = downwind_to > range.start && downwind(downwind_to - 1);
        let at_base_m = above(if turned_from_downwind { downwind_to - 1 } else { base_from });
        let abeam_m = (range.start + 1..base_from)
            .rev()
            .find(|&i| downwind(i) && out(i - 1) >= 0.0 && out(i) < 0.0)
            .and_then(above);
        Self { base_leg_distance_m, abeam_m, at_base_m, on_final_m }
    }
}

/// A base leg that comes this much nearer on its way is slanted, metres. Common practice, no source.
const SLANTED_M: f64 = 80.0;

/// Where the glide at the end met or would have met the ground, where it was on final.
fn arrival(flight: &Flight, exercise: &Exercise, last: usize, landing: &Landing) -> Option<Arrival> {
    let all = &flight.samples.all;
    let along = landing.along();
    let from_start = |p: Xy| landing.along_of(p) + landing.aim_from_start_m;
    let (touchdown_m, at_50_ft_m) = if exercise.ending == Ending::Landing {
        let touch = from_start(all[last].position);
        let above = |i: usize| {
            all[i].height_amsl_m.map_or(0.0, |h| h - landing.ground_amsl_m(landing.along_of(all[i].position)))
        };
        let at_50 = (0..=last).rev().take(60).find(|&i| above(i) >= FIFTY_FT_M).map(|i| from_start(all[i].position));
        (touch, at_50)
    } else {
        // Before power came back: the mean of the last steady seconds.
        let to = last.saturating_sub(3);
        let from = to.saturating_sub(8);
        let off = math::atan2(all[to].ground.cross(along), all[to].ground.dot(along)).abs();
        if off > 0.5 {
            return None;
        }
        let n = (to - from + 1) as f64;
        let over_ground = (from..=to).map(|i| all[i].ground.dot(along)).sum::<f64>() / n;
        let sink = -(from..=to).filter_map(|i| all[i].climb_ms).sum::<f64>() / n;
        let above = all[to].height_amsl_m? - landing.ground_amsl_m(landing.along_of(all[to].position));
        if !(sink > 0.3 && over_ground > 1.0) {
            return None;
        }
        let at = |height: f64| from_start(all[to].position) + (above - height) / sink * over_ground;
        (at(0.0), (above >= FIFTY_FT_M).then(|| at(FIFTY_FT_M)))
    };
    let stop_m = (at_50_ft_m.unwrap_or(touchdown_m - 50.0) + landing.stop_from_50_ft_m).max(touchdown_m);
    Some(Arrival {
        touchdown_m,
        stop_m,
        short_m: (landing.displacement_m - touchdown_m).max(0.0),
        long_m: (stop_m - landing.length_m).max(0.0),
    })
}

fn passed_low(flight: &Flight, range: &Range<usize>, own: Option<usize>, against: &Against<'_>) -> Vec<PassedLow> {
    const ASIDE_M: f64 = 30.0;
    let mut found: Vec<PassedLow> = Vec::new();
    let mut note = |over: Over, time_s: f64, height_m: f64, wanted_m: f64| {
        if height_m >= wanted_m {
            return;
        }
        match found.iter_mut().find(|p| p.over == over) {
            Some(p) if p.height_m <= height_m => {}
            Some(p) => (p.time_s, p.height_m) = (time_s, height_m),
            None => found.push(PassedLow { over, time_s, height_m, wanted_m }),
        }
    };
    for i in range.clone() {
        let (s, f) = (&flight.samples.all[i], &flight.flying[i]);
        let Some(agl) = f.height_agl_m else { continue };
        let reach = Xy::new(ASIDE_M, ASIDE_M);
        for h in against.surroundings.hazards.numbers_near(s.position - reach, s.position + reach) {
            let hazard = &against.surroundings.hazards.all()[h];
            if distance_to_m(&hazard.shape, s.position) <= ASIDE_M {
                // 50 ft over what stands under an approach (as in landing distances from 50 ft, CS-23.75).
                note(Over::Hazard(h), s.time_s, agl - hazard.height_or_assumed().0, FIFTY_FT_M);
            }
        }
        for (z, zone) in against.surroundings.quiet_zones.iter().enumerate() {
            if agl < zone.below_agl_m && inside_ring(&zone.outer, s.position) {
                note(Over::QuietZone(z), s.time_s, agl, zone.below_agl_m);
            }
        }
        for (field, ring) in against.stock.iter().filter(|s| Some(s.0) != own) {
            if agl < against.over_stock_m && inside_ring(ring, s.position) {
                note(Over::Stock(*field), s.time_s, agl, against.over_stock_m);
            }
        }
    }
    found
}
