//! Taking fields from a file of another program: choose it, look at it, say what its columns mean, add it in one step.

mod columns;
mod picture;
mod work;

use crate::command::Command;
use crate::jobs::Once;
use crate::theme::Theme;
use crate::views::dialog::Dialog;
use egui::{ComboBox, RichText, ScrollArea, TextEdit, Ui, Vec2};
use sparefield_data::area::Area;
use sparefield_data::frame::Crs;
use sparefield_data::vector::{Mapping, Purpose};
use sparefield_geometry::position::Xy;
use std::path::PathBuf;
use std::sync::Arc;
use work::{Addition, Looked};

/// The dialogue's state.
#[derive(Default)]
pub struct ImportDialog {
    shown: bool,
    focus: bool,
    name: String,
    picking: Option<Once<Option<PathBuf>>>,
    looking: Option<Once<Result<Looked, String>>>,
    problem: Option<String>,
    open: Option<OpenFile>,
}

/// A file that was looked at, and what was said about it.
struct OpenFile {
    looked: Looked,
    /// One for each layer of the preview.
    mappings: Vec<Mapping>,
    /// The layer that is looked at.
    layer: usize,
    /// The reference system as typed; empty for what the file states.
    crs: String,
    keep_known: bool,
    /// What was last worked out, or is being.
    asked: Option<Question>,
    working: Option<Once<Result<Addition, String>>>,
    addition: Option<Result<Addition, String>>,
    present: Vec<Vec<Xy>>,
}

/// What an addition depends on.
#[derive(Clone)]
struct Question {
    area: Arc<Area>,
    mappings: Vec<Mapping>,
    keep_known: bool,
}

impl PartialEq for Question {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.area, &other.area) && self.keep_known == other.keep_known && self.mappings == other.mappings
    }
}

impl ImportDialog {
    /// Shows it, without a file.
    pub fn show(&mut self) {
        *self = Self { shown: true, focus: true, ..Self::default() };
    }

    /// Whether it is shown.
    #[must_use]
    pub fn is_shown(&self) -> bool {
        self.shown
    }

    /// Draws it; pushes the change once the pilot wants it.
    pub fn ui(&mut self, ctx: &egui::Context, theme: &Theme, area: &Arc<Area>, commands: &mut Vec<Command>) {
        if !self.shown {
            return;
        }
        self.take_finished(ctx);
        if let Some(open) = &mut self.open {
            open.ask(ctx, area);
        }
        let size = ctx.content_rect().size();
        let shown = Dialog::new("Import from a file").wide(980.0).show(ctx, |ui| {
            self.choose(ui);
            if let Some(problem) = &self.problem {
                ui.label(RichText::new(problem).color(theme.colours.caution));
            }
            let mut add = false;
            if let Some(open) = &mut self.open {
                ui.separator();
                // What comes of it stays in sight below.
                let height = (size.y - 400.0).max(140.0);
                ScrollArea::vertical()
                    .id_salt("import")
                    .max_height(height)
                    .auto_shrink([false, true])
                    .show(ui, |ui| open.ui(ui, theme));
                ui.separator();
                open.outcome(ui, theme);
            }
            ui.separator();
            ui.horizontal(|ui| {
                let ready = self.open.as_ref().is_some_and(OpenFile::is_ready);
                if ui.add_enabled(ready, egui::Button::new("Add to the area")).clicked() {
                    add = true;
                }
                if ui.button("Cancel").clicked() {
                    self.shown = false;
                }
                if self.open.as_ref().is_some_and(|o| o.working.is_some()) || self.looking.is_some() {
                    ui.spinner();
                }
            });
            if add && let Some(Some(Ok(addition))) = self.open.take().map(|o| o.addition) {
                commands.push(Command::Edit(Box::new(addition.edit)));
                self.shown = false;
            }
        });
        if !shown {
            self.shown = false;
        }
    }

