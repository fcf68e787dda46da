//! The drawer under the map: how the circuit goes, play and scrub, the height profile.

use super::profile::profile;
use crate::circuits::words;
use crate::command::Command;
use crate::model::{CircuitCommand, Circuits, Model};
use crate::not_looked_at;
use crate::theme::{Theme, space};
use egui::{Frame, Layout, RichText, Slider, Ui};

/// Height of the profile, points, where the window is high and where it is not.
const PROFILE: f32 = 118.0;
const LOW_PROFILE: f32 = 84.0;
/// Windows lower than this have a low profile, points.
const LOW_WINDOW: f32 = 700.0;
/// Room for the buttons beside the sentence, points.
const BUTTONS: f32 = 222.0;
/// Drawers narrower than this put speeds and choices on a line of their own, points.
const NARROW: f32 = 760.0;

/// The drawer, while a field is chosen in Rehearse.
pub fn drawer(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let may_look = model.looks() && model.sheet.is_none();
    if !may_look || model.selected.is_none() || model.assessment.is_none() {
        return;
    }
    let low = ui.ctx().content_rect().height() < LOW_WINDOW;
    let frame = Frame::new().fill(theme.colours.panel).inner_margin(egui::Margin::symmetric(12, 8));
    egui::Panel::bottom("circuit").resizable(false).frame(frame).show(ui, |ui| {
        ui.spacing_mut().item_spacing.y = 4.0;
        head(ui, model, theme, commands);
        if !model.circuits.shown {
            return;
        }
        if model.circuits.chosen().is_some() {
            controls(ui, model, theme, commands);
            profile(ui, model, theme, if low { LOW_PROFILE } else { PROFILE }, commands);
        }
        let small = RichText::new(not_looked_at::BY_CIRCUIT).size(theme.sizes.small).color(theme.colours.ink_soft);
        ui.add(egui::Label::new(small).wrap());
    });
}

fn head(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let circuits = &model.circuits;
    let mut push = |command| commands.push(Command::Circuit(command));
    ui.horizontal_top(|ui| {
        let width = (ui.available_width() - BUTTONS).max(120.0);
        ui.allocate_ui(egui::vec2(width, 0.0), |ui| {
            ui.set_width(width);
            let (words, colour) = sentence(model, theme);
            ui.add(egui::Label::new(RichText::new(words).font(theme.bold_font(theme.sizes.text)).color(colour)).wrap());
        });
        ui.with_layout(Layout::right_to_left(egui::Align::TOP), |ui| {
            let (text, help) = if circuits.shown {
                ("Hide circuit", "Show the straight glide to the field instead")
            } else {
                ("Show circuit", "Fly the circuit from here into the field")
            };
            if ui.button(text).on_hover_text(help).clicked() {
                push(CircuitCommand::Show(!circuits.shown));
            }
            if circuits.chosen().is_some() {
                let help = "Bring the whole circuit onto the map";
                if ui.button("See all of it").on_hover_text(help).clicked() {
                    push(CircuitCommand::Frame);
                }
            }
        });
    });
}

fn sentence(model: &Model, theme: &Theme) -> (String, egui::Color32) {
    let circuits = &model.circuits;
    let c = &theme.colours;
    if !circuits.shown {
        return ("The circuit is not shown.".to_owned(), c.ink_soft);
    }
    match (circuits.chosen(), circuits.refusal()) {
        (Some(flight), _) => (words::sentence(flight, model.settings.units), c.ink),
        (None, Some(why)) => (why.to_owned(), c.caution),
        (None, None) => ("Flying the circuit…".to_owned(), c.ink_soft),
    }
}

fn controls(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let narrow = ui.available_width() < NARROW;
    ui.horizontal(|ui| {
        play(ui, model, commands);
        if !narrow {
            choices(ui, model, commands);
        }
        scrub(ui, model, theme, commands);
    });
    if narrow {
        ui.horizontal(|ui| choices(ui, model, commands));
    }
    let circuits = &model.circuits;
    let now = circuits.chosen().and_then(|f| f.at(circuits.at_s));
    if let Some(moment) = now {
        let convergence = model.convergence_rad(moment.motion.position);
        let text = words::moment(&moment, convergence, model.settings.units);
        ui.add(egui::Label::new(RichText::new(text).size(theme.sizes.small)).truncate());
    }
}

fn play(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    let circuits = &model.circuits;
    let (text, help) =
        if circuits.playing { ("Pause", "Hold the flight here (Space)") } else { ("Play", "Fly the circuit (Space)") };
    let button = egui::Button::new(text).min_size(egui::vec2(62.0, 26.0));
    if ui.add(button).on_hover_text(help).clicked() {
        commands.push(Command::Circuit(CircuitCommand::Play(!circuits.playing)));
    }
}

fn choices(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    let circuits = &model.circuits;
    let mut push = |command| commands.push(Command::Circuit(command));
    ui.spacing_mut().item_spacing.x = space::TIGHT;
    for speed in Circuits::SPEEDS {
        let chosen = circuits.speed == speed;
        let label = ui.selectable_label(chosen, format!("{speed}×"));
        if label.on_hover_text(format!("Play {speed} times as fast as it would be flown")).clicked() {
            push(CircuitCommand::Speed(speed));
        }
    }
    ui.separator();
    for (text, by_distance) in [("by time", false), ("by distance", true)] {
        let label = ui.selectable_label(circuits.by_distance == by_distance, text);
        if label.on_hover_text("What the height profile is drawn against").clicked() {
            push(CircuitCommand::ByDistance(by_distance));
        }
    }
    ui.separator();
}

fn scrub(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let circuits = &model.circuits;
    ui.with_layout(Layout::right_to_left(egui::Align::Center), |ui| {
        let text = format!("{} of {}", words::clock(circuits.at_s), words::clock(circuits.duration_s()));
        let clock = ui.label(RichText::new(text).font(theme.bold_font(theme.sizes.text)));
        ui.spacing_mut().slider_width = (ui.available_width() - 4.0).max(40.0);
        let mut at_s = circuits.at_s;
        let slider = Slider::new(&mut at_s, 0.0..=circuits.duration_s().max(0.1)).show_value(false);
        let slider = ui.add(slider).labelled_by(clock.id);
        if slider.on_hover_text("Time since the engine stopped").changed() {
            commands.push(Command::Circuit(CircuitCommand::At(at_s)));
        }
    });
}
