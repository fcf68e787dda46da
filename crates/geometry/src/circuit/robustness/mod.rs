//! How robust a circuit is: flown many times in winds, aircraft and by pilots that differ from what was expected.
//!
//! `pilot` says how the pilot flies, `inputs` what differs and how much, `gusts` what the air does on the way. Plain
//! numbers are drawn from scrambled Sobol points in sixteen independent scramblings, gusts from a stream of their own for
//! each flight; both depend on the seed and the number of the flight alone. The standard error comes from how the
//! scramblings differ (L'Ecuyer & Lemieux, *Recent advances in randomized quasi-Monte Carlo methods*, 2002).

mod brief;
mod formation;
mod gusts;
mod inputs;
mod lanes;
mod obstacles;
mod pilot;
mod random;
mod spread;
mod turning;

pub use inputs::{Input, RobustnessError, Uncertainty};
pub use spread::{InputShare, Quantiles};

use super::clearance::InTheWay;
use super::flight::Start;
use super::plan::Plan;
use super::search::CircuitTask;
use brief::Brief;
use formation::Formation;
use gusts::Scales;
use inputs::Draw;
use lanes::LANES;
use pilot::{End, Run};
pub(crate) use random::normal_score;
use random::{DIMENSIONS, Sobol, Stream, mixed};
use rayon::prelude::*;
use serde::Serialize;
use std::collections::BTreeMap;

/// Independent scramblings.
const SCRAMBLINGS: usize = 16;

/// Flights between two looks at whether to stop.
const BLOCK: usize = 2_048;

/// Flights that one thread takes at a time.
const CHUNK: usize = 32;

/// Most flights: what fits in a few hundred megabytes.
const MOST_SAMPLES: usize = 1_000_000;

/// Most touchdown points handed back.
const MOST_POINTS: usize = 500;

/// When to stop before all flights are flown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StopRule {
    /// The share that decides something.
    pub threshold: f64,
    /// Standard errors by which the share must be away from it. Looking again and again asks for more than two.
    pub errors: f64,
}

/// How much is flown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Budget {
    /// Flights.
    pub samples: usize,
    /// Where the random numbers begin.
    pub seed: u64,
    /// When to stop early.
    pub stop: Option<StopRule>,
}

impl Default for Budget {
    fn default() -> Self {
        Self { samples: 10_000, seed: 1, stop: None }
    }
}

/// How one flight came out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// Down behind the usable landing end, stopped before the other, on the strip.
    Stops,
    /// Down before the usable landing end, or before the final.
    Short,
    /// Stopped beyond the far end.
    Long,
    /// Beside the strip.
    Aside,
    /// Against something that stands, before the final against ground well above the landing place, or over ground that is not
    /// known.
    Hit(InTheWay),
    /// As [`Outcome::Stops`], but low over a quiet zone on the way, by its index.
    Disturbs(usize),
    /// A number was not finite.
    Lost,
}

impl Outcome {
    fn is_hit(self) -> bool {
        matches!(self, Self::Hit(_) | Self::Lost)
    }
}

/// How many flights met something.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct MetCount {
    /// What.
    pub over: InTheWay,
    /// Flights that met it: the first thing that stands in the way of each, and the first quiet zone that it overflew low, whatever
    /// became of it afterwards.
    pub flights: usize,
}

/// Where one flight came down.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct TouchdownPoint {
    /// Metres behind the aiming point in landing direction.
    pub along_m: f64,
    /// Metres to the right of the centre line.
    pub aside_m: f64,
    /// How it came out.
    pub outcome: Outcome,
}

