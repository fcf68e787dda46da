//! The window: takes finished jobs, applies commands, asks for new work, and draws.

mod circuit;
mod climb_out;
mod cover;
mod debrief;
mod drill;
mod drill_many;
mod fan_stops;
mod follow;
mod glide;
mod layers;
mod listed;
mod opening;
mod pages;
mod sheet;
mod suggest;
mod survey;

use crate::card_dialog::{CardDialog, CardOf};
use crate::command::Command;
use crate::copy_dialog::CopyDialog;
use crate::export_dialog::ExportDialog;
use crate::hangar;
use crate::import_dialog::ImportDialog;
use crate::jobs::{
    Asked, AssessJob, AssessRequest, CheckJob, ClimbOutJob, CoverJob, DrillJob, LayerJob, OpenJob, PadJob, SheetJob,
};
use crate::keep::{Keep, Notify};
use crate::layer_export_dialog::{LayerExportDialog, LayersOf};
use crate::model::layers::LayersCommand;
use crate::model::{
    CircuitCommand, Conditions, DebriefCommand, DrillCommand, FanAsk, MergeCommand, Mode, Model, NoticeLevel,
    PadReader, SheetCommand,
};
use crate::open_dialog::{Chosen, OpenDialog, Purpose};
use crate::page_dialog::{self, PageDialog};
use crate::page_place;
use crate::pick::Picking;
use crate::settings;
use crate::theme::{Palette, Scheme, Theme};
use crate::views;
use egui::{Key, Modifiers};
use sparefield_data::area::AreaRequest;
use sparefield_data::quantity::HeightUnit;
use sparefield_geometry::drill::DrillResult;
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::position::Xy;
use std::path::PathBuf;
use std::sync::Arc;

/// Width of the left column, points.
const COLUMN: f32 = 340.0;
/// Width of the card, points.
const CARD: f32 = 350.0;

/// Half the side of what the map shows round the aircraft when an area is opened, metres.
const FIRST_VIEW_M: f64 = 3_500.0;

/// What the window starts with.
#[derive(Clone, Debug)]
pub struct StartWith {
    /// Files to open; empty for the sample area.
    pub files: Vec<PathBuf>,
    /// The day for which surveys are judged.
    pub today: Day,
    /// Whether settings are read and kept; tests leave the user's alone.
    pub keep_settings: bool,
}

/// The program's window.
pub struct App {
    /// What is true.
    pub model: Model,
    map: views::map::MapState,
    derived: views::map_panel::MapDerived,
    palette: Palette,
    theme: Theme,
    applied: Option<Scheme>,
    commands: Vec<Command>,
    assess: AssessJob,
    open: Option<OpenJob>,
    check: CheckJob,
    merge: views::merge::MergeDesk,
    dialog: OpenDialog,
    copying: CopyDialog,
    importing: ImportDialog,
    exporting: ExportDialog,
    card: CardDialog,
    report: PageDialog,
    climb_out_page: PageDialog,
    fan_page: PageDialog,
    fan_job: Asked<FanAsk, fan_stops::FanAnswer>,
    /// What could not be made is not asked for again.
    fan_failed: Option<FanAsk>,
    layer_export: LayerExportDialog,
    keep: Keep,
    layer_dialog: OpenDialog,
    track_dialog: OpenDialog,
    /// Where aircraft that are made here are kept.
    own_aircraft: Option<PathBuf>,
    debriefing: debrief::Debriefing,
    /// Images chosen together with an area that is being opened.
    images_to_come: Option<Chosen>,
    searching: suggest::Searching,
    layers: LayerJob,
    /// A dialogue of the system's for other files.
    picking: Option<Picking>,
    /// The land and the field whose photographs were last looked for.
    photographs_of: Option<(u64, Option<String>)>,
    /// The conditions last sent to be assessed, and for which area.
    asked: Option<(u64, Conditions)>,
    serial: u64,
    /// The files the present area was opened from; empty for the sample.
    request: AreaRequest,
    /// The request being opened, kept once it has opened.
    opening_request: AreaRequest,
    start: StartWith,
    sheet_job: SheetJob,
    /// The sheet last asked for.
    sheet_asked: Option<crate::sheet::Ask>,
    sheet_view: views::sheet::SheetView,
    /// Pages being written.
    pages: pages::Pages,
    flying: circuit::Flying,
    cover_job: CoverJob,
    /// What could not be made is not asked for again.
    cover_failed: cover::Failed,
    cover_unit: HeightUnit,
    climb_out_job: ClimbOutJob,
    climb_out_failed: climb_out::Failed,
    /// The way out is to be shown whole.
    frame_climb_out: bool,
    listed: listed::Listed,
    drill_job: DrillJob,
    /// Gamepads for glides by hand; tests leave those of the machine alone.
    pads: Option<Box<dyn PadReader>>,
    /// The circuits of a drill that is over being flown many times, by the result's identifier.
    drill_many: Asked<String, DrillResult>,
    /// A document of drill sets being read or written.
    drill_document: Asked<DrillCommand, Result<drill::Document, String>>,
    following: follow::Following,
    /// The pilot lets changes be lost.
    closing: bool,
}