    fn take_finished(&mut self, ctx: &egui::Context) {
        if let Some(answer) = self.picking.as_ref().and_then(Once::poll) {
            self.picking = None;
            if let Ok(Some(path)) = answer {
                self.name = path.display().to_string();
                self.look(ctx);
            }
        }
        if let Some(answer) = self.looking.as_ref().and_then(Once::poll) {
            self.looking = None;
            match answer.unwrap_or_else(|why| Err(why.to_string())) {
                Ok(looked) => self.open = Some(OpenFile::new(looked)),
                Err(why) => self.problem = Some(why),
            }
        }
    }

    fn choose(&mut self, ui: &mut Ui) {
        let label = ui.label("File (Shapefile, GeoJSON, KML, KMZ, GeoPackage or GPX)");
        ui.horizontal(|ui| {
            let edit = ui.add(TextEdit::singleline(&mut self.name).desired_width(ui.available_width() - 190.0));
            let edit = edit.labelled_by(label.id);
            if std::mem::take(&mut self.focus) {
                edit.request_focus();
            }
            let named = !self.name.trim().is_empty() && self.looking.is_none();
            let entered = edit.lost_focus() && ui.input(|i| i.key_pressed(egui::Key::Enter));
            if ui.add_enabled(named, egui::Button::new("Look at it")).clicked() || (entered && named) {
                self.look(ui.ctx());
            }
            if ui.add_enabled(self.picking.is_none(), egui::Button::new("Choose…")).clicked() {
                let dialog = rfd::AsyncFileDialog::new().set_title("Import from a file").pick_file();
                let work = move || pollster::block_on(dialog).map(|f| f.path().to_owned());
                self.picking = started(Once::start("choose a file", work, repaint(ui.ctx())));
            }
        });
    }

    fn look(&mut self, ctx: &egui::Context) {
        (self.open, self.problem) = (None, None);
        let path = PathBuf::from(self.name.trim());
        self.looking = started(Once::start("look at a file", move || work::look(&path), repaint(ctx)));
    }
}

fn repaint(ctx: &egui::Context) -> impl FnOnce() + Send + 'static {
    let ctx = ctx.clone();
    move || ctx.request_repaint()
}

fn started<T>(job: std::io::Result<T>) -> Option<T> {
    job.map_err(|e| log::error!("the system refused a thread: {e}")).ok()
}

impl OpenFile {
    fn new(looked: Looked) -> Self {
        let mappings = looked.preview.layers.iter().map(|l| l.guess.clone()).collect();
        Self {
            looked,
            mappings,
            layer: 0,
            crs: String::new(),
            keep_known: false,
            asked: None,
            working: None,
            addition: None,
            present: Vec::new(),
        }
    }

    /// Whether what was worked out is what is shown, and adds something.
    fn is_ready(&self) -> bool {
        self.working.is_none() && matches!(&self.addition, Some(Ok(a)) if !a.edit.changes.is_empty())
    }

    /// Works out anew what would be added when something that it depends on has changed.
    fn ask(&mut self, ctx: &egui::Context, area: &Arc<Area>) {
        if let Some(answer) = self.working.as_ref().and_then(Once::poll) {
            self.working = None;
            self.addition = Some(answer.unwrap_or_else(|why| Err(why.to_string())));
        }
        let mut mappings = self.mappings.clone();
        let typed = self.crs.trim();
        if !typed.is_empty() {
            match Crs::from_user(typed) {
                Ok(crs) => mappings.iter_mut().for_each(|m| m.crs = Some(crs.clone())),
                Err(e) => {
                    self.asked = None;
                    self.working = None;
                    self.addition = Some(Err(e.to_string()));
                    return;
                }
            }
        }
        let question = Question { area: Arc::clone(area), mappings, keep_known: self.keep_known };
        if self.asked.as_ref() == Some(&question) {
            return;
        }
        self.present = work::present_picture(area);
        self.asked = Some(question.clone());
        let file = Arc::clone(&self.looked.file);
        let work = move || work::work_out(&file, &question.area, &question.mappings, !question.keep_known);
        self.working = started(Once::start("import", work, repaint(ctx)));
    }

