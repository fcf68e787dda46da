//! Layers of the options map, and fields judged for its wind, written for other programs from the window: what, where to;
//! written on a thread of its own.

use crate::area_card::judged;
use crate::assess::wind_words;
use crate::jobs::Once;
use crate::layer_export::{Covered, cautions_of_fields, cautions_of_map, count_raster, judged_fields, lines_and_land};
use crate::model::{CoverMade, NoticeLevel};
use crate::views::dialog::Dialog;
use egui::{Context, TextEdit, Ui};
use sparefield_data::LoadError;
use sparefield_data::quantity::UnitPrefs;
use sparefield_data::terrain::write_geotiff;
use sparefield_data::vector::{Format, write_vector_about};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
enum What {
    #[default]
    Least,
    Count,
    Land,
    Fields,
}

impl What {
    const ALL: [Self; 4] = [Self::Least, Self::Count, Self::Land, Self::Fields];

    /// It in words, from a height.
    fn words(self, height: &str) -> String {
        match self {
            Self::Least => "Least height above sea level, everywhere".to_owned(),
            Self::Count => format!("How many fields are in reach from {height}"),
            Self::Land => format!("Land covered from {height}, and lines of usual heights"),
            Self::Fields => "Fields with numbers, judged for this wind".to_owned(),
        }
    }

    /// What is said of it.
    fn about(self) -> &'static str {
        match self {
            Self::Least => "A GeoTIFF in metres; no data where no height was enough.",
            Self::Count => "A GeoTIFF of numbers, up to as many fields as the map was asked for.",
            Self::Land => "Areas and lines as GeoJSON or KML, with the cautions in the document.",
            Self::Fields => {
                "Waypoints as GPX, or outlines as KML or GeoJSON: verdict, usable length, strip, surface, last \
                             looked at, with the cautions in the document."
            }
        }
    }

    /// How names may end, the usual one first.
    fn endings(self) -> &'static [&'static str] {
        match self {
            Self::Least | Self::Count => &["tif", "tiff"],
            Self::Land => &["geojson", "kml", "kmz"],
            Self::Fields => &["gpx", "kml", "kmz", "geojson"],
        }
    }
}

/// What it is written from.
#[derive(Clone, Debug)]
pub struct LayersOf {
    /// The options map.
    pub made: Arc<CoverMade>,
    /// The height above the ground that is asked about, metres.
    pub height_agl_m: f64,
    /// Units.
    pub units: UnitPrefs,
}

/// The dialogue's state.
#[derive(Default)]
pub struct LayerExportDialog {
    shown: bool,
    focus: bool,
    what: What,
    name: String,
    picking: Option<Once<Option<PathBuf>>>,
    writing: Option<Once<(NoticeLevel, String)>>,
}

impl LayerExportDialog {
    /// Shows it with a name to begin with.
    pub fn show(&mut self, suggested: &Path) {
        (self.shown, self.focus) = (true, true);
        self.name = suggested.with_extension(self.what.endings()[0]).display().to_string();
    }

    /// Whether it is shown.
    #[must_use]
    pub fn is_shown(&self) -> bool {
        self.shown
    }

    /// Draws it; gives what came of writing.
    pub fn ui(&mut self, ctx: &Context, of: Option<LayersOf>) -> Option<(NoticeLevel, String)> {
        if let Some(answer) = self.picking.as_ref().and_then(Once::poll) {
            if let Ok(Some(path)) = answer {
                self.name = path.display().to_string();
            }
            self.picking = None;
        }
        let mut came = None;
        if let Some(answer) = self.writing.as_ref().and_then(Once::poll) {
            (self.writing, self.shown) = (None, false);
            came = Some(answer.unwrap_or_else(|why| (NoticeLevel::Problem, format!("The export: {why}"))));
        }
        let Some(of) = of.filter(|_| self.shown) else {
            self.shown &= self.writing.is_some();
            return came;
        };
        let mut open = true;
        let stays = Dialog::new("Export for maps").show(ctx, |ui| {
            if self.writing.is_some() {
                ui.label("Writing…");
                ui.spinner();
                return;
            }
            open = self.asks(ui, of);
        });
        self.shown = stays && open;
        came
    }