/// How a circuit comes out when nothing is quite as expected.
///
/// # Accuracy
/// A model: it says how much room the circuit leaves for what was varied, not how likely a pilot is to arrive.
#[derive(Clone, Debug, PartialEq)]
pub struct Robustness {
    /// Flights flown.
    pub samples: usize,
    /// Share that stops within the usable strip.
    pub share: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Share that comes down short.
    pub short: f64,
    /// Share that stops beyond the end.
    pub long: f64,
    /// Share that comes down beside the strip.
    pub aside: f64,
    /// Share that hits something, or whose numbers were lost.
    pub hit: f64,
    /// Share that stops within the usable strip, but was low over a quiet zone before.
    pub disturbs: f64,
    /// What was met, most often first.
    pub met: Vec<MetCount>,
    /// Where flights came down, thinned evenly to some hundreds.
    pub touchdowns: Vec<TouchdownPoint>,
    /// Touchdowns behind the aiming point, metres.
    pub along: Quantiles,
    /// What hurts most, first.
    pub inputs: Vec<InputShare>,
    /// Whether the stop rule ended it.
    pub stopped_early: bool,
}

/// Flies a plan many times.
///
/// The same seed gives the same bits on any number of threads. `stopped` is asked between blocks of flights; what was
/// flown until then is handed back.
///
/// # Errors
/// When a number is out of range, the plan cannot be flown as it stands, or it was stopped before the first block.
pub fn robustness(
    task: &CircuitTask<'_>,
    plan: &Plan,
    start: &Start,
    uncertainty: &Uncertainty,
    budget: &Budget,
    stopped: &dyn Fn() -> bool,
) -> Result<Robustness, RobustnessError> {
    uncertainty.check()?;
    let brief = Brief::new(task, plan, start, uncertainty).ok_or(RobustnessError::CannotFly)?;
    let scales = Scales::new(brief.wind_20_ft_ms() * uncertainty.gust_factor);
    let sobol = Sobol::new();
    let samples = budget.samples.clamp(1, MOST_SAMPLES);
    let mut flights = vec![Flight::default(); samples];
    let mut done = 0;
    let mut stopped_early = false;
    while done < samples {
        if stopped() {
            break;
        }
        let next = (done + BLOCK).min(samples);
        flights[done..next].par_chunks_mut(CHUNK).enumerate().for_each(|(chunk, flights)| {
            for (i, flights) in flights.chunks_mut(LANES).enumerate() {
                let first = done + chunk * CHUNK + i * LANES;
                let points = core::array::from_fn(|l| point(&sobol, first + l, budget.seed));
                let draws = points.each_ref().map(|point| Draw::at(point, uncertainty));
                let streams = core::array::from_fn(|l| Stream::new(budget.seed, (first + l) as u64));
                let mut formation = Formation::new(&brief, &draws, &scales, streams);
                // The last formation may be larger than what is asked for.
                for ((flight, point), run) in flights.iter_mut().zip(points).zip(formation.fly()) {
                    *flight = Flight { point, run: *run, outcome: outcome(task, run) };
                }
            }
        });
        done = next;
        if let Some(rule) = budget.stop.filter(|_| done < samples) {
            let (share, error) = share_of(&flights[..done], |o| o == Outcome::Stops);
            if (share - rule.threshold).abs() > rule.errors * error {
                stopped_early = true;
                break;
            }
        }
    }
    if done == 0 {
        return Err(RobustnessError::Stopped);
    }
    flights.truncate(done);
    Ok(summary(&flights, stopped_early))
}

#[derive(Clone, Copy, Debug)]
struct Flight {
    point: [f64; DIMENSIONS],
    run: Run,
    outcome: Outcome,
}

impl Default for Flight {
    fn default() -> Self {
        Self { point: [0.5; DIMENSIONS], run: Run::default(), outcome: Outcome::Lost }
    }
}

/// The point of one flight: flights take turns among the scramblings.
fn point(sobol: &Sobol, number: usize, seed: u64) -> [f64; DIMENSIONS] {
    let scrambling = (number % SCRAMBLINGS) as u64;
    sobol.scrambled((number / SCRAMBLINGS) as u32, mixed(seed ^ mixed(scrambling + 1)))
}

