//! The one core behind circuits in the window and on the command line: an assessment and a chosen field become a
//! flown circuit, or the reason why there is none.

pub mod flights;
pub mod words;

use crate::assess::Assessment;
use sparefield_data::area::Area;
use sparefield_data::quantity::UnitPrefs;
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::circuit::{
    Circuit, CircuitOptions, CircuitTask, Commit, InTheWay, Join, Landing, NoCircuit, Surroundings, TooLow, last_change,
};
use sparefield_geometry::fields::circuit_height::Hand;
use sparefield_geometry::fields::hazards::HazardIndex;
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
        let reaction_s = assessment.aircraft().reaction_time_s;
        let task = match self.task(assessment, landing, wanted) {
            Ok(task) => task,
            Err(why) => {
                return Ok(Answer { field: ranked.index, landing, circuit: Err(why), last_change: None });
            }
        };
        // Without a heading nothing is taken off for the reaction either, as in reach.
        let reaction_s = if assessment.state.heading.is_some() { reaction_s } else { 0.0 };
        let circuit = task.circuit(&task.start(&assessment.state, reaction_s));
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
        Ok(Answer { field: ranked.index, landing, circuit, last_change })
    }

    fn landing(&self, ranked: &RankedField) -> Result<Landing, NoQuestion> {
        let name = || self.area.fields.get(ranked.index).map_or_else(String::new, |f| f.label().to_owned());
        let strip = ranked.strip.as_ref().ok_or_else(|| NoQuestion::NoStrip { field: name() })?;
        Landing::on(strip).ok_or_else(|| NoQuestion::NoGround { field: name() })
    }

    /// Why no circuit works, in one sentence with what to do.
    #[must_use]
    pub fn refusal(&self, why: &NoCircuit, units: UnitPrefs) -> String {
        match why {
            NoCircuit::TooLow { short_by_m } => format!(
                "Every circuit from here needs at least {} more height: land ahead, within 30° of the nose, or choose \
                 another field.",
                units.format_height_at_most(*short_by_m)
            ),
            NoCircuit::TooHigh { spare_m } => format!(
                "{} would be left over the landing place and no way was found to use it up; let it down elsewhere first.",
                units.format_height(*spare_m)
            ),
            NoCircuit::Wind => "The wind is stronger than the airspeed along a leg, so no circuit can be flown.".into(),
            NoCircuit::InTheWay(too_low) => self.in_the_way(too_low, units),
            NoCircuit::NoRoom => {
                "Every way round would need a turn for which there is no room, or turn its back on the field too low."
                    .into()
            }
            NoCircuit::NotFinite => {
                "A number of the aircraft, the wind or the field is not a number; check them.".into()
            }
        }
    }

    fn in_the_way(&self, too_low: &TooLow, units: UnitPrefs) -> String {
        let by = units.format_height_at_most(too_low.by_m);
        match too_low.over {
            InTheWay::Ground => format!("Every circuit passes too low over rising ground, by {by}."),
            InTheWay::UnknownGround => "Every circuit leads over ground whose height is not known.".into(),
            InTheWay::Hazard(i) => {
                let what = self.area.hazards.get(i).map_or("a hazard", |h| h.kind.words());
                format!("Every circuit passes too low over {what}, by {by}.")
            }
            InTheWay::QuietZone(i) => {
                let name = self.area.quiet_zones.get(i).map_or("", |z| z.name.as_str());
                let name = if name.is_empty() { "a quiet zone" } else { name };
                format!("Every circuit passes lower over {name} than it should, by {by}.")
            }
        }
    }
}
