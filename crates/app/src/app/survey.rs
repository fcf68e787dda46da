//! What the window does for looking after what is known: asks for files, writes the round, opens photographs.

use super::App;
use super::pages::PageOf;
use crate::command::Command;
use crate::edits::describe;
use crate::model::{AnnotateCommand, CoverCommand, DrillCommand, NoticeLevel, RouteCommand, SurveyCommand};
use crate::pick::{PickFor, Picking, is_address, is_photograph};
use crate::survey::page::page;
use sparefield_data::quantity::format_day;
use std::path::{Path, PathBuf};

impl App {
    /// Brings what follows the area up to date, and takes files that were chosen.
    pub(super) fn follow_survey(&mut self) {
        self.model.follow_survey();
        self.look_for_photographs();
        let Some(picking) = &self.picking else { return };
        let Some(files) = picking.poll() else { return };
        match (&picking.what, files.as_slice()) {
            (_, []) => self.model.notify(
                NoticeLevel::Info,
                "No file came back from the system's dialogue. Where there is none, type the name instead.",
            ),
            (PickFor::Photographs(ids), _) => {
                self.commands.push(Command::Survey(SurveyCommand::AddPhotographs(ids.clone(), files)));
            }
            (PickFor::Flight, [path, ..]) => self.take_flight(path),
            (PickFor::Route, [path, ..]) => {
                self.commands.push(Command::Cover(CoverCommand::Route(RouteCommand::Read(path.clone()))));
            }
            (PickFor::DrillSets, [path, ..]) => {
                self.commands.push(Command::Drill(DrillCommand::TakeIn(path.clone())));
            }
            (PickFor::HandOut(id, _), [path, ..]) => {
                self.commands.push(Command::Drill(DrillCommand::HandOut(id.clone(), path.clone())));
            }
            (PickFor::Round, [path, ..]) => {
                self.commands.push(Command::Survey(SurveyCommand::SaveRound(path.clone())));
            }
            (PickFor::Source(source), [path, ..]) => {
                *self.model.suggesting.sources.of(*source) = path.to_string_lossy().into_owned();
            }
        }
        self.picking = None;
    }

    /// Does what reaches outside the model; the rest is the model's.
    pub(super) fn survey_command(&mut self, ctx: &egui::Context, command: &SurveyCommand) {
        match command {
            SurveyCommand::PickPhotographs(ids) => self.pick(ctx, PickFor::Photographs(ids.clone())),
            SurveyCommand::PickRoundFile => self.pick(ctx, PickFor::Round),
            SurveyCommand::SaveRound(path) => self.save_round(path),
            SurveyCommand::AddPhotographs(ids, files) => self.add_photographs(ids, files),
            SurveyCommand::OpenPhotograph(path) => self.open_photograph(path),
            SurveyCommand::MakeRound => {
                self.model.apply(&Command::Survey(command.clone()));
                if self.model.survey.round_file.is_none() {
                    let dirs = directories::UserDirs::new();
                    let folder = dirs.as_ref().map(|d| d.document_dir().unwrap_or_else(|| d.home_dir()));
                    let name = format!("check-round-{}.pdf", format_day(self.model.today));
                    self.model.survey.round_file = Some(folder.unwrap_or(Path::new("")).join(name));
                }
            }
            _ => self.model.apply(&Command::Survey(command.clone())),
        }
    }

    pub(super) fn pick(&mut self, ctx: &egui::Context, what: PickFor) {
        if self.picking.is_some() {
            return;
        }
        let wake = ctx.clone();
        match Picking::start(what, self.area_folder().as_deref(), move || wake.request_repaint()) {
            Ok(picking) => self.picking = Some(picking),
            Err(e) => self.model.notify(NoticeLevel::Problem, format!("The system refused a thread: {e}")),
        }
    }

    /// The folder that paths of photographs are relative to: that of the area's file, or else of its first file.
    fn area_folder(&self) -> Option<PathBuf> {
        let kept = self.model.keeping.path.as_ref();
        let first = kept.or_else(|| self.request.fields.first()).or_else(|| self.request.terrain.first())?;
        std::path::absolute(first).ok()?.parent().map(Path::to_owned)
    }

    fn place_of(&self, photograph: &str) -> PathBuf {
        let path = Path::new(photograph);
        match self.area_folder() {
            Some(folder) if path.is_relative() => folder.join(path),
            _ => path.to_owned(),
        }
    }

    /// Looks once for each photograph of the chosen field.
    fn look_for_photographs(&mut self) {
        let chosen = self.model.annotating.one_field().map(str::to_owned);
        let now = Some((self.model.land_revision, chosen.clone()));
        if self.photographs_of == now {
            return;
        }
        let field =
            self.model.area.as_ref().zip(chosen).and_then(|(a, id)| a.fields.iter().find(|f| f.id == id).cloned());
        let noted = field.map(|f| f.remarks.photographs.clone()).unwrap_or_default();
        let missing = noted.into_iter().filter(|p| !is_address(p) && !self.place_of(p).is_file()).collect();
        self.model.survey.missing = missing;
        self.photographs_of = now;
    }

    fn add_photographs(&mut self, ids: &[String], files: &[PathBuf]) {
        let Some(area) = &self.model.area else { return };
        let folder = self.area_folder();
        let noted: Vec<String> = files
            .iter()
            .map(|file| {
                let inside = folder.as_ref().and_then(|folder| file.strip_prefix(folder).ok());
                // Forward slashes, so that the area reads the same on another system.
                inside.unwrap_or(file).to_string_lossy().replace('\\', "/")
            })
            .collect();
        let made = describe::change_fields(area, ids, "photographs", |f| {
            for path in &noted {
                if !f.remarks.photographs.contains(path) {
                    f.remarks.photographs.push(path.clone());
                }
            }
        });
        self.commands.push(Command::Annotate(AnnotateCommand::Do(Box::new(made))));
    }

    fn open_photograph(&mut self, noted: &str) {
        let target =
            if is_address(noted) { noted.to_owned() } else { self.place_of(noted).to_string_lossy().into_owned() };
        if !is_photograph(noted) {
            let why = format!("{noted} is not opened: its name does not end like a photograph's, such as .jpg or .png");
            self.model.notify(NoticeLevel::Problem, why);
        } else if let Err(e) = open::that_detached(&target) {
            let why = format!("{noted} could not be opened in the system's viewer ({e}); open it by hand");
            self.model.notify(NoticeLevel::Problem, why);
        }
    }

    fn save_round(&mut self, path: &Path) {
        let (Some(round), Some(area)) = (self.model.survey.round.clone(), self.model.area.clone()) else { return };
        self.write_page(PageOf::Round, path, move || page(&round, &area));
    }
}
