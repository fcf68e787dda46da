//! The dialogue of a page that is soon made: where to and on which paper; written on a thread of its own.

use crate::jobs::Once;
use crate::model::NoticeLevel;
use crate::page_place::PagePlace;
use crate::print::{Document, save};
use crate::theme::Palette;
use crate::views::dialog::Dialog;
use std::path::Path;

/// What the dialogue of one kind of page says.
pub(crate) struct PageWords {
    /// Its title, which also names the thread.
    pub(crate) title: &'static str,
    /// What the page holds.
    pub(crate) about: &'static str,
    /// The title of the system's own dialogue.
    pub(crate) save: &'static str,
    /// The button.
    pub(crate) write: &'static str,
    /// What is said meanwhile.
    pub(crate) writing: &'static str,
    /// The page at the beginning of a sentence.
    pub(crate) it: &'static str,
}

/// The report of a sortie.
pub(crate) const REPORT: PageWords = PageWords {
    title: "Report",
    about: "For the logbook and the instructor: maps, heights, every exercise, what went well, what to practise.",
    save: "Save the report",
    write: "Write the report",
    writing: "Writing the report…",
    it: "The report",
};

/// A climb-out.
pub(crate) const CLIMB_OUT: PageWords = PageWords {
    title: "Climb-out",
    about: "The climb-out from above, what is in reach height by height, and the plain advice, to print.",
    save: "Save the climb-out",
    write: "Write the page",
    writing: "Writing the page…",
    it: "The climb-out",
};

/// Fan stops at the home strip.
pub(crate) const FAN_STOPS: PageWords = PageWords {
    title: "Fan stops",
    about: "From which heights and headings the home strip is in reach in this wind, and what was practised, to print.",
    save: "Save the fan stops",
    write: "Write the page",
    writing: "Writing the page…",
    it: "The page of fan stops",
};

/// The dialogue's state.
pub(crate) struct PageDialog {
    words: PageWords,
    shown: bool,
    place: PagePlace,
    writing: Option<Once<(NoticeLevel, String)>>,
}

impl PageDialog {
    /// Not shown yet.
    pub(crate) fn new(words: PageWords) -> Self {
        Self { words, shown: false, place: PagePlace::default(), writing: None }
    }

    /// Shows it with a name to begin with.
    pub(crate) fn show(&mut self, suggested: &Path) {
        self.shown = true;
        self.place.begin(suggested);
    }

    /// Whether it is shown.
    pub(crate) fn is_shown(&self) -> bool {
        self.shown
    }

    /// Draws it; gives what came of writing. Without anything to make a page from it goes away.
    pub(crate) fn ui(
        &mut self,
        ctx: &egui::Context,
        palette: &Palette,
        page: Option<impl FnOnce() -> Result<Document, String> + Send + 'static>,
    ) -> Option<(NoticeLevel, String)> {
        self.place.tend();
        let mut came = None;
        if let Some(answer) = self.writing.as_ref().and_then(Once::poll) {
            (self.writing, self.shown) = (None, false);
            came = Some(answer.unwrap_or_else(|why| (NoticeLevel::Problem, format!("{}: {why}", self.words.it))));
        }
        let Some(page) = page.filter(|_| self.shown) else {
            self.shown &= self.writing.is_some();
            return came;
        };
        let mut open = true;
        let stays = Dialog::new(self.words.title).show(ctx, |ui| {
            if self.writing.is_some() {
                ui.label(self.words.writing);
                ui.spinner();
                return;
            }
            ui.label(self.words.about);
            ui.add_space(6.0);
            self.place.ask(ui, self.words.save);
            ui.add_space(6.0);
            ui.horizontal(|ui| {
                if ui.add_enabled(self.place.is_named(), egui::Button::new(self.words.write)).clicked() {
                    self.write(ui.ctx(), palette.clone(), page);
                }
                open = !ui.button("Cancel").clicked();
            });
        });
        self.shown = stays && open;
        came
    }

    fn write(
        &mut self,
        ctx: &egui::Context,
        palette: Palette,
        page: impl FnOnce() -> Result<Document, String> + Send + 'static,
    ) {
        let (path, format, it) = (self.place.path(), self.place.format(), self.words.it);
        let work = move || {
            let written = page().and_then(|page| save(&path, &page, format, &palette).map_err(|e| e.to_string()));
            match written {
                Ok(written) => (NoticeLevel::Info, format!("{it} was written to {}.", written.words())),
                Err(why) => (NoticeLevel::Problem, format!("{it} was not written: {why}.")),
            }
        };
        let wake = ctx.clone();
        match Once::start(self.words.title, work, move || wake.request_repaint()) {
            Ok(answer) => self.writing = Some(answer),
            Err(e) => log::error!("the system refused a thread: {e}"),
        }
    }
}
