//! What is true in the window: the area, the conditions, the choice, and what was last computed from them.
//!
//! Nothing here knows how it is drawn, and nothing here computes a domain answer.

mod annotate;
mod by_hand;
mod circuit;
mod climb_out;
mod conditions;
mod cover;
mod cover_route;
mod debrief;
mod drill;
mod fan_stops;
mod findings;
mod follow;
mod history;
mod keeping;
pub mod layers;
mod merging;
mod pad;
mod sheet;
mod steady;
mod suggesting;
mod survey;

pub use annotate::{Annotate, AnnotateCommand, Grip, InHand, Thing, Tool};
pub use by_hand::{ByHand, Steer};
pub use circuit::{CircuitCommand, Circuits};
pub use climb_out::{ClimbOutAsk, ClimbOutCommand, ClimbOuts, ClimbOutsAt, ClimbOutsMade};
pub use conditions::{Conditions, MAX_HEIGHT_M, ProfileChoice, height_metres};
pub use cover::{COVER_HEIGHTS_M, Cover, CoverAsk, CoverCommand, CoverLine, CoverLook, CoverMade, CoverShade};
pub use cover_route::{RouteCommand, RouteMade, RoutePlan};
pub use debrief::{
    BasisKey, Debrief, DebriefCommand, DebriefCorrection, DebriefKey, DebriefMade, DebriefPage, GlideKey,
};
pub use drill::{DrillCommand, DrillPage, Drilling, Ended, Prepared, RehearsePage, Session, Stage};
pub use fan_stops::{Fan, FanAsk, FanCommand, FanMade};
pub use findings::{Findings, FindingsCommand};
pub use follow::{Follow, FollowCommand, Freshness, ReplaySpeed, SourceForm, SourceKind};
pub use history::{History, Step};
pub use keeping::Keeping;
pub use merging::{Line, MergeCommand, MergeFiles, Merging};
pub use pad::{Pad, PadEvent, PadPress, PadReader, Sticks, asked, steered};
pub use sheet::{MAX_SHEET_WIND_MS, SheetCommand, SheetState};
pub use steady::Steady;
pub use suggesting::{Source, Sources, SuggestCommand, Suggesting};
pub use survey::{Survey, SurveyCommand};

use crate::assess::{Assessment, Ring};
use crate::circuits::many::ListedShares;
use crate::command::Command;
use sparefield_data::area::{Area, Change, Edit, EditError};
use sparefield_data::quantity::{SpeedUnit, UnitPrefs};
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::position::Xy;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What the window is for at the moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Mode {
    /// Drawing and describing the home area.
    Annotate,
    /// Choosing a field on the ground.
    #[default]
    Rehearse,
    /// Going through recorded flights.
    Debrief,
    /// The list follows a live position.
    Follow,
}

impl Mode {
    /// Every mode that the window has, in the order in which they are offered.
    pub const ALL: [Self; 4] = [Self::Annotate, Self::Rehearse, Self::Debrief, Self::Follow];
    /// The name for people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Annotate => "Annotate",
            Self::Rehearse => "Rehearse",
            Self::Debrief => "Debrief",
            Self::Follow => "Follow",
        }
    }
    /// What it is for, in one sentence.
    #[must_use]
    pub fn help(self) -> &'static str {
        match self {
            Self::Annotate => "Draw the fields and hazards of the home area, and say what is known about them",
            Self::Rehearse => "Put the aircraft somewhere and see which fields it can reach and which would take it",
            Self::Debrief => "Go through recorded flights: each practice failure, and what else could have been done",
            Self::Follow => "Let the ranked list follow a live position",
        }
    }
}

/// A message to the pilot that stays until it is dismissed or replaced.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    /// How much it matters.
    pub level: NoticeLevel,
    /// One sentence.
    pub text: String,
}

/// How much a notice matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoticeLevel {
    /// Worth knowing.
    Info,
    /// Something could not be done.
    Problem,
}

/// How far opening an area is.
#[derive(Clone, Debug, PartialEq)]
pub struct Opening {
    /// What is being opened, for people.
    pub what: String,
    /// Share done, 0 to 1.
    pub share: f32,
}

/// How the window is shown; kept between starts.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default)]
pub struct Settings {
    /// Units for people.
    pub units: UnitPrefs,
    /// Night colours.
    pub night: bool,
    /// Whether fields that are out are listed.
    pub list_out: bool,
    /// Whether the three things to try are shown.
    pub show_first_steps: bool,
    /// Area files opened lately, the latest first.
    pub recent: Vec<PathBuf>,
    /// Who flies drills; empty keeps no results.
    pub pilot: String,
    /// The aircraft in use, by its name.
    pub aircraft: String,
}

impl Settings {
    /// How many recent areas are offered.
    const RECENT: usize = 8;

