//! Options at every second: which fields could still be landed in, by how much height.
//!
//! For a whole flight the circuit search would take minutes. Here each landing is asked for what the shortest way needs:
//! straight in, or over a base leg from either side, legs held over the ground in the wind, each turn charged as a
//! steady turn, after a turn from the present heading. It is an estimate and says so; ways round hills are not looked
//! for, so that a field behind one does not count.

use super::phases::Flight;
use super::samples::Sample;
use crate::air::{Wind, isa_density_ratio};
use crate::aircraft::{Aircraft, GlidingTurn};
use crate::circuit::{AirColumn, Landing};
use crate::fields::verdict::Verdict;
use crate::grid::Terrain;
use crate::math;
use crate::position::Xy;
use rayon::prelude::*;
use serde::Serialize;

/// A landing that a flight is held against.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// Index of the field in the caller's list.
    pub field: usize,
    /// The landing.
    pub landing: Landing,
    /// Verdict on the field for this aircraft, wind and day, whatever its distance.
    pub verdict: Verdict,
    /// Score of the same, from 0 to 1.
    pub score: f64,
    /// Outline of the field, open ring.
    pub outer: Vec<Xy>,
}

impl Candidate {
    /// Whether it counts as an option: not out.
    #[must_use]
    pub fn is_usable(&self) -> bool {
        self.verdict != Verdict::Out
    }
}

/// What the options of one second are.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct OptionsAt {
    /// How many usable fields are in reach with height for a circuit.
    pub fields: u16,
    /// Index into the candidates of the one with most height to spare, even where that is negative; `None` where
    /// nothing is near or the height is not known.
    pub best: Option<u32>,
    /// Height to spare there, metres; negative for what is wanting.
    pub spare_m: f64,
}

impl OptionsAt {
    const NONE: Self = Self { fields: 0, best: None, spare_m: f64::NEG_INFINITY };
}

/// A landing made ready: what does not depend on where the aircraft is.
#[derive(Clone, Debug)]
struct Ready {
    /// Where the final begins, and where the base leg begins on either side.
    final_begins: Xy,
    base_begins: [Xy; 2],
    /// Height above the aiming point needed from each of these to the ground, first turn not counted.
    from_final_m: f64,
    from_base_m: [f64; 2],
    /// Airspeed and sink on the way there, true.
    speed_ms: f64,
    sink_ms: f64,
    turn_m_per_rad: f64,
    radius_m: f64,
    air: AirColumn,
    /// Least height lost for a metre in any direction up to the highest flown.
    least_loss: f64,
    /// Final glide angle against the landing direction, height for distance.
    final_loss: f64,
}

/// Candidates made ready for one aircraft and wind.
#[derive(Clone, Debug)]
pub struct Needs<'a> {
    candidates: &'a [Candidate],
    ready: Vec<Option<Ready>>,
    terrain: &'a Terrain,
    clearance_m: f64,
}

/// Height lost for a metre along a track, `None` where the wind does not allow it.
fn loss(track: Xy, wind: Xy, speed_ms: f64, sink_ms: f64) -> Option<f64> {
    let across = wind.cross(track);
    let rest = speed_ms * speed_ms - across * across;
    if rest.is_nan() || rest <= 0.0 {
        return None;
    }
    let ground = rest.sqrt() + wind.dot(track);
    (ground > 0.5).then(|| sink_ms / ground)
}

fn leg(from: Xy, to: Xy, wind: Xy, speed_ms: f64, sink_ms: f64) -> Option<(f64, Option<Xy>)> {
    let way = to - from;
    let length = way.norm();
    if length < 1.0 {
        return Some((0.0, None));
    }
    let unit = way * (1.0 / length);
    Some((length * loss(unit, wind, speed_ms, sink_ms)?, Some(unit)))
}

/// Height that the turn between two legs adds to the legs flown to their corner: the arc less what it cuts off.
fn corner(turn_rad: f64, per_m: f64, ready: (f64, f64)) -> f64 {
    let (loss_per_rad, radius) = ready;
    let cut = 2.0 * radius * math::tan(0.5 * turn_rad.min(2.0)) * per_m;
    (loss_per_rad * turn_rad - cut).max(0.0)
}

