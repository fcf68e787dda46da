//! Fan stops at the home strip in the window: from where the strip is in reach, and what the pilot practised of it.

use super::{DrillPage, Model};
use crate::assess::{Conditions, HeightInput, StateInput};
use crate::drill::aircraft_of;
use crate::fan_stops::{self, FanStops, NoFanStops, Practised};
use crate::print::Document;
use sparefield_data::area::Area;
use sparefield_data::quantity::UnitPrefs;
use sparefield_geometry::drill::{DrillSet, FanCell};
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::position::Xy;
use std::sync::Arc;

/// What the pilot can do about it.
#[derive(Clone, Debug, PartialEq)]
pub enum FanCommand {
    /// Look at a cell.
    Look(FanCell),
    /// Drill the cell looked at.
    Drill,
    /// Stop working out from where the strip is in reach.
    Stop,
    /// Work it out after all.
    Resume,
    /// Ask where the printed page goes.
    ChoosePage,
}

/// What fan stops are asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct FanAsk {
    /// Which area, in which state.
    pub land_revision: u64,
    /// The set.
    pub set: Arc<DrillSet>,
    /// Aircraft, wind, rules and day.
    pub conditions: Conditions,
}

/// From where the strip is in reach, as asked for.
#[derive(Debug)]
pub struct FanMade {
    /// What was asked.
    pub ask: FanAsk,
    /// The answer.
    pub stops: FanStops,
}

/// What practice is counted from: pilot, how many results there are, and the set.
type PractisedOf = (String, usize, Arc<DrillSet>);

/// The state of it.
#[derive(Clone, Debug, Default)]
pub struct Fan {
    /// The cell that the pilot looks at; what comes next until one is chosen.
    pub looked: Option<FanCell>,
    /// The last answer; it may be of an older wind while the next is worked out.
    pub made: Option<Arc<FanMade>>,
    /// The share done while the next is worked out.
    pub working: Option<f32>,
    /// Whether the pilot stopped it.
    pub stopped: bool,
    /// Why there is none.
    pub problem: Option<String>,
    practised: Option<(PractisedOf, Arc<Practised>)>,
}

impl Model {
    /// Whether fan stops are shown.
    #[must_use]
    pub fn shows_fan_stops(&self) -> bool {
        self.drills() && self.drilling.session.is_none() && self.drilling.shows == DrillPage::FanStops
    }

    /// The set whose fan stops are shown.
    #[must_use]
    pub fn fan_set(&self) -> Option<&Arc<DrillSet>> {
        fan_stops::fan_set(self.area.as_ref()?, self.drill_set())
    }

    /// What the pilot practised of it; nothing where nobody is named.
    #[must_use]
    pub fn fan_practised(&self) -> Option<&Arc<Practised>> {
        self.fan.practised.as_ref().map(|(_, practised)| practised)
    }

    /// The cell looked at: the one chosen, else the one that comes next.
    #[must_use]
    pub fn fan_cell(&self) -> FanCell {
        self.fan.looked.or_else(|| self.fan_practised()?.next).unwrap_or_default()
    }

    /// Counts what was practised, where that is shown and not known yet.
    pub(crate) fn count_fan_practice(&mut self) {
        let pilot = self.settings.pilot.trim().to_owned();
        let known = self.area.clone().zip(self.fan_set().cloned());
        let Some((area, set)) = known.filter(|_| self.shows_fan_stops() && !pilot.is_empty()) else {
            self.fan.practised = None;
            return;
        };
        let of = (pilot, area.drill_results.len(), set);
        if self.fan.practised.as_ref().is_some_and(|(known, _)| *known == of) {
            return;
        }
        // The seed that the start of a drill takes.
        let seed = area.drill_results.len() as u64;
        match fan_stops::practised(&area, &of.2, &self.drill_results(), seed) {
            Ok(practised) => self.fan.practised = Some((of, Arc::new(practised))),
            Err(why) => (self.fan.practised, self.fan.problem) = (None, Some(why.to_string())),
        }
    }

    /// What is to be worked out now, and over which area; `None` while it is not shown.
    ///
    /// # Errors
    /// When there is nothing to practise at, or the set's aircraft is not known.
    pub fn fan_ask(&self, today: Day) -> Option<Result<(FanAsk, Arc<Area>), NoFanStops>> {
        let area = self.area.as_ref().filter(|_| self.shows_fan_stops())?;
        if area.home.is_none() {
            return Some(Err(NoFanStops::NoHome));
        }
        let Some(set) = self.fan_set() else { return Some(Err(NoFanStops::NoSet)) };
        Some(aircraft_of(set, &self.hangar).map_err(NoFanStops::from).map(|aircraft| {
            // Moving the aircraft asks nothing.
            let state = StateInput { position: Xy::default(), height: HeightInput::AboveGround(0.0), heading: None };
            let conditions = Conditions { aircraft, state, ..self.conditions.to_assess(today) };
            (FanAsk { land_revision: self.land_revision, set: Arc::clone(set), conditions }, Arc::clone(area))
        }))
    }

    /// The page of what is shown, ready to be made on another thread; `None` until it is worked out.
    #[must_use]
    pub fn fan_page(&self, units: UnitPrefs) -> Option<impl FnOnce() -> Result<Document, String> + Send + 'static> {
        let made = self.fan.made.clone()?;
        let practised = self.fan_practised().cloned();
        let pilot = self.settings.pilot.trim().to_owned();
        Some(move || {
            let practised = practised.as_ref().map(|practised| (pilot.as_str(), &**practised));
            Ok(fan_stops::page(&made.stops, practised, units))
        })
    }

    /// Applies what only changes the model.
    pub(super) fn apply_fan(&mut self, command: &FanCommand) {
        match command {
            FanCommand::Look(cell) => self.fan.looked = Some(*cell),
            FanCommand::Stop => self.fan.stopped = true,
            FanCommand::Resume => self.fan.stopped = false,
            // These reach beyond the model.
            FanCommand::Drill | FanCommand::ChoosePage => {}
        }
    }
}
