//! The printed page of a climb-out from the window: where to and on which paper; written on a thread of its own.

use crate::climb_out::page;
use crate::jobs::Once;
use crate::model::{ClimbOutsMade, NoticeLevel};
use crate::page_place::PagePlace;
use crate::print::save;
use crate::theme::Palette;
use crate::views::dialog::Dialog;
use sparefield_data::quantity::UnitPrefs;
use std::path::Path;
use std::sync::Arc;

/// The dialogue's state.
#[derive(Default)]
pub struct ClimbOutDialog {
    shown: bool,
    place: PagePlace,
    writing: Option<Once<(NoticeLevel, String)>>,
}

/// Which climb-out.
#[derive(Clone, Debug)]
pub struct ClimbOutPage {
    /// The climb-outs.
    pub made: Arc<ClimbOutsMade>,
    /// The end among them.
    pub end: usize,
    /// Units.
    pub units: UnitPrefs,
}

impl ClimbOutDialog {
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
        of: Option<ClimbOutPage>,
    ) -> Option<(NoticeLevel, String)> {
        self.place.tend();
        let mut came = None;
        if let Some(answer) = self.writing.as_ref().and_then(Once::poll) {
            (self.writing, self.shown) = (None, false);
            came = Some(answer.unwrap_or_else(|why| (NoticeLevel::Problem, format!("The climb-out: {why}"))));
        }
        let Some(of) = of.filter(|_| self.shown) else {
            self.shown &= self.writing.is_some();
            return came;
        };
        let mut open = true;
        let stays = Dialog::new("Climb-out").show(ctx, |ui| {
            if self.writing.is_some() {
                ui.label("Writing the page…");
                ui.spinner();
                return;
            }
            ui.label("The climb-out from above, what is in reach height by height, and the plain advice, to print.");
            ui.add_space(6.0);
            self.place.ask(ui, "Save the climb-out");
            ui.add_space(6.0);
            ui.horizontal(|ui| {
                if ui.add_enabled(self.place.is_named(), egui::Button::new("Write the page")).clicked() {
                    self.write(ui.ctx(), palette.clone(), of);
                }
                open = !ui.button("Cancel").clicked();
            });
        });
        self.shown = stays && open;
        came
    }

    fn write(&mut self, ctx: &egui::Context, palette: Palette, of: ClimbOutPage) {
        let (path, format) = (self.place.path(), self.place.format());
        let work = move || {
            let Some(Ok(answer)) = of.made.ends.get(of.end) else {
                return (NoticeLevel::Problem, "There is no climb-out off this end.".to_owned());
            };
            match save(&path, &page(answer, of.units), format, &palette) {
                Ok(written) => (NoticeLevel::Info, format!("The climb-out was written to {}.", written.words())),
                Err(e) => (NoticeLevel::Problem, format!("The climb-out was not written: {e}.")),
            }
        };
        let wake = ctx.clone();
        match Once::start("climb-out page", work, move || wake.request_repaint()) {
            Ok(answer) => self.writing = Some(answer),
            Err(e) => log::error!("the system refused a thread: {e}"),
        }
    }
}
