//! Climb-outs in the window: what is in reach off every end of the home strip, at the height that is asked about.

use super::{Mode, Model, RehearsePage};
use crate::assess::{Conditions, HeightInput, StateInput};
use crate::climb_out::{self, Answer};
use crate::print::Document;
use sparefield_data::area::Area;
use sparefield_data::quantity::UnitPrefs;
use sparefield_geometry::climb_out::{CLIMB_OUT_HEIGHTS_M, ClimbOutAt};
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::position::Xy;
use std::sync::Arc;

/// What the pilot can do about it.
#[derive(Clone, Debug, PartialEq)]
pub enum ClimbOutCommand {
    /// Look at this end of the home strip, by its place among them.
    End(usize),
    /// The height above the runway that is asked about, metres.
    Height(f64),
    /// Draw it over the options map, too.
    OnOptionsMap(bool),
    /// Ask where the printed page goes.
    ChoosePage,
}

/// What climb-outs are asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct ClimbOutAsk {
    /// Which area, in which state.
    pub land_revision: u64,
    /// Aircraft, wind, rules and day.
    pub conditions: Conditions,
}

/// The climb-outs off every end.
#[derive(Debug)]
pub struct ClimbOutsMade {
    /// What they were asked for.
    pub ask: ClimbOutAsk,
    /// One for each end of the home strip, in its order, or why there is none.
    pub ends: Vec<Result<Answer, String>>,
}

impl ClimbOutsMade {
    /// The page of one end.
    ///
    /// # Errors
    /// When there is no climb-out off that end, with the reason.
    pub fn page(&self, end: usize, units: UnitPrefs) -> Result<Document, String> {
        match self.ends.get(end) {
            Some(Ok(answer)) => Ok(climb_out::page(answer, units)),
            Some(Err(why)) => Err(why.clone()),
            None => Err("the home strip has no such end".to_owned()),
        }
    }
}

/// What is in reach at one height, off every end.
#[derive(Debug)]
pub struct ClimbOutsAt {
    /// The climb-outs it belongs to.
    pub of: Arc<ClimbOutsMade>,
    /// The height above the runway, metres.
    pub height_m: f64,
    /// One for each end; `None` where there is no climb-out.
    pub ends: Vec<Option<ClimbOutAt>>,
}

/// The state of it.
#[derive(Clone, Debug)]
pub struct ClimbOuts {
    /// The end that was chosen; the one most into the wind until then.
    pub end: Option<usize>,
    /// The height above the runway that is asked about, metres.
    pub height_m: f64,
    /// Whether it is drawn over the options map, too.
    pub on_options_map: bool,
    /// The last ones made; they may be of older conditions while the next are made.
    pub made: Option<Arc<ClimbOutsMade>>,
    /// The last height looked at; it may be an older one while the next is looked at.
    pub at: Option<Arc<ClimbOutsAt>>,
    /// The share done while the next are being made.
    pub working: Option<f32>,
    /// Why none could be made.
    pub problem: Option<String>,
}

/// 500 ft: where the first turn is often made.
const FIRST_HEIGHT_M: f64 = 152.4;

impl Default for ClimbOuts {
    fn default() -> Self {
        Self {
            end: None,
            height_m: FIRST_HEIGHT_M,
            on_options_map: false,
            made: None,
            at: None,
            working: None,
            problem: None,
        }
    }
}

impl Model {
    /// Whether the page of climb-outs is shown.
    #[must_use]
    pub fn climbs_out(&self) -> bool {
        self.mode == Mode::Rehearse && self.drilling.page == RehearsePage::ClimbOut
    }

    /// Whether the Look page is shown: the aircraft stands where the pilot puts it.
    #[must_use]
    pub fn looks(&self) -> bool {
        self.mode == Mode::Rehearse && self.drilling.page == RehearsePage::Look
    }

    /// Whether climb-outs are drawn: on their page, and over the options map where that is wanted.
    #[must_use]
    pub fn shows_climb_outs(&self) -> bool {
        self.climbs_out() || (self.climb_outs.on_options_map && self.shows_cover())
    }

    /// The end looked at, by its place among those of the home strip.
    #[must_use]
    pub fn climb_out_end(&self) -> Option<usize> {
        let area = self.area.as_ref()?;
        let home = area.home.as_ref()?;
        if let Some(end) = self.climb_outs.end.filter(|end| *end < home.ends.len()) {
            return Some(end);
        }
        let off = |i: &usize| home.ends[*i].heading_true.turn_to(self.conditions.wind_from).abs();
        (0..home.ends.len()).min_by(|a, b| off(a).total_cmp(&off(b)))
    }

    /// The climb-out looked at, or why there is none; nothing until it is made.
    #[must_use]
    pub fn climb_out(&self) -> Option<&Result<Answer, String>> {
        self.climb_outs.made.as_ref()?.ends.get(self.climb_out_end()?)
    }

    /// What is in reach there at the height looked at last, with that height.
    #[must_use]
    pub fn climb_out_at(&self) -> Option<(&Answer, &ClimbOutAt)> {
        let at = self.climb_outs.at.as_ref()?;
        let end = self.climb_out_end()?;
        Some((at.of.ends.get(end)?.as_ref().ok()?, at.ends.get(end)?.as_ref()?))
    }

    /// What is to be computed now, and over which area; `None` while it is not shown.
    #[must_use]
    pub fn climb_out_ask(&self, today: Day) -> Option<(ClimbOutAsk, Arc<Area>)> {
        let area = self.area.as_ref().filter(|area| self.shows_climb_outs() && area.home.is_some())?;
        // Moving the aircraft asks nothing.
        let state = StateInput { position: Xy::default(), height: HeightInput::AboveGround(0.0), heading: None };
        let conditions = Conditions { state, ..self.conditions.to_assess(today) };
        Some((ClimbOutAsk { land_revision: self.land_revision, conditions }, Arc::clone(area)))
    }

    /// Applies a command.
    pub(super) fn apply_climb_out(&mut self, command: &ClimbOutCommand) {
        let climb_outs = &mut self.climb_outs;
        match command {
            ClimbOutCommand::End(end) => climb_outs.end = Some(*end),
            ClimbOutCommand::Height(metres) => {
                // Not a number stays below every bound.
                climb_outs.height_m = metres.max(CLIMB_OUT_HEIGHTS_M.0).min(CLIMB_OUT_HEIGHTS_M.1);
            }
            ClimbOutCommand::OnOptionsMap(shown) => climb_outs.on_options_map = *shown,
            ClimbOutCommand::ChoosePage => {}
        }
    }
}
