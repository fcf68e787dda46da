//! What stands round the map: the header of the column, messages, first steps, cautions, the open dialogue.

use super::area_menu::{area_menu, kept_line};
use super::conditions::units_menu;
use crate::assess::STANDING_CAUTIONS;
use crate::command::Command;
use crate::model::{Mode, Model, NoticeLevel};
use crate::theme::{Theme, chooser, space};
use egui::containers::menu::{MenuButton, MenuConfig};
use egui::{Align2, PopupCloseBehavior, RichText, Ui, Vec2};

/// Header of the left column: the program's name, the area, and the menus.
pub fn header(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    ui.horizontal(|ui| {
        ui.label(RichText::new("Sparefield").font(theme.bold_font(theme.sizes.large)));
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            // Several things are often changed one after the other, so the menu stays until a click beside it.
            let config = MenuConfig::new().close_behavior(PopupCloseBehavior::CloseOnClickOutside);
            MenuButton::new("View").config(config).ui(ui, |ui| view_menu(ui, model, commands));
            area_menu(ui, model, commands);
        });
    });
    if let Some(area) = &model.area {
        ui.horizontal(|ui| {
            ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
                undo_buttons(ui, model, commands);
                ui.with_layout(egui::Layout::left_to_right(egui::Align::Center), |ui| {
                    let title = RichText::new(&area.title).color(theme.colours.ink_soft);
                    ui.add(egui::Label::new(title).truncate()).on_hover_text(area.provenance.join("\n"));
                });
            });
        });
    }
    kept_line(ui, model, theme, commands);
    ui.horizontal(|ui| {
        // Four modes beside one another leave little room round their names.
        ui.spacing_mut().item_spacing.x = 5.0;
        ui.spacing_mut().button_padding.x = 4.0;
        let gaps = ui.spacing().item_spacing.x * (Mode::ALL.len() - 1) as f32;
        let width = (ui.available_width() - gaps) / Mode::ALL.len() as f32;
        for mode in Mode::ALL {
            let button = chooser(model.mode == mode, mode.words(), theme).min_size(egui::vec2(width, 28.0));
            if ui.add(button).on_hover_text(mode.help()).clicked() {
                commands.push(Command::SetMode(mode));
            }
        }
    });
    if let Some(opening) = &model.opening {
        ui.horizontal(|ui| {
            ui.add(egui::ProgressBar::new(opening.share).desired_width(210.0).text(&opening.what));
            if ui.button("Stop").clicked() {
                commands.push(Command::StopOpening);
            }
        });
    }
}

fn view_menu(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    ui.set_min_width(190.0);
    let mut night = model.settings.night;
    if ui.checkbox(&mut night, "Night colours").changed() {
        commands.push(Command::SetNight(night));
    }
    ui.separator();
    units_menu(ui, model.settings.units, commands);
    ui.separator();
    if ui.button("Three things to try").clicked() {
        commands.push(Command::ShowFirstSteps(true));
        ui.close();
    }
}

/// Undo and redo, the latter at the right. What each would do is read out, and shown on hovering.
fn undo_buttons(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    let drawing = model.mode == Mode::Annotate && model.annotating.is_drawing();
    let undo = if drawing { Some("the last corner") } else { model.history.undo_words() };
    for (verb, what, keys, command) in
        [("Redo", model.history.redo_words(), "Ctrl+Shift+Z", Command::Redo), ("Undo", undo, "Ctrl+Z", Command::Undo)]
    {
        let words = what.map_or_else(|| verb.to_owned(), |what| format!("{verb} {what}"));
        let button = ui.add_enabled(what.is_some(), egui::Button::new(verb).small());
        button.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, what.is_some(), &words));
        if button.on_hover_text(format!("{words} ({keys})")).clicked() {
            commands.push(command);
        }
    }
}

/// Cautions, one line, with everything that has to be said about the present answer behind it.
pub fn cautions(ui: &mut Ui, model: &Model, theme: &Theme) {
    let mut words = "Training and planning aid, not for navigation · wires cannot be seen".to_owned();
    if model.area.as_ref().is_some_and(|a| a.hazards.is_empty()) {
        words.push_str(" · no hazards loaded");
    }
    let text = RichText::new(words).size(theme.sizes.small).color(theme.colours.caution);
    ui.add(egui::Label::new(text).wrap()).on_hover_ui(|ui| {
        for caution in all_cautions(model) {
            ui.add(egui::Label::new(format!("– {caution}")).wrap());
        }
    });
}

