//! Everything the pilot can do, as values. Views push commands; the app applies them at one point in each frame.

use crate::assess::{HeightInput, Rules};
use crate::model::layers::LayersCommand;
use crate::model::{
    AnnotateCommand, CircuitCommand, ClimbOutCommand, CoverCommand, DebriefCommand, DrillCommand, FanCommand,
    FindingsCommand, FollowCommand, MergeCommand, Mode, ProfileChoice, SheetCommand, SuggestCommand, SurveyCommand,
};
use sparefield_data::area::Edit;
use sparefield_data::quantity::UnitPrefs;
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::position::{Bearing, Xy};
use std::path::PathBuf;
use std::sync::Arc;

/// One thing the pilot did.
#[derive(Clone, Debug, PartialEq)]
pub enum Command {
    /// Put the aircraft somewhere.
    MoveAircraft(Xy),
    /// Point the aircraft (grid bearing).
    TurnAircraft(Bearing),
    /// Leave out the first turn.
    ForgetHeading,
    /// Set the height.
    SetHeight(HeightInput),
    /// Set the surface wind (true bearing it comes from).
    SetWind {
        /// Where it comes from, true.
        from: Bearing,
        /// Mean speed, m/s.
        speed_ms: f64,
        /// Gusts, m/s, where any were given.
        gust_ms: Option<f64>,
    },
    /// Choose how the wind grows with height.
    SetProfile(ProfileChoice),
    /// Choose an aircraft of the hangar.
    SetAircraft(usize),
    /// Take an aircraft read from a file.
    AddAircraft(Arc<Aircraft>),
    /// Choose the rules for approach and landing distance.
    SetRules(Rules),
    /// Choose a field for the card.
    Select(Option<usize>),
    /// Point at a field.
    Hover(Option<usize>),
    /// Open or close the working of a number.
    OpenWorking(Option<String>),
    /// Night colours.
    SetNight(bool),
    /// Units for people.
    SetUnits(UnitPrefs),
    /// List fields that are out, too.
    ListOut(bool),
    /// Show the three things to try.
    ShowFirstSteps(bool),
    /// Dismiss a message.
    DismissNotice(usize),
    /// Dismiss every message.
    DismissAllNotices,
    /// Change the area.
    Edit(Box<Edit>),
    /// Do something while annotating.
    Annotate(AnnotateCommand),
    /// Do something with what was found in the area.
    Findings(FindingsCommand),
    /// Do something while merging another area into this one.
    Merge(MergeCommand),
    /// Turn to drawing, or to choosing.
    SetMode(Mode),
    /// Do something with the field sheet.
    Sheet(SheetCommand),
    /// Do something with flown circuits.
    Circuit(CircuitCommand),
    /// Something about the options map.
    Cover(CoverCommand),
    /// Something about climb-outs.
    ClimbOut(ClimbOutCommand),
    /// Something about fan stops at the home strip.
    Fan(FanCommand),
    /// Go through recorded flights.
    Debrief(DebriefCommand),
    /// Drill a failure.
    Drill(DrillCommand),
    /// Do something while following a live position.
    Follow(FollowCommand),
    /// Look after what is known.
    Survey(SurveyCommand),
    /// One step back.
    Undo,
    /// One step forward.
    Redo,
    /// The hand was lifted.
    EndGesture,
    /// Do something about suggested fields.
    Suggest(SuggestCommand),
    /// Bring a place onto the screen.
    Reveal(Xy),
    /// Open these files.
    OpenFiles(Vec<PathBuf>),
    /// Ask for files.
    ChooseFiles,
    /// Ask for a file to take fields from.
    ChooseImport,
    /// Ask where the area card goes.
    ChooseCard,
    /// Ask where and how to write layers of the options map, or judged fields.
    ChooseLayerExport,
    /// Ask where and how to write fields for other programs.
    ChooseExport,
    /// Open the sample area.
    OpenSample,
    /// Stop opening.
    StopOpening,
    /// Try again to write what could not be written.
    KeepAgain,
    /// Ask where to save a copy of the area.
    ChooseCopy,
    /// Save a copy of the area here.
    SaveCopy(PathBuf),
    /// Close the window although changes are not kept.
    CloseAnyway,
    /// Leave the window open.
    StayOpen,
    /// Something about the layers under the fields.
    Layers(LayersCommand),
}

impl Command {
    /// The gesture a change belongs to; changes of one gesture undo together.
    #[must_use]
    pub fn gesture(&self) -> Option<&'static str> {
        match self {
            Self::MoveAircraft(_) => Some("move"),
            Self::TurnAircraft(_) => Some("turn"),
            Self::SetHeight(_) => Some("height"),
            Self::SetWind { .. } => Some("wind"),
            _ => None,
        }
    }
}