    /// What is asked; says whether the dialogue stays open.
    fn asks(&mut self, ui: &mut Ui, of: LayersOf) -> bool {
        let height = format!("{} above the ground", of.units.format_height(of.height_agl_m));
        for what in What::ALL {
            if ui.radio(self.what == what, what.words(&height)).clicked() {
                self.what = what;
                self.name = PathBuf::from(self.name.trim()).with_extension(what.endings()[0]).display().to_string();
            }
        }
        ui.label(self.what.about());
        ui.add_space(6.0);
        let endings: Vec<String> = self.what.endings().iter().map(|e| format!(".{e}")).collect();
        let label = ui.label(format!("File ({})", endings.join(", ")));
        let edit = ui.add(TextEdit::singleline(&mut self.name).desired_width(f32::INFINITY)).labelled_by(label.id);
        if std::mem::take(&mut self.focus) {
            edit.request_focus();
        }
        if ui.add_enabled(self.picking.is_none(), egui::Button::new("Choose a place…")).clicked() {
            self.pick(ui.ctx());
        }
        let path = self.path();
        let fits = self.what.endings().iter().any(|e| path.extension().is_some_and(|own| own.eq_ignore_ascii_case(e)));
        if !fits {
            ui.label(format!("The name has to end in one of {}.", endings.join(", ")));
        } else if path.exists() {
            ui.label("There is a file of this name; it will be written over.");
        }
        ui.add_space(6.0);
        let mut open = true;
        ui.horizontal(|ui| {
            let ready = fits && !self.name.trim().is_empty();
            if ui.add_enabled(ready, egui::Button::new("Write")).clicked() {
                self.write(ui.ctx(), of);
            }
            open = !ui.button("Cancel").clicked();
        });
        open
    }

    /// The name, with the usual ending where it has none.
    fn path(&self) -> PathBuf {
        let path = PathBuf::from(self.name.trim());
        if path.extension().is_some() { path } else { path.with_extension(self.what.endings()[0]) }
    }

    fn pick(&mut self, ctx: &Context) {
        let path = self.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let dialog = rfd::AsyncFileDialog::new().set_title("Export for maps").set_file_name(name).save_file();
        let work = move || pollster::block_on(dialog).map(|f| f.path().to_owned());
        let wake = ctx.clone();
        self.picking = Once::start("choose a place", work, move || wake.request_repaint()).ok();
    }

    fn write(&mut self, ctx: &Context, of: LayersOf) {
        let (path, what) = (self.path(), self.what);
        let work = move || match written(&path, what, &of) {
            Ok(notes) => (NoticeLevel::Info, format!("Written to {}.{notes}", path.display())),
            Err(why) => (NoticeLevel::Problem, why),
        };
        let wake = ctx.clone();
        match Once::start("export", work, move || wake.request_repaint()) {
            Ok(answer) => self.writing = Some(answer),
            Err(e) => log::error!("the system refused a thread: {e}"),
        }
    }
}

/// Writes it; gives what is to be told besides.
fn written(path: &Path, what: What, of: &LayersOf) -> Result<String, String> {
    let made = &of.made;
    let (map, area) = (&made.map, &made.map.area);
    let raster = |values: &[f32]| {
        write_geotiff(path, &map.least.frame, area.frame.epsg(), values).map_err(|e: LoadError| e.to_string())
    };
    let format = Format::of_name(path).ok_or_else(|| format!("{}: its ending is not known", path.display()));
    let (layers, about, format) = match what {
        What::Least => {
            match made.instead() {
                Some(least) => raster(least)?,
                None => raster(&map.least.raster(map.least.fields_needed()))?,
            }
            return Ok(String::new());
        }
        What::Count => {
            raster(&count_raster(map, of.height_agl_m))?;
            let most = map.least.fields_needed();
            return Ok(format!(" {most} stands for {most} fields or more."));
        }
        What::Land => {
            let (instead, unit) = (made.instead(), of.units.height);
            let of = Covered { map, instead, height_agl_m: of.height_agl_m, unit };
            (lines_and_land(&of), cautions_of_map(map), format?)
        }
        What::Fields => {
            let format = format?;
            let conditions = &made.ask.conditions;
            let (wind, rows) = judged(area, &made.studies, conditions).map_err(|e| e.to_string())?;
            let wind = wind_words(area, &wind, area.centre(), of.units);
            let about = cautions_of_fields(area, &wind, &conditions.aircraft.name, conditions.today);
            (judged_fields(format, area, &rows, of.units), about, format)
        }
    };
    let written = write_vector_about(path, format, &layers, &area.frame, &about).map_err(|e| e.to_string())?;
    let mut notes = String::new();
    for warning in written.warnings.iter().take(3) {
        // Writing to a string cannot fail.
        let _ = write!(notes, " {warning}.");
    }
    Ok(notes)
}
