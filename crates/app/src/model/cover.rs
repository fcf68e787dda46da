//! The options map in the window: from which height above the ground how many fields are in reach.

use super::Model;
use super::cover_route::{RouteCommand, RoutePlan};
use crate::assess::{Conditions, HeightInput, StateInput};
use crate::options_map::{OptionsMap, Surveys};
use crate::studies::Studies;
use crate::survey::filter::NotSince;
use sparefield_data::area::Area;
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::position::Xy;
use sparefield_geometry::reach::least::ManyWinds;
use std::sync::Arc;

/// What of it is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum CoverLook {
    /// Lines along which a height is just enough.
    Lines,
    /// From one height, what is not covered falls into dusk.
    #[default]
    Uncovered,
    /// From one height, how many fields are in reach.
    Number,
}

impl CoverLook {
    /// Every look.
    pub const ALL: [Self; 3] = [Self::Lines, Self::Uncovered, Self::Number];
    /// It in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Lines => "heights",
            Self::Uncovered => "not covered",
            Self::Number => "how many",
        }
    }
}

/// What the pilot can do about it.
#[derive(Clone, Debug, PartialEq)]
pub enum CoverCommand {
    /// Open or close its controls; the map is shown with them.
    ShowPanel(bool),
    /// Show or hide it.
    Show(bool),
    /// How many fields must be in reach: 1, 2 or 3.
    FieldsNeeded(usize),
    /// What of it is drawn.
    Look(CoverLook),
    /// The height above the ground that is asked about, metres.
    Height(f64),
    /// Whether it must hold in nine winds of ten, and not only in the one set.
    NineInTen(bool),
    /// The day for which surfaces and surveys are judged; `None` for today.
    On(Option<Day>),
    /// Count only fields that somebody looked at since; all of them for `None`.
    LookedAt(Option<NotSince>),
    /// Find out which survey helps most, or put the list away.
    Surveys(bool),
    /// Something about a route.
    Route(RouteCommand),
}

/// What an options map is asked for; whatever does not count is left out, so that moving the aircraft asks nothing.
#[derive(Clone, Debug, PartialEq)]
pub struct CoverAsk {
    /// Which area, in which state.
    pub land_revision: u64,
    /// How many fields must be in reach.
    pub fields_needed: usize,
    /// Whether in nine winds of ten.
    pub nine_in_ten: bool,
    /// Only fields that somebody looked at since are counted; all of them for `None`.
    pub looked_at: Option<NotSince>,
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
    /// The map in the wind set.
    pub map: OptionsMap,
    /// The studies it was made from.
    pub studies: Studies,
    /// Least heights in many winds, where they were asked for.
    pub many: Option<ManyWinds>,
    /// For one field, two and so on up to those asked for: the height above the ground that is enough, metres; infinite
    /// where none is, `NaN` where the ground is not known. In many winds only the last.
    pub enough_agl_m: Vec<Vec<f32>>,
    /// What is drawn, the lowest height first.
    pub lines: Vec<CoverLine>,
}

impl CoverMade {
    /// Height above the ground that keeps the fields asked for in reach at a place, metres, and the field that asks least;
    /// `None` where no height does that was looked at.
    #[must_use]
    pub fn enough_at(&self, p: Xy) -> (Option<f64>, Option<usize>) {
        let terrain = &self.map.area.terrain;
        let Some(ground) = terrain.height_at(p) else { return (None, None) };
        let covers = self.map.least.covers_at(terrain, p);
        let first = covers.first().map(|cover| cover.field);
        let amsl = match &self.many {
            Some(many) => crate::options_map::highest_around(terrain, &many.nine_in_ten, p),
            None => covers.get(self.ask.fields_needed - 1).map(|cover| cover.least_amsl_m),
        };
        (amsl.map(|amsl| (amsl - ground).max(0.0)), first)
    }

    /// Least heights above mean sea level by cell that count instead of those in the wind set.
    #[must_use]
    pub fn instead(&self) -> Option<&[f32]> {
        self.many.as_ref().map(|many| many.nine_in_ten.as_slice())
    }

    /// The share of the known ground that is covered from a height above it, 0 to 1.
    #[must_use]
    pub fn share(&self, height_agl_m: f64) -> f64 {
        let Some(enough) = self.enough_agl_m.last() else { return 0.0 };
        let known = enough.iter().filter(|h| !h.is_nan()).count();
        let covered = enough.iter().filter(|h| f64::from(**h) <= height_agl_m).count();
        if known == 0 { 0.0 } else { covered as f64 / known as f64 }
    }
}

/// An options map as it shades the land from one height.
#[derive(Debug)]
pub struct CoverShade {
    /// The map.
    pub of: Arc<CoverMade>,
    /// What is drawn of it.
    pub look: CoverLook,
    /// The height above the ground, metres.
    pub height_agl_m: f64,
    /// How much dusk lies on each cell, row by row from the north-west: 0 none, 255 all; empty where lines are drawn.
    pub veil: Arc<Vec<u8>>,
    /// The share of the known ground that is covered from that height, 0 to 1.
    pub share: f64,
}

