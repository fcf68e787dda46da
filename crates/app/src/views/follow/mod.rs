//! Follow: the live position, the best field at one glance, the source.

mod glance;
mod source;
mod status;

use super::conditions;
use crate::command::Command;
use crate::model::{FollowCommand, Model};
use crate::theme::{Theme, chooser, space};
use egui::{RichText, ScrollArea, Ui};
use std::time::Duration;

/// The column of Follow.
pub fn panel(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    ui.spacing_mut().item_spacing.y = 6.0;
    if model.follow.source.is_some() {
        status::status(ui, model, theme, commands);
    }
    ScrollArea::vertical().id_salt("follow").auto_shrink([false, false]).show(ui, |ui| {
        if model.follow.source.is_some() {
            glance::glance(ui, model, theme, commands);
            ui.separator();
            map_line(ui, model, theme, commands);
            if model.follow.may_sleep {
                let text =
                    "This system did not let Sparefield keep its screen awake: switch its sleep off before a flight.";
                let text = RichText::new(text).size(theme.sizes.text).color(theme.colours.caution);
                ui.add(egui::Label::new(text).wrap());
            }
        } else {
            source::form(ui, model, theme, commands);
        }
        ui.separator();
        conditions::aircraft_line(ui, model, commands);
        conditions::wind_line(ui, model, commands);
        conditions::problem(ui, theme);
        let age = match model.follow.wind_age {
            None => "not typed since the start: check it".to_owned(),
            Some(age) => format!("typed {} ago", age_words(age)),
        };
        ui.label(RichText::new(format!("Wind {age}")).size(theme.sizes.text).color(theme.colours.ink_soft));
    });
}

/// Which way is up, and back to the aircraft.
fn map_line(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let mut push = |command| commands.push(Command::Follow(command));
    ui.horizontal(|ui| {
        let width = (ui.available_width() - ui.spacing().item_spacing.x) / 2.0;
        for (track_up, words, help) in [
            (false, "North up", "The map stays as it is printed"),
            (true, "Track up", "What lies ahead of the aircraft is up"),
        ] {
            let button = chooser(model.follow.track_up == track_up, words, theme).min_size(egui::vec2(width, 32.0));
            if ui.add(button).on_hover_text(help).clicked() {
                push(FollowCommand::TrackUp(track_up));
            }
        }
    });
    if model.follow.looked_away {
        let button = egui::Button::new("Back to the aircraft").min_size(egui::vec2(ui.available_width(), 32.0));
        if ui.add(button).clicked() {
            push(FollowCommand::Centre);
        }
    }
    ui.add_space(space::LINE);
}

/// An age in words that are read at a glance.
fn age_words(age: Duration) -> String {
    let seconds = age.as_secs();
    match seconds {
        0..60 => format!("{seconds} s"),
        60..3_600 => format!("{} min", seconds / 60),
        _ => format!("{} h {} min", seconds / 3_600, seconds / 60 % 60),
    }
}