    fn ui(&mut self, ui: &mut Ui, theme: &Theme) {
        let preview = Arc::clone(&self.looked.preview);
        let small = |text: String| RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft);
        ui.horizontal(|ui| {
            let names = |i: usize| {
                let layer = &preview.layers[i];
                format!("{} ({} records)", layer.name, layer.records)
            };
            let label = ui.label(format!("{}, layer", preview.format.words()));
            let combo = ComboBox::from_id_salt("layer").selected_text(names(self.layer)).width(240.0);
            let shown = combo.show_ui(ui, |ui| {
                for i in 0..preview.layers.len() {
                    ui.selectable_value(&mut self.layer, i, names(i));
                }
            });
            shown.response.labelled_by(label.id);
            if let Some(mapping) = self.mappings.get_mut(self.layer) {
                let label = ui.label("Its records are");
                let combo = ComboBox::from_id_salt("purpose").selected_text(mapping.purpose.words()).width(190.0);
                let shown = combo.show_ui(ui, |ui| {
                    for purpose in Purpose::ALL {
                        ui.selectable_value(&mut mapping.purpose, purpose, purpose.words());
                    }
                });
                shown.response.labelled_by(label.id);
            }
        });
        let Some((layer, mapping)) = preview.layers.get(self.layer).zip(self.mappings.get_mut(self.layer)) else {
            return;
        };
        let kinds = format!("{} outlines, {} lines, {} points", layer.areas, layer.lines, layer.points);
        ui.horizontal(|ui| {
            let system = match &layer.crs {
                Ok(system) => RichText::new(format!("{kinds}. {system}.")).size(theme.sizes.small),
                Err(why) => RichText::new(format!("{kinds}. Reference system: {why}.")).color(theme.colours.caution),
            };
            ui.label(system);
            let label = ui.label("Other system");
            let hint = "EPSG:27700";
            ui.add(TextEdit::singleline(&mut self.crs).hint_text(hint).desired_width(110.0)).labelled_by(label.id);
        });
        if mapping.purpose != Purpose::Nothing {
            ui.label(small("What each column means; the first records below".into()));
            columns::table(ui, layer, mapping);
            columns::words(ui, theme, layer, mapping);
        }
    }

    /// What would be added, what is wrong with which record, and where it lies.
    fn outcome(&mut self, ui: &mut Ui, theme: &Theme) {
        let addition = match &self.addition {
            None => {
                ui.label("Working out what would be added…");
                return;
            }
            Some(Err(why)) => {
                ui.label(RichText::new(why).color(theme.colours.caution));
                return;
            }
            Some(Ok(addition)) => addition,
        };
        ui.horizontal_top(|ui| {
            picture::picture(ui, theme, &addition.picture, &self.present, Vec2::new(230.0, 150.0));
            ui.vertical(|ui| {
                let Addition { fields, hazards, quiet_zones, edges, .. } = addition;
                ui.label(
                    RichText::new(format!(
                        "New: {fields} fields, {hazards} hazards, {quiet_zones} quiet zones, {edges} boundary edges"
                    ))
                    .strong(),
                );
                if addition.known > 0 {
                    let words = if self.keep_known {
                        format!("{} of them are in the area already.", addition.known)
                    } else {
                        format!("{} more are in the area already and are left out.", addition.known)
                    };
                    ui.label(words);
                    ui.checkbox(&mut self.keep_known, "Add those, too");
                }
                ScrollArea::vertical().id_salt("remarks").max_height(95.0).auto_shrink([false, true]).show(ui, |ui| {
                    for remark in &addition.remarks {
                        ui.label(RichText::new(remark).size(theme.sizes.small).color(theme.colours.caution));
                    }
                    if addition.more_remarks > 0 {
                        ui.label(format!("And {} more remarks.", addition.more_remarks));
                    }
                });
            });
        });
    }
}
