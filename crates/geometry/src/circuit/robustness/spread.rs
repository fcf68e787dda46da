//! What explains the spread of touchdowns, and the misses.

use super::inputs::Input;
use super::random::normal_score;
use super::{Flight, Outcome};
use rayon::prelude::*;
use serde::Serialize;

/// Classes of an input within which the mean is taken.
const CLASSES: usize = 16;

/// What share of flights comes down before a place, metres behind the aiming point.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize)]
pub struct Quantiles {
    /// One in twenty.
    pub p5_m: f64,
    /// One in four.
    pub p25_m: f64,
    /// Half.
    pub p50_m: f64,
    /// Three in four.
    pub p75_m: f64,
    /// Nineteen in twenty.
    pub p95_m: f64,
}

impl Quantiles {
    /// Of finite values; all zero where there are none.
    pub(super) fn of(values: impl Iterator<Item = f64>) -> Self {
        let mut sorted: Vec<f64> = values.filter(|v| v.is_finite()).collect();
        sorted.sort_unstable_by(f64::total_cmp);
        let at = |p: f64| {
            let last = sorted.len().saturating_sub(1) as f64;
            sorted.get((p * last).round() as usize).copied().unwrap_or(0.0)
        };
        Self { p5_m: at(0.05), p25_m: at(0.25), p50_m: at(0.5), p75_m: at(0.75), p95_m: at(0.95) }
    }
}

/// How much one input explains.
///
/// Correlation ratio: the variance of the class means over the whole variance, classes being sixteen equal parts of the
/// input's distribution, less what chance alone would give (Saltelli et al., *Global Sensitivity Analysis*, 2008, first-order
/// index). What inputs explain only together is in none of them, so the shares need not add up to one.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct InputShare {
    /// The input.
    pub input: Input,
    /// Share of the variance of the place of touchdown along the strip that it explains.
    pub of_touchdown: f64,
    /// Share of the variance between stopping in the strip and missing it that it explains.
    pub of_misses: f64,
    /// Correlation with the place of touchdown: positive, more of it comes down further along. Zero for an input that is
    /// more than one number.
    pub correlation: f64,
}

/// Every input, what explains most of the misses first, then of the touchdowns.
pub(super) fn what_hurts(flights: &[Flight]) -> Vec<InputShare> {
    let along = Series::of(flights, |f| f.run.along_m);
    let missed = Series::of(flights, |f| f64::from(f.outcome != Outcome::Stops));
    // Gusts are what they came to on the way; their classes are by rank.
    let mut order: Vec<usize> = (0..flights.len()).collect();
    order.sort_by(|a, b| flights[*a].run.gusts_m.total_cmp(&flights[*b].run.gusts_m));
    let mut by_rank = vec![0.5; flights.len()];
    for (rank, i) in order.into_iter().enumerate() {
        by_rank[i] = (rank as f64 + 0.5) / flights.len() as f64;
    }
    let mut shares: Vec<InputShare> = Input::ALL
        .par_iter()
        .map(|&(input, coordinates)| {
            let mut share = InputShare { input, of_touchdown: 0.0, of_misses: 0.0, correlation: 0.0 };
            let mut add = |place: &dyn Fn(usize) -> f64| {
                share.of_touchdown += along.explained(place);
                share.of_misses += missed.explained(place);
                share.correlation = along.correlation(place);
            };
            for &c in coordinates {
                add(&|i| flights[i].point[c]);
            }
            if input == Input::Gusts {
                add(&|i| by_rank[i]);
            }
            if coordinates.len() > 1 {
                share.correlation = 0.0;
            }
            share
        })
        .collect();
    let key = |s: &InputShare| (s.of_misses, s.of_touchdown);
    shares.sort_by(|a, b| {
        let (a, b) = (key(a), key(b));
        b.0.total_cmp(&a.0).then(b.1.total_cmp(&a.1))
    });
    shares
}

struct Series {
    /// Deviations from the mean; `NaN` where there is no value.
    values: Vec<f64>,
    variance: f64,
    count: f64,
}

impl Series {
    fn of(flights: &[Flight], value: impl Fn(&Flight) -> f64) -> Self {
        let mut values: Vec<f64> = flights.iter().map(value).collect();
        let finite = || values.iter().filter(|v| v.is_finite());
        let count = finite().count() as f64;
        let mean = finite().sum::<f64>() / count;
        let variance = finite().map(|v| (v - mean) * (v - mean)).sum::<f64>() / count;
        for v in &mut values {
            *v -= mean;
        }
        Self { values, variance, count }
    }

    fn explained(&self, place: &dyn Fn(usize) -> f64) -> f64 {
        if !(self.variance > 0.0) || self.count < 4.0 * CLASSES as f64 {
            return 0.0;
        }
        let mut sums = [(0.0, 0.0); CLASSES];
        for (i, v) in self.values.iter().enumerate().filter(|(_, v)| v.is_finite()) {
            let class = ((place(i) * CLASSES as f64) as usize).min(CLASSES - 1);
            sums[class].0 += v;
            sums[class].1 += 1.0;
        }
        let between: f64 = sums.iter().filter(|s| s.1 > 0.0).map(|s| s.0 * s.0 / s.1).sum::<f64>() / self.count;
        let ratio = between / self.variance;
        let by_chance = (CLASSES - 1) as f64 / self.count;
        ((ratio - by_chance) / (1.0 - by_chance)).clamp(0.0, 1.0)
    }

    fn correlation(&self, place: &dyn Fn(usize) -> f64) -> f64 {
        if !(self.variance > 0.0) {
            return 0.0;
        }
        let (mut cross, mut own) = (0.0, 0.0);
        for (i, v) in self.values.iter().enumerate().filter(|(_, v)| v.is_finite()) {
            let score = normal_score(place(i).clamp(1e-9, 1.0 - 1e-9));
            cross += score * v;
            own += score * score;
        }
        let correlation = cross / (own * self.variance * self.count).sqrt();
        if correlation.is_finite() { correlation.clamp(-1.0, 1.0) } else { 0.0 }
    }
}
