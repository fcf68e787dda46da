//! The options map in the window: from which height above the ground how many fields are in reach.

use super::Model;
use crate::assess::{Conditions, HeightInput, StateInput};
use crate::options_map::OptionsMap;
use sparefield_data::area::Area;
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::position::Xy;
use std::sync::Arc;

/// What the pilot can do about it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CoverCommand {
    /// Show or hide it.
    Show(bool),
    /// How many fields must be in reach: 1, 2 or 3.
    FieldsNeeded(usize),
}

/// What an options map is asked for; whatever does not count is left out, so that moving the aircraft asks nothing.
#[derive(Clone, Debug, PartialEq)]
pub struct CoverAsk {
    /// Which area, in which state.
    pub land_revision: u64,
    /// How many fields must be in reach.
    pub fields_needed: usize,
    /// Aircraft, wind, rules and day.
    pub conditions: Conditions,
}

/// A line along which one height above the ground is just enough.
#[derive(Clone, Debug, PartialEq)]
pub struct CoverLine {
    /// The height, metres above the ground.
    pub height_agl_m: f64,
    /// Its pieces.
    pub lines: Vec<Vec<Xy>>,
}

/// An options map and what is drawn of it.
#[derive(Clone, Debug)]
pub struct CoverMade {
    /// What it was asked for.
    pub ask: CoverAsk,
    /// The map.
    pub map: OptionsMap,
    /// What is drawn, the lowest height first.
    pub lines: Vec<CoverLine>,
}

/// The state of it.
#[derive(Clone, Debug)]
pub struct Cover {
    /// Whether it is shown.
    pub shown: bool,
    /// How many fields must be in reach.
    pub fields_needed: usize,
    /// The last one made; it may be of older conditions while the next is made.
    pub made: Option<Arc<CoverMade>>,
    /// Whether the next is being made.
    pub working: bool,
    /// Why none could be made.
    pub problem: Option<String>,
}

impl Default for Cover {
    fn default() -> Self {
        Self { shown: false, fields_needed: 1, made: None, working: false, problem: None }
    }
}

impl Model {
    /// What is to be computed now, and over which area; `None` while it is not shown.
    #[must_use]
    pub fn cover_ask(&self, today: Day) -> Option<(CoverAsk, Arc<Area>)> {
        let area = self.area.as_ref().filter(|_| self.cover.shown)?;
        let nowhere = StateInput { position: Xy::default(), height: HeightInput::AboveGround(0.0), heading: None };
        let conditions = Conditions { state: nowhere, ..self.conditions.to_assess(today) };
        let ask = CoverAsk { land_revision: self.land_revision, fields_needed: self.cover.fields_needed, conditions };
        Some((ask, Arc::clone(area)))
    }

    /// Applies a command.
    pub(super) fn apply_cover(&mut self, command: CoverCommand) {
        match command {
            CoverCommand::Show(shown) => self.cover.shown = shown,
            CoverCommand::FieldsNeeded(count) => self.cover.fields_needed = count.clamp(1, 3),
        }
        if !self.cover.shown {
            self.cover.made = None;
            self.cover.problem = None;
        }
    }

    /// From which height above the ground under the aircraft the fields needed are in reach, metres, and the field that
    /// asks least there.
    #[must_use]
    pub fn cover_under_aircraft(&self) -> Option<(Option<f64>, Option<usize>)> {
        let made = self.cover.made.as_ref()?;
        let frame = &made.map.least.frame;
        let (row, col) = frame.cell_of(self.conditions.position)?;
        let covers = made.map.least.covers_at_cell(row, col);
        let ground = self.ground_under_aircraft()?;
        let needed = covers.get(made.ask.fields_needed - 1).map(|cover| cover.least_amsl_m - ground);
        Some((needed, covers.first().map(|cover| cover.field)))
    }
}
