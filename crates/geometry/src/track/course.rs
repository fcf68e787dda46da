//! The most probable course of a flight: on the ground, gliding, or under power at one of several settings.
//!
//! What the engine puts in, told as a rate of climb, steps where the pilot moves the throttle and wanders with rising and
//! sinking air. The air outlasts what a step takes: across a thermal it goes on for some 20 s, while an engine that stops
//! takes its whole share away in two or three. The share less its level is therefore taken as a first-order process that
//! forgets within [`LASTS_S`], and what counts is what it does from one second to the next: a fast fall tells a failure
//! even where rising air then hides the glide, and a slow one none. Changes of level are ramps of known length, since the
//! fits of speed and height blur every step. The whole course is found at once, by dynamic programming over levels and
//! times of change (a semi-Markov Viterbi search).
//!
//! # Source
//! Yu, *Hidden semi-Markov models*, Artificial Intelligence 174 (2010), for the search; Hamilton, *A new approach to the
//! economic analysis of nonstationary time series and the business cycle*, Econometrica 57 (1989), for levels that switch
//! under autoregressive noise. Numbers of this file: common practice, no source; set on simulated flights other than those
//! that the tests judge.

use crate::math;
use core::ops::Range;

/// On the ground.
pub(super) const GROUND: usize = 0;
/// Gliding.
pub(super) const GLIDE: usize = 1;
/// Settings of the engine that are told apart, as what they put in over the sink rate of the glide: from a descent at
/// half power to a steep climb. Between them the air makes up the difference.
const SETTINGS: [f64; 9] = [0.45, 0.6, 0.75, 0.9, 1.05, 1.25, 1.5, 1.8, 2.2];
/// Ground, glide and settings.
const STATES: usize = 2 + SETTINGS.len();
/// How long what the air does is remembered, seconds: thermals last twice as long, gusts half.
const LASTS_S: f64 = 10.0;
/// Samples over which a step of the engine is blurred by the fits of speed, height and energy.
const RAMP: usize = 8;
/// What gusts and the receiver add from one second to the next, m/s.
const SCATTER_MS: f64 = 0.2;
/// How much more the air changes from one second to the next than its spread over a ramp says.
const LIVELY: f64 = 1.3;
/// No sample counts for more than one so many standard deviations off: gusts and wrong heights are not normal.
const WORST_SD: f64 = 2.5;
/// How much the level itself counts beside its changes, for a sample, and what spread it is held against at least, over
/// the sink rate: curves on paper are no better.
const LEVEL_WEIGHT: f64 = 0.05;
const LEAST_SPREAD: f64 = 0.16;
/// Price of the beginning of a glide, in nats: a practice failure every hour or so (ln 3 600 s).
const GLIDE_COST: f64 = 8.0;
/// Price of its end: it lasts a minute or two (ln 90 s).
const POWER_COST: f64 = 4.5;
/// Price of another setting of the engine: every few minutes, one setting of many.
const SETTING_COST: f64 = 9.0;
/// Price of meeting or leaving the ground.
const GROUND_COST: f64 = 6.0;
/// What the two lowest settings cost more: hardly anybody flies at them for long.
const LOW_SETTINGS: [f64; 2] = [4.0, 2.0];

/// What the search looks at: one part of a flight without a gap.
#[derive(Clone, Debug)]
pub(super) struct Course<'a> {
    /// What the engine puts in, m/s, for every sample; `None` where it is not known.
    pub(super) rates: &'a [Option<f64>],
    /// What else speaks for ground, power and glide at every sample, log-likelihoods.
    pub(super) cues: &'a [[f64; 3]],
    /// What an idling engine puts in, m/s.
    pub(super) idle_ms: f64,
    /// Sink rate of a straight glide, m/s.
    pub(super) sink_ms: f64,
    /// Standard deviation of the vertical air, m/s.
    pub(super) air_ms: f64,
}

/// A course made ready: what does not depend on the states.
#[derive(Clone, Debug)]
pub(super) struct Ready<'a> {
    course: Course<'a>,
    levels: [f64; STATES],
    /// For every sample how its rate follows from those before; `None` where it is not known.
    follows: Vec<Option<Follows>>,
    /// The most that all samples before one can be worth, whatever their states.
    most: Vec<f64>,
    /// One over the spread that levels are held against.
    per_spread: f64,
    /// How far a ramp is through at each of its samples.
    through: [f64; RAMP],
}

