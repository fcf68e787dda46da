//! What the aircraft was doing: on the ground, flying under power, or gliding.
//!
//! The energy of the motion through the air falls in a glide as fast as the glide curve says. What the engine puts in,
//! told as a rate of climb, is therefore
//!
//! r = d/dt(h + V²/2g) + sink(V, n),
//!
//! near zero in a glide, and with power as large as the sink rate or larger. A hidden Markov model with three states
//! and a price for every change finds the most probable course (Viterbi). Vertical air lasts some seconds, so samples
//! count less than independent ones. The level of the glide is then found again from the flight itself, since an idling
//! engine and a glide curve on paper are not exact, and the search repeated.
//!
//! # Source
//! Viterbi, *Error bounds for convolutional codes*, IEEE Trans. Inf. Theory 13 (1967). Numbers of this file: common
//! practice, no source; fixed before any flight was looked at.

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
    const ALL: [Self; 3] = [Self::OnGround, Self::Powered, Self::Gliding];
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
}

/// Half the time over which energy and turn are fitted, seconds.
const ENERGY_HALF: usize = 4;
/// Samples that count as one: vertical air and what the receiver gets wrong last so long.
const LASTING: f64 = 5.0;
/// Price of a change of phase, in nats.
const CHANGE_COST: f64 = 4.0;
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
            let gliding = AirspeedPrior::gliding(aircraft);
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
        let air: Vec<_> = (0..n).map(|i| self.samples.all[i].through_air(self.wind_at(i))).collect();
        for part in &self.samples.parts {
            for i in part.clone() {
                let s = &self.samples.all[i];
                let around = i.saturating_sub(ENERGY_HALF).max(part.start)..(i + ENERGY_HALF + 1).min(part.end);
                let heading = math::atan2(air[i].x, air[i].y);
                let (mut energy, mut turn, mut speed) = (Parabola::default(), Parabola::default(), Parabola::default());
                let mut heights = 0;
                for j in around {
                    let t = self.samples.all[j].time_s - s.time_s;
                    let v = air[j].norm();
                    speed.add(t, v);
                    turn.add(t, math::wrap_pi(math::atan2(air[j].x, air[j].y) - heading));
                    if let Some(h) = self.samples.all[j].height_amsl_m {
                        energy.add(t, h + v * v / (2.0 * GRAVITY_MS2));
                        heights += 1;
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
                let rate = if heights >= 5 { energy.at_zero().map(|e| e.1) } else { None };
                let ground = terrain.and_then(|t| t.height_at(s.position));
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
    }

    fn most_probable(&mut self, aircraft: &Aircraft) -> Vec<Phase> {
        let sink = self.glide_sink_ms;
        let noise = engine_threshold(&self.samples);
        let mut levels =
            Levels { idle_ms: 0.0, idle_sd_ms: 0.25 * sink, power_ms: 1.1 * sink, power_sd_ms: 0.6 * sink };
        let mut phases = self.searched(aircraft, &levels, noise);
        let mut gliding: Vec<f64> = phases
            .iter()
            .filter(|p| p.kind == PhaseKind::Gliding && p.samples.len() >= 12)
            .flat_map(|p| p.samples.clone().skip(4).take(p.samples.len() - 8))
            .filter_map(|i| self.flying[i].engine_ms)
            .collect();
        if gliding.len() >= 30 {
            gliding.sort_by(f64::total_cmp);
            let middle = gliding[gliding.len() / 2];
            let mut off: Vec<f64> = gliding.iter().map(|g| (g - middle).abs()).collect();
            off.sort_by(f64::total_cmp);
            levels.idle_ms = middle.clamp(-0.35 * sink, 0.35 * sink);
            levels.idle_sd_ms = (1.4826 * off[off.len() / 2]).clamp(0.12 * sink, 0.4 * sink);
            phases = self.searched(aircraft, &levels, noise);
        }
        self.idle_ms = levels.idle_ms;
        phases
    }

    /// Log-likelihood of a sample in each phase.
    fn likelihoods(&self, i: usize, aircraft: &Aircraft, levels: &Levels, noise: Option<f64>) -> [f64; 3] {
        let (s, f) = (&self.samples.all[i], &self.flying[i]);
        let speed = s.ground.norm();
        let [mut ground, mut powered, mut gliding] = [0.0; 3];
        let near = f.height_agl_m.is_none_or(|h| h < NEAR_GROUND_M);
        if near && speed < 0.5 * aircraft.stall_speed_ms {
            powered -= 2.0;
            gliding -= 2.0;
        } else if f.height_agl_m.is_none_or(|h| h > 2.0 * NEAR_GROUND_M) {
            ground -= 4.0;
        } else {
            // Low and fast: taking off, landing, or neither.
            let level = s.climb_ms.is_some_and(|c| c.abs() < 1.0);
            let rolling = f.height_agl_m.is_some_and(|h| h < 5.0 || (h < 9.0 && level));
            ground += if rolling { 1.2 } else { -1.5 };
        }
        if let Some(r) = f.engine_ms {
            let normal = |x: f64, mean: f64, sd: f64| {
                let z = (x - mean) / sd;
                // Never worse than 4 standard deviations: gusts and wrong heights are not normal.
                -0.5 * (z * z).min(16.0) - math::ln(sd)
            };
            gliding += normal(r.max(levels.idle_ms - levels.idle_sd_ms), levels.idle_ms, levels.idle_sd_ms) / LASTING;
            powered += normal(r.min(levels.power_ms), levels.power_ms, levels.power_sd_ms) / LASTING;
            ground -= math::ln(levels.power_sd_ms) / LASTING;
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

    fn searched(&self, aircraft: &Aircraft, levels: &Levels, noise: Option<f64>) -> Vec<Phase> {
        let mut phases = Vec::new();
        for part in &self.samples.parts {
            let mut best = [0.0; 3];
            let mut from: Vec<[u8; 3]> = Vec::with_capacity(part.len());
            let mut each: Vec<[f64; 3]> = Vec::with_capacity(part.len());
            for i in part.clone() {
                let here = self.likelihoods(i, aircraft, levels, noise);
                let mut next = [f64::NEG_INFINITY; 3];
                let mut back = [0_u8; 3];
                for to in 0..3 {
                    for (before, so_far) in best.iter().enumerate() {
                        let cost = if to == before { 0.0 } else { CHANGE_COST };
                        let value = so_far - cost;
                        if value > next[to] {
                            next[to] = value;
                            back[to] = before as u8;
                        }
                    }
                    next[to] += here[to];
                }
                best = next;
                from.push(back);
                each.push(here);
            }
            let mut state = (0..3).max_by(|&a, &b| best[a].total_cmp(&best[b])).unwrap_or(1);
            let mut states = vec![0_usize; part.len()];
            for k in (0..part.len()).rev() {
                states[k] = state;
                state = usize::from(from[k][state]);
            }
            let mut k = 0;
            while k < states.len() {
                let end = (k..states.len()).find(|&j| states[j] != states[k]).unwrap_or(states.len());
                let kind = PhaseKind::ALL[states[k]];
                let samples = part.start + k..part.start + end;
                let rates: Vec<f64> = samples.clone().filter_map(|i| self.flying[i].engine_ms).collect();
                let ratio: f64 = each[k..end]
                    .iter()
                    .map(|l| match kind {
                        PhaseKind::OnGround => l[0] - l[1].max(l[2]),
                        PhaseKind::Powered => l[1] - l[2],
                        PhaseKind::Gliding => l[2] - l[1],
                    })
                    .sum();
                phases.push(Phase {
                    kind,
                    samples,
                    engine_ms: (kind != PhaseKind::OnGround && !rates.is_empty())
                        .then(|| rates.iter().sum::<f64>() / rates.len() as f64),
                    confidence: 1.0 / (1.0 + math::exp(-ratio.clamp(0.0, 30.0))),
                });
                k = end;
            }
        }
        phases
    }
}

/// What is expected of the engine's share in a glide and under power, m/s.
#[derive(Clone, Copy, Debug)]
#[expect(clippy::struct_field_names, reason = "units stand in names")]
struct Levels {
    idle_ms: f64,
    idle_sd_ms: f64,
    power_ms: f64,
    power_sd_ms: f64,
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