fn all_cautions(model: &Model) -> Vec<String> {
    let (Some(area), Some(assessment)) = (&model.area, &model.assessment) else {
        return STANDING_CAUTIONS.map(str::to_owned).to_vec();
    };
    let conditions = model.conditions.to_assess(assessment.today);
    assessment.cautions(area, &conditions, &model.settings.units)
}

/// Room in the column below which messages leave it to the list, points.
pub const ROOM_FOR_NOTICES: f32 = 240.0;

/// The messages over the map's upper left corner, where the column has no room for them.
pub fn notices_on_map(ctx: &egui::Context, map_left: f32, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    if model.notices.is_empty() {
        return;
    }
    egui::Area::new(egui::Id::unique("messages")).fixed_pos(egui::pos2(map_left + 12.0, 12.0)).show(ctx, |ui| {
        // Beside the buttons of the map's other corner.
        ui.set_width(320.0);
        notices(ui, model, theme, commands);
    });
}

/// Messages, newest first, each with a way to dismiss it.
pub fn notices(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    const SHOWN: usize = 3;
    for (i, notice) in model.notices.iter().enumerate().rev().take(SHOWN) {
        let (fill, ink) = match notice.level {
            NoticeLevel::Info => (theme.colours.panel_raised, theme.colours.ink),
            NoticeLevel::Problem => (theme.colours.caution_soft, theme.colours.caution),
        };
        egui::Frame::new().fill(fill).corner_radius(5.0).inner_margin(8).show(ui, |ui| {
            ui.horizontal_top(|ui| {
                let width = ui.available_width() - 64.0;
                ui.allocate_ui(Vec2::new(width, 0.0), |ui| {
                    ui.add(egui::Label::new(RichText::new(&notice.text).color(ink)).wrap());
                });
                ui.with_layout(egui::Layout::right_to_left(egui::Align::TOP), |ui| {
                    if ui.small_button("Dismiss").clicked() {
                        commands.push(Command::DismissNotice(i));
                    }
                });
            });
        });
    }
    if model.notices.len() > 1 {
        ui.horizontal(|ui| {
            if model.notices.len() > SHOWN {
                let more = format!("and {} earlier messages", model.notices.len() - SHOWN);
                ui.label(RichText::new(more).size(theme.sizes.small).color(theme.colours.ink_soft));
            }
            if ui.small_button("Dismiss all").clicked() {
                commands.push(Command::DismissAllNotices);
            }
        });
    }
}

/// Three things to try, over the map's lower left corner.
pub fn first_steps(ctx: &egui::Context, map: egui::Rect, theme: &Theme, commands: &mut Vec<Command>) {
    egui::Area::new(egui::Id::unique("first steps"))
        .pivot(Align2::LEFT_BOTTOM)
        .fixed_pos(map.left_bottom() + Vec2::new(14.0, -44.0))
        .order(egui::Order::Middle)
        .show(ctx, |ui| {
            let frame = egui::Frame::new()
                .fill(theme.colours.panel_raised)
                .stroke(egui::Stroke::new(1.0, theme.colours.line))
                .corner_radius(8.0)
                .inner_margin(14);
            frame.show(ui, |ui| {
                ui.set_max_width(330.0);
                ui.label(RichText::new("The engine has stopped. Where now?").font(theme.bold_font(theme.sizes.heading)));
                ui.add_space(space::TIGHT);
                for step in [
                    "1.  Drag the aircraft: lit land is in reach with a circuit in hand, the rest falls into dusk.",
                    "2.  Drag the wind's direction in the column: watch the order of the fields change.",
                    "3.  Click a field: see the circuit into it flown, read why it stands where it stands, and open any number to its working.",
                ] {
                    ui.add(egui::Label::new(step).wrap());
                }
                ui.add_space(space::TIGHT);
                ui.label(
                    RichText::new("The sample area is invented. Open your own terrain and fields with Area, Open… or drop the files on the map.")
                        .size(theme.sizes.small)
                        .color(theme.colours.ink_soft),
                );
                if ui.button("Got it").clicked() {
                    commands.push(Command::ShowFirstSteps(false));
                }
            });
        });
}