/// How a rate follows from the last one known before it.
#[derive(Clone, Copy, Debug)]
struct Follows {
    rate: f64,
    /// The sample before, its rate, and what is left of its departure.
    before: usize,
    rate_before: f64,
    kept: f64,
    /// One over the standard deviation of what comes anew, and its logarithm.
    per_sd: f64,
    ln_sd: f64,
}

/// Log-likelihood of a departure in standard deviations.
fn bounded(z: f64) -> f64 {
    -0.5 * (z * z).min(WORST_SD * WORST_SD)
}

/// How far a ramp is through after so many samples.
fn through(step: usize) -> f64 {
    let x = step as f64 / RAMP as f64;
    x * x * (3.0 - 2.0 * x)
}

/// Which of the three cues a state goes by.
fn cue_of(state: usize) -> usize {
    match state {
        GROUND => 0,
        GLIDE => 2,
        _ => 1,
    }
}

fn cost(from: usize, to: usize) -> f64 {
    let low = to.checked_sub(2).and_then(|k| LOW_SETTINGS.get(k)).copied().unwrap_or(0.0);
    match (from, to) {
        _ if from == to => 0.0,
        (GROUND, _) | (_, GROUND) => GROUND_COST,
        (_, GLIDE) => GLIDE_COST,
        (GLIDE, _) => POWER_COST + low,
        _ => SETTING_COST + low,
    }
}

impl<'a> Ready<'a> {
    pub(super) fn new(course: Course<'a>) -> Self {
        let mut levels = [0.0; STATES];
        levels[GLIDE] = course.idle_ms;
        for (level, setting) in levels[2..].iter_mut().zip(SETTINGS) {
            *level = setting * course.sink_ms;
        }
        let mut last: Option<(usize, f64)> = None;
        let (mut follows, mut most, mut sum) = (Vec::new(), vec![0.0], 0.0);
        for (k, rate) in course.rates.iter().enumerate() {
            let told = rate.map(|rate| {
                // More than the most power is the most power still, and no air sinks for long as fast as an aircraft.
                let rate = rate.clamp(levels[GLIDE] - course.sink_ms, levels[STATES - 1]);
                // The first departs from its level by as much as the air does.
                let (before, rate_before, kept) =
                    last.map_or((k, 0.0, 0.0), |(b, r)| (b, r, math::exp(-((k - b) as f64) / LASTS_S)));
                let sd = if kept > 0.0 {
                    math::hypot(LIVELY * course.air_ms * (1.0 - kept * kept).sqrt(), SCATTER_MS)
                } else {
                    course.air_ms
                };
                last = Some((k, rate));
                Follows { rate, before, rate_before, kept, per_sd: 1.0 / sd, ln_sd: math::ln(sd) }
            });
            let cue = course.cues[k].iter().copied().fold(f64::NEG_INFINITY, f64::max);
            sum += cue - told.map_or(0.0, |f| f.ln_sd);
            most.push(sum);
            follows.push(told);
        }
        let per_spread = 1.0 / course.air_ms.max(LEAST_SPREAD * course.sink_ms);
        Self { per_spread, course, levels, follows, most, through: core::array::from_fn(|step| through(step + 1)) }
    }

    /// Log-likelihood of the rate at a sample for a level there and a level before; zero where there is no rate.
    fn energy(&self, k: usize, level: f64, level_before: impl Fn(usize) -> f64) -> f64 {
        let Some(f) = &self.follows[k] else { return 0.0 };
        let before = if f.kept > 0.0 { f.kept * (f.rate_before - level_before(f.before)) } else { 0.0 };
        let change = bounded((f.rate - level - before) * f.per_sd) - f.ln_sd;
        change + LEVEL_WEIGHT * bounded((f.rate - level) * self.per_spread)
    }

    /// A sample in a state that it was in before.
    fn stays(&self, k: usize, state: usize) -> f64 {
        let cue = self.course.cues[k][cue_of(state)];
        if state == GROUND {
            // A rolling aircraft has no such rate: as much as one that fits, give or take.
            let rough = self.course.rates[k].map_or(0.0, |_| -0.5 - math::ln(0.35 * self.course.air_ms));
            return cue + rough;
        }
        cue + self.energy(k, self.levels[state], |_| self.levels[state])
    }

