//! What was chosen, held against what was to be had.

use super::failure::Failure;
use super::result::{ChangeOfMind, ChoiceMade, DrillResult, Outcome, Regret, Standing};
use super::set::DrillSet;
use super::trial::{Choice, Flown, Offer, Trial};
use crate::circuit::{CircuitTask, Motion, NoCircuit, Start, last_change};
use crate::fields::model::Day;
use crate::fields::verdict::Verdict;

/// No outline is drawn better than this, metres: what ends within it of the strip's end ended at the end. Common practice,
/// no source.
pub(super) const OUTLINE_M: f64 = 1.0;

/// How many of the best landings are tried until one works.
const MOST_TRIED: usize = 40;

/// How many other landings are looked at for the last place where the choice could change.
const OTHERS: usize = 3;

/// Who flew it, when, and what it was.
#[derive(Clone, Copy, Debug)]
pub struct Occasion<'a> {
    /// Identifier of the result, unique everywhere.
    pub id: &'a str,
    /// The pilot's name.
    pub pilot: &'a str,
    /// The day.
    pub day: Day,
    /// The set.
    pub set: &'a DrillSet,
    /// The failure.
    pub failure: &'a Failure,
}

/// Landings that were to be had: at least the best of each field that is not out, in any order.
#[derive(Clone, Copy, Debug)]
pub struct Offered<'a> {
    /// When the engine stopped.
    pub at_failure: &'a [Offer],
    /// At the last choice; empty where there was none.
    pub at_choice: &'a [Offer],
}

/// A landing and the height that its cheapest circuit leaves.
struct Tried<'a> {
    offer: &'a Offer,
    spare_m: Option<f64>,
}

impl Tried<'_> {
    fn standing(&self) -> Standing {
        Standing {
            field_id: self.offer.field_id.clone(),
            field_name: self.offer.name.clone(),
            heading_grid_rad: self.offer.landing.heading.rad(),
            verdict: self.offer.verdict,
            score: self.offer.score,
            spare_height_m: self.spare_m,
        }
    }
}

