//! What the aircraft was doing: on the ground, flying under power, or gliding.
//!
//! The energy of the motion through the air falls in a glide as fast as the glide curve says. What the engine puts in,
//! told as a rate of climb, is therefore
//!
//! r = d/dt(h + V²/2g) + sink(V, n),
//!
//! near zero in a glide, and with power as large as the sink rate or larger. `course.rs` finds the most probable course of
//! it. The level of the glide and how much the air moves are then found again from the flight itself, since an idling
//! engine and a glide curve on paper are not exact, and the search repeated.
//!
//! Numbers of this file: common practice, no source; fixed before any flight was looked at.

use super::course;
use super::samples::{Parabola, Sample, Samples};
use super::wind_by_height::{AirspeedPrior, WindByHeight};
use crate::air::{WindVector, isa_density_ratio};
use crate::aircraft::Aircraft;
use crate::grid::Terrain;
use crate::math::{self, GRAVITY_MS2};
use core::ops::Range;
use serde::Serialize;

/// What the aircraft was doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum PhaseKind {
    /// Standing or rolling.
    OnGround,
    /// Flying with the engine at work.
    Powered,
    /// Flying with the engine stopped or idling.
    Gliding,
}

impl PhaseKind {
    /// The phase in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::OnGround => "on the ground",
            Self::Powered => "under power",
            Self::Gliding => "gliding",
        }
    }
}

/// A stretch of one phase without a gap.
#[derive(Clone, Debug, PartialEq)]
pub struct Phase {
    /// What it is.
    pub kind: PhaseKind,
    /// Samples of it.
    pub samples: Range<usize>,
    /// Mean of what the engine put in, m/s; `None` on the ground or without heights.
    pub engine_ms: Option<f64>,
    /// How much likelier it is than the other kind of flight, from 0.5 to 1.
    pub confidence: f64,
}

/// The flight at one sample as the air has it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flying {
    /// Equivalent airspeed, m/s.
    pub airspeed_ms: f64,
    /// True airspeed, m/s.
    pub true_airspeed_ms: f64,
    /// Heading of the flight through the air, radians clockwise from grid north.
    pub heading_rad: f64,
    /// Rate of turn, rad/s, right positive.
    pub turn_rad_s: f64,
    /// Bank that this turn takes, radians, right positive.
    pub bank_rad: f64,
    /// What the engine put in, as a rate of climb, m/s; `None` without heights.
    pub engine_ms: Option<f64>,
    /// Height above the ground, metres; `None` without terrain or height there.
    pub height_agl_m: Option<f64>,
}

/// A flight in its air, and its phases.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Flight {
    /// The samples.
    pub samples: Samples,
    /// What the track tells about the wind.
    pub wind: WindByHeight,
    /// For every sample.
    pub flying: Vec<Flying>,
    /// Phases in order of time, without gaps within a part.
    pub phases: Vec<Phase>,
    /// What an engine at idle was found to put in while gliding, m/s.
    pub idle_ms: f64,
    /// Sink rate of a straight glide at the gliding speed, m/s: what other rates are compared with.
    pub glide_sink_ms: f64,
    /// Standard deviation of the vertical air as it was found, m/s.
    pub air_ms: f64,
    /// The state of every sample, and what beside the energy speaks for each.
    pub(super) states: Vec<usize>,
    pub(super) cues: Vec<[f64; 3]>,
    /// Samples over which no rate is told, and its mean there from the energy on either side, m/s.
    pub(super) bridges: Vec<(Range<usize>, f64)>,
}

/// Half the time over which energy and turn are fitted, seconds.
const ENERGY_HALF: usize = 4;
/// Standard deviation of the vertical air before the flight has told it, over the sink rate of the glide.
const AIR_AT_FIRST: f64 = 0.25;
/// Below this above the ground an aircraft may be standing on it, metres: receivers' heights are no better.
const NEAR_GROUND_M: f64 = 15.0;
/// Wind that counts as calm when the track tells none.
const NO_WIND: WindVector = WindVector::CALM;