/// The state of it.
#[derive(Clone, Debug)]
pub struct Cover {
    /// Whether its controls are open.
    pub panel: bool,
    /// Whether it is shown.
    pub shown: bool,
    /// How many fields must be in reach.
    pub fields_needed: usize,
    /// What of it is drawn.
    pub look: CoverLook,
    /// The height above the ground that is asked about, metres.
    pub height_agl_m: f64,
    /// Whether in nine winds of ten.
    pub nine_in_ten: bool,
    /// The day that counts; `None` for today.
    pub on: Option<Day>,
    /// Only fields that somebody looked at since are counted; all of them for `None`.
    pub looked_at: Option<NotSince>,
    /// The last one made; it may be of older conditions while the next is made.
    pub made: Option<Arc<CoverMade>>,
    /// How it shades the land; it may be from an older height while the next is worked out.
    pub shade: Option<Arc<CoverShade>>,
    /// Whether the next is being made, and the share done where that is known.
    pub working: Option<f32>,
    /// Why none could be made.
    pub problem: Option<String>,
    /// Whether the list of surveys is wanted.
    pub wants_surveys: bool,
    /// Which survey helps most, and the map and height it was asked for.
    pub surveys: Option<(Arc<CoverMade>, f64, Arc<Surveys>)>,
    /// Whether that is being worked out.
    pub surveying: bool,
    /// A route over it.
    pub route: RoutePlan,
}

/// 1 500 ft: where circuits end and cross-country begins.
const FIRST_HEIGHT_M: f64 = 457.2;
/// Heights above the ground that can be asked about, metres.
pub const COVER_HEIGHTS_M: (f64, f64) = (60.0, 2_000.0);

impl Default for Cover {
    fn default() -> Self {
        Self {
            panel: false,
            shown: false,
            fields_needed: 1,
            look: CoverLook::default(),
            height_agl_m: FIRST_HEIGHT_M,
            nine_in_ten: false,
            on: None,
            looked_at: None,
            made: None,
            shade: None,
            working: None,
            problem: None,
            wants_surveys: false,
            surveys: None,
            surveying: false,
            route: RoutePlan::default(),
        }
    }
}

impl Cover {
    /// What has to shade the land now; `None` while there is no map.
    #[must_use]
    pub fn shade_wanted(&self) -> Option<(Arc<CoverMade>, CoverLook, f64)> {
        let made = self.made.as_ref()?;
        // Until up to three fields are told apart, it is told whether there are those asked for before.
        let apart = made.many.is_none() && made.enough_agl_m.len() >= 3;
        let look = if self.look == CoverLook::Number && !apart { CoverLook::Uncovered } else { self.look };
        Some((Arc::clone(made), look, self.height_agl_m))
    }

    /// Whether what shades the land is of the present map, look and height.
    #[must_use]
    pub fn shade_is_current(&self) -> bool {
        self.shade_wanted().zip(self.shade.as_ref()).is_some_and(|((made, look, height), shade)| {
            Arc::ptr_eq(&made, &shade.of) && look == shade.look && height.total_cmp(&shade.height_agl_m).is_eq()
        })
    }
}

impl Model {
    /// Whether the options map is drawn: not over a flight being gone through, and never while a drill hides the answer.
    #[must_use]
    pub fn shows_cover(&self) -> bool {
        self.cover.shown && self.mode != super::Mode::Debrief && !self.drills()
    }

    /// What is to be computed now, and over which area; `None` while it is not shown.
    #[must_use]
    pub fn cover_ask(&self, today: Day) -> Option<(CoverAsk, Arc<Area>)> {
        let cover = &self.cover;
        let area = self.area.as_ref().filter(|_| cover.shown)?;
        let nowhere = StateInput { position: Xy::default(), height: HeightInput::AboveGround(0.0), heading: None };
        let conditions = Conditions { state: nowhere, ..self.conditions.to_assess(cover.on.unwrap_or(today)) };
        let number = cover.look == CoverLook::Number;
        let ask = CoverAsk {
            land_revision: self.land_revision,
            // To tell how many, up to three are asked for, in the wind set.
            fields_needed: if number { 3 } else { cover.fields_needed },
            nine_in_ten: cover.nine_in_ten && !number,
            looked_at: cover.looked_at,
            conditions,
        };
        Some((ask, Arc::clone(area)))
    }

    /// Applies a command.
    pub(super) fn apply_cover(&mut self, command: &CoverCommand) {
        let cover = &mut self.cover;
        match command {
            CoverCommand::ShowPanel(open) => {
                cover.panel = *open;
                cover.shown |= *open;
            }
            CoverCommand::Show(shown) => cover.shown = *shown,
            CoverCommand::FieldsNeeded(count) => cover.fields_needed = (*count).clamp(1, 3),
            CoverCommand::Look(look) => cover.look = *look,
            CoverCommand::Height(metres) => {
                cover.height_agl_m = metres.max(COVER_HEIGHTS_M.0).min(COVER_HEIGHTS_M.1);
            }
            CoverCommand::NineInTen(nine) => cover.nine_in_ten = *nine,
            CoverCommand::On(day) => cover.on = *day,
            CoverCommand::LookedAt(since) => cover.looked_at = *since,
            CoverCommand::Surveys(wanted) => {
                cover.wants_surveys = *wanted;
                cover.shown |= *wanted;
            }
            CoverCommand::Route(command) => {
                cover.shown = true;
                cover.route.apply(command, self.conditions.position);
            }
        }
        if !cover.shown {
            cover.made = None;
            cover.shade = None;
            cover.problem = None;
            cover.surveys = None;
        }
    }

    /// Takes over an options map. How an older one shades the land stays until this one does.
    pub fn take_cover(&mut self, made: Arc<CoverMade>) {
        self.cover.made = Some(made);
        self.cover.problem = None;
    }
}