fn between(a: Xy, b: Xy) -> f64 {
    math::atan2(a.cross(b), a.dot(b)).abs()
}

impl<'a> Needs<'a> {
    /// Makes candidates ready, up to a height that will not be exceeded.
    #[must_use]
    pub fn new(
        candidates: &'a [Candidate],
        aircraft: &Aircraft,
        wind: &Wind,
        terrain: &'a Terrain,
        top_amsl_m: f64,
    ) -> Self {
        let ready = candidates.par_iter().map(|c| Ready::new(&c.landing, aircraft, wind, top_amsl_m)).collect();
        Self { candidates, ready, terrain, clearance_m: aircraft.terrain_clearance_m }
    }

    /// The candidates.
    #[must_use]
    pub fn candidates(&self) -> &'a [Candidate] {
        self.candidates
    }

    /// Height to spare for one landing from a state, metres; negative for what is wanting, `None` where the wind does
    /// not allow it or no way is seen.
    #[must_use]
    pub fn spare_m(&self, candidate: usize, position: Xy, height_amsl_m: f64, heading: Xy) -> Option<f64> {
        let ready = self.ready.get(candidate)?.as_ref()?;
        let landing = &self.candidates[candidate].landing;
        ready.spare(landing, position, height_amsl_m, heading).map(|s| s.0)
    }

    /// Options at one second. `count_only` usable candidates; those that would pass too low over the ground do not count.
    fn at(&self, sample: &Sample, heading: Xy) -> OptionsAt {
        let Some(height) = sample.height_amsl_m else { return OptionsAt::NONE };
        let mut found = OptionsAt::NONE;
        let mut counted: Vec<usize> = Vec::with_capacity(16);
        for (i, (candidate, ready)) in self.candidates.iter().zip(&self.ready).enumerate() {
            let Some(ready) = ready.as_ref().filter(|_| candidate.is_usable()) else { continue };
            let above = height - candidate.landing.aim_amsl_m;
            let away = sample.position.distance(candidate.landing.aim);
            // Too far by any way: not even a straight glide with the wind gets there with what is missing so far.
            if above - away * ready.least_loss < found.spare_m.min(0.0) {
                continue;
            }
            let Some((spare, first)) = ready.spare(&candidate.landing, sample.position, height, heading) else {
                continue;
            };
            if spare <= found.spare_m.min(0.0) {
                continue;
            }
            if spare >= 0.0 && !self.is_clear(sample.position, height, &candidate.landing, ready, first) {
                continue;
            }
            if spare >= 0.0 && !counted.contains(&candidate.field) {
                counted.push(candidate.field);
            }
            if spare > found.spare_m {
                found.best = Some(i as u32);
                found.spare_m = spare;
            }
        }
        found.fields = counted.len() as u16;
        found
    }

    /// Whether a straight way to the first corner of the pattern keeps clear of the ground.
    fn is_clear(&self, from: Xy, height_amsl_m: f64, landing: &Landing, ready: &Ready, to: Xy) -> bool {
        const LOOK_M: f64 = 60.0;
        let way = to - from;
        let length = way.norm();
        let count = (length / LOOK_M) as usize;
        if count == 0 {
            return true;
        }
        let mid = 0.5 * (height_amsl_m + landing.aim_amsl_m);
        let wind = ready.air.wind_at(mid).xy();
        let unit = way * (1.0 / length);
        let Some(per_m) = loss(unit, wind, ready.speed_ms, ready.sink_ms) else { return false };
        (1..=count).all(|k| {
            let along = k as f64 * LOOK_M;
            let at = height_amsl_m - along * per_m;
            let above_landing = at - landing.aim_amsl_m;
            let wanted = self.clearance_m.min((0.5 * above_landing).max(0.0));
            self.terrain.height_at(from + unit * along).is_some_and(|ground| at - ground >= wanted)
        })
    }

    /// Options at every sample of a flight; the same on any number of threads.
    ///
    /// `stopped` is asked now and then; what is left is then empty.
    #[must_use]
    pub fn over(&self, flight: &Flight, stopped: &(dyn Fn() -> bool + Sync)) -> Vec<OptionsAt> {
        flight
            .samples
            .all
            .par_iter()
            .zip(&flight.flying)
            .with_min_len(64)
            .enumerate()
            .map(|(i, (sample, flying))| {
                if i % 64 == 0 && stopped() {
                    return OptionsAt::NONE;
                }
                let (sin, cos) = math::sin_cos(flying.heading_rad);
                self.at(sample, Xy::new(sin, cos))
            })
            .collect()
    }
}