impl Trial<'_> {
    /// Scores a drill that was flown: `flown` is what [`Trial::fly`] made of `choices`.
    #[must_use]
    pub fn score(
        &self,
        occasion: &Occasion<'_>,
        choices: &[Choice],
        flown: &Flown,
        offered: &Offered<'_>,
    ) -> DrillResult {
        let failure = occasion.failure;
        let last = choices.last().zip(flown.moments.last());
        let beginning = Start { motion: self.beginning(), reaction_s: self.aircraft.reaction_time_s };
        let (best, chosen) = self.compared(offered.at_failure, last.map(|l| &l.0.offer), &beginning);
        let (best_then, chosen_then) = match last {
            Some((choice, moment)) if moment.circuit.is_some() => {
                let then = Start { motion: moment.at, reaction_s: 0.0 };
                // The same landing as judged from there, where it still is among those offered.
                let judged = offered.at_choice.iter().find(|o| o.is_same_landing(&choice.offer));
                self.compared(offered.at_choice, Some(judged.unwrap_or(&choice.offer)), &then)
            }
            _ => (None, None),
        };
        let circuit = flown.circuit();
        let is_straight_in = circuit.is_some_and(|c| c.plan.join == crate::circuit::Join::StraightIn);
        DrillResult {
            id: occasion.id.to_owned(),
            pilot: occasion.pilot.to_owned(),
            day: occasion.day,
            set_id: occasion.set.id.clone(),
            set_name: occasion.set.name.clone(),
            set_seed: occasion.set.seed,
            number: failure.number,
            aircraft: self.aircraft.name.clone(),
            position: failure.position,
            height_agl_m: failure.height_agl_m,
            heading_grid_rad: failure.heading.rad(),
            told: failure.told,
            told_wind: failure.told_wind,
            true_wind: failure.true_wind,
            cell: failure.cell(),
            choices: choices.iter().zip(&flown.moments).map(|(c, m)| made(c, &m.at)).collect(),
            time_to_choose_s: choices.first().map(|c| c.at_s),
            regret_at_failure: best.as_ref().map(|best| regret(best, chosen.as_ref())),
            regret_at_choice: best_then.as_ref().map(|best| regret(best, chosen_then.as_ref())),
            best_turn_rad: best.as_ref().map(|b| failure.heading.turn_to(b.offer.landing.heading)),
            chosen_at_failure: chosen.as_ref().map(Tried::standing),
            best_at_failure: best.as_ref().map(Tried::standing),
            chosen_at_choice: chosen_then.as_ref().map(Tried::standing),
            best_at_choice: best_then.as_ref().map(Tried::standing),
            outcome: outcome(flown),
            changes: self.changes(choices, flown),
            commit_height_m: last.and_then(|(choice, _)| self.commit_height(choice, flown, offered.at_choice)),
            join: circuit.map(|c| c.plan.join),
            hand: circuit.map(|c| c.plan.hand),
            base_leg_distance_m: circuit.filter(|_| !is_straight_in).map(|c| c.base_leg_distance_m),
            base_leg_constant_m: self.aircraft.base_leg_distance_m,
            short_margin_m: circuit.map(|c| c.short_margin_m),
            long_margin_m: circuit.map(|c| c.long_margin_m),
            least_clearance_m: circuit.map(|c| c.least_clearance_m).filter(|m| m.is_finite()),
            robustness: None,
            by_hand: None,
        }
    }

    /// The first landing by verdict and score to which a circuit works, and the one chosen.
    fn compared<'o>(
        &self,
        offers: &'o [Offer],
        chosen: Option<&'o Offer>,
        start: &Start,
    ) -> (Option<Tried<'o>>, Option<Tried<'o>>) {
        let mut usable: Vec<&Offer> =
            offers.iter().chain(chosen).filter(|o| o.verdict != Verdict::Out && o.score.is_finite()).collect();
        usable.sort_by(|a, b| a.verdict.cmp(&b.verdict).then(b.score.total_cmp(&a.score)));
        let best = usable
            .into_iter()
            .take(MOST_TRIED)
            .map(|offer| Tried { offer, spare_m: self.spare(offer, start) })
            .find(|tried| tried.spare_m.is_some());
        let chosen = chosen.map(|offer| Tried { offer, spare_m: self.spare(offer, start) });
        (best, chosen)
    }

    fn spare(&self, offer: &Offer, start: &Start) -> Option<f64> {
        let least = self.task(offer.landing, None, None).ok()?.least(start).ok()?;
        (least.spare_m >= 0.0).then_some(least.spare_m)
    }

    fn changes(&self, choices: &[Choice], flown: &Flown) -> Vec<ChangeOfMind> {
        let pairs = choices.windows(2).zip(flown.moments.iter().skip(1));
        pairs
            .map(|(pair, moment)| {
                let start = Start { motion: moment.at, reaction_s: 0.0 };
                let open = |offer: &Offer| moment.circuit.is_some() && self.spare(offer, &start).is_some();
                ChangeOfMind {
                    at_s: moment.at.time_s,
                    height_m: moment.at.height_amsl_m - pair[0].offer.landing.aim_amsl_m,
                    from_field_id: pair[0].offer.field_id.clone(),
                    to_field_id: pair[1].offer.field_id.clone(),
                    still_open: open(&pair[1].offer),
                    first_still_open: open(&pair[0].offer),
                }
            })
            .collect()
    }

    fn commit_height(&self, choice: &Choice, flown: &Flown, offers: &[Offer]) -> Option<f64> {
        let circuit = flown.circuit()?;
        let task = self.task(choice.offer.landing, choice.join, choice.hand).ok()?;
        let mut others: Vec<&Offer> =
            offers.iter().filter(|o| o.verdict != Verdict::Out && o.field_id != choice.offer.field_id).collect();
        others.sort_by(|a, b| a.verdict.cmp(&b.verdict).then(b.score.total_cmp(&a.score)));
        let others: Vec<CircuitTask<'_>> =
            others.into_iter().take(OTHERS).filter_map(|o| self.task(o.landing, None, None).ok()).collect();
        last_change(circuit, &task, &others, 0.0, &|| false).map(|commit| commit.height_m)
    }
}

fn made(choice: &Choice, at: &Motion) -> ChoiceMade {
    ChoiceMade {
        at_s: choice.at_s,
        field_id: choice.offer.field_id.clone(),
        field_name: choice.offer.name.clone(),
        heading_grid_rad: choice.offer.landing.heading.rad(),
        join: choice.join,
        hand: choice.hand,
        height_m: at.height_amsl_m - choice.offer.landing.aim_amsl_m,
    }
}

fn regret(best: &Tried<'_>, chosen: Option<&Tried<'_>>) -> Regret {
    let (score, spare_m) = chosen.and_then(|c| Some((c.offer.score, c.spare_m?))).unwrap_or_default();
    let is_out = chosen.is_some_and(|c| c.offer.verdict == Verdict::Out);
    let score = if is_out { 0.0 } else { score };
    Regret {
        score: (best.offer.score - score).max(0.0),
        spare_height_m: (best.spare_m.unwrap_or_default() - spare_m).max(0.0),
    }
}

pub(super) fn outcome(flown: &Flown) -> Outcome {
    let Some(last) = flown.moments.last() else { return Outcome::NothingChosen };
    match &last.circuit {
        None => Outcome::TooLate,
        Some(Ok(c)) if !(c.short_margin_m >= -OUTLINE_M) => Outcome::Undershot { by_m: -c.short_margin_m },
        Some(Ok(c)) if !(c.long_margin_m >= -OUTLINE_M) => Outcome::Overran { by_m: -c.long_margin_m },
        Some(Ok(_)) => Outcome::StoppedInStrip,
        Some(Err(NoCircuit::TooLow { short_by_m })) => Outcome::TooLow { short_by_m: *short_by_m },
        Some(Err(why)) => Outcome::NoCircuit { why: why.words().to_owned() },
    }
}