    /// Puts an area file first among the recent ones.
    pub fn remember(&mut self, path: &Path) {
        self.recent.retain(|known| known != path);
        self.recent.insert(0, path.to_owned());
        self.recent.truncate(Self::RECENT);
    }
}

impl Default for Settings {
    fn default() -> Self {
        // Winds are reported in knots whatever the airspeed indicator shows.
        let units = UnitPrefs { speed: SpeedUnit::Kt, ..UnitPrefs::default() };
        Self {
            units,
            night: false,
            list_out: false,
            show_first_steps: true,
            recent: Vec::new(),
            pilot: String::new(),
            aircraft: String::new(),
        }
    }
}

/// Everything the window shows.
pub struct Model {
    /// The area, once opened.
    pub area: Option<Arc<Area>>,
    /// Grows with every opened area, so that results of an earlier one are dropped.
    pub area_revision: u64,
    /// Grows with every edit of the area, and with every opened area.
    pub land_revision: u64,
    /// Edits that wait to be written to the area's file, oldest first.
    pub unsaved: Vec<Edit>,
    /// How the area is kept.
    pub keeping: Keeping,
    /// The day it is, for surveys.
    pub today: Day,
    /// Whether a dialogue is open, so that keys belong to it and not to the map.
    pub asking: bool,
    /// What the window is for at the moment.
    pub mode: Mode,
    /// Drawing and describing.
    pub annotating: Annotate,
    /// What was found in the area.
    pub findings: Findings,
    /// Another area being merged into this one.
    pub merging: Option<Merging>,
    /// Fields suggested by the computer.
    pub suggesting: Suggesting,
    /// Looking after what is known.
    pub survey: Survey,
    /// Aircraft to choose from.
    pub hangar: Vec<Aircraft>,
    /// What the pilot set.
    pub conditions: Conditions,
    /// Earlier and later conditions.
    pub history: History,
    /// The field chosen for the card, as an index into the area's fields.
    pub selected: Option<usize>,
    /// The field under the pointer, in the list or on the map.
    pub hovered: Option<usize>,
    /// What was last computed.
    pub assessment: Option<Arc<Assessment>>,
    /// Rings of spare height that belong to it.
    pub rings: Arc<Vec<Ring>>,
    /// Why nothing could be computed from these conditions.
    pub cannot_assess: Option<String>,
    /// Whether a computation for the present conditions is under way.
    pub assessing: bool,
    /// Share of the fields studied, while an area or aircraft is new.
    pub studied: Option<f32>,
    /// An area being opened.
    pub opening: Option<Opening>,
    /// Messages.
    pub notices: Vec<Notice>,
    /// How the window is shown.
    pub settings: Settings,
    /// Which number's working is open in the card.
    pub open_working: Option<String>,
    /// The sheet of the chosen field, while it is open.
    pub sheet: Option<SheetState>,
    /// Flown circuits.
    pub circuits: Circuits,
    /// Recorded flights.
    pub debrief: Debrief,
    /// Drills.
    pub drilling: Drilling,
    /// Layers under the fields.
    pub layers: layers::MapLayers,
    /// Following a live position.
    pub follow: Follow,
    /// The options map.
    pub cover: Cover,
    /// Climb-outs.
    pub climb_outs: ClimbOuts,
    /// Fan stops at the home strip.
    pub fan: Fan,
    /// The circuits into the best fields of the list, flown many times; `None` until they were, and once anything changes.
    pub listed_shares: Option<Arc<ListedShares>>,
}

impl Model {
    /// A window without an area.
    #[must_use]
    pub fn new(hangar: Vec<Aircraft>, settings: Settings) -> Self {
        let used = hangar.iter().find(|a| a.name == settings.aircraft).or(hangar.first());
        let aircraft = used.cloned().unwrap_or_else(Aircraft::example_flexwing);
        Self {
            area: None,
            area_revision: 0,
            land_revision: 0,
            unsaved: Vec::new(),
            keeping: Keeping::default(),
            today: Day { days_since_epoch: 0 },
            asking: false,
            mode: Mode::default(),
            annotating: Annotate::default(),
            findings: Findings::default(),
            merging: None,
            suggesting: Suggesting::default(),
            survey: Survey::default(),
            hangar,
            conditions: Conditions::new(aircraft),
            history: History::default(),
            selected: None,
            hovered: None,
            assessment: None,
            rings: Arc::default(),
            cannot_assess: None,
            assessing: false,
            studied: None,
            opening: None,
            notices: Vec::new(),
            settings,
            open_working: None,
            sheet: None,
            circuits: Circuits::default(),
            debrief: Debrief::default(),
            drilling: Drilling::default(),
            layers: layers::MapLayers::default(),
            follow: Follow::default(),
            cover: Cover::default(),
            climb_outs: ClimbOuts::default(),
            fan: Fan::default(),
            listed_shares: None,
        }
    }