impl Flight {
    /// Finds wind and phases.
    ///
    /// `wind` replaces what the track tells, where given. Without terrain, phases on the ground are told by speed alone.
    #[must_use]
    pub fn of(samples: Samples, aircraft: &Aircraft, terrain: Option<&Terrain>, wind: Option<WindByHeight>) -> Self {
        let told = wind.is_some();
        let glide_sink_ms = aircraft.glide.sink_ms(aircraft.straight_speed_ms(), 1.0);
        let mut flight = Self { samples, wind: wind.unwrap_or_default(), glide_sink_ms, ..Self::default() };
        let flying = AirspeedPrior::flying(aircraft);
        // A run along the ground is fast, but no flight through the air.
        let clear_of_ground = |s: &Sample| {
            let ground = terrain.and_then(|t| t.height_at(s.position));
            let above = s.height_amsl_m.zip(ground).map(|(h, g)| h - g);
            above.map_or(s.ground.norm() > 0.8 * aircraft.stall_speed_ms, |h| h > 2.0 * NEAR_GROUND_M)
        };
        if !told {
            let airborne = |i: usize| clear_of_ground(&flight.samples.all[i]).then_some(flying);
            flight.wind = WindByHeight::estimate(&flight.samples, airborne);
        }
        flight.look(aircraft, terrain);
        flight.phases = flight.most_probable(aircraft);
        if !told {
            // Once more, with what is known about the airspeed in a glide.
            let gliding = flight.glide_prior(aircraft);
            let mut priors = vec![None; flight.samples.all.len()];
            for phase in &flight.phases {
                let prior = match phase.kind {
                    PhaseKind::OnGround => continue,
                    PhaseKind::Powered => flying,
                    PhaseKind::Gliding => gliding,
                };
                for i in phase.samples.clone() {
                    priors[i] = clear_of_ground(&flight.samples.all[i]).then_some(prior);
                }
            }
            flight.wind = WindByHeight::estimate(&flight.samples, |i| priors[i]);
            flight.look(aircraft, terrain);
            flight.phases = flight.most_probable(aircraft);
        }
        flight
    }

    /// What airspeed is expected in its glides: that of the aircraft, unless they were flown quite otherwise.
    fn glide_prior(&self, aircraft: &Aircraft) -> AirspeedPrior {
        let mut speeds: Vec<f64> = self
            .phases
            .iter()
            .filter(|p| p.kind == PhaseKind::Gliding)
            .flat_map(|p| p.samples.clone())
            .map(|i| self.flying[i].airspeed_ms)
            .collect();
        speeds.sort_by(f64::total_cmp);
        let prior = AirspeedPrior::gliding(aircraft);
        // Three standard deviations of what all glides may differ together.
        let foreign = |v: &f64| (v - prior.mean_ms).abs() > 3.0 * prior.shared_sd_ms;
        match speeds.get(speeds.len() / 2).filter(|v| foreign(v)) {
            Some(_) => AirspeedPrior::flying(aircraft),
            None => prior,
        }
    }

    /// The wind at a sample, calm where nothing is known.
    #[must_use]
    pub fn wind_at(&self, index: usize) -> WindVector {
        let height = self.samples.all.get(index).and_then(|s| s.height_amsl_m);
        height.and_then(|h| self.wind.at(h)).unwrap_or(NO_WIND)
    }

    /// The phase at a sample.
    #[must_use]
    pub fn phase_at(&self, index: usize) -> Option<PhaseKind> {
        let at = self.phases.partition_point(|p| p.samples.end <= index);
        self.phases.get(at).filter(|p| p.samples.contains(&index)).map(|p| p.kind)
    }

    fn look(&mut self, aircraft: &Aircraft, terrain: Option<&Terrain>) {
        let n = self.samples.all.len();
        let mut flying = Vec::with_capacity(n);
        let mut sinks = Vec::with_capacity(n);
        let air: Vec<_> = (0..n).map(|i| self.samples.all[i].through_air(self.wind_at(i))).collect();
        let mut holes = vec![false; n];
        for hole in &self.samples.holes {
            holes[hole.clone()].fill(true);
        }
        for part in &self.samples.parts {
            for i in part.clone() {
                let s = &self.samples.all[i];
                let around = i.saturating_sub(ENERGY_HALF).max(part.start)..(i + ENERGY_HALF + 1).min(part.end);
                let heading = math::atan2(air[i].x, air[i].y);
                let (mut energy, mut turn, mut speed) = (Parabola::default(), Parabola::default(), Parabola::default());
                let mut heights = 0;
                let mut balance = 0.0;
                let around_len = around.len() as i32;
                for j in around {
                    let t = self.samples.all[j].time_s - s.time_s;
                    let v = air[j].norm();
                    speed.add(t, v);
                    turn.add(t, math::wrap_pi(math::atan2(air[j].x, air[j].y) - heading));
                    if let Some(h) = self.samples.all[j].height_amsl_m.filter(|_| !holes[j]) {
                        energy.add(t, h + v * v / (2.0 * GRAVITY_MS2));
                        heights += 1;
                        balance += t;
                    }
                }
                let to_true = 1.0 / isa_density_ratio(s.height_amsl_m.unwrap_or(0.0)).sqrt();
                let true_airspeed_ms = speed.at_zero().map_or(air[i].norm(), |v| v.0.max(0.0));
                let turn_rad_s = turn.at_zero().map_or(0.0, |t| t.1);
                let bank_rad = math::atan(true_airspeed_ms * turn_rad_s / GRAVITY_MS2);
                let load = (1.0 / math::cos(bank_rad)).min(2.0);
                let airspeed_ms = true_airspeed_ms / to_true;
                // Slower than it can fly the curve says nothing.
                let on_curve = airspeed_ms.max(0.8 * aircraft.stall_speed_ms);
                let sink = aircraft.glide.sink_ms(on_curve, load) * to_true;
                // Beside a hole there is one side only, and its slope is mostly noise.
                let whole = around_len == heights || balance.abs() < 0.8 * f64::from(heights);
                let rate = if heights >= 5 && whole { energy.at_zero().map(|e| e.1) } else { None };
                let ground = terrain.and_then(|t| t.height_at(s.position));
                sinks.push(sink);
                flying.push(Flying {
                    airspeed_ms,
                    true_airspeed_ms,
                    heading_rad: heading,
                    turn_rad_s,
                    bank_rad,
                    engine_ms: rate.map(|r| r + sink),
                    height_agl_m: s.height_amsl_m.zip(ground).map(|(h, g)| h - g),
                });
            }
        }
        self.flying = flying;
        self.bridge(&sinks);
    }