    /// A sample that begins a state with nothing before it.
    fn begins(&self, k: usize, state: usize) -> f64 {
        if state == GROUND {
            return self.stays(k, state);
        }
        let sd = self.course.air_ms;
        let energy = self.course.rates[k].map_or(0.0, |r| bounded((r - self.levels[state]) / sd) - math::ln(sd));
        self.course.cues[k][cue_of(state)] + energy
    }

    /// The samples of a ramp that is through at the last of them.
    fn ramp(&self, last: usize, from: usize, to: usize) -> f64 {
        let first = last + 1 - RAMP;
        let (a, b) = (self.levels[from], self.levels[to]);
        let level = |k: usize| if k < first { a } else { a + (b - a) * self.through[k - first] };
        (first..=last)
            .map(|k| {
                let state = if k - first < RAMP / 2 { from } else { to };
                self.course.cues[k][cue_of(state)] + self.energy(k, level(k), level)
            })
            .sum()
    }

    /// The most probable state of every sample.
    pub(super) fn states(&self) -> Vec<usize> {
        let n = self.course.rates.len();
        let mut best: Vec<[f64; STATES]> = Vec::with_capacity(n);
        let mut from: Vec<[u8; STATES]> = Vec::with_capacity(n);
        for k in 0..n {
            let mut next = [f64::NEG_INFINITY; STATES];
            let mut back = [0_u8; STATES];
            for to in 0..STATES {
                back[to] = to as u8;
                let Some(before) = k.checked_sub(1).map(|k| &best[k]) else {
                    next[to] = self.begins(k, to);
                    continue;
                };
                next[to] = before[to] + self.stays(k, to);
                for other in (0..STATES).filter(|&o| o != to) {
                    let value = if to == GROUND || other == GROUND {
                        before[other] + self.begins(k, to)
                    } else if k >= RAMP {
                        let so_far = best[k - RAMP][other];
                        if so_far + self.most[k + 1] - self.most[k + 1 - RAMP] - cost(other, to) <= next[to] {
                            continue;
                        }
                        so_far + self.ramp(k, other, to)
                    } else {
                        continue;
                    };
                    let value = value - cost(other, to);
                    if value > next[to] {
                        next[to] = value;
                        back[to] = other as u8;
                    }
                }
            }
            best.push(next);
            from.push(back);
        }
        let mut states = vec![0; n];
        let Some(last) = best.last() else { return states };
        let mut state = (0..STATES).max_by(|&a, &b| last[a].total_cmp(&last[b])).unwrap_or(GROUND);
        let mut k = n;
        while k > 0 {
            let other = usize::from(from[k - 1][state]);
            if other == state || state == GROUND || other == GROUND {
                states[k - 1] = state;
                k -= 1;
            } else {
                states[k - RAMP..k - RAMP / 2].fill(other);
                states[k - RAMP / 2..k].fill(state);
                k -= RAMP;
            }
            state = other;
        }
        states
    }

    /// How much likelier a stretch of one kind of phase is as what it is than as the best of the other kind of flight, in
    /// nats: its ramps in and out included.
    pub(super) fn surer(&self, states: &[usize], stretch: &Range<usize>) -> f64 {
        let before = stretch.start.checked_sub(1).map(|k| states[k]);
        let after = states.get(stretch.end).copied();
        let most =
            |of: Range<usize>| of.map(|o| self.as_one(stretch, o, before, after)).fold(f64::NEG_INFINITY, f64::max);
        let (ground, glide, power) = (most(0..1), most(1..2), most(2..STATES));
        match states[stretch.start] {
            GROUND => ground - glide.max(power),
            GLIDE => glide - power,
            _ => power - glide,
        }
    }

