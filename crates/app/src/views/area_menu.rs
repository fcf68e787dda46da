//! The menu of the area as a whole, the line that says how it is kept, and the question before work would be lost.

use crate::command::Command;
use crate::model::Model;
use crate::theme::Theme;
use crate::views::dialog::Dialog;
use egui::containers::menu::MenuButton;
use egui::{RichText, Ui};

/// The menu.
pub fn area_menu(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    MenuButton::new("Area").ui(ui, |ui| {
        ui.set_min_width(220.0);
        let mut choose = |ui: &mut Ui, words: &str, help: &str, command: Command| {
            if ui.button(words).on_hover_text(help).clicked() {
                commands.push(command);
                ui.close();
            }
        };
        choose(
            ui,
            "New area…",
            "Begin an area on terrain of your own; its file is made at the first change",
            Command::ChooseFiles,
        );
        choose(ui, "Open…", "Open an area file, or terrain, fields and hazards (Ctrl+O)", Command::ChooseFiles);
        if model.area.is_some() {
            let (words, help) = if model.keeping.path.is_some() {
                ("Save a copy…", "Write everything in the area to another file; this one stays open")
            } else {
                ("Keep in a file…", "Choose the file in which this area is kept from now on")
            };
            choose(ui, words, help, Command::ChooseCopy);
            ui.separator();
            let help = "Look into a file of another program and take its fields, hazards, quiet zones and edges";
            choose(ui, "Import…", help, Command::ChooseImport);
            let help = "Write fields, hazards, quiet zones and edges for another program";
            choose(ui, "Export…", help, Command::ChooseExport);
            let help = "Print the area on a few sheets: numbered fields, where none is in reach, climb-outs (Ctrl+P)";
            choose(ui, "Area card…", help, Command::ChooseCard);
            ui.separator();
        }
        choose(ui, "Open the sample area", "The invented area that comes with the program", Command::OpenSample);
        if !model.settings.recent.is_empty() {
            ui.separator();
            ui.label("Recent areas");
            for path in &model.settings.recent {
                let name = path.file_stem().unwrap_or_default().to_string_lossy();
                choose(ui, &name, &path.display().to_string(), Command::OpenFiles(vec![path.clone()]));
            }
        }
        if model.area.is_some() {
            ui.separator();
            if super::annotate::findings::opener(ui, commands).clicked() {
                ui.close();
            }
            super::merge::opener(ui, model, commands);
        }
    });
}

/// How the area is kept, with a way to try again where it is not.
pub fn kept_line(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let Some(words) = model.keeping.words() else { return };
    let trouble = model.keeping.problem.is_some();
    let colour = if trouble { theme.colours.caution } else { theme.colours.ink_soft };
    let text = RichText::new(words).size(theme.sizes.small).color(colour);
    let place = model.keeping.path.as_ref().map(|p| p.display().to_string()).unwrap_or_default();
    let label = if trouble { egui::Label::new(text).wrap() } else { egui::Label::new(text).truncate() };
    ui.add(label).on_hover_text(place);
    if trouble && model.keeping.waiting > 0 {
        ui.horizontal(|ui| {
            if ui.button("Try again").clicked() {
                commands.push(Command::KeepAgain);
            }
            if ui.button("Save a copy…").clicked() {
                commands.push(Command::ChooseCopy);
            }
        });
    }
}

/// Asks before the window closes on changes that are not kept, or on a drawing that is not finished.
pub fn ask_to_close(ctx: &egui::Context, model: &Model, commands: &mut Vec<Command>) {
    let (problem, unfinished) = (&model.keeping.problem, model.annotating.is_drawing());
    if !model.keeping.asks_to_close || (problem.is_none() && !unfinished) {
        return;
    }
    let title = if problem.is_some() { "Not everything is kept" } else { "A drawing is not finished" };
    let stays = Dialog::new(title).show(ctx, |ui| {
        let count = model.keeping.waiting;
        if let Some(problem) = problem {
            let changes = if count == 1 { "1 change is".to_owned() } else { format!("{count} changes are") };
            ui.label(format!("{changes} not in the file. {problem}"));
        }
        if unfinished {
            ui.label("What is being drawn is in no file until it is finished (Enter).");
        }
        ui.add_space(6.0);
        ui.horizontal(|ui| {
            if problem.is_some() {
                if ui.button("Try again").clicked() {
                    commands.push(Command::KeepAgain);
                }
                if ui.button("Save a copy…").clicked() {
                    commands.extend([Command::StayOpen, Command::ChooseCopy]);
                }
            }
            if ui.button("Stay").clicked() {
                commands.push(Command::StayOpen);
            }
            let one = count + usize::from(unfinished) == 1;
            if ui.button(if one { "Close and lose it" } else { "Close and lose them" }).clicked() {
                commands.push(Command::CloseAnyway);
            }
        });
    });
    if !stays {
        commands.push(Command::StayOpen);
    }
}
