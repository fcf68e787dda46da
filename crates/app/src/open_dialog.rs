//! Choosing files: by the system's dialogue, or by typing their names where there is none.

use crate::theme::Theme;
use crate::views::dialog::Dialog;
use egui::{RichText, TextEdit};
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, TryRecvError, channel};

/// The dialogue's state.
#[derive(Default)]
pub struct OpenDialog {
    /// What the files are opened as.
    purpose: Purpose,
    shown: bool,
    focus: bool,
    names: String,
    crs: String,
    picking: Option<Receiver<Vec<PathBuf>>>,
    /// The system's dialogue came back empty-handed.
    nothing_chosen: bool,
}

/// What the dialogue asks for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Purpose {
    /// An area's terrain, fields and hazards, or an aircraft.
    #[default]
    Area,
    /// Layers under the fields.
    Layers,
    /// Recorded flights.
    Tracks,
}

impl Purpose {
    fn title(self) -> &'static str {
        match self {
            Self::Area => "Open files",
            Self::Layers => "Add layers",
            Self::Tracks => "Add flights",
        }
    }
    fn formats(self) -> &'static str {
        match self {
            Self::Area => {
                "An area file (GeoPackage), or terrain (GeoTIFF, SRTM HGT, Esri ASCII grid), fields and hazards \
                 (Shapefile, GeoJSON, KML, GeoPackage, GPX), or an aircraft (TOML)."
            }
            Self::Layers => {
                "Images (GeoTIFF, MBTiles, PMTiles, or PNG, JPEG and WebP with a world file), or lines and areas to \
                 draw under the fields (Shapefile, GeoJSON, KML, GeoPackage, GPX)."
            }
            Self::Tracks => "Recorded flights: GPX, IGC, NMEA 0183, KML with times, or CSV.",
        }
    }
}

/// What the pilot chose.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chosen {
    /// The files.
    pub files: Vec<PathBuf>,
    /// The reference system for files that state none; empty for none.
    pub crs: String,
}

impl OpenDialog {
    /// A dialogue for another purpose than opening an area.
    #[must_use]
    pub fn new(purpose: Purpose) -> Self {
        Self { purpose, ..Self::default() }
    }

    /// Shows the dialogue.
    pub fn show(&mut self) {
        self.shown = true;
        self.focus = true;
    }

    /// Whether it is shown.
    #[must_use]
    pub fn is_shown(&self) -> bool {
        self.shown
    }

    /// Draws it; gives the files once they are chosen.
    pub fn ui(&mut self, ctx: &egui::Context, theme: &Theme) -> Option<Chosen> {
        self.take_picked();
        if !self.shown {
            return None;
        }
        let mut chosen = None;
        let shown = Dialog::new(self.purpose.title()).show(ctx, |ui| {
            ui.label(self.purpose.formats());
            let names = ui.label("Files, one on each line");
            let edit = TextEdit::multiline(&mut self.names).desired_rows(4).desired_width(f32::INFINITY);
            let response = ui.add(edit).labelled_by(names.id);
            if std::mem::take(&mut self.focus) {
                response.request_focus();
            }
            ui.horizontal(|ui| {
                let waiting = self.picking.is_some();
                if ui.add_enabled(!waiting, egui::Button::new("Choose files…")).clicked() {
                    self.pick(ui.ctx().clone());
                }
                if waiting {
                    ui.spinner();
                }
            });
            if self.nothing_chosen {
                ui.label(
                    RichText::new(
                        "No file came back from the system's dialogue. Where there is none, type the names above.",
                    )
                    .size(theme.sizes.small)
                    .color(theme.colours.caution),
                );
            }
            // Recorded flights are in degrees of latitude and longitude, whatever records them.
            if self.purpose != Purpose::Tracks {
                let crs =
                    ui.label("Reference system of files that state none (for example EPSG:27700); else leave empty");
                ui.add(TextEdit::singleline(&mut self.crs).desired_width(180.0)).labelled_by(crs.id);
            }
            ui.label(
                RichText::new("You can also drop files on the map.")
                    .size(theme.sizes.small)
                    .color(theme.colours.ink_soft),
            );
            ui.add_space(6.0);
            ui.horizontal(|ui| {
                let files: Vec<PathBuf> =
                    self.names.lines().map(str::trim).filter(|l| !l.is_empty()).map(PathBuf::from).collect();
                if ui
                    .add_enabled(
                        !files.is_empty(),
                        egui::Button::new(if self.purpose == Purpose::Area { "Open" } else { "Add" }),
                    )
                    .clicked()
                {
                    chosen = Some(Chosen { files, crs: self.crs.trim().to_owned() });
                }
                if ui.button("Cancel").clicked() {
                    self.shown = false;
                }
            });
        });
        if !shown {
            self.shown = false;
        }
        if chosen.is_some() {
            self.shown = false;
            self.names.clear();
            self.crs.clear();
        }
        chosen
    }

    fn pick(&mut self, ctx: egui::Context) {
        self.picking = pick_files(self.purpose.title(), ctx);
    }

    fn take_picked(&mut self) {
        let Some(picking) = &self.picking else { return };
        match picking.try_recv() {
            Ok(files) => {
                self.nothing_chosen = files.is_empty();
                for file in files {
                    if !self.names.is_empty() && !self.names.ends_with('\n') {
                        self.names.push('\n');
                    }
                    self.names.push_str(&file.to_string_lossy());
                }
                self.picking = None;
            }
            Err(TryRecvError::Empty) => {}
            Err(TryRecvError::Disconnected) => self.picking = None,
        }
    }
}

/// Asks the system's dialogue on a thread of its own: it may stay open for long. `None` where there is no thread for it.
#[must_use]
pub fn pick_files(title: &str, ctx: egui::Context) -> Option<Receiver<Vec<PathBuf>>> {
    let (send, picked) = channel();
    let dialog = rfd::AsyncFileDialog::new().set_title(title).pick_files();
    let thread = std::thread::Builder::new().name("choose files".into()).spawn(move || {
        let files = pollster::block_on(dialog).unwrap_or_default();
        // Nobody waits any more when the window is closed.
        drop(send.send(files.iter().map(|f| f.path().to_owned()).collect()));
        ctx.request_repaint();
    });
    match thread {
        Ok(_) => Some(picked),
        Err(e) => {
            log::error!("the file dialogue could not be opened: {e}");
            None
        }
    }
}