impl App {
    /// The window, with the area it starts with being opened.
    ///
    /// # Errors
    /// When the palette cannot be read or the system refuses a thread.
    pub fn new(ctx: &egui::Context, start: StartWith) -> anyhow::Result<Self> {
        let palette = Palette::built_in()?;
        let kept = if start.keep_settings { settings::load() } else { crate::model::Settings::default() };
        let theme = Theme::new(&palette, scheme(kept.night));
        crate::theme::install_fonts(ctx);
        // Tests leave the user's folders alone.
        let own_aircraft = start.keep_settings.then(hangar::own_folder).flatten();
        let (own, unread) = own_aircraft.as_deref().map(hangar::kept).unwrap_or_default();
        let known = sparefield_data::aircraft_file::builtin().into_iter().chain(own).collect();
        let repaint = ctx.clone();
        let assess = AssessJob::start(move || repaint.request_repaint())?;
        let repaint = ctx.clone();
        let sheet_job = SheetJob::start(move || repaint.request_repaint())?;
        let mut app = Self {
            model: Model { today: start.today, ..Model::new(known, kept) },
            map: views::map::MapState::default(),
            derived: views::map_panel::MapDerived::default(),
            palette,
            theme,
            applied: None,
            commands: Vec::new(),
            assess,
            open: None,
            check: CheckJob::default(),
            merge: views::merge::MergeDesk::default(),
            dialog: OpenDialog::default(),
            copying: CopyDialog::default(),
            importing: ImportDialog::default(),
            exporting: ExportDialog::default(),
            card: CardDialog::default(),
            report: PageDialog::new(page_dialog::REPORT),
            climb_out_page: PageDialog::new(page_dialog::CLIMB_OUT),
            fan_page: PageDialog::new(page_dialog::FAN_STOPS),
            fan_job: Asked::default(),
            fan_failed: None,
            layer_export: LayerExportDialog::default(),
            own_aircraft,
            keep: Keep::new(start.keep_settings.then(|| Keep::own_folder().unwrap_or_else(|| PathBuf::from(".")))),
            layer_dialog: OpenDialog::new(Purpose::Layers),
            track_dialog: OpenDialog::new(Purpose::Tracks),
            debriefing: debrief::Debriefing::default(),
            images_to_come: None,
            searching: suggest::Searching::default(),
            layers: LayerJob::default(),
            picking: None,
            photographs_of: None,
            asked: None,
            serial: 0,
            request: AreaRequest::default(),
            opening_request: AreaRequest::default(),
            start: start.clone(),
            sheet_job,
            sheet_asked: None,
            sheet_view: views::sheet::SheetView::default(),
            pages: pages::Pages::default(),
            flying: circuit::Flying::start(ctx)?,
            cover_job: CoverJob::default(),
            cover_failed: cover::Failed::default(),
            cover_unit: HeightUnit::default(),
            climb_out_job: ClimbOutJob::default(),
            climb_out_failed: climb_out::Failed::default(),
            frame_climb_out: false,
            listed: listed::Listed::default(),
            drill_job: DrillJob::default(),
            pads: start.keep_settings.then(|| Box::new(PadJob::default()) as Box<dyn PadReader>),
            drill_many: Asked::default(),
            drill_document: Asked::default(),
            following: follow::Following::default(),
            closing: false,
        };
        for problem in unread {
            app.model.notify(NoticeLevel::Problem, problem);
        }
        if start.files.is_empty() {
            app.open_sample(ctx);
        } else {
            app.open_files(ctx, &Chosen { files: start.files, crs: String::new() });
        }
        Ok(app)
    }

