//! How a pilot does over time, where that pilot is weak, and what to practise next.

use super::cell::{Cell, HeightBand, TurnBand, WindBand};
use super::dice::Dice;
use super::result::DrillResult;
use super::set::{DrillSet, DrillSetError};
use crate::fields::model::Day;
use crate::position::Xy;
use std::collections::{BTreeMap, BTreeSet, HashSet};

/// Regret in score that counts as a wrong choice. Common practice, no source.
const WHOLE_REGRET: f64 = 0.25;
/// Time to choose that counts as far too long, seconds: at 900 ft/min it costs 300 ft. Common practice, no source.
const WHOLE_TIME_S: f64 = 20.0;
/// What regret and time weigh in the loss of a drill that ended in the strip. Common practice, no source.
const SHARES: [f64; 2] = [0.6, 0.4];
/// A kind of failure not flown yet counts as so many drills…
const PRIOR_DRILLS: f64 = 2.0;
/// …of this loss.
const PRIOR_LOSS: f64 = 0.5;
/// The least weight of a kind of failure when the next drill is drawn: what is mastered still comes up.
pub const LEAST_WEIGHT: f64 = 0.15;
/// How many failures are looked at for the next drill.
const LOOK_AHEAD: usize = 96;

/// How much went wrong in a drill, from 0 to 1.
///
/// 1 when a landing was in reach and the aircraft did not stop in a strip; else 0.6 for a regret of 0.25 in score (at
/// the engine's stop) and 0.4 for 20 s to choose, in proportion. 0 when nothing was in reach: no choice could have been
/// better.
#[must_use]
pub fn loss(result: &DrillResult) -> f64 {
    let Some(regret) = result.regret_at_failure else { return 0.0 };
    if !result.stopped_in_strip() {
        return 1.0;
    }
    let share = |value: f64, whole: f64| (value / whole).clamp(0.0, 1.0);
    SHARES[0] * share(regret.score, WHOLE_REGRET)
        + SHARES[1] * share(result.time_to_choose_s.unwrap_or(WHOLE_TIME_S), WHOLE_TIME_S)
}

/// The middle of some values and how many there are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Median {
    /// The middle value; of an even number the mean of the middle two.
    pub value: f64,
    /// How many values.
    pub count: usize,
}

impl Median {
    /// Of some values; `None` for none. What is not finite is left out.
    #[must_use]
    pub fn of(values: impl IntoIterator<Item = f64>) -> Option<Self> {
        let mut all: Vec<f64> = values.into_iter().filter(|v| v.is_finite()).collect();
        all.sort_by(f64::total_cmp);
        let count = all.len();
        let upper = *all.get(count / 2)?;
        let value = if count.is_multiple_of(2) { 0.5 * (all[count / 2 - 1] + upper) } else { upper };
        Some(Self { value, count })
    }
}

/// What one pilot did in one set on one day.
#[derive(Clone, Debug, PartialEq)]
pub struct SetDay {
    /// The day.
    pub day: Day,
    /// The set's identifier.
    pub set_id: String,
    /// Its name.
    pub set_name: String,
    /// Drills flown.
    pub drills: usize,
    /// Of those in which a landing was in reach: how many stopped in the strip.
    pub stopped: usize,
    /// Drills in which a landing was in reach.
    pub possible: usize,
    /// Median time to choose, seconds.
    pub time_to_choose_s: Option<Median>,
    /// Median regret in score at the engine's stop.
    pub regret: Option<Median>,
    /// Standard deviation of the base leg's distance from the pilot's own, metres; two drills at least.
    pub base_leg_spread_m: Option<f64>,
}

/// How a pilot does with some kind of failure.
#[derive(Clone, Debug, PartialEq)]
pub struct Weakness {
    /// Which, in words.
    pub what: &'static str,
    /// Drills of it.
    pub drills: usize,
    /// Mean loss, see [`loss`].
    pub loss: f64,
}

/// How one pilot does over time.
#[derive(Clone, Debug, PartialEq)]
pub struct Progress {
    /// Day by day and set by set, in that order.
    pub series: Vec<SetDay>,
    /// Later less earlier half of all drills: median time to choose, seconds; less is better.
    pub time_trend_s: Option<f64>,
    /// Later less earlier half of all drills: median regret in score; less is better.
    pub regret_trend: Option<f64>,
    /// Later less earlier half of all drills: spread of the base leg, metres; less is better.
    pub base_leg_trend_m: Option<f64>,
    /// By wind, height and direction of the best landing, the weakest first.
    pub weak: Vec<Weakness>,
    /// Fields that were best when the engine stopped and were not chosen, with how often, the oftenest first.
    pub missed_fields: Vec<(String, usize)>,
}

