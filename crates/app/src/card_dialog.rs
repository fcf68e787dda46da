//! The area card from the window: where to, on which paper, for which heights; worked out on a thread of its own.

use crate::area_card::{area_card, heights_of, page, usual_heights_m};
use crate::assess::Conditions;
use crate::jobs::Once;
use crate::model::NoticeLevel;
use crate::page_place::PagePlace;
use crate::print::save;
use crate::theme::Palette;
use crate::views::dialog::Dialog;
use egui::{ProgressBar, TextEdit, Ui};
use sparefield_data::area::Area;
use sparefield_data::quantity::UnitPrefs;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

/// Steps in which progress is told from thread to thread.
const STEPS: f32 = 1_000.0;

/// What a card is made from.
pub struct CardOf {
    /// The area.
    pub area: Arc<Area>,
    /// Aircraft, wind, rules and day; the state does not count.
    pub conditions: Conditions,
    /// Units.
    pub units: UnitPrefs,
}

/// A card being made.
struct Making {
    answer: Once<Option<(NoticeLevel, String)>>,
    done: Arc<AtomicU32>,
    stop: Arc<AtomicBool>,
}

/// The dialogue's state.
#[derive(Default)]
pub struct CardDialog {
    shown: bool,
    place: PagePlace,
    heights: String,
    making: Option<Making>,
}

impl CardDialog {
    /// Shows it with a name to begin with.
    pub fn show(&mut self, suggested: &Path, units: UnitPrefs) {
        self.shown = true;
        self.place.begin(suggested);
        if self.heights.is_empty() {
            let usual = usual_heights_m(units.height);
            // Typed back as they are read, without the space that keeps number and unit on one line.
            let words = usual.iter().map(|h| units.format_height(*h).replace(char::is_whitespace, ""));
            self.heights = words.collect::<Vec<_>>().join(", ");
        }
    }

    /// Whether it is shown.
    #[must_use]
    pub fn is_shown(&self) -> bool {
        self.shown
    }

    /// Draws it; gives what came of making a card.
    pub fn ui(
        &mut self,
        ctx: &egui::Context,
        palette: &Palette,
        of: impl FnOnce() -> CardOf,
    ) -> Option<(NoticeLevel, String)> {
        self.place.tend();
        let mut came = None;
        if let Some(answer) = self.making.as_ref().and_then(|m| m.answer.poll()) {
            self.making = None;
            self.shown = false;
            came = answer.unwrap_or_else(|why| Some((NoticeLevel::Problem, format!("The area card: {why}"))));
        }
        if self.shown {
            self.window(ctx, palette, of);
        }
        came
    }

    fn window(&mut self, ctx: &egui::Context, palette: &Palette, of: impl FnOnce() -> CardOf) {
        let mut open = true;
        let stays = Dialog::new("Area card").show(ctx, |ui| match &self.making {
            Some(making) => {
                ui.label("Working out every field, where none is in reach, and the climb-outs…");
                ui.add(ProgressBar::new(making.done.load(Ordering::Relaxed) as f32 / STEPS).show_percentage());
                if ui.button("Stop").clicked() {
                    open = false;
                }
            }
            None => open = self.asks(ui, palette, of),
        });
        if !(stays && open) {
            self.shown = false;
            if let Some(making) = self.making.take() {
                making.stop.store(true, Ordering::Relaxed);
            }
        }
    }

    /// What is asked; says whether the dialogue stays open.
    fn asks(&mut self, ui: &mut Ui, palette: &Palette, of: impl FnOnce() -> CardOf) -> bool {
        ui.label("A map with every field numbered, where no field is in reach, all fields in a table, climb-outs.");
        ui.add_space(6.0);
        self.place.ask(ui, "Save the area card");
        let label = ui.label("Heights above the ground for the maps of options");
        ui.add(TextEdit::singleline(&mut self.heights).desired_width(f32::INFINITY)).labelled_by(label.id);
        let heights = heights_of(&self.heights);
        if let Err(why) = &heights {
            ui.label(format!("Heights: {why}."));
        }
        ui.add_space(6.0);
        let mut open = true;
        ui.horizontal(|ui| {
            let ready = self.place.is_named() && heights.is_ok();
            if ui.add_enabled(ready, egui::Button::new("Make the card")).clicked() {
                self.make(ui.ctx(), palette.clone(), of(), heights.unwrap_or_default());
            }
            if ui.button("Cancel").clicked() {
                open = false;
            }
        });
        open
    }

    fn make(&mut self, ctx: &egui::Context, palette: Palette, of: CardOf, heights_m: Vec<f64>) {
        let (path, format) = (self.place.path(), self.place.format());
        let (done, stop) = (Arc::new(AtomicU32::new(0)), Arc::new(AtomicBool::new(false)));
        let (told, stopped, wake) = (Arc::clone(&done), Arc::clone(&stop), ctx.clone());
        let work = move || {
            let progress = |share: f32| {
                told.store((share.clamp(0.0, 1.0) * STEPS) as u32, Ordering::Relaxed);
                wake.request_repaint();
            };
            let is_stopped = || stopped.load(Ordering::Relaxed);
            let made = area_card(&of.area, &of.conditions, &heights_m, of.units.height, &progress, &is_stopped);
            if is_stopped() {
                return None;
            }
            let card = match made {
                Ok(card) => card,
                Err(why) => return Some((NoticeLevel::Problem, format!("There is no area card: {why}."))),
            };
            Some(match save(&path, &page(&card, of.units, &palette, format), format, &palette) {
                Ok(written) => (NoticeLevel::Info, format!("The area card was written to {}.", written.words())),
                Err(e) => (NoticeLevel::Problem, format!("The area card was not written: {e}.")),
            })
        };
        let wake = ctx.clone();
        match Once::start("area card", work, move || wake.request_repaint()) {
            Ok(answer) => self.making = Some(Making { answer, done, stop }),
            Err(e) => log::error!("the system refused a thread: {e}"),
        }
    }
}
