//! Fields for other programs: what, in which format, and where.

use crate::jobs::Once;
use crate::model::NoticeLevel;
use crate::views::dialog::Dialog;
use egui::{ComboBox, TextEdit};
use sparefield_data::area::Area;
use sparefield_data::vector::{Exported, Format, layers_of, write_vector};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The dialogue's state.
pub struct ExportDialog {
    shown: bool,
    focus: bool,
    name: String,
    what: Exported,
    format: Format,
    picking: Option<Once<Option<PathBuf>>>,
    writing: Option<Once<(NoticeLevel, String)>>,
}

impl Default for ExportDialog {
    fn default() -> Self {
        Self {
            shown: false,
            focus: false,
            name: String::new(),
            what: Exported::ALL,
            format: Format::GeoPackage,
            picking: None,
            writing: None,
        }
    }
}

impl ExportDialog {
    /// Shows it with a name to begin with.
    pub fn show(&mut self, suggested: &Path) {
        self.shown = true;
        self.focus = true;
        self.name = suggested.display().to_string();
    }

    /// Whether it is shown.
    #[must_use]
    pub fn is_shown(&self) -> bool {
        self.shown
    }

    /// Draws it; gives what came of writing.
    pub fn ui(&mut self, ctx: &egui::Context, area: &Arc<Area>) -> Option<(NoticeLevel, String)> {
        if let Some(Ok(Some(path))) = self.picking.as_ref().and_then(Once::poll) {
            self.name = path.display().to_string();
            self.picking = None;
        }
        let mut came = None;
        if let Some(answer) = self.writing.as_ref().and_then(Once::poll) {
            self.writing = None;
            came = Some(answer.unwrap_or_else(|why| (NoticeLevel::Problem, why.to_string())));
        }
        if self.shown {
            self.window(ctx, area);
        }
        came
    }

    fn window(&mut self, ctx: &egui::Context, area: &Arc<Area>) {
        let shown = Dialog::new("Export for another program").show(ctx, |ui| {
            ui.label("What");
            let sides = area.fields.iter().map(|f| f.edges.len()).sum::<usize>();
            ui.checkbox(&mut self.what.fields, format!("Fields ({})", area.fields.len()));
            ui.checkbox(&mut self.what.hazards, format!("Hazards ({})", area.hazards.len()));
            ui.checkbox(&mut self.what.quiet_zones, format!("Quiet zones ({})", area.quiet_zones.len()));
            ui.checkbox(&mut self.what.edges, format!("What stands on the sides of fields ({sides} sides)"));
            ui.add_space(6.0);
            let label = ui.label("Format");
            let combo = ComboBox::from_id_salt("export format").selected_text(self.format.words()).width(180.0);
            let response = combo.show_ui(ui, |ui| {
                for format in Format::ALL {
                    ui.selectable_value(&mut self.format, format, format.words());
                }
            });
            response.response.labelled_by(label.id);
            ui.label(about(self.format));
            ui.add_space(6.0);
            let label = ui.label(format!("File (.{})", self.format.extension()));
            let edit = ui.add(TextEdit::singleline(&mut self.name).desired_width(f32::INFINITY));
            let edit = edit.labelled_by(label.id);
            if std::mem::take(&mut self.focus) {
                edit.request_focus();
            }
            if ui.add_enabled(self.picking.is_none(), egui::Button::new("Choose a place…")).clicked() {
                self.pick(ui.ctx());
            }
            let path = self.path();
            if path.exists() {
                ui.label("There is a file of this name; it will be written over.");
            }
            ui.add_space(6.0);
            ui.horizontal(|ui| {
                let ready = !self.name.trim().is_empty() && self.what != Exported::NOTHING && self.writing.is_none();
                if ui.add_enabled(ready, egui::Button::new("Write")).clicked() {
                    self.write(ui.ctx(), area, path);
                    self.shown = false;
                }
                if ui.button("Cancel").clicked() {
                    self.shown = false;
                }
            });
        });
        if !shown {
            self.shown = false;
        }
    }

    /// The name with the ending of the format.
    fn path(&self) -> PathBuf {
        let path = PathBuf::from(self.name.trim());
        if Format::of_name(&path) == Some(self.format) {
            return path;
        }
        let stem = if Format::of_name(&path).is_some() { path.file_stem() } else { path.file_name() };
        let name = format!("{}.{}", stem.unwrap_or_default().to_string_lossy(), self.format.extension());
        path.with_file_name(name)
    }

    fn pick(&mut self, ctx: &egui::Context) {
        let dialog = rfd::AsyncFileDialog::new()
            .set_title("Export for another program")
            .add_filter(self.format.words(), &[self.format.extension()])
            .save_file();
        let work = move || pollster::block_on(dialog).map(|f| f.path().to_owned());
        self.picking = started(Once::start("choose a place", work, repaint(ctx)));
    }

    fn write(&mut self, ctx: &egui::Context, area: &Arc<Area>, path: PathBuf) {
        let (area, what, format) = (Arc::clone(area), self.what, self.format);
        let work = move || {
            let layers = layers_of(format, what, &area.fields, &area.hazards, &area.quiet_zones);
            if layers.is_empty() {
                return (NoticeLevel::Problem, "The area has none of what was to be written.".to_owned());
            }
            match write_vector(&path, format, &layers, &area.frame) {
                Ok(written) => {
                    let count: usize = layers.iter().map(|l| l.features.len()).sum();
                    let files: Vec<String> = written.value.iter().map(|p| p.display().to_string()).collect();
                    let mut words = format!("{count} records written to {}.", files.join(", "));
                    for warning in written.warnings.iter().take(3) {
                        let _ = write!(words, " {warning}.");
                    }
                    if written.warnings.len() > 3 {
                        let _ = write!(words, " And {} more remarks.", written.warnings.len() - 3);
                    }
                    (NoticeLevel::Info, words)
                }
                Err(e) => (NoticeLevel::Problem, e.to_string()),
            }
        };
        self.writing = started(Once::start("export", work, repaint(ctx)));
    }
}

fn repaint(ctx: &egui::Context) -> impl FnOnce() + Send + 'static {
    let ctx = ctx.clone();
    move || ctx.request_repaint()
}

fn started<T>(job: std::io::Result<T>) -> Option<T> {
    job.map_err(|e| log::error!("the system refused a thread: {e}")).ok()
}

/// What a format holds and what it does not.
fn about(format: Format) -> &'static str {
    match format {
        Format::GeoJson => "Holds everything in one file.",
        Format::Kml | Format::Kmz => "Holds everything; a folder for each kind.",
        Format::GeoPackage => "Holds everything; a table for each kind. This is no area file of Sparefield.",
        Format::Shapefile => "One file for each kind and shape. Names of columns are cut to 10 letters, texts to 254.",
        Format::Gpx => "Names, places and outlines only; the rest stands in the description as text.",
    }
}