impl Progress {
    /// Of one pilot's results, in the order flown.
    #[must_use]
    pub fn of(results: &[&DrillResult]) -> Self {
        let mut results = results.to_vec();
        results.sort_by_key(|r| r.day);
        let mut groups: BTreeMap<(Day, &str), Vec<&DrillResult>> = BTreeMap::new();
        for result in &results {
            groups.entry((result.day, &result.set_id)).or_default().push(result);
        }
        let (earlier, later) = results.split_at(results.len() / 2);
        let trend = |of: &dyn Fn(&[&DrillResult]) -> Option<f64>| Some(of(later)? - of(earlier)?);
        let mut missed: BTreeMap<&str, usize> = BTreeMap::new();
        for result in &results {
            let chosen = result.chosen_at_failure.as_ref().map(|c| c.field_id.as_str());
            if let Some(best) = result.best_at_failure.as_ref().filter(|b| Some(b.field_id.as_str()) != chosen) {
                *missed.entry(&best.field_name).or_default() += 1;
            }
        }
        let mut missed_fields: Vec<(String, usize)> = missed.into_iter().map(|(n, c)| (n.to_owned(), c)).collect();
        missed_fields.sort_by_key(|m| core::cmp::Reverse(m.1));
        Self {
            series: groups.into_values().map(|group| SetDay::of(&group)).collect(),
            time_trend_s: trend(&|r| times(r).map(|m| m.value)),
            regret_trend: trend(&|r| regrets(r).map(|m| m.value)),
            base_leg_trend_m: trend(&spread),
            weak: weak(&results),
            missed_fields,
        }
    }
}

impl SetDay {
    fn of(group: &[&DrillResult]) -> Self {
        let first = group[0];
        let possible = group.iter().filter(|r| r.best_at_failure.is_some());
        Self {
            day: first.day,
            set_id: first.set_id.clone(),
            set_name: first.set_name.clone(),
            drills: group.len(),
            stopped: possible.clone().filter(|r| r.stopped_in_strip()).count(),
            possible: possible.count(),
            time_to_choose_s: times(group),
            regret: regrets(group),
            base_leg_spread_m: spread(group),
        }
    }
}

fn times(results: &[&DrillResult]) -> Option<Median> {
    Median::of(results.iter().filter_map(|r| r.time_to_choose_s))
}

fn regrets(results: &[&DrillResult]) -> Option<Median> {
    Median::of(results.iter().filter_map(|r| Some(r.regret_at_failure?.score)))
}

/// Standard deviation of the base leg's distance from the pilot's own.
fn spread(results: &[&DrillResult]) -> Option<f64> {
    let all: Vec<f64> = results.iter().filter_map(|r| r.base_leg_error_m()).filter(|v| v.is_finite()).collect();
    if all.len() < 2 {
        return None;
    }
    let count = all.len() as f64;
    let mean = all.iter().sum::<f64>() / count;
    Some((all.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (count - 1.0)).sqrt())
}

fn weak(results: &[&DrillResult]) -> Vec<Weakness> {
    let possible: Vec<&&DrillResult> = results.iter().filter(|r| r.best_at_failure.is_some()).collect();
    let of = |what: &'static str, holds: &dyn Fn(&DrillResult) -> bool| {
        let losses: Vec<f64> = possible.iter().filter(|r| holds(r)).map(|r| loss(r)).collect();
        let drills = losses.len();
        (drills > 0).then(|| Weakness { what, drills, loss: losses.iter().sum::<f64>() / drills as f64 })
    };
    let turn = |r: &DrillResult| r.best_turn_rad.map(TurnBand::of);
    let winds = WindBand::ALL.iter().filter_map(|b| of(b.words(), &|r| r.cell.wind == *b));
    let heights = HeightBand::ALL.iter().filter_map(|b| of(b.words(), &|r| r.cell.height == *b));
    let turns = TurnBand::ALL.iter().filter_map(|b| of(b.words(), &|r| turn(r) == Some(*b)));
    let mut all: Vec<Weakness> = winds.chain(heights).chain(turns).collect();
    all.sort_by(|a, b| b.loss.total_cmp(&a.loss));
    all
}

/// How likely each kind of failure is drawn, relative to the others: its mean loss, where two drills of loss 0.5 are
/// counted beside those flown, and never less than [`LEAST_WEIGHT`].
#[must_use]
pub fn weights(cells: &BTreeSet<Cell>, results: &[&DrillResult]) -> BTreeMap<Cell, f64> {
    let weight = |cell: &Cell| {
        let flown = results.iter().filter(|r| r.cell == *cell);
        let (count, sum) = flown.fold((PRIOR_DRILLS, PRIOR_DRILLS * PRIOR_LOSS), |(n, s), r| (n + 1.0, s + loss(r)));
        (sum / count).max(LEAST_WEIGHT)
    };
    cells.iter().map(|cell| (*cell, weight(cell))).collect()
}

/// The number of the drill to fly next in a set, for one pilot's results so far.
///
/// Of the next 96 failures of the set that this pilot has not flown, each kind that occurs gets its weight
/// ([`weights`]); one kind is drawn, and its first failure taken. The same seed and results give the same number.
///
/// # Errors
/// When the set cannot be drilled.
pub fn next_number(
    set: &DrillSet,
    home: Option<Xy>,
    results: &[&DrillResult],
    seed: u64,
) -> Result<u32, DrillSetError> {
    let flown: HashSet<u32> =
        results.iter().filter(|r| r.set_id == set.id && r.set_seed == set.seed).map(|r| r.number).collect();
    let mut first: BTreeMap<Cell, u32> = BTreeMap::new();
    for number in (1..=u32::MAX).filter(|n| !flown.contains(n)).take(LOOK_AHEAD) {
        let cell = set.failure(number, home)?.cell();
        first.entry(cell).or_insert(number);
    }
    let weights = weights(&first.keys().copied().collect(), results);
    let mut left = Dice::new(seed, flown.len() as u64).unit() * weights.values().sum::<f64>();
    let mut drawn = first.values().next().copied().unwrap_or(1);
    for (cell, weight) in weights {
        drawn = first[&cell];
        if left < weight {
            break;
        }
        left -= weight;
    }
    Ok(drawn)
}
