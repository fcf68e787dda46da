//! What the window does for the field sheet: asks for it, takes it, opens and closes it by key, writes it as a page.

use super::App;
use super::pages::PageOf;
use crate::command::Command;
use crate::model::SheetCommand;
use crate::sheet::page::{PageLook, page};
use egui::{Key, Modifiers};
use std::path::Path;

impl App {
    /// Takes what was worked out, and asks for what is now needed.
    pub(super) fn follow_sheet(&mut self) {
        let wanted = self.model.sheet_ask(self.start.today);
        if let (Some(outcome), Some(sheet)) = (self.sheet_job.take_done(), self.model.sheet.as_mut()) {
            match outcome.result {
                // An answer to an older question is shown as long as it is about the same fields.
                Ok(made)
                    if wanted
                        .as_ref()
                        .is_some_and(|w| (w.field, w.beside) == (outcome.ask.field, outcome.ask.beside)) =>
                {
                    sheet.made = Some(made);
                    sheet.problem = None;
                }
                Ok(_) => {}
                Err(why) => {
                    sheet.made = None;
                    sheet.problem = Some(why);
                }
            }
        }
        let Some(wanted) = wanted else {
            self.sheet_asked = None;
            return;
        };
        if let Some(sheet) = &mut self.model.sheet
            && sheet.made.as_ref().is_some_and(|m| (m.ask.field, m.ask.beside) != (wanted.field, wanted.beside))
        {
            sheet.made = None;
        }
        if self.sheet_asked.as_ref() != Some(&wanted) {
            self.sheet_job.request(wanted.clone());
            self.sheet_asked = Some(wanted);
        }
    }

    /// Opens and closes the sheet by key while nothing is being typed. Escape closes the sheet before anything else.
    pub(super) fn sheet_keys(&mut self, ctx: &egui::Context, typing: bool) {
        if typing {
            return;
        }
        let open = self.model.sheet.is_some();
        let toggled = self.model.selected.is_some() && ctx.input_mut(|i| i.consume_key(Modifiers::NONE, Key::F));
        if toggled {
            self.commands.push(Command::Sheet(if open { SheetCommand::Close } else { SheetCommand::Open }));
        } else if open && ctx.input_mut(|i| i.consume_key(Modifiers::NONE, Key::Escape)) {
            self.commands.push(Command::Sheet(SheetCommand::Close));
        }
    }

    /// Has the open sheet written as a page.
    pub(super) fn save_sheet(&mut self, path: &Path) {
        let Some(sheet) = &self.model.sheet else { return };
        let Some(made) = sheet.made.clone() else { return };
        let (units, way, palette) = (self.model.settings.units, sheet.way, self.palette.clone());
        let present = (self.model.conditions.wind_speed_ms > 0.0).then_some(self.model.conditions.wind_from);
        self.write_page(PageOf::Sheet, path, move || page(&made, &PageLook { units, way, palette: &palette, present }));
    }
}
