//! Opening areas and files: what each file is, what becomes of it, and what a finished opening changes.

use super::{App, FIRST_VIEW_M, notify};
use crate::command::Command;
use crate::jobs::{OpenJob, OpenOutcome, OpenWhat, Opened};
use crate::model::{DebriefCommand, Mode, NoticeLevel, Opening};
use crate::open_dialog::Chosen;
use crate::settings;
use sparefield_data::area::{AreaRequest, classify};
use sparefield_data::area_file::TerrainSource;
use sparefield_data::imagery;
use sparefield_geometry::position::Xy;
use std::path::PathBuf;
use std::sync::Arc;

impl App {
    /// Says whether the present area may be left; where it may not, why.
    pub(super) fn may_leave(&mut self) -> bool {
        let stuck = self.model.keeping.waiting > 0 && self.model.keeping.problem.is_some();
        if stuck {
            let words =
                "Changes of this area are not kept yet; keep them, or save a copy, before another area is opened.";
            self.model.notify(NoticeLevel::Problem, words);
        }
        !stuck
    }

    pub(super) fn take_opened(&mut self, ctx: &egui::Context) {
        let Some(job) = &self.open else { return };
        match job.poll() {
            OpenOutcome::Running(share) => {
                if let Some(opening) = &mut self.model.opening {
                    opening.share = share;
                }
                return;
            }
            OpenOutcome::Opened(Opened::Addition(edit, warnings)) => {
                for warning in warnings {
                    self.model.notify(NoticeLevel::Info, warning.to_string());
                }
                self.commands.push(Command::Edit(Box::new(edit)));
            }
            OpenOutcome::Opened(Opened::Area(area, file)) => {
                self.request = std::mem::take(&mut self.opening_request);
                let terrain = match &self.request {
                    _ if area.is_sample => TerrainSource::Sample,
                    AreaRequest { terrain, crs, grid_m, .. } => {
                        TerrainSource::Files { files: terrain.clone(), crs: crs.clone(), grid_m: *grid_m }
                    }
                };
                self.model.take_area(area);
                if let Some(images) = self.images_to_come.take() {
                    self.add_layers(&images);
                }
                if let Some(file) = &file {
                    self.model.settings.remember(file.path());
                    if self.start.keep_settings {
                        settings::save(&self.model.settings);
                    }
                }
                self.keep.opened(&mut self.model, file.map(|f| *f), terrain, notify(ctx));
                // What was pointed at or moved in this frame belongs to the area before.
                self.commands.retain(|c| {
                    !matches!(
                        c,
                        Command::Select(_)
                            | Command::Hover(_)
                            | Command::MoveAircraft(_)
                            | Command::Undo
                            | Command::Redo
                    )
                });
                let (here, around) = (self.model.conditions.position, Xy::new(FIRST_VIEW_M, FIRST_VIEW_M));
                self.map.show_box(here - around, here + around);
            }
            OpenOutcome::Failed(why) => self.model.notify(NoticeLevel::Problem, in_window(&why)),
            OpenOutcome::Stopped => self.model.notify(NoticeLevel::Info, "Opening was stopped; nothing has changed."),
        }
        self.open = None;
        self.model.opening = None;
    }

    pub(super) fn open_area_file(&mut self, ctx: &egui::Context, path: PathBuf, terrain: Vec<PathBuf>) {
        if !self.may_leave() {
            return;
        }
        if self.model.keeping.path.as_deref() == Some(path.as_path()) {
            // It is locked while it is open, also for this window.
            self.keep.let_go(&mut self.model);
        }
        self.opening_request = AreaRequest::default();
        let words = format!("Opening {}", path.file_name().unwrap_or_default().to_string_lossy());
        self.start_opening(ctx, OpenWhat::AreaFile { path, terrain, today: self.start.today }, &words);
    }

    pub(super) fn open_sample(&mut self, ctx: &egui::Context) {
        if !self.may_leave() {
            return;
        }
        self.opening_request = AreaRequest::default();
        self.start_opening(ctx, OpenWhat::Sample, "Opening the sample area");
    }