    /// Pushes a command as if the pilot had given it.
    pub fn push(&mut self, command: Command) {
        self.commands.push(command);
    }

    /// Takes gamepads from elsewhere than this machine's devices.
    pub fn read_pads_from(&mut self, pads: Box<dyn PadReader>) {
        self.pads = Some(pads);
    }

    /// Shows a box of the frame (south-west, north-east) whole from the next frame on.
    pub fn show(&mut self, south_west: Xy, north_east: Xy) {
        self.map.show_box(south_west, north_east);
    }

    /// How places of the frame and points of the screen corresponded in the last frame; `None` before the first.
    #[must_use]
    pub fn map_view(&self) -> Option<views::map::View> {
        self.map.last_view()
    }

    /// Takes finished work, applies commands, and asks for what is now needed.
    pub fn logic(&mut self, ctx: &egui::Context) {
        self.take_opened(ctx);
        self.take_assessed();
        self.model.studied = self.assess.studied();
        let repaint = ctx.clone();
        self.check.tend(&mut self.model, move || repaint.request_repaint());
        self.merge.tend(&mut self.model, ctx);
        self.keep_up_with_layers(ctx);
        self.take_dropped(ctx);
        self.shortcuts(ctx);
        self.hold_the_window(ctx);
        for command in std::mem::take(&mut self.commands) {
            match command {
                Command::OpenSample => self.open_sample(ctx),
                Command::OpenFiles(files) => self.open_files(ctx, &Chosen { files, crs: String::new() }),
                Command::ChooseFiles => self.dialog.show(),
                Command::ChooseImport => self.importing.show(),
                Command::ChooseExport => self.exporting.show(&self.suggested_export()),
                Command::ChooseLayerExport if self.model.cover.made.is_some() => {
                    self.layer_export.show(&self.suggested_page("options"));
                }
                Command::ChooseCard if self.model.area.is_some() => {
                    self.card.show(&self.suggested_page("card"), self.model.settings.units);
                }
                Command::Merge(MergeCommand::Ask) => self.merge.ask(),
                Command::Merge(MergeCommand::Compare(files)) => self.merge.compare(&mut self.model, files, ctx),
                Command::ChooseCopy => self.copying.show(&self.suggested_copy()),
                Command::SaveCopy(to) => self.keep.copy(&mut self.model, to, || notify(ctx)),
                Command::KeepAgain => self.keep.try_again(),
                Command::StayOpen => self.model.keeping.asks_to_close = false,
                Command::CloseAnyway => {
                    self.closing = true;
                    ctx.send_viewport_cmd(egui::ViewportCommand::Close);
                }
                Command::Reveal(place) => self.map.reveal(place),
                Command::Circuit(CircuitCommand::Frame) => self.frame_circuit(),
                Command::Debrief(DebriefCommand::Report) => self.report.show(&self.suggested_report()),
                Command::Debrief(command) => self.debrief_command(ctx, &command),
                Command::Drill(command) => {
                    let before = self.model.settings.pilot.clone();
                    self.drill_command(ctx, &command);
                    if before != self.model.settings.pilot && self.start.keep_settings {
                        settings::save(&self.model.settings);
                    }
                }
                Command::Follow(command) => self.follow_command(ctx, &command),
                Command::Suggest(command) => self.suggest_command(ctx, &command),
                Command::Layers(LayersCommand::ChooseFiles) => self.layer_dialog.show(),
                Command::StopOpening => {
                    if let Some(job) = &self.open {
                        job.stop();
                    }
                }
                Command::Sheet(SheetCommand::SavePage(path)) => self.save_sheet(&path),
                Command::Survey(command) => self.survey_command(ctx, &command),
                Command::Cover(command) => self.cover_command(ctx, &command),
                Command::ClimbOut(command) => self.climb_out_command(&command),
                Command::Fan(command) => self.fan_command(ctx, &command),
                other => {
                    let before = self.model.settings.clone();
                    self.model.apply(&other);
                    if let (Command::Select(Some(chosen)), Some(area)) = (&other, &self.model.area)
                        && self.model.mode != Mode::Follow
                        && let Some(field) = area.fields.get(*chosen)
                    {
                        self.map.reveal(field.centroid());
                    }
                    if before != self.model.settings && self.start.keep_settings {
                        settings::save(&self.model.settings);
                    }
                }
            }
        }
        self.follow_live(ctx);
        let recent = self.model.settings.recent.clone();
        self.keep.follow(&mut self.model, || notify(ctx));
        // Whichever way another aircraft came into use, also by undoing.
        let other_aircraft = self.model.settings.aircraft != self.model.conditions.aircraft.name;
        if other_aircraft {
            self.model.settings.aircraft.clone_from(&self.model.conditions.aircraft.name);
        }
        if (other_aircraft || recent != self.model.settings.recent) && self.start.keep_settings {
            settings::save(&self.model.settings);
        }
        if self.applied != Some(scheme(self.model.settings.night)) {
            self.theme = Theme::new(&self.palette, scheme(self.model.settings.night));
            self.theme.apply(ctx);
            self.applied = Some(self.theme.scheme);
        }
        self.ask_to_assess();
        self.follow_sheet();
        self.follow_pages(ctx);
        self.follow_circuit(ctx);
        self.follow_listed(ctx);
        self.follow_debrief(ctx);
        self.follow_drill(ctx);
        self.follow_survey();
        self.follow_suggestions();
        self.follow_cover(ctx);
        self.follow_climb_outs(ctx);
        self.follow_fan_stops(ctx);
    }