    /// Takes over an opened area: the aircraft goes to the place the area suggests.
    pub fn take_area(&mut self, area: Arc<Area>) {
        self.area_revision += 1;
        self.land_revision += 1;
        self.unsaved.clear();
        self.annotating.clear();
        self.findings = Findings { shown: self.findings.shown, ..Findings::default() };
        self.merging = None;
        self.survey = Survey::default();
        self.debrief = Debrief::default();
        self.drilling = Drilling { page: self.drilling.page, ..Drilling::default() };
        self.selected = None;
        self.sheet = None;
        self.cover = Cover {
            made: None,
            shade: None,
            problem: None,
            surveys: None,
            wants_surveys: false,
            route: RoutePlan::default(),
            ..self.cover.clone()
        };
        self.climb_outs = ClimbOuts {
            height_m: self.climb_outs.height_m,
            on_options_map: self.climb_outs.on_options_map,
            ..ClimbOuts::default()
        };
        self.fan = Fan::default();
        self.circuits_follow_choice();
        self.hovered = None;
        self.assessment = None;
        self.cannot_assess = None;
        self.history.clear();
        self.layers.replace(&area.layers);
        self.conditions.place_in(&area);
        for warning in &area.warnings {
            self.notices.push(Notice { level: NoticeLevel::Info, text: warning.to_string() });
        }
        self.area = Some(area);
    }

    /// Applies one command that only changes the model. Opening files and closing are the app's.
    pub fn apply(&mut self, command: &Command) {
        let before = self.conditions.clone();
        match command {
            Command::MoveAircraft(p) => self.conditions.position = self.inside(*p),
            Command::TurnAircraft(b) => self.conditions.heading = Some(*b),
            Command::ForgetHeading => self.conditions.heading = None,
            Command::SetHeight(h) => self.conditions.height = *h,
            Command::SetWind { from, speed_ms, gust_ms } => {
                self.conditions.wind_from = *from;
                self.conditions.wind_speed_ms = speed_ms.clamp(0.0, 60.0);
                self.conditions.wind_gust_ms = gust_ms.filter(|g| *g > *speed_ms);
            }
            Command::SetProfile(p) => self.conditions.profile = *p,
            Command::SetAircraft(i) => {
                if let Some(a) = self.hangar.get(*i) {
                    self.conditions.aircraft = Arc::new(a.clone());
                }
            }
            Command::AddAircraft(a) => {
                self.hangar.retain(|h| h.name != a.name);
                self.hangar.push((**a).clone());
                self.conditions.aircraft = Arc::clone(a);
            }
            Command::SetRules(r) => self.conditions.rules = *r,
            Command::Sheet(command) => self.apply_sheet(command),
            Command::Survey(command) => {
                self.apply_survey(command);
                return;
            }
            Command::Select(s) => {
                self.selected = *s;
                self.follow.pinned = self.mode == Mode::Follow && s.is_some();
                self.open_working = None;
                self.sheet_follows_choice();
                self.circuits_follow_choice();
            }
            Command::Hover(h) => self.hovered = *h,
            Command::OpenWorking(w) => self.open_working.clone_from(w),
            Command::SetNight(n) => self.settings.night = *n,
            Command::SetUnits(u) => self.settings.units = *u,
            Command::ListOut(b) => self.settings.list_out = *b,
            Command::ShowFirstSteps(b) => self.settings.show_first_steps = *b,
            Command::DismissAllNotices => self.notices.clear(),
            Command::DismissNotice(i) => {
                if *i < self.notices.len() {
                    self.notices.remove(*i);
                }
            }
            Command::Undo => {
                if self.mode == Mode::Annotate && self.annotating.is_drawing() {
                    // What was done last is the last corner.
                    return self.annotate(&AnnotateCommand::TakeBack);
                }
                match self.history.undo(&self.conditions) {
                    Some(Step::Conditions(c)) => self.conditions = *c,
                    Some(Step::Edit(edit)) => {
                        self.take(edit.inverse(), |area| area.take_back(&edit));
                    }
                    None => {}
                }
                return;
            }
            Command::Redo => {
                match self.history.redo(&self.conditions) {
                    Some(Step::Conditions(c)) => self.conditions = *c,
                    Some(Step::Edit(edit)) => {
                        self.take_edit(edit);
                    }
                    None => {}
                }
                return;
            }
            Command::Edit(edit) => {
                if !edit.changes.is_empty() && self.take_edit((**edit).clone()) {
                    self.history.edited((**edit).clone());
                }
                return;
            }
            Command::SetMode(mode) => {
                self.mode = *mode;
                // What is chosen in one mode is chosen in the other.
                if let (Mode::Annotate, Some(area)) = (mode, &self.area)
                    && let Some(field) = self.selected.and_then(|i| area.fields.get(i))
                    && self.annotating.one_field() != Some(&field.id)
                {
                    self.annotating.chosen = vec![Thing::Field(field.id.clone())];
                    self.annotating.note_fields(area);
                }
            }
            Command::Annotate(command) => {
                self.annotate(command);
                return;
            }
            Command::Circuit(command) => return self.apply_circuit(command),
            Command::Cover(command) => return self.apply_cover(command),
            Command::ClimbOut(command) => return self.apply_climb_out(command),
            Command::Fan(command) => return self.apply_fan(command),
            Command::Debrief(command) => return self.apply_debrief(command),
            Command::Drill(command) => return self.apply_drill(command),
            Command::Follow(command) => return self.apply_follow(command),
            Command::Findings(command) => return self.apply_findings(command),
            Command::Merge(command) => return self.apply_merge(command),
            Command::EndGesture => {
                self.history.end_gesture();
                self.keep_layers();
                return;
            }
            Command::Suggest(_)
            | Command::Reveal(_)
            | Command::OpenFiles(_)
            | Command::KeepAgain
            | Command::SaveCopy(_)
            | Command::ChooseCopy
            | Command::ChooseImport
            | Command::ChooseExport
            | Command::ChooseCard
            | Command::ChooseLayerExport
            | Command::CloseAnyway
            | Command::StayOpen
            | Command::OpenSample
            | Command::ChooseFiles
            | Command::StopOpening => return,
            Command::Layers(command) => return self.apply_layers(command),
        }
        if self.conditions != before {
            self.history.changed(before, command.gesture());
        }
    }