    pub(super) fn open_files(&mut self, ctx: &egui::Context, chosen: &Chosen) {
        // Images are no part of the ground to compute with: they join the layers under the fields.
        let is_image = |p: &PathBuf| matches!(imagery::recognise(p), Ok(Some(_)));
        let (images, files): (Vec<PathBuf>, Vec<PathBuf>) = chosen.files.iter().cloned().partition(is_image);
        let crs = chosen.crs.clone();
        let images = Chosen { files: images, crs: crs.clone() };
        let chosen = &Chosen { files, crs };
        let is_aircraft = |p: &PathBuf| p.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml"));
        let (aircraft, land): (Vec<PathBuf>, Vec<PathBuf>) = chosen.files.iter().cloned().partition(is_aircraft);
        for path in aircraft {
            self.take_aircraft(&path);
        }
        let found = classify(&land);
        if found.terrain.is_empty() && found.areas.is_empty() {
            self.add_layers(&images);
        } else {
            // They belong to the area that is opened with them.
            self.images_to_come = Some(images);
        }
        if land.is_empty() {
            return;
        }
        if let Some(file) = found.areas.first() {
            for passed_over in &found.areas[1..] {
                let words = format!("{}: one area is open at a time; open it by itself", passed_over.display());
                self.model.notify(NoticeLevel::Problem, words);
            }
            self.open_area_file(ctx, file.clone(), found.terrain);
            return;
        }
        for refused in &found.refused {
            self.model.notify(NoticeLevel::Problem, in_window(&refused.to_string()));
        }
        // Terrain starts a new area; fields or hazards alone join the terrain that is open.
        let mut request = if found.terrain.is_empty() { self.request.clone() } else { AreaRequest::default() };
        // The same file again is read anew, not twice.
        for (files, more) in [
            (&mut request.terrain, &found.terrain),
            (&mut request.fields, &found.fields),
            (&mut request.hazards, &found.hazards),
            (&mut request.edges, &found.edges),
        ] {
            files.extend(more.iter().filter(|f| !files.contains(f)).cloned().collect::<Vec<_>>());
        }
        let found_land = [&found.terrain, &found.fields, &found.hazards, &found.edges];
        if found_land.iter().all(|files| files.is_empty()) {
            return;
        }
        // An area that was changed, or has a file, is not read anew: what is dropped on it is a change of it.
        let changed = self.model.keeping.path.is_some() || !self.model.unsaved.is_empty();
        if let (true, true, Some(area)) = (found.terrain.is_empty(), changed, &self.model.area) {
            let crs = (!chosen.crs.is_empty()).then(|| chosen.crs.clone());
            let (fields, hazards, edges) = (found.fields, found.hazards, found.edges);
            let more = AreaRequest { fields, hazards, edges, crs, ..AreaRequest::default() };
            let what = OpenWhat::Import(Arc::clone(area), Box::new(more));
            self.start_opening(ctx, what, "Adding to the area");
            return;
        }
        if !self.may_leave() {
            return;
        }
        if request.terrain.is_empty() {
            self.model.notify(
                NoticeLevel::Problem,
                "Fields and hazards need terrain under them; open or drop the terrain file together with them.",
            );
            return;
        }
        if !chosen.crs.is_empty() {
            request.crs = Some(chosen.crs.clone());
        }
        let what = match chosen.files.as_slice() {
            [one] => format!("Opening {}", one.file_name().unwrap_or_default().to_string_lossy()),
            many => format!("Opening {} files", many.len()),
        };
        self.opening_request = request.clone();
        self.start_opening(ctx, OpenWhat::Files(Box::new(request)), &what);
    }

    pub(super) fn take_aircraft(&mut self, path: &std::path::Path) {
        match sparefield_data::aircraft_file::load(path) {
            Ok(loaded) => {
                for w in &loaded.warnings {
                    self.model.notify(NoticeLevel::Info, w.to_string());
                }
                self.commands.push(Command::AddAircraft(Arc::new(loaded.value)));
            }
            Err(e) => self.model.notify(NoticeLevel::Problem, e.to_string()),
        }
    }

    pub(super) fn start_opening(&mut self, ctx: &egui::Context, what: OpenWhat, words: &str) {
        if let Some(job) = self.open.take() {
            job.stop();
        }
        let repaint = ctx.clone();
        match OpenJob::start(what, move || repaint.request_repaint()) {
            Ok(job) => {
                self.open = Some(job);
                self.model.opening = Some(Opening { what: words.to_owned(), share: 0.0 });
            }
            Err(e) => self.model.notify(NoticeLevel::Problem, format!("The system refused a thread: {e}")),
        }
    }

    pub(super) fn take_dropped(&mut self, ctx: &egui::Context) {
        let files: Vec<PathBuf> = ctx.input(|i| {
            i.raw.dropped_files.iter().map(|f| f.path().to_owned()).filter(|p| !p.as_os_str().is_empty()).collect()
        });
        if !files.is_empty() {
            let command = if self.are_tracks(&files) {
                Command::Debrief(DebriefCommand::Add(files))
            } else {
                Command::OpenFiles(files)
            };
            self.commands.push(command);
        }
    }

    /// Whether dropped files are recorded flights: by their names, and in Debrief whatever might be one.
    fn are_tracks(&self, files: &[PathBuf]) -> bool {
        let ending = |p: &PathBuf| p.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
        let debriefing = self.model.mode == Mode::Debrief;
        files.iter().all(|p| match ending(p).as_str() {
            "igc" | "nmea" => true,
            "gpx" | "kml" | "kmz" | "csv" | "txt" | "log" => debriefing,
            _ => false,
        })
    }
}

/// A message of the command line's in the words of the window.
fn in_window(text: &str) -> String {
    text.replace("with --crs EPSG:code", "in the Open window, such as EPSG:27700")
        .replace("with --crs, such as --crs ", "in the Open window, such as ")
        .replace("--crs: ", "Reference system: ")
}