impl Ready {
    fn new(landing: &Landing, aircraft: &Aircraft, wind: &Wind, top_amsl_m: f64) -> Option<Self> {
        let air = AirColumn::new(wind, landing.aim_amsl_m, top_amsl_m + 50.0);
        let along = landing.along();
        let low = landing.aim_amsl_m + 0.5 * aircraft.final_height_m;
        let to_true = 1.0 / isa_density_ratio(low).sqrt();
        let wind_low = air.wind_at(low).xy();
        let approach =
            (aircraft.approach_speed_ms * to_true, aircraft.glide.sink_ms(aircraft.approach_speed_ms, 1.0) * to_true);
        let final_loss = loss(along, wind_low, approach.0, approach.1)?;
        let base_m =
            (aircraft.final_height_m / final_loss).max(aircraft.base_leg_distance_m + landing.aim_from_start_m);
        let straight = aircraft.straight_speed_ms();
        let turn = GlidingTurn::at_constant_incidence(
            &aircraft.glide,
            straight,
            aircraft.turn_bank_rad,
            isa_density_ratio(low + 100.0),
        );
        let (speed_ms, sink_ms) = (straight * to_true, aircraft.glide.sink_ms(straight, 1.0) * to_true);
        let final_begins = landing.aim - along * base_m;
        let from_final_m = base_m * final_loss;
        let side = Xy::new(-along.y, along.x);
        let width = 2.2 * turn.radius_m;
        let quarter = 0.5 * math::PI;
        let shape = (turn.loss_m_per_rad, turn.radius_m);
        let mut from_base_m = [0.0; 2];
        let mut base_begins = [Xy::default(); 2];
        for (k, sign) in [1.0, -1.0].into_iter().enumerate() {
            base_begins[k] = final_begins + side * (sign * width);
            let (down, _) = leg(base_begins[k], final_begins, wind_low, speed_ms, sink_ms)?;
            from_base_m[k] = down + corner(quarter, final_loss, shape) + from_final_m;
        }
        // The least loss: with the strongest wind of the column straight behind.
        let strongest = (0..12)
            .map(|i| {
                air.wind_at(landing.aim_amsl_m + (top_amsl_m - landing.aim_amsl_m) * f64::from(i) / 11.0).speed_ms()
            })
            .fold(0.0, f64::max);
        let least_loss = sink_ms / (speed_ms + strongest);
        Some(Self {
            final_begins,
            base_begins,
            from_final_m,
            from_base_m,
            speed_ms,
            sink_ms,
            turn_m_per_rad: turn.loss_m_per_rad,
            radius_m: turn.radius_m,
            air,
            least_loss,
            final_loss,
        })
    }

