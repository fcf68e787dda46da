//! A circuit flown many times, by a pilot who is not exact and in wind that is not as forecast.

use super::{Answer, Around, Wanted};
use crate::assess::Assessment;
use sparefield_geometry::circuit::{Budget, Landing, Outcome, Robustness, RobustnessError, Uncertainty, robustness};
use sparefield_geometry::fields::verdict::Verdict;
use sparefield_geometry::position::Xy;
use std::sync::Arc;

/// Flights in the window, and on the command line where nothing else is asked.
pub const SAMPLES: usize = 10_000;

/// A circuit flown many times.
#[derive(Clone, Debug, PartialEq)]
pub struct Many {
    /// What came of it.
    pub flown: Robustness,
    /// Where the random numbers began.
    pub seed: u64,
    landing: Landing,
}

/// Where one flight came down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Touchdown {
    /// Where.
    pub at: Xy,
    /// Whether it stopped in the strip, with nothing met on the way.
    pub stopped_in_strip: bool,
}

impl Many {
    /// Where flights came down, or where they met something: some hundreds of them.
    pub fn touchdowns(&self) -> impl Iterator<Item = Touchdown> + '_ {
        let along = self.landing.along();
        let right = Xy::new(along.y, -along.x);
        self.flown.touchdowns.iter().map(move |point| Touchdown {
            at: self.landing.aim + along * point.along_m + right * point.aside_m,
            stopped_in_strip: point.outcome == Outcome::Stops,
        })
    }
    /// Flights that came out in a share of all.
    #[must_use]
    pub fn count(&self, share: f64) -> usize {
        (share * self.flown.samples as f64).round() as usize
    }
}

/// How many fields of the list are flown to many times: the choice is among the first few.
pub const LISTED: usize = 3;
/// Flights for each of them: the share is known to about one in a hundred, and nobody waits for it.
const LISTED_SAMPLES: usize = 2_048;

/// Shares that stop in the strip, for the best fields of a list.
#[derive(Clone, Debug)]
pub struct ListedShares {
    /// The list they belong to.
    pub of: Arc<Assessment>,
    /// Field by index, flights, and the share of them that stopped in the strip.
    pub each: Vec<(usize, usize, f64)>,
}

impl ListedShares {
    /// Flights and share of a field, by its index.
    #[must_use]
    pub fn share(&self, field: usize) -> Option<(usize, f64)> {
        self.each.iter().find(|each| each.0 == field).map(|each| (each.1, each.2))
    }
}

impl Around {
    /// The circuits into the best fields of a list, each flown many times; `None` when stopped.
    #[must_use]
    pub fn listed_shares(&self, of: &Arc<Assessment>, stopped: &dyn Fn() -> bool) -> Option<ListedShares> {
        let budget = Budget { samples: LISTED_SAMPLES, ..Budget::default() };
        let mut each = Vec::new();
        for ranked in of.ranked.iter().filter(|r| r.verdict != Verdict::Out).take(LISTED) {
            if stopped() {
                return None;
            }
            let share = || {
                let task = self.task(of, self.landing(ranked).ok()?, Wanted::default()).ok()?;
                let start = Self::start(of, &task);
                let plan = task.circuit(&start).ok()?.plan;
                robustness(&task, &plan, &start, &Uncertainty::default(), &budget, stopped).ok()
            };
            each.extend(share().map(|flown| (ranked.index, flown.samples, flown.share)));
        }
        (!stopped()).then(|| ListedShares { of: Arc::clone(of), each })
    }

    /// The circuit of an answer flown many times; `None` where there is no circuit.
    ///
    /// `stopped` is asked now and then; what was flown until then is handed back.
    ///
    /// # Errors
    /// When it was stopped before anything was flown, or the circuit does not come down when nothing is in doubt.
    pub fn many(
        &self,
        assessment: &Assessment,
        answer: &Answer,
        wanted: Wanted,
        budget: &Budget,
        stopped: &dyn Fn() -> bool,
    ) -> Option<Result<Many, RobustnessError>> {
        let circuit = answer.circuit.as_ref().ok()?;
        let task = self.task(assessment, answer.landing, wanted).ok()?;
        let start = Self::start(assessment, &task);
        let flown = robustness(&task, &circuit.plan, &start, &Uncertainty::default(), budget, stopped);
        Some(flown.map(|flown| Many { flown, seed: budget.seed, landing: answer.landing }))
    }
}
