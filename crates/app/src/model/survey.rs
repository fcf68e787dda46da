//! Looking after what is known, in the window: the filter of the fields, what it shows, and the check round.

use super::{AnnotateCommand, Model, Thing};
use crate::survey::filter::{Filter, Shown};
use crate::survey::round::{CheckRound, check_round};
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::Arc;

/// One thing the pilot did to look after what is known.
#[derive(Clone, Debug, PartialEq)]
pub enum SurveyCommand {
    /// Show other fields, or in another order.
    SetFilter(Filter),
    /// Choose every field shown.
    ChooseShown,
    /// Make a round through the chosen fields, or else through those shown.
    MakeRound,
    /// Put the round away.
    CloseRound,
    /// Ask where the round is to be written.
    PickRoundFile,
    /// Name the file that the round is to be written to.
    NameRoundFile(PathBuf),
    /// Write the round as a page.
    SaveRound(PathBuf),
    /// Ask for photographs of these fields.
    PickPhotographs(Vec<String>),
    /// Photographs were chosen for these fields.
    AddPhotographs(Vec<String>, Vec<PathBuf>),
    /// Show a photograph in the system's viewer.
    OpenPhotograph(String),
}

/// The state of looking after what is known.
#[derive(Default)]
pub struct Survey {
    /// Which fields are shown.
    pub filter: Filter,
    /// What it shows.
    pub shown: Shown,
    /// The round, while it is looked at.
    pub round: Option<Arc<CheckRound>>,
    /// Where the round is to be written: the name shown.
    pub round_file: Option<PathBuf>,
    /// Photographs of the chosen field whose files are not there, by path as noted.
    pub missing: BTreeSet<String>,
    /// The fields the round goes through, and the land it was made for.
    round_of: (Vec<String>, u64),
}

impl Model {
    /// Applies a command of looking after what is known.
    pub(super) fn apply_survey(&mut self, command: &SurveyCommand) {
        let Some(area) = self.area.clone() else { return };
        match command {
            SurveyCommand::SetFilter(filter) => {
                self.survey.filter = filter.clone();
                self.follow_survey();
            }
            SurveyCommand::ChooseShown => {
                let shown = self.survey.shown.order.iter().filter_map(|&i| area.fields.get(i));
                let things = shown.map(|f| Thing::Field(f.id.clone())).collect();
                self.annotate(&AnnotateCommand::Choose(things));
            }
            SurveyCommand::MakeRound => {
                let chosen = self.annotating.fields().to_vec();
                let ids = if chosen.is_empty() {
                    self.survey.shown.order.iter().filter_map(|&i| Some(area.fields.get(i)?.id.clone())).collect()
                } else {
                    chosen
                };
                // Of another land than the present one, so that it is made.
                self.survey.round_of = (ids, self.land_revision.wrapping_sub(1));
                self.remake_round();
            }
            SurveyCommand::CloseRound => self.survey.round = None,
            SurveyCommand::NameRoundFile(path) => self.survey.round_file = Some(path.clone()),
            SurveyCommand::PickRoundFile
            | SurveyCommand::SaveRound(_)
            | SurveyCommand::PickPhotographs(_)
            | SurveyCommand::AddPhotographs(..)
            | SurveyCommand::OpenPhotograph(_) => {}
        }
    }

    /// Brings what the filter shows, and the round, up to date with the area; costs nothing when they are.
    pub fn follow_survey(&mut self) {
        let Some(area) = &self.area else { return };
        let survey = &mut self.survey;
        survey.shown.follow(area, self.land_revision, &survey.filter, self.today);
        if survey.round.is_some() && survey.round_of.1 != self.land_revision {
            self.remake_round();
        }
    }

    fn remake_round(&mut self) {
        let Some(area) = &self.area else { return };
        let ids: BTreeSet<&String> = self.survey.round_of.0.iter().collect();
        let indices: Vec<usize> =
            area.fields.iter().enumerate().filter(|(_, f)| ids.contains(&f.id)).map(|(i, _)| i).collect();
        let round = check_round(area, &indices, self.today, self.settings.units);
        self.survey.round = Some(Arc::new(round));
        self.survey.round_of.1 = self.land_revision;
    }
}