    /// Applies an edit to the area and leaves it to be saved. Says whether it fitted; if not, the pilot is told.
    fn take_edit(&mut self, edit: Edit) -> bool {
        let made = edit.clone();
        self.take(edit, |area| area.apply(&made))
    }

    fn take(&mut self, edit: Edit, change: impl FnOnce(&mut Area) -> Result<(), EditError>) -> bool {
        let Some(area) = &self.area else { return false };
        let id_of = |index: Option<usize>| index.and_then(|i| area.fields.get(i)).map(|f| f.id.clone());
        let (selected, hovered) = (id_of(self.selected), id_of(self.hovered));
        let mut changed = (**area).clone();
        if let Err(why) = change(&mut changed) {
            self.notify(NoticeLevel::Problem, why.to_string());
            return false;
        }
        let place = |id: Option<String>| id.and_then(|id| changed.fields.iter().position(|f| f.id == id));
        (self.selected, self.hovered) = (place(selected), place(hovered));
        if let Some(assessment) = &self.assessment {
            self.assessment = Some(Arc::new(assessment.carried_over(&changed.fields)));
        }
        self.annotating.follow(&changed);
        if self.mode == Mode::Annotate {
            // Of joined fields one is left, which is then the field of the card, too.
            self.selected = place(self.annotating.one_field().map(str::to_owned));
        }
        self.layers.follow(&changed.layers);
        self.area = Some(Arc::new(changed));
        // Nothing about the land is computed from what is only drawn, from recorded flights, or from drills.
        let of_land = |c: &Change| {
            !matches!(c, Change::Layers(_) | Change::Sortie(_) | Change::DrillSet(_) | Change::DrillResult(_))
        };
        if edit.changes.iter().any(of_land) {
            self.land_revision += 1;
            self.drilling.land_changed();
        }
        self.unsaved.push(edit);
        true
    }

    /// The point brought inside the terrain, so that a drag past its edge keeps the aircraft where something is known.
    fn inside(&self, p: Xy) -> Xy {
        let Some(area) = &self.area else { return p };
        let (sw, ne) = area.terrain.frame.bounds();
        let cell = area.terrain.frame.cell_m;
        // Not `clamp`, which panics where the terrain is no wider than its two edge cells.
        let within = |v: f64, low: f64, high: f64| v.min(high - cell).max(low + cell);
        Xy::new(within(p.x, sw.x, ne.x), within(p.y, sw.y, ne.y))
    }

    /// Height of the ground under the aircraft, metres above mean sea level.
    #[must_use]
    pub fn ground_under_aircraft(&self) -> Option<f64> {
        self.area.as_ref().and_then(|a| a.terrain.height_at(self.conditions.position))
    }

    /// The angle to add to a grid bearing for a true one, radians; 0 before there is an area.
    #[must_use]
    pub fn convergence_rad(&self, at: Xy) -> f64 {
        self.area.as_ref().map_or(0.0, |a| a.convergence_rad(at))
    }

    /// Adds a message, once.
    pub fn notify(&mut self, level: NoticeLevel, text: impl Into<String>) {
        let notice = Notice { level, text: text.into() };
        if !self.notices.contains(&notice) {
            self.notices.push(notice);
        }
    }
}
