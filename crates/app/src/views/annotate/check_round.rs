//! The check round in a window of its own: the fields in order, what to look at on each, and saving it for paper.

use crate::command::Command;
use crate::model::{AnnotateCommand, Model, SurveyCommand, Thing};
use crate::survey::round::CheckRound;
use crate::theme::{Theme, space};
use crate::views::typed::typed_text;
use egui::{Context, Id, Key, Modifiers, RichText, ScrollArea, Ui};
use std::path::PathBuf;

/// Shows the round, if there is one.
pub fn check_round(ctx: &Context, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let Some(round) = &model.survey.round else { return };
    let mut shown = true;
    let room = ctx.content_rect();
    egui::Window::new("Check round")
        .open(&mut shown)
        .collapsible(false)
        .resizable(true)
        .default_width(430.0)
        .default_height((room.height() - 160.0).clamp(240.0, 560.0))
        .default_pos([room.right() - 470.0, room.top() + 40.0])
        .show(ctx, |ui| {
            ui.label(RichText::new(round.summary()).strong());
            save_line(ui, model, commands);
            ui.separator();
            if round.stops.is_empty() {
                ui.label("No field is left in this round.");
            }
            ScrollArea::vertical().auto_shrink([false, false]).show(ui, |ui| {
                for index in 0..round.stops.len() {
                    line(ui, round, index, theme, commands);
                }
            });
        });
    let typing = ctx.text_edit_focused() || egui::Popup::is_any_open(ctx);
    if !shown || (!typing && ctx.input_mut(|i| i.consume_key(Modifiers::NONE, Key::Escape))) {
        commands.push(Command::Survey(SurveyCommand::CloseRound));
    }
}

fn save_line(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    let file = model.survey.round_file.clone().unwrap_or_default();
    ui.horizontal(|ui| {
        let label = ui.label("Page");
        let id = Id::unique("round file");
        let width = (ui.available_width() - 150.0).max(80.0);
        let now = file.to_string_lossy();
        let typed = typed_text(ui, id, "File of the page", &now, "check-round.pdf", width);
        if let Some(path) = typed.map(|t| PathBuf::from(t.trim())).filter(|p| !p.as_os_str().is_empty()) {
            commands.push(Command::Survey(SurveyCommand::NameRoundFile(path)));
        }
        label.on_hover_text("As PDF, as HTML or as pictures, by the ending of the name");
        if ui.button("Choose…").clicked() {
            commands.push(Command::Survey(SurveyCommand::PickRoundFile));
        }
        let named = !file.as_os_str().is_empty();
        if ui.add_enabled(named, egui::Button::new("Save")).on_hover_text("Write the page, to print").clicked() {
            commands.push(Command::Survey(SurveyCommand::SaveRound(file)));
        }
    });
}

fn line(ui: &mut Ui, round: &CheckRound, index: usize, theme: &Theme, commands: &mut Vec<Command>) {
    let stop = &round.stops[index];
    let heading = format!("{}. {}", index + 1, stop.label);
    if ui.selectable_label(false, RichText::new(heading).font(theme.bold_font(theme.sizes.text))).clicked() {
        commands.push(Command::Annotate(AnnotateCommand::Choose(vec![Thing::Field(stop.id.clone())])));
        commands.push(Command::Reveal(stop.at));
    }
    let small = |text: String| RichText::new(text).size(theme.sizes.small);
    ui.label(small(round.leg_words(index)).color(theme.colours.ink_soft));
    for look in &stop.look_at {
        ui.label(small(format!("• {}: {}", look.what, look.why)));
    }
    if stop.look_at.is_empty() {
        ui.label(small("• Everything is known and fresh".to_owned()).color(theme.colours.ink_soft));
    }
    ui.add_space(space::LINE);
}