    /// Whether a dialogue is open.
    fn is_asking(&self) -> bool {
        self.dialog.is_shown()
            || self.copying.is_shown()
            || self.importing.is_shown()
            || self.exporting.is_shown()
            || self.card.is_shown()
            || self.report.is_shown()
            || self.climb_out_page.is_shown()
            || self.fan_page.is_shown()
            || self.layer_export.is_shown()
            || self.layer_dialog.is_shown()
            || self.track_dialog.is_shown()
            || self.merge.is_asking()
            || self.model.keeping.asks_to_close
    }

    /// Where a copy might go: beside the area's file, under another name.
    fn suggested_copy(&self) -> PathBuf {
        match (&self.model.keeping.path, &self.model.area) {
            (Some(path), _) => {
                let stem = path.file_stem().unwrap_or_default().to_string_lossy();
                path.with_file_name(format!("{stem} copy.gpkg"))
            }
            (None, Some(area)) => self.keep.new_name(&area.title),
            (None, None) => PathBuf::new(),
        }
    }

    /// Where fields for other programs might go: beside the area's file.
    fn suggested_export(&self) -> PathBuf {
        let title = self.model.area.as_ref().map_or("Area", |area| area.title.as_str());
        let name = format!("{title} fields");
        self.model.keeping.path.as_ref().map_or_else(|| PathBuf::from(&name), |path| path.with_file_name(&name))
    }

    /// Where a page about the area might go: beside the area's file, or else into the user's documents.
    fn suggested_page(&self, what: &str) -> PathBuf {
        let title = self.model.area.as_ref().map_or("Area", |area| area.title.as_str());
        page_place::suggested(title, what, self.model.keeping.path.as_deref())
    }

    /// Where the report of the open sortie might go.
    fn suggested_report(&self) -> PathBuf {
        let made = self.model.debrief.made.as_ref();
        let began = made.and_then(|m| m.key.sortie.started).map(|t| t.strftime("%Y-%m-%d").to_string());
        page_place::suggested(
            &began.unwrap_or_else(|| "Sortie".to_owned()),
            "debrief",
            self.model.keeping.path.as_deref(),
        )
    }