    fn as_one(&self, stretch: &Range<usize>, state: usize, before: Option<usize>, after: Option<usize>) -> f64 {
        let n = self.course.rates.len();
        let (mut sum, mut from, mut to) = (0.0, stretch.start, stretch.end);
        let half = RAMP / 2;
        let ramps = |other: usize| other != GROUND && state != GROUND;
        match before {
            Some(b) if ramps(b) && stretch.start >= half && stretch.start + half <= n => {
                sum += self.ramp(stretch.start + half - 1, b, state) - cost(b, state);
                from = stretch.start + half;
            }
            Some(b) => sum -= cost(b, state),
            None => {}
        }
        match after {
            Some(a) if ramps(a) && stretch.end >= half && stretch.end + half <= n => {
                sum += self.ramp(stretch.end + half - 1, state, a) - cost(state, a);
                to = stretch.end - half;
            }
            Some(a) => sum -= cost(state, a),
            None => {}
        }
        sum + (from..to.max(from))
            .map(|k| if k == 0 { self.begins(k, state) } else { self.stays(k, state) })
            .sum::<f64>()
    }

    /// For every sample of a range, how likely the change into or out of a glide is there: the course as found on the
    /// other side, carried on where that had the glide. Shares of one; empty where nothing else than the glide is there.
    pub(super) fn change(&self, states: &[usize], range: &Range<usize>, into_glide: bool) -> Vec<f64> {
        let half = RAMP / 2;
        let Some(other) = carried_on(&states[range.clone()], into_glide) else { return Vec::new() };
        let mut levels: Vec<f64> = other.iter().map(|&s| self.levels[s]).collect();
        for k in half..other.len().saturating_sub(half) {
            if other[k] != other[k - 1] {
                let (a, b) = (self.levels[other[k - 1]], self.levels[other[k]]);
                for (step, level) in levels[k - half..k + half].iter_mut().enumerate() {
                    *level = a + (b - a) * self.through[step];
                }
            }
        }
        let level = |k: usize| levels[k.clamp(range.start, range.end - 1) - range.start];
        // Of the course on the other side less the glide, up to each sample.
        let mut sums = Vec::with_capacity(range.len() + 1);
        let mut ahead = 0.0;
        sums.push(ahead);
        for k in range.clone() {
            let i = k - range.start;
            let changed = if i > 0 { cost(other[i - 1], other[i]) } else { 0.0 };
            let found = if other[i] == GROUND {
                self.stays(k, GROUND)
            } else {
                self.course.cues[k][cue_of(other[i])] + self.energy(k, level(k), level)
            };
            ahead += found - changed - self.stays(k, GLIDE);
            sums.push(ahead);
        }
        let at = |k: usize| sums[k - range.start];
        let score = |c: usize| {
            if c < range.start + half || c + half > range.end {
                return f64::NEG_INFINITY;
            }
            let (first, last) = (c - half, c + half - 1);
            let beside = other[if into_glide { first.max(range.start + 1) - 1 } else { last } - range.start];
            if beside == GROUND {
                return f64::NEG_INFINITY;
            }
            let glide: f64 = (first..=last).map(|k| self.stays(k, GLIDE)).sum();
            let sum = if into_glide {
                at(first) + self.ramp(last, beside, GLIDE)
            } else {
                at(range.end) - at(last + 1) + self.ramp(last, GLIDE, beside)
            };
            sum - glide
        };
        let scores: Vec<f64> = range.clone().map(score).collect();
        let top = scores.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if top == f64::NEG_INFINITY {
            return Vec::new();
        }
        let mut shares: Vec<f64> = scores.iter().map(|s| math::exp(s - top)).collect();
        let total: f64 = shares.iter().sum();
        for share in &mut shares {
            *share /= total;
        }
        shares
    }

    /// Standard deviation of the vertical air as the rates show it about the levels found, m/s; `None` from too little.
    pub(super) fn air_seen_ms(&self, states: &[usize]) -> Option<f64> {
        let kept = math::exp(-(RAMP as f64) / LASTS_S);
        let mut changes: Vec<f64> = (RAMP..states.len())
            .filter(|&k| states[k] != GROUND && states[k - RAMP..=k].iter().all(|&s| s == states[k]))
            .filter_map(|k| {
                let level = self.levels[states[k]];
                Some((self.course.rates[k]? - level - kept * (self.course.rates[k - RAMP]? - level)).abs())
            })
            .collect();
        if changes.len() < 60 {
            return None;
        }
        changes.sort_by(f64::total_cmp);
        // Median of absolute values times 1.4826: the standard deviation of a normal distribution.
        Some(1.4826 * changes[changes.len() / 2] / (1.0 - kept * kept).sqrt())
    }
}

