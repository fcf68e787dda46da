//! The one core behind circuits in the window and on the command line: an assessment and a chosen field become a
//! flown circuit, or the reason why there is none.

pub mod flights;
pub mod many;
pub mod many_words;
pub mod words;
pub mod workings;

use crate::assess::Assessment;
use sparefield_data::area::Area;
use sparefield_data::quantity::UnitPrefs;
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::circuit::{
    Circuit, CircuitOptions, CircuitTask, Commit, InTheWay, Join, Landing, NoCircuit, Start, Surroundings, TooLow,
    last_change,
};
use sparefield_geometry::fields::ahead::side_ahead;
use sparefield_geometry::fields::circuit_height::Hand;
use sparefield_geometry::fields::hazards::HazardIndex;
use sparefield_geometry::fields::model::BoundaryEdge;
use sparefield_geometry::fields::verdict::{RankedField, Verdict};
use std::sync::Arc;
use thiserror::Error;

/// How many other fields are looked at for a second choice.
const SECOND_CHOICES: usize = 4;

/// What is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Wanted {
    /// Only this join.
    pub join: Option<Join>,
    /// Only this hand.
    pub hand: Option<Hand>,
    /// Whether circuits may pass low over quiet zones.
    pub over_quiet_zones: bool,
}

/// The circuit into one field, and until when another could be chosen.
#[derive(Clone, Debug)]
pub struct Answer {
    /// Index of the field.
    pub field: usize,
    /// Where it lands.
    pub landing: Landing,
    /// The circuit, or why there is none.
    pub circuit: Result<Circuit, NoCircuit>,
    /// The last place from which another field could still be made, and which.
    pub last_change: Option<LastChange>,
    /// What stands beyond the far end of the strip.
    pub far_end: Option<FarEnd>,
}

/// What stands on the boundary beyond the far end of a strip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FarEnd {
    /// What.
    pub edge: BoundaryEdge,
    /// How far beyond the strip's end, metres.
    pub beyond_m: f64,
}

/// Until when the choice can change.
#[derive(Clone, Debug, PartialEq)]
pub struct LastChange {
    /// Where and how.
    pub commit: Commit,
    /// Index of the other field.
    pub field: usize,
}

/// Why no circuit can be asked for.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum NoQuestion {
    /// The field has no strip for this aircraft.
    #[error("{field} has no strip for this aircraft, so there is no circuit into it; choose another field")]
    NoStrip {
        /// The field's name.
        field: String,
    },
    /// The ground at the landing end is not known.
    #[error("the height of the ground at the landing end of {field} is not known; load terrain that covers it")]
    NoGround {
        /// The field's name.
        field: String,
    },
}

/// Everything circuits in one area are held against.
#[derive(Clone, Debug)]
pub struct Around {
    area: Arc<Area>,
    hazards: HazardIndex,
}

