//! The question with which area to merge; reading and comparing it is a job.

use crate::command::Command;
use crate::jobs::Once;
use crate::model::{MergeCommand, MergeFiles, Merging, Model, NoticeLevel};
use crate::open_dialog::pick_files;
use crate::theme::Theme;
use crate::views::dialog::Dialog;
use egui::{RichText, TextEdit};
use sparefield_data::merge::{Land, Merge, MergeOptions};
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, TryRecvError};

/// What the job gives: the comparison with what was noted while reading, or one sentence.
type Compared = Result<(Merge, Vec<String>), String>;

/// Where a merge starts.
#[derive(Default)]
pub struct MergeDesk {
    asking: bool,
    focus: bool,
    theirs: String,
    base: String,
    picking: Option<(bool, Receiver<Vec<PathBuf>>)>,
    running: Option<Running>,
}

struct Running {
    files: MergeFiles,
    area_revision: u64,
    land_revision: u64,
    job: Once<Compared>,
}

fn paths(text: &str) -> Vec<PathBuf> {
    text.lines().map(str::trim).filter(|l| !l.is_empty()).map(PathBuf::from).collect()
}

impl MergeDesk {
    /// Shows the question.
    pub fn ask(&mut self) {
        self.asking = true;
        self.focus = true;
    }

    /// Whether the question is shown.
    #[must_use]
    pub fn is_asking(&self) -> bool {
        self.asking
    }

    /// Starts to read and compare.
    pub fn compare(&mut self, model: &mut Model, files: MergeFiles, ctx: &egui::Context) {
        let Some(area) = model.area.clone() else { return };
        let options = MergeOptions { units: model.settings.units };
        let wanted = files.clone();
        let work = move || -> Compared {
            let read = |files: &[PathBuf]| Land::read(files, Some(&area.frame)).map_err(|e| e.to_string());
            let theirs = read(&wanted.theirs)?;
            let base = if wanted.base.is_empty() { None } else { Some(read(&wanted.base)?) };
            let mut notes: Vec<String> = theirs.warnings.iter().map(ToString::to_string).collect();
            notes.extend(base.iter().flat_map(|b| b.warnings.iter().map(ToString::to_string)));
            let mine = Land::from(&*area);
            let merge = Merge::between(&mine, &theirs.value, base.as_ref().map(|b| &b.value), &options);
            let merge = merge.map_err(|e| e.to_string())?;
            notes.extend(merge.notes().iter().cloned());
            Ok((merge, notes))
        };
        let repaint = ctx.clone();
        match Once::start("merge", work, move || repaint.request_repaint()) {
            Ok(job) => {
                let (area_revision, land_revision) = (model.area_revision, model.land_revision);
                self.running = Some(Running { files, area_revision, land_revision, job });
            }
            Err(e) => model.notify(NoticeLevel::Problem, format!("The system refused a thread: {e}")),
        }
    }

    /// Takes a comparison that is ready.
    pub fn tend(&mut self, model: &mut Model, ctx: &egui::Context) {
        let Some(running) = &self.running else { return };
        let Some(answer) = running.job.poll() else { return };
        let Some(Running { files, area_revision, land_revision, .. }) = self.running.take() else { return };
        if area_revision != model.area_revision {
            return;
        }
        match answer {
            Ok(Ok((merge, notes))) => {
                for note in notes {
                    model.notify(NoticeLevel::Info, note);
                }
                let name = |p: &PathBuf| p.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
                let whose = files.theirs.first().map_or_else(String::new, name);
                if merge.differences().is_empty() {
                    model.notify(NoticeLevel::Info, format!("Nothing in {whose} differs from this area."));
                    model.merging = None;
                } else {
                    model.merging = Some(Merging::new(merge, whose, files, land_revision));
                }
            }
            Ok(Err(why)) => model.notify(NoticeLevel::Problem, why),
            Err(why) => model.notify(NoticeLevel::Problem, format!("Comparing the areas: {why}.")),
        }
        ctx.request_repaint();
    }

    /// Draws the question.
    pub fn dialog(&mut self, ctx: &egui::Context, theme: &Theme, commands: &mut Vec<Command>) {
        self.take_picked();
        if !self.asking {
            return;
        }
        let shown = Dialog::new("Merge with another area").show(ctx, |ui| {
            ui.label("Every difference is shown before anything changes, and one undo takes the whole merge back.");
            self.files(ui, false);
            self.files(ui, true);
            let note = "A common ancestor is what both came from: a backup, or the copy you handed out. With it, what \
                        only one of you changed is known.";
            ui.label(RichText::new(note).size(theme.sizes.small).color(theme.colours.ink_soft));
            ui.add_space(6.0);
            ui.horizontal(|ui| {
                let files = MergeFiles { theirs: paths(&self.theirs), base: paths(&self.base) };
                let ready = !files.theirs.is_empty();
                if ui.add_enabled(ready, egui::Button::new("Compare")).clicked() {
                    commands.push(Command::Merge(MergeCommand::Compare(files)));
                    self.asking = false;
                }
                if ui.button("Cancel").clicked() {
                    self.asking = false;
                }
            });
        });
        if !shown {
            self.asking = false;
        }
    }

    fn files(&mut self, ui: &mut egui::Ui, of_base: bool) {
        let name = if of_base {
            "The common ancestor's files, if there is one"
        } else {
            "Their area file, or their fields and hazards (Shapefile, GeoJSON, KML, GeoPackage, GPX), one on each line"
        };
        let label = ui.label(name);
        let text = if of_base { &mut self.base } else { &mut self.theirs };
        let rows = if of_base { 1 } else { 3 };
        let edit = ui.add(TextEdit::multiline(text).desired_rows(rows).desired_width(f32::INFINITY));
        let edit = edit.labelled_by(label.id);
        if !of_base && std::mem::take(&mut self.focus) {
            edit.request_focus();
        }
        let button = egui::Button::new(if of_base { "Choose the ancestor…" } else { "Choose their files…" });
        if ui.add_enabled(self.picking.is_none(), button).clicked() {
            self.picking = pick_files("Merge in Sparefield", ui.ctx().clone()).map(|picked| (of_base, picked));
        }
    }

    fn take_picked(&mut self) {
        let Some((of_base, picking)) = &self.picking else { return };
        match picking.try_recv() {
            Ok(files) => {
                let text = if *of_base { &mut self.base } else { &mut self.theirs };
                for file in files {
                    if !text.is_empty() && !text.ends_with('\n') {
                        text.push('\n');
                    }
                    text.push_str(&file.to_string_lossy());
                }
                self.picking = None;
            }
            Err(TryRecvError::Empty) => {}
            Err(TryRecvError::Disconnected) => self.picking = None,
        }
    }
}