    /// Keeps the window open until every change is in the file, or the pilot says that it may be lost.
    fn hold_the_window(&mut self, ctx: &egui::Context) {
        if ctx.input(|i| i.viewport().close_requested()) && self.is_recording() && !self.closing {
            self.finish_recording();
            self.keep.follow(&mut self.model, || notify(ctx));
        }
        let unfinished = self.model.annotating.is_drawing();
        let keeping = &mut self.model.keeping;
        let would_lose = keeping.waiting > 0 || unfinished;
        if ctx.input(|i| i.viewport().close_requested()) && would_lose && !self.closing {
            ctx.send_viewport_cmd(egui::ViewportCommand::CancelClose);
            keeping.asks_to_close = true;
        } else if keeping.asks_to_close && !would_lose {
            keeping.asks_to_close = false;
            ctx.send_viewport_cmd(egui::ViewportCommand::Close);
        }
    }

    fn take_assessed(&mut self) {
        for outcome in self.assess.take_done() {
            if outcome.area_revision != self.model.area_revision {
                continue;
            }
            match outcome.result {
                Ok(answer) => {
                    let behind = outcome.land_revision != self.model.land_revision;
                    self.model.assessment = match &self.model.area {
                        Some(area) if behind => Some(Arc::new(answer.assessment.carried_over(&area.fields))),
                        _ => Some(answer.assessment),
                    };
                    self.model.rings = answer.rings;
                    self.model.cannot_assess = None;
                }
                Err(why) => {
                    self.model.assessment = None;
                    self.model.cannot_assess = Some(why);
                }
            }
            if outcome.serial == self.serial {
                self.model.assessing = false;
            }
            self.note_answered(outcome.serial);
        }
    }

    fn ask_to_assess(&mut self) {
        let Some(area) = &self.model.area else { return };
        let now = (self.model.land_revision, self.model.conditions.clone());
        if self.asked.as_ref() == Some(&now) {
            self.note_unchanged();
            return;
        }
        self.serial += 1;
        self.model.assessing = true;
        self.assess.request(AssessRequest {
            area_revision: self.model.area_revision,
            land_revision: self.model.land_revision,
            serial: self.serial,
            area: Arc::clone(area),
            conditions: self.model.conditions.to_assess(self.start.today),
        });
        self.asked = Some(now);
        self.note_asked(self.serial);
    }

    fn shortcuts(&mut self, ctx: &egui::Context) {
        let redo_shift = Modifiers::COMMAND | Modifiers::SHIFT;
        let mut pressed = Vec::new();
        let mut quit = false;
        ctx.input_mut(|i| {
            quit = i.consume_key(Modifiers::COMMAND, Key::Q);
            if i.consume_key(Modifiers::COMMAND, Key::O) {
                pressed.push(Command::ChooseFiles);
            }
            if i.consume_key(Modifiers::COMMAND, Key::P) {
                pressed.push(Command::ChooseCard);
            }
            if i.consume_key(redo_shift, Key::Z) || i.consume_key(Modifiers::COMMAND, Key::Y) {
                pressed.push(Command::Redo);
            }
            if i.consume_key(Modifiers::COMMAND, Key::Z) {
                pressed.push(Command::Undo);
            }
        });
        if quit {
            ctx.send_viewport_cmd(egui::ViewportCommand::Close);
        }
        // A list that Escape closes is gone once the map is drawn.
        self.model.asking = self.is_asking() || egui::Popup::is_any_open(ctx);
        let typing = ctx.text_edit_focused() || self.model.asking;
        self.sheet_keys(ctx, typing);
        self.circuit_keys(ctx, typing);
        self.debrief_keys(ctx, typing);
        self.drill_keys(ctx, typing);
        let rehearsing = self.model.looks();
        if rehearsing
            && !typing
            && self.model.selected.is_some()
            && ctx.input_mut(|i| i.consume_key(Modifiers::NONE, Key::Escape))
        {
            pressed.push(Command::Select(None));
        }
        self.cover_keys(ctx, typing);
        if !typing && ctx.input_mut(|i| i.consume_key(Modifiers::NONE, Key::L)) {
            pressed.push(Command::Layers(LayersCommand::ShowPanel(!self.model.layers.panel)));
        }
        self.commands.extend(pressed);
    }