impl Around {
    /// The area's ground, hazards and quiet zones.
    #[must_use]
    pub fn new(area: Arc<Area>) -> Self {
        let hazards = HazardIndex::new(area.hazards.iter().cloned());
        Self { area, hazards }
    }
    /// The area.
    #[must_use]
    pub fn area(&self) -> &Arc<Area> {
        &self.area
    }
    /// As the geometry takes it.
    #[must_use]
    pub fn surroundings(&self, aircraft: &Aircraft) -> Surroundings<'_> {
        Surroundings {
            terrain: &self.area.terrain,
            hazards: &self.hazards,
            quiet_zones: &self.area.quiet_zones,
            clearance_m: aircraft.terrain_clearance_m,
        }
    }
    /// A landing as a task for the assessment's aircraft and wind.
    ///
    /// # Errors
    /// When the wind does not allow it.
    pub fn task<'a>(
        &'a self,
        assessment: &'a Assessment,
        landing: Landing,
        wanted: Wanted,
    ) -> Result<CircuitTask<'a>, NoCircuit> {
        let aircraft = assessment.aircraft();
        let options = CircuitOptions {
            heed_quiet_zones: !wanted.over_quiet_zones,
            ..CircuitOptions::only(wanted.join, wanted.hand)
        };
        let top = assessment.state.height_amsl_m;
        CircuitTask::new(aircraft, &assessment.wind, landing, self.surroundings(aircraft), options, top)
    }

    /// A landing as a task with some of the joins, in the order of [`Join::ALL`], and either hand.
    ///
    /// # Errors
    /// When the wind does not allow it.
    pub fn task_with<'a>(
        &'a self,
        assessment: &'a Assessment,
        landing: Landing,
        joins: [bool; 5],
    ) -> Result<CircuitTask<'a>, NoCircuit> {
        let aircraft = assessment.aircraft();
        let options = CircuitOptions { joins, ..CircuitOptions::default() };
        let top = assessment.state.height_amsl_m;
        CircuitTask::new(aircraft, &assessment.wind, landing, self.surroundings(aircraft), options, top)
    }

    /// The circuit into a ranked field.
    ///
    /// `stopped` is asked now and then; a search that is stopped leaves out the second choice.
    ///
    /// # Errors
    /// When the field has no strip or no ground is known under it.
    pub fn answer(
        &self,
        assessment: &Assessment,
        ranked: &RankedField,
        wanted: Wanted,
        stopped: &dyn Fn() -> bool,
    ) -> Result<Answer, NoQuestion> {
        let landing = self.landing(ranked)?;
        let far_end = self.far_end(ranked, &landing);
        let task = match self.task(assessment, landing, wanted) {
            Ok(task) => task,
            Err(why) => {
                return Ok(Answer { field: ranked.index, landing, circuit: Err(why), last_change: None, far_end });
            }
        };
        let circuit = task.circuit(&Self::start(assessment, &task));
        let others: Vec<(usize, CircuitTask<'_>)> = assessment
            .ranked
            .iter()
            .filter(|other| other.index != ranked.index && other.verdict != Verdict::Out)
            .take(SECOND_CHOICES)
            .filter_map(|other| {
                let landing = self.landing(other).ok()?;
                Some((other.index, self.task(assessment, landing, Wanted { join: None, hand: None, ..wanted }).ok()?))
            })
            .collect();
        let (indices, tasks): (Vec<usize>, Vec<CircuitTask<'_>>) = others.into_iter().unzip();
        let commit = circuit.as_ref().ok().and_then(|c| last_change(c, &task, &tasks, 0.0, stopped));
        let last_change = commit.map(|commit| LastChange { field: indices[commit.other], commit });
        Ok(Answer { field: ranked.index, landing, circuit, last_change, far_end })
    }

    fn far_end(&self, ranked: &RankedField, landing: &Landing) -> Option<FarEnd> {
        let end = landing.aim + landing.along() * (landing.length_m - landing.aim_from_start_m);
        let (edge, beyond_m) = side_ahead(self.area.fields.get(ranked.index)?, end, landing.heading)?;
        Some(FarEnd { edge, beyond_m })
    }

    /// The engine stops: without a heading nothing is taken off for the reaction either, as in reach.
    fn start(assessment: &Assessment, task: &CircuitTask<'_>) -> Start {
        let reaction_s = assessment.state.heading.map_or(0.0, |_| assessment.aircraft().reaction_time_s);
        task.start(&assessment.state, reaction_s)
    }

    fn landing(&self, ranked: &RankedField) -> Result<Landing, NoQuestion> {
        let name = || self.area.fields.get(ranked.index).map_or_else(String::new, |f| f.label().to_owned());
        let strip = ranked.strip.as_ref().ok_or_else(|| NoQuestion::NoStrip { field: name() })?;
        Landing::on(strip).ok_or_else(|| NoQuestion::NoGround { field: name() })
    }

    /// Why no circuit works, in one sentence with what to do.
    #[must_use]
    pub fn refusal(&self, why: &NoCircuit, units: UnitPrefs) -> String {
        let reason = match why {
            NoCircuit::TooLow { short_by_m } => {
                format!("{}, at least {} more", why.words(), units.format_height_at_most(*short_by_m))
            }
            NoCircuit::TooHigh { spare_m } => {
                format!("{}: {} would be left over", why.words(), units.format_height(*spare_m))
            }
            NoCircuit::InTheWay(TooLow {
                over: over @ (InTheWay::Hazard(_) | InTheWay::QuietZone(_)), by_m, ..
            }) => {
                let by = units.format_height_at_most(*by_m);
                format!("every circuit passes {by} too low over {}", self.over(*over))
            }
            NoCircuit::InTheWay(TooLow { over: InTheWay::Ground, by_m, .. }) => {
                format!("{}, by {}", why.words(), units.format_height_at_most(*by_m))
            }
            NoCircuit::InTheWay(_) | NoCircuit::Wind | NoCircuit::NoRoom | NoCircuit::NotFinite => {
                why.words().to_owned()
            }
        };
        format!("{}: {}.", words::capital(&reason), words::advice(why))
    }

    /// What is in the way, by its kind and name.
    #[must_use]
    pub fn over(&self, what: InTheWay) -> String {
        let named = |kind: &str, name: &str| if name.is_empty() { kind.to_owned() } else { format!("{kind} ({name})") };
        match what {
            InTheWay::Ground => "rising ground".to_owned(),
            InTheWay::UnknownGround => "ground of unknown height".to_owned(),
            InTheWay::Hazard(i) => {
                self.area.hazards.get(i).map_or_else(|| "a hazard".to_owned(), |h| named(h.kind.words(), &h.name))
            }
            InTheWay::QuietZone(i) => {
                let name = self.area.quiet_zones.get(i).map_or("", |z| z.name.as_str());
                named("a quiet zone", name)
            }
        }
    }
}