fn outcome(task: &CircuitTask<'_>, run: &Run) -> Outcome {
    let l = task.landing();
    match run.end {
        End::Hit(over) => Outcome::Hit(over),
        End::Lost => Outcome::Lost,
        End::Early => Outcome::Short,
        End::Down if !(run.along_m >= l.displacement_m - l.aim_from_start_m) => Outcome::Short,
        End::Down if !(run.stop_along_m <= l.length_m - l.aim_from_start_m) => Outcome::Long,
        End::Down if !(run.aside_m.abs() <= 0.5 * l.width_m) => Outcome::Aside,
        End::Down => run.quiet.map_or(Outcome::Stops, Outcome::Disturbs),
    }
}

/// Share of flights that came out so, and its standard error.
fn share_of(flights: &[Flight], is: impl Fn(Outcome) -> bool) -> (f64, f64) {
    let mut counts = [(0_u32, 0_u32); SCRAMBLINGS];
    for (i, flight) in flights.iter().enumerate() {
        let (hits, all) = &mut counts[i % SCRAMBLINGS];
        *hits += u32::from(is(flight.outcome));
        *all += 1;
    }
    let hits: u32 = counts.iter().map(|c| c.0).sum();
    let n = flights.len() as f64;
    let share = f64::from(hits) / n;
    let means = counts.iter().filter(|c| c.1 > 0).map(|c| f64::from(c.0) / f64::from(c.1));
    let r = counts.iter().filter(|c| c.1 > 0).count() as f64;
    let var = means.map(|m| (m - share) * (m - share)).sum::<f64>() / (r - 1.0) / r;
    // Scramblings that agree to the last flight still leave a doubt (Agresti & Coull, Am. Stat. 52, 1998).
    let middle = (f64::from(hits) + 2.0) / (n + 4.0);
    let plain = (middle * (1.0 - middle) / (n + 4.0)).sqrt();
    let agree = hits == 0 || f64::from(hits) == n || !(var > 0.0);
    (share, if agree { plain } else { var.sqrt() })
}

fn summary(flights: &[Flight], stopped_early: bool) -> Robustness {
    let (share, standard_error) = share_of(flights, |o| o == Outcome::Stops);
    let of = |outcome| share_of(flights, |o| o == outcome).0;
    let every = flights.len().div_ceil(MOST_POINTS).max(1);
    let touchdowns = flights
        .iter()
        .step_by(every)
        .map(|f| TouchdownPoint { along_m: f.run.along_m, aside_m: f.run.aside_m, outcome: f.outcome })
        .filter(|p| p.along_m.is_finite() && p.aside_m.is_finite())
        .collect();
    Robustness {
        samples: flights.len(),
        share,
        standard_error,
        short: of(Outcome::Short),
        long: of(Outcome::Long),
        aside: of(Outcome::Aside),
        hit: share_of(flights, Outcome::is_hit).0,
        disturbs: share_of(flights, |o| matches!(o, Outcome::Disturbs(_))).0,
        met: met(flights),
        touchdowns,
        along: Quantiles::of(flights.iter().filter(|f| f.run.end == End::Down).map(|f| f.run.along_m)),
        inputs: spread::what_hurts(flights),
        stopped_early,
    }
}

fn met(flights: &[Flight]) -> Vec<MetCount> {
    let mut counts: BTreeMap<InTheWay, usize> = BTreeMap::new();
    for flight in flights {
        let stood = if let Outcome::Hit(over) = flight.outcome { Some(over) } else { None };
        for over in stood.into_iter().chain(flight.run.quiet.map(InTheWay::QuietZone)) {
            *counts.entry(over).or_default() += 1;
        }
    }
    let mut met: Vec<MetCount> = counts.into_iter().map(|(over, flights)| MetCount { over, flights }).collect();
    met.sort_by_key(|m| std::cmp::Reverse(m.flights));
    met
}

#[cfg(test)]
mod reference;
#[cfg(test)]
mod tests;