    /// Draws the window.
    pub fn draw(&mut self, ui: &mut egui::Ui) {
        let ctx = ui.ctx().clone();
        let c = &self.theme.colours;
        let panel = egui::Frame::new().fill(c.panel).inner_margin(12);
        egui::Panel::left("column").exact_size(COLUMN).resizable(false).frame(panel).show(ui, |ui| {
            let theme = &self.theme;
            views::furniture::header(ui, &self.model, theme, &mut self.commands);
            ui.separator();
            if self.model.mode == Mode::Rehearse {
                views::drill::pages(ui, &self.model, theme, &mut self.commands);
            }
            if self.model.looks() {
                views::conditions::conditions(ui, &self.model, theme, &mut self.commands);
                ui.separator();
            }
            egui::Panel::bottom("cautions").frame(egui::Frame::new().inner_margin(4)).show(ui, |ui| {
                views::furniture::cautions(ui, &self.model, theme);
            });
            // What is below the conditions in a low window is the list's; messages then stand on the map.
            if ui.available_height() < views::furniture::ROOM_FOR_NOTICES {
                views::furniture::notices_on_map(&ctx, COLUMN, &self.model, theme, &mut self.commands);
            } else {
                views::furniture::notices(ui, &self.model, theme, &mut self.commands);
            }
            match self.model.mode {
                Mode::Annotate => {
                    views::annotate::panel::annotate_panel(ui, &self.model, theme, &mut self.commands);
                }
                Mode::Rehearse if self.model.drills() => {
                    views::drill::panel(ui, &self.model, theme, &mut self.commands);
                }
                Mode::Rehearse if self.model.climbs_out() => {
                    views::climb_out::panel(ui, &self.model, theme, &mut self.commands);
                }
                Mode::Rehearse => views::list::ranked_list(ui, &self.model, theme, &mut self.commands),
                Mode::Debrief => views::debrief::panel(ui, &self.model, theme, &mut self.commands),
                Mode::Follow => views::follow::panel(ui, &self.model, theme, &mut self.commands),
            }
        });
        views::merge::drawer(ui, &self.model, &self.theme, &mut self.commands);
        views::annotate::findings::panel(ui, &self.model, &self.theme, &mut self.commands);
        let rehearsing = self.model.looks();
        views::drill::drawer(ui, &self.model, &self.theme, &mut self.commands);
        views::climb_out::drawer(ui, &self.model, &self.theme, &mut self.commands);
        views::options::drawer(ui, &self.model, &self.theme, &mut self.commands);
        views::circuit::drawer(ui, &self.model, &self.theme, &mut self.commands);
        views::debrief::drawer(ui, &self.model, &self.theme, &mut self.commands);
        let has_sorties = self.model.area.as_ref().is_some_and(|a| !a.sorties.is_empty());
        if self.model.mode == Mode::Debrief && (self.model.debrief.made.is_some() || has_sorties) {
            // The map stays wide enough to see a circuit in.
            let width = CARD.min(0.3 * ctx.content_rect().width());
            egui::Panel::right("debrief card").exact_size(width).resizable(false).frame(panel).show(ui, |ui| {
                views::debrief::card(ui, &self.model, &self.theme, &mut self.commands);
            });
        }
        // The sheet tells more of the same field, and needs the room.
        let room = rehearsing && self.model.sheet.is_none();
        if room && self.model.selected.is_some() && self.model.assessment.is_some() {
            egui::Panel::right("card").exact_size(CARD).resizable(false).frame(panel).show(ui, |ui| {
                views::card::card(ui, &self.model, &self.theme, &mut self.commands);
            });
        }
        if self.model.mode == Mode::Annotate {
            // Before the map, so that Escape closes it first.
            views::annotate::check_round::check_round(&ctx, &self.model, &self.theme, &mut self.commands);
        }
        if self.model.sheet.is_some() {
            let margin = egui::Margin { left: 14, right: 6, top: 10, bottom: 4 };
            egui::CentralPanel::default().frame(egui::Frame::new().fill(c.panel).inner_margin(margin)).show(ui, |ui| {
                views::sheet::sheet(ui, &self.model, &mut self.sheet_view, &self.theme, &mut self.commands);
            });
        } else {
            self.draw_map(ui);
        }
        self.merge.dialog(&ctx, &self.theme, &mut self.commands);
        if let Some(chosen) = self.dialog.ui(&ctx, &self.theme) {
            self.open_files(&ctx, &chosen);
        }
        if let Some(chosen) = self.track_dialog.ui(&ctx, &self.theme) {
            self.commands.push(Command::Debrief(DebriefCommand::Add(chosen.files)));
        }
        if let Some(to) = self.copying.ui(&ctx) {
            self.commands.push(Command::SaveCopy(to));
        }
        if let Some(area) = self.model.area.clone() {
            self.importing.ui(&ctx, &self.theme, &area, &mut self.commands);
            if let Some((level, words)) = self.exporting.ui(&ctx, &area) {
                self.model.notify(level, words);
            }
            let (conditions, units) = (&self.model.conditions, self.model.settings.units);
            let of = || CardOf { area, conditions: conditions.to_assess(self.start.today), units };
            if let Some((level, words)) = self.card.ui(&ctx, &self.palette, of) {
                self.model.notify(level, words);
            }
        }
        let units = self.model.settings.units;
        let report = self.model.debrief.made.clone().map(|made| move || Ok(made.report(units)));
        if let Some((level, words)) = self.report.ui(&ctx, &self.palette, report) {
            self.model.notify(level, words);
        }
        let climb_out = self.model.climb_outs.made.clone().zip(self.model.climb_out_end());
        let climb_out = climb_out.map(|(made, end)| move || made.page(end, units));
        if let Some((level, words)) = self.climb_out_page.ui(&ctx, &self.palette, climb_out) {
            self.model.notify(level, words);
        }
        let fan_page = self.model.fan_page(units);
        if let Some((level, words)) = self.fan_page.ui(&ctx, &self.palette, fan_page) {
            self.model.notify(level, words);
        }
        let height_agl_m = self.model.cover.height_agl_m;
        let layers_of = self.model.cover.made.clone().map(|made| LayersOf { made, height_agl_m, units });
        if let Some((level, words)) = self.layer_export.ui(&ctx, layers_of) {
            self.model.notify(level, words);
        }
        views::area_menu::ask_to_close(&ctx, &self.model, &mut self.commands);
        if !self.commands.is_empty() {
            ctx.request_repaint();
        }
    }

