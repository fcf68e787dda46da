//! Where to save an area: by the system's dialogue, or by typing a name.

use crate::views::dialog::Dialog;
use egui::TextEdit;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, TryRecvError, channel};

/// The dialogue's state.
#[derive(Default)]
pub struct CopyDialog {
    shown: bool,
    focus: bool,
    name: String,
    picking: Option<Receiver<Option<PathBuf>>>,
}

impl CopyDialog {
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

    /// Draws it; gives the file once it is chosen.
    pub fn ui(&mut self, ctx: &egui::Context) -> Option<PathBuf> {
        self.take_picked();
        if !self.shown {
            return None;
        }
        let mut chosen = None;
        let shown = Dialog::new("Save the area").show(ctx, |ui| {
            let label = ui.label("File (a GeoPackage, .gpkg); a file that exists is not written over");
            let edit = ui.add(TextEdit::singleline(&mut self.name).desired_width(f32::INFINITY));
            let edit = edit.labelled_by(label.id);
            if std::mem::take(&mut self.focus) {
                edit.request_focus();
            }
            let waiting = self.picking.is_some();
            ui.horizontal(|ui| {
                if ui.add_enabled(!waiting, egui::Button::new("Choose a place…")).clicked() {
                    self.pick(ui.ctx().clone());
                }
                if waiting {
                    ui.spinner();
                }
            });
            ui.add_space(6.0);
            ui.horizontal(|ui| {
                let named = !self.name.trim().is_empty();
                let entered = edit.lost_focus() && ui.input(|i| i.key_pressed(egui::Key::Enter));
                if ui.add_enabled(named, egui::Button::new("Save")).clicked() || (entered && named) {
                    chosen = Some(with_extension(PathBuf::from(self.name.trim())));
                }
                if ui.button("Cancel").clicked() {
                    self.shown = false;
                }
            });
        });
        if !shown || chosen.is_some() {
            self.shown = false;
        }
        chosen
    }

    /// Asks the system's dialogue on a thread of its own: it may stay open for long.
    fn pick(&mut self, ctx: egui::Context) {
        let (send, picked) = channel();
        let dialog =
            rfd::AsyncFileDialog::new().set_title("Save the area").add_filter("GeoPackage", &["gpkg"]).save_file();
        let thread = std::thread::Builder::new().name("choose a place".into()).spawn(move || {
            let file = pollster::block_on(dialog);
            // Nobody waits any more when the window is closed.
            drop(send.send(file.map(|f| f.path().to_owned())));
            ctx.request_repaint();
        });
        match thread {
            Ok(_) => self.picking = Some(picked),
            Err(e) => log::error!("the file dialogue could not be opened: {e}"),
        }
    }

    fn take_picked(&mut self) {
        let Some(picking) = &self.picking else { return };
        match picking.try_recv() {
            Ok(file) => {
                if let Some(file) = file {
                    self.name = file.display().to_string();
                }
                self.picking = None;
            }
            Err(TryRecvError::Empty) => {}
            Err(TryRecvError::Disconnected) => self.picking = None,
        }
    }
}

fn with_extension(path: PathBuf) -> PathBuf {
    if path.extension().is_some_and(|e| e.eq_ignore_ascii_case("gpkg")) {
        return path;
    }
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(".gpkg");
    path.with_file_name(name)
}