    /// Height to spare, and the first corner of the cheapest way.
    fn spare(&self, landing: &Landing, at: Xy, height_amsl_m: f64, heading: Xy) -> Option<(f64, Xy)> {
        let above = height_amsl_m - landing.aim_amsl_m;
        let wind = self.air.wind_at(0.5 * (height_amsl_m + landing.aim_amsl_m)).xy();
        let shape = (self.turn_m_per_rad, self.radius_m);
        let along = landing.along();
        let mut best: Option<(f64, Xy)> = None;
        let mut offer = |needed: f64, first: Xy| {
            if best.is_none_or(|b| above - needed > b.0) {
                best = Some((above - needed, first));
            }
        };
        let way = |to: Xy, then: Option<Xy>, rest: f64| {
            let (lost, unit) = leg(at, to, wind, self.speed_ms, self.sink_ms)?;
            let towards = unit.or(then)?;
            let per_m = self.sink_ms / self.speed_ms;
            let first = self.turn_m_per_rad * between(heading, towards);
            let second = then.map_or(0.0, |t| corner(between(towards, t), per_m, shape));
            Some(first + lost + second + rest)
        };
        if let Some(needed) = way(self.final_begins, Some(along), self.from_final_m) {
            offer(needed, self.final_begins);
        }
        let side = Xy::new(-along.y, along.x);
        for (k, sign) in [1.0, -1.0].into_iter().enumerate() {
            if let Some(needed) = way(self.base_begins[k], Some(side * -sign), self.from_base_m[k]) {
                offer(needed, self.base_begins[k]);
            }
            // Already on the base leg's side and low: straight to where the base leg's line is nearest.
            let here = at - landing.aim;
            let (out, aside) = (here.dot(along), here.dot(side) * sign);
            if aside > 0.0 && out < 0.0 {
                // Inside the usual base leg: the final is as short as the place allows.
                let turn_at = landing.aim + along * out;
                let inbound = side * -sign;
                if let Some((lost, _)) = leg(at, turn_at, wind, self.speed_ms, self.sink_ms) {
                    let first = self.turn_m_per_rad * between(heading, inbound);
                    let last = corner(0.5 * math::PI, self.final_loss, shape);
                    if -out > 1.2 * self.radius_m && between(heading, inbound) < 1.0 {
                        offer(first + lost + last - out * self.final_loss, turn_at);
                    }
                }
            }
        }
        // On final, or nearly so.
        let to_aim = landing.aim - at;
        if between(to_aim, along) < 0.52
            && between(heading, along) < 0.8
            && let Some(needed) = way(landing.aim, Some(along), 0.0)
        {
            offer(needed, landing.aim);
        }
        best.filter(|b| b.0.is_finite())
    }
}

/// How the options of a flight were, in shares of the time in the air.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Cover {
    /// Seconds looked at.
    pub seconds: usize,
    /// Share of them with no, one, and several fields in reach.
    pub none: f64,
    /// One field.
    pub one: f64,
    /// Two or more.
    pub several: f64,
    /// Stretches without any.
    pub bare: Vec<Bare>,
}

/// A stretch without any field in reach.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Bare {
    /// First and last sample.
    pub first: usize,
    /// Last sample.
    pub last: usize,
    /// Height that would have had to be added for one field to stay in reach, metres; `None` where no field is near.
    pub missing_m: Option<f64>,
}

/// Below this above the ground nothing is counted: taking off and landing have their own rules, metres.
pub const COVER_FROM_AGL_M: f64 = 60.0;
/// Shortest stretch without an option that is told, samples.
const SHORTEST_BARE: usize = 5;

/// Sums up the options of a flight, where it was in the air and no exercise was going on.
#[must_use]
pub fn cover(flight: &Flight, options: &[OptionsAt], left_out: impl Fn(usize) -> bool) -> Cover {
    let counts = |i: usize| {
        flight.flying[i].height_agl_m.is_some_and(|h| h >= COVER_FROM_AGL_M)
            && flight.phase_at(i) != Some(super::phases::PhaseKind::OnGround)
            && !left_out(i)
    };
    let (mut seconds, mut by_number) = (0, [0_usize; 3]);
    let mut bare: Vec<Bare> = Vec::new();
    for (i, at) in options.iter().enumerate() {
        if !counts(i) {
            continue;
        }
        seconds += 1;
        by_number[usize::from(at.fields).min(2)] += 1;
        if at.fields > 0 {
            continue;
        }
        let missing = at.best.map(|_| -at.spare_m);
        match bare.last_mut().filter(|b| b.last + 1 == i) {
            Some(open) => {
                open.last = i;
                open.missing_m = open.missing_m.zip(missing).map(|(a, b)| a.max(b));
            }
            None => bare.push(Bare { first: i, last: i, missing_m: missing }),
        }
    }
    bare.retain(|b| b.last - b.first + 1 >= SHORTEST_BARE);
    let share = |n: usize| if seconds > 0 { n as f64 / seconds as f64 } else { 0.0 };
    Cover { seconds, none: share(by_number[0]), one: share(by_number[1]), several: share(by_number[2]), bare }
}
