//! The report of a sortie from the window: where to and on which paper; written on a thread of its own.

use crate::debrief::report::{Named, page};
use crate::jobs::Once;
use crate::model::{DebriefMade, NoticeLevel};
use crate::page_place::PagePlace;
use crate::print::save;
use crate::theme::Palette;
use crate::views::dialog::Dialog;
use sparefield_data::quantity::UnitPrefs;
use std::path::Path;
use std::sync::Arc;

/// The dialogue's state.
#[derive(Default)]
pub struct ReportDialog {
    shown: bool,
    place: PagePlace,
    writing: Option<Once<(NoticeLevel, String)>>,
}

impl ReportDialog {
    /// Shows it with a name to begin with.
    pub fn show(&mut self, suggested: &Path) {
        self.shown = true;
        self.place.begin(suggested);
    }

    /// Whether it is shown.
    #[must_use]
    pub fn is_shown(&self) -> bool {
        self.shown
    }

    /// Draws it; gives what came of writing.
    pub fn ui(
        &mut self,
        ctx: &egui::Context,
        palette: &Palette,
        of: Option<(&Arc<DebriefMade>, UnitPrefs)>,
    ) -> Option<(NoticeLevel, String)> {
        self.place.tend();
        let mut came = None;
        if let Some(answer) = self.writing.as_ref().and_then(Once::poll) {
            (self.writing, self.shown) = (None, false);
            came = Some(answer.unwrap_or_else(|why| (NoticeLevel::Problem, format!("The report: {why}"))));
        }
        let Some((made, units)) = of.filter(|_| self.shown) else {
            self.shown &= self.writing.is_some();
            return came;
        };
        let mut open = true;
        let stays = Dialog::new("Report").show(ctx, |ui| {
            if self.writing.is_some() {
                ui.label("Writing the report…");
                ui.spinner();
                return;
            }
            ui.label(
                "For the logbook and the instructor: maps, heights, every exercise, what went well, what to practise.",
            );
            ui.add_space(6.0);
            self.place.ask(ui, "Save the report");
            ui.add_space(6.0);
            ui.horizontal(|ui| {
                if ui.add_enabled(self.place.is_named(), egui::Button::new("Write the report")).clicked() {
                    self.write(ui.ctx(), palette.clone(), Arc::clone(made), units);
                }
                open = !ui.button("Cancel").clicked();
            });
        });
        self.shown = stays && open;
        came
    }

    fn write(&mut self, ctx: &egui::Context, palette: Palette, made: Arc<DebriefMade>, units: UnitPrefs) {
        let (path, format) = (self.place.path(), self.place.format());
        let work = move || {
            let sortie = &made.key.sortie;
            let named = Named {
                name: sortie.name.clone(),
                began: sortie.started.map(|t| t.strftime("%Y-%m-%d %H:%M UTC").to_string()),
                sortie: &made.sortie,
                heights: sortie.heights.words(),
            };
            match save(&path, &page(&[named], units), format, &palette) {
                Ok(written) => (NoticeLevel::Info, format!("The report was written to {}.", written.words())),
                Err(e) => (NoticeLevel::Problem, format!("The report was not written: {e}.")),
            }
        };
        let wake = ctx.clone();
        match Once::start("report", work, move || wake.request_repaint()) {
            Ok(answer) => self.writing = Some(answer),
            Err(e) => log::error!("the system refused a thread: {e}"),
        }
    }
}