    /// Over every hole the mean of what the engine put in, from the energy at either side of it.
    fn bridge(&mut self, sinks: &[f64]) {
        self.bridges.clear();
        let energy = |i: usize| {
            let v = self.flying[i].true_airspeed_ms;
            self.samples.all[i].height_amsl_m.map(|h| h + v * v / (2.0 * GRAVITY_MS2))
        };
        for part in &self.samples.parts {
            let told: Vec<usize> = part.clone().filter(|&i| self.flying[i].engine_ms.is_some()).collect();
            for (a, b) in told.windows(2).map(|w| (w[0], w[1])).filter(|(a, b)| b - a > 1) {
                let seconds = self.samples.all[b].time_s - self.samples.all[a].time_s;
                if let Some((before, after)) = energy(a).zip(energy(b)) {
                    let mean = (after - before) / seconds + 0.5 * (sinks[a] + sinks[b]);
                    self.bridges.push((a + 1..b, mean));
                }
            }
        }
    }

    fn most_probable(&mut self, aircraft: &Aircraft) -> Vec<Phase> {
        let sink = self.glide_sink_ms;
        let noise = engine_threshold(&self.samples);
        self.cues = (0..self.samples.all.len()).map(|i| self.cues_at(i, aircraft, noise)).collect();
        (self.idle_ms, self.air_ms) = (0.0, AIR_AT_FIRST * sink);
        self.find_states();
        for _ in 0..2 {
            // A rate or two at either end still has some of the other level in it.
            let mut gliding: Vec<f64> = stretches(&self.samples.parts, &self.states)
                .filter(|(state, range)| *state == course::GLIDE && range.len() >= 12)
                .flat_map(|(_, range)| range.start + 4..range.end - 4)
                .filter_map(|i| self.flying[i].engine_ms)
                .collect();
            if gliding.len() >= 30 {
                gliding.sort_by(f64::total_cmp);
                self.idle_ms = gliding[gliding.len() / 2].clamp(-0.35 * sink, 0.35 * sink);
            }
            let seen: Vec<f64> = self
                .samples
                .parts
                .iter()
                .filter_map(|p| self.with_course(p, |c| c.air_seen_ms(&self.states[p.clone()])))
                .collect();
            if !seen.is_empty() {
                let mean = seen.iter().sum::<f64>() / seen.len() as f64;
                self.air_ms = mean.clamp(0.07 * sink, 0.4 * sink);
            }
            self.find_states();
        }
        self.phases_of_states()
    }

    /// What is not energy and speaks for ground, power and glide: log-likelihoods.
    fn cues_at(&self, i: usize, aircraft: &Aircraft, noise: Option<f64>) -> [f64; 3] {
        let (s, f) = (&self.samples.all[i], &self.flying[i]);
        let speed = s.ground.norm();
        let [mut ground, mut powered, mut gliding] = [0.0; 3];
        let near = f.height_agl_m.is_none_or(|h| h < NEAR_GROUND_M);
        // Where the ground's height is not known, slow is on the ground only when level: against the wind it may be slow
        // while circling.
        let level = f.height_agl_m.is_some() || s.climb_ms.is_none_or(|c| c.abs() < 0.7);
        if near && level && speed < 0.5 * aircraft.stall_speed_ms {
            powered -= 2.0;
            gliding -= 2.0;
        } else if f.height_agl_m.is_none_or(|h| h > 2.0 * NEAR_GROUND_M) {
            ground -= 8.0;
        } else {
            // Low and fast: taking off, landing, or neither.
            let level = s.climb_ms.is_some_and(|c| c.abs() < 1.0);
            let rolling = f.height_agl_m.is_some_and(|h| h < 5.0 || (h < 9.0 && level));
            ground += if rolling { 1.2 } else { -1.5 };
        }
        if let Some((threshold, engine)) = noise.zip(s.engine) {
            // A recorder that listens is believed more than the energy.
            if engine > threshold {
                gliding -= 1.0;
            } else {
                powered -= 1.0;
            }
        }
        [ground, powered, gliding]
    }

