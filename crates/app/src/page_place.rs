//! Where a printed page goes, and on which paper: the part that every dialogue for pages shares.

use crate::jobs::Once;
use crate::print::Format;
use egui::{TextEdit, Ui};
use std::path::{Path, PathBuf};

/// What is typed and chosen so far.
#[derive(Default)]
pub(crate) struct PagePlace {
    focus: bool,
    name: String,
    small: bool,
    picking: Option<Once<Option<PathBuf>>>,
}

impl PagePlace {
    /// Begins with a name, which gets the keyboard.
    pub(crate) fn begin(&mut self, suggested: &Path) {
        self.focus = true;
        self.name = suggested.display().to_string();
    }

    /// Takes a place that was chosen in the system's own dialogue.
    pub(crate) fn tend(&mut self) {
        if let Some(answer) = self.picking.as_ref().and_then(Once::poll) {
            if let Ok(Some(path)) = answer {
                self.name = path.display().to_string();
            }
            self.picking = None;
        }
    }

    /// Asks for the file and the paper. `title` is that of the system's own dialogue.
    pub(crate) fn ask(&mut self, ui: &mut Ui, title: &'static str) {
        let label = ui.label("File (.pdf to print, .png pictures, .html for a browser)");
        let edit = ui.add(TextEdit::singleline(&mut self.name).desired_width(f32::INFINITY)).labelled_by(label.id);
        if std::mem::take(&mut self.focus) {
            edit.request_focus();
        }
        if ui.add_enabled(self.picking.is_none(), egui::Button::new("Choose a place…")).clicked() {
            self.pick(ui.ctx(), title);
        }
        if Path::new(self.name.trim()).exists() {
            ui.label("There is a file of this name; it will be written over.");
        }
        ui.add_space(6.0);
        ui.horizontal(|ui| {
            ui.label("Paper");
            ui.radio_value(&mut self.small, false, "A4");
            ui.radio_value(&mut self.small, true, "A5");
        });
    }

    /// Whether a file is named.
    pub(crate) fn is_named(&self) -> bool {
        !self.name.trim().is_empty()
    }

    /// The file, a PDF where its name says nothing else.
    pub(crate) fn path(&self) -> PathBuf {
        let path = PathBuf::from(self.name.trim());
        if path.extension().is_some() { path } else { path.with_extension("pdf") }
    }

    /// The paper.
    pub(crate) fn format(&self) -> Format {
        if self.small { Format::A5 } else { Format::A4 }
    }

    fn pick(&mut self, ctx: &egui::Context, title: &str) {
        let path = self.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let dialog = rfd::AsyncFileDialog::new().set_title(title).set_file_name(name).save_file();
        let work = move || pollster::block_on(dialog).map(|f| f.path().to_owned());
        let wake = ctx.clone();
        self.picking = Once::start("choose a place", work, move || wake.request_repaint()).ok();
    }
}

/// A title as part of a file's name on any system: letters, digits, spaces, hyphens and underscores of it, at most sixty
/// characters; may come out empty.
pub(crate) fn plain_name(title: &str) -> String {
    let plain: String = title.chars().map(|c| if c.is_alphanumeric() || " -_".contains(c) { c } else { ' ' }).collect();
    plain.split_whitespace().collect::<Vec<_>>().join(" ").chars().take(60).collect()
}

/// A file for a page beside another file, or else among the user's documents. A title may hold what no file name does.
pub(crate) fn suggested(title: &str, what: &str, beside: Option<&Path>) -> PathBuf {
    let name = format!("{} {what}.pdf", plain_name(title));
    if let Some(path) = beside {
        return path.with_file_name(name);
    }
    let dirs = directories::UserDirs::new();
    let folder = dirs.as_ref().map(|d| d.document_dir().unwrap_or_else(|| d.home_dir()));
    folder.map_or_else(|| PathBuf::from(&name), |folder| folder.join(&name))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_holds_nothing_that_a_file_system_refuses() {
        assert_eq!(plain_name("Harrowmead (invented sample area)"), "Harrowmead invented sample area");
        assert_eq!(plain_name("2026-11-21 09:30"), "2026-11-21 09 30");
        assert_eq!(plain_name("../…\\"), "");
        assert_eq!(plain_name(&"a".repeat(99)).len(), 60);
        assert_eq!(suggested("Hill/Dale", "card", Some(Path::new("/a/b.gpkg"))), Path::new("/a/Hill Dale card.pdf"));
    }
}