/// The states of a range with every glide replaced by what was before it, or after it; `None` where there is no such.
fn carried_on(states: &[usize], from_before: bool) -> Option<Vec<usize>> {
    let mut other = states.to_vec();
    let mut last = None;
    let mut carry = |s: &mut usize| {
        if *s == GLIDE {
            *s = last?;
        }
        last = Some(*s);
        Some(())
    };
    if from_before {
        other.iter_mut().try_for_each(&mut carry)?;
    } else {
        other.iter_mut().rev().try_for_each(&mut carry)?;
    }
    Some(other)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SINK_MS: f64 = 3.7;

    /// Rates through knots of time and level, as the fits blur them.
    fn rates(knots: &[(usize, f64)], n: usize) -> Vec<Option<f64>> {
        let level = |k: usize| knots.iter().rev().find(|&&(from, _)| from <= k).map_or(0.0, |&(_, l)| l);
        let blurred = |k: usize| {
            let around = k.saturating_sub(4)..(k + 4).min(n);
            let count = around.len() as f64;
            around.map(level).sum::<f64>() / count
        };
        (0..n).map(|k| Some(blurred(k))).collect()
    }

    fn looked<T>(rates: &[Option<f64>], ask: impl FnOnce(&Ready<'_>) -> T) -> T {
        let cues = vec![[-8.0, 0.0, 0.0]; rates.len()];
        ask(&Ready::new(Course { rates, cues: &cues, idle_ms: 0.0, sink_ms: SINK_MS, air_ms: 0.8 }))
    }

    #[test]
    fn a_failure_into_rising_air_begins_where_the_engine_stopped() {
        // Level flight, the engine stops at 100, a thermal holds the aircraft up from 112 on, then lets it go.
        let mut told = rates(&[(0, SINK_MS), (100, 0.0), (220, 6.0)], 260);
        for (k, rate) in told.iter_mut().enumerate() {
            let rising = ((k as f64 - 112.0) / 12.0).clamp(0.0, 1.0) * ((170.0 - k as f64) / 15.0).clamp(0.0, 1.0);
            *rate = rate.map(|r| r + 1.9 * rising);
        }
        looked(&told, |ready| {
            let states = ready.states();
            let glide: Vec<usize> = (0..states.len()).filter(|&k| states[k] == GLIDE).collect();
            let (first, last) = (glide[0], glide[glide.len() - 1]);
            assert!(first.abs_diff(100) <= 2 && last.abs_diff(220) <= 3, "{first} to {last}");
            assert_eq!(glide.len(), last + 1 - first, "one glide");
            let shares = ready.change(&states, &(40..160), true);
            let near: f64 = shares.iter().enumerate().filter(|(i, _)| (i + 40).abs_diff(100) <= 4).map(|s| s.1).sum();
            assert!(near > 0.9 && (shares.iter().sum::<f64>() - 1.0).abs() < 1e-9, "{near}");
        });
    }

    #[test]
    fn a_powered_descent_into_sinking_air_is_no_failure() {
        let mut told = rates(&[(0, SINK_MS), (80, 2.0), (140, SINK_MS)], 240);
        for (k, rate) in told.iter_mut().enumerate() {
            let sinking = ((k as f64 - 85.0) / 20.0).clamp(0.0, 1.0) * ((138.0 - k as f64) / 20.0).clamp(0.0, 1.0);
            *rate = rate.map(|r| r - 1.2 * sinking);
        }
        looked(&told, |ready| assert!(ready.states().iter().all(|&s| s > GLIDE)));
    }

    #[test]
    fn rates_that_are_missing_or_wild_are_survived() {
        assert!(looked(&[], |ready| ready.states().len()) == 0);
        looked(&[None; 40], |ready| assert_eq!(ready.states().len(), 40));
        let mut told = rates(&[(0, SINK_MS), (60, 0.0)], 140);
        told[55..66].fill(None);
        told[100] = Some(1e6);
        looked(&told, |ready| {
            let states = ready.states();
            assert!(states[..54].iter().all(|&s| s > GLIDE) && states[70..].iter().all(|&s| s == GLIDE), "{states:?}");
            assert!(ready.change(&states, &(0..140), true).iter().all(|s| s.is_finite()));
        });
    }
}