    /// Something asked of the course of a part.
    pub(super) fn with_course<T>(&self, part: &Range<usize>, ask: impl FnOnce(&course::Ready<'_>) -> T) -> T {
        let rates: Vec<Option<f64>> = part.clone().map(|i| self.flying[i].engine_ms).collect();
        let ready = course::Ready::new(course::Course {
            rates: &rates,
            cues: &self.cues[part.clone()],
            idle_ms: self.idle_ms,
            sink_ms: self.glide_sink_ms.max(0.1),
            air_ms: self.air_ms,
        });
        ask(&ready)
    }

    #[expect(
        clippy::redundant_closure_for_method_calls,
        reason = "the method by itself is not general enough in its lifetime"
    )]
    fn find_states(&mut self) {
        self.states = self.samples.parts.iter().flat_map(|p| self.with_course(p, |c| c.states())).collect();
    }

    fn phases_of_states(&self) -> Vec<Phase> {
        let mut phases = Vec::new();
        for part in &self.samples.parts {
            let states = &self.states[part.clone()];
            self.with_course(part, |course| {
                for (kind, range) in kinds(states) {
                    let samples = part.start + range.start..part.start + range.end;
                    let rates: Vec<f64> = samples.clone().filter_map(|i| self.flying[i].engine_ms).collect();
                    let ratio = course.surer(states, &range);
                    phases.push(Phase {
                        kind,
                        samples,
                        engine_ms: (kind != PhaseKind::OnGround && !rates.is_empty())
                            .then(|| rates.iter().sum::<f64>() / rates.len() as f64),
                        confidence: 1.0 / (1.0 + math::exp(-ratio.clamp(0.0, 30.0))),
                    });
                }
            });
        }
        phases
    }
}

fn kind_of(state: usize) -> PhaseKind {
    match state {
        course::GROUND => PhaseKind::OnGround,
        course::GLIDE => PhaseKind::Gliding,
        _ => PhaseKind::Powered,
    }
}

/// Stretches of one kind of phase.
fn kinds(states: &[usize]) -> Vec<(PhaseKind, Range<usize>)> {
    let mut found: Vec<(PhaseKind, Range<usize>)> = Vec::new();
    for (k, state) in states.iter().enumerate() {
        let kind = kind_of(*state);
        match found.last_mut().filter(|l| l.0 == kind) {
            Some(last) => last.1.end = k + 1,
            None => found.push((kind, k..k + 1)),
        }
    }
    found
}

/// Stretches of one state within the parts of a flight.
fn stretches<'a>(parts: &'a [Range<usize>], states: &'a [usize]) -> impl Iterator<Item = (usize, Range<usize>)> + 'a {
    parts.iter().flat_map(move |part| {
        let ends = part.clone().filter(move |&i| i + 1 == part.end || states[i + 1] != states[i]);
        ends.scan(part.start, move |from, end| {
            let range = *from..end + 1;
            *from = end + 1;
            Some((states[end], range))
        })
    })
}

/// Between silence and noise, where the recorder listened and heard both; `None` otherwise.
///
/// # Source
/// Otsu, *A threshold selection method from gray-level histograms*, IEEE Trans. SMC 9 (1979).
fn engine_threshold(samples: &Samples) -> Option<f64> {
    const BINS: usize = 50;
    let heard: Vec<f64> = samples.all.iter().filter_map(|s| s.engine).collect();
    if heard.len() < samples.all.len() / 2 || heard.len() < 60 {
        return None;
    }
    let mut counts = [0_usize; BINS];
    for e in &heard {
        counts[((e.clamp(0.0, 1.0) * BINS as f64) as usize).min(BINS - 1)] += 1;
    }
    let total = heard.len() as f64;
    let mean_all: f64 = counts.iter().enumerate().map(|(b, &c)| b as f64 * c as f64).sum::<f64>() / total;
    let (mut below, mut sum, mut best, mut at) = (0.0, 0.0, 0.0, None);
    for (b, &c) in counts.iter().enumerate().take(BINS - 1) {
        below += c as f64;
        sum += b as f64 * c as f64;
        if below == 0.0 || below == total {
            continue;
        }
        let (low, high) = (sum / below, (mean_all * total - sum) / (total - below));
        let between = below * (total - below) * (high - low) * (high - low);
        // Two kinds of noise lie well apart; one kind never does.
        if between > best && (high - low) / BINS as f64 > 0.2 {
            best = between;
            at = Some((low + high + 1.0) / 2.0 / BINS as f64);
        }
    }
    at
}