    fn draw_map(&mut self, ui: &mut egui::Ui) {
        self.centre_map();
        let fill = self.theme.colours.outside;
        let map = egui::CentralPanel::default().frame(egui::Frame::new().fill(fill)).show(ui, |ui| {
            let rect = ui.max_rect();
            let (model, theme) = (&self.model, &self.theme);
            views::map_panel::map_panel(ui, model, &mut self.map, &mut self.derived, theme, &mut self.commands);
            rect
        });
        let sample = self.model.area.as_ref().is_some_and(|a| a.is_sample);
        let rehearsing = self.model.looks();
        let first_steps = sample && rehearsing && self.model.settings.show_first_steps;
        if first_steps && !self.dialog.is_shown() {
            views::furniture::first_steps(ui.ctx(), map.inner, &self.theme, &mut self.commands);
        }
        views::options::panel(ui.ctx(), map.inner, &self.model, &self.theme, &mut self.commands);
        views::layers::layers(ui.ctx(), map.inner, &self.model, &self.theme, &mut self.commands);
        if let Some(chosen) = self.layer_dialog.ui(ui.ctx(), &self.theme) {
            self.add_layers(&chosen);
        }
    }
}

fn notify(ctx: &egui::Context) -> Notify {
    let ctx = ctx.clone();
    Box::new(move || ctx.request_repaint())
}

fn scheme(night: bool) -> Scheme {
    if night { Scheme::Night } else { Scheme::Day }
}

impl eframe::App for App {
    fn logic(&mut self, ctx: &egui::Context, _frame: &mut eframe::Frame) {
        Self::logic(self, ctx);
    }
    fn ui(&mut self, ui: &mut egui::Ui, _frame: &mut eframe::Frame) {
        self.draw(ui);
    }
}
