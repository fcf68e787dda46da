//! The circuits of a drill flown many times.

use super::result::{DrillResult, DrillRobustness, ManyFlights};
use super::trial::{Choice, Flown, Offer, Trial};
use crate::circuit::{Budget, Circuit, CircuitTask, Start, Uncertainty, robustness};

/// Two landings whose directions differ by less are the same, radians.
const SAME_RAD: f64 = 0.02;

impl Trial<'_> {
    /// Flies the circuit chosen last, and that into the best landing of a result, many times by a pilot who is not exact.
    ///
    /// `offers` are those of when the engine stopped, as the result was scored with; `stopped` is asked now and then.
    #[must_use]
    pub fn flown_many(
        &self,
        choices: &[Choice],
        flown: &Flown,
        offers: &[Offer],
        result: &DrillResult,
        budget: &Budget,
        stopped: &dyn Fn() -> bool,
    ) -> DrillRobustness {
        let chosen = choices.last().zip(flown.moments.last()).and_then(|(choice, moment)| {
            let task = self.task(choice.offer.landing, choice.join, choice.hand).ok()?;
            many(&task, flown.circuit()?, &Start { motion: moment.at, reaction_s: 0.0 }, budget, stopped)
        });
        let best = result.best_at_failure.as_ref().and_then(|best| {
            let is_it = |offer: &&Offer| {
                let turned = offer.landing.heading.rad() - best.heading_grid_rad;
                offer.field_id == best.field_id && crate::math::wrap_pi(turned).abs() < SAME_RAD
            };
            // What was chosen may be the best and none of those offered.
            let all = offers.iter().chain(choices.iter().map(|c| &c.offer));
            let task = self.task(all.into_iter().find(is_it)?.landing, None, None).ok()?;
            let start = Start { motion: self.beginning(), reaction_s: self.aircraft.reaction_time_s };
            many(&task, &task.circuit(&start).ok()?, &start, budget, stopped)
        });
        DrillRobustness { chosen, best }
    }
}

fn many(
    task: &CircuitTask<'_>,
    circuit: &Circuit,
    start: &Start,
    budget: &Budget,
    stopped: &dyn Fn() -> bool,
) -> Option<ManyFlights> {
    let flown = robustness(task, &circuit.plan, start, &Uncertainty::default(), budget, stopped).ok()?;
    // Fewer flights than asked for say less than they seem to.
    let whole = flown.samples == budget.samples || flown.stopped_early;
    whole.then_some(ManyFlights { flights: flown.samples, share: flown.share })
}
