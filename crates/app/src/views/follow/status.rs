//! How the source stands: in one line that is read at arm's length, never by colour alone.

use super::age_words;
use crate::command::Command;
use crate::model::{FollowCommand, Model, ReplaySpeed};
use crate::theme::{Theme, chooser};
use egui::{Frame, RichText, Ui};
use sparefield_data::live::{Source, State, Status};

/// The line, with what can be done about it.
pub(super) fn status(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let (Some(source), c) = (&model.follow.source, &theme.colours) else { return };
    let mut push = |command| commands.push(Command::Follow(command));
    let is_replay = matches!(source, Source::Replay { .. });
    let told = |status: &Status| headline(status, is_replay);
    let (words, fine) = model.follow.status.as_ref().map_or(("Connecting".to_owned(), false), told);
    let (fill, ink) = if fine { (c.panel_raised, c.ink) } else { (c.caution_soft, c.caution) };
    Frame::new().fill(fill).corner_radius(6.0).inner_margin(10).show(ui, |ui| {
        ui.set_width(ui.available_width());
        let text = RichText::new(words).font(theme.bold_font(theme.sizes.large)).color(ink);
        ui.add(egui::Label::new(text).wrap());
        let mut second = source.to_string();
        if let Some(status) = &model.follow.status {
            if let Some(used) = status.satellites {
                second = format!("{second} · {used} satellites");
            }
            if let Some(trouble) = &status.trouble {
                second.clone_from(trouble);
            }
        }
        let second = RichText::new(second).size(theme.sizes.text).color(if fine { c.ink_soft } else { ink });
        ui.add(egui::Label::new(second).wrap());
        if let Some(problem) = &model.follow.problem {
            ui.add(egui::Label::new(RichText::new(problem).size(theme.sizes.heading).color(c.caution)).wrap());
        }
    });
    if is_replay {
        ui.horizontal(|ui| {
            ui.spacing_mut().item_spacing.x = 4.0;
            ui.spacing_mut().button_padding.x = 2.0;
            let width = (ui.available_width() - 20.0) / ReplaySpeed::OFFERED.len() as f32;
            for speed in ReplaySpeed::OFFERED {
                let words = if speed == 0.0 { "Pause".to_owned() } else { format!("{speed}×") };
                let chosen = model.follow.replay_speed.0 == speed;
                let button = chooser(chosen, &words, theme).min_size(egui::vec2(width, 28.0));
                if ui.add(button).on_hover_text("How fast the flight is played").clicked() {
                    push(FollowCommand::Speed(speed));
                }
            }
        });
    }
    ui.horizontal(|ui| {
        let width = (ui.available_width() - ui.spacing().item_spacing.x) / 2.0;
        let size = egui::vec2(width, 32.0);
        match model.follow.recorded {
            Some(fixes) => {
                let words = format!("Stop recording ({fixes})");
                if ui.add(egui::Button::new(words).min_size(size)).on_hover_text(RECORD_HELP).clicked() {
                    push(FollowCommand::Record(false));
                }
            }
            None => {
                if ui.add(egui::Button::new("Record").min_size(size)).on_hover_text(RECORD_HELP).clicked() {
                    push(FollowCommand::Record(true));
                }
            }
        }
        if ui.add(egui::Button::new("Disconnect").min_size(size)).clicked() {
            push(FollowCommand::Disconnect);
        }
    });
}

const RECORD_HELP: &str = "Keep the flight in the area; it is kept when recording stops or the window closes";

/// The state in words, and whether all is well.
fn headline(status: &Status, is_replay: bool) -> (String, bool) {
    let age = status.age.map(age_words).unwrap_or_default();
    match status.state {
        State::Connecting => ("Connecting".to_owned(), false),
        State::NoFix => ("Connected, no position yet".to_owned(), false),
        State::Live if is_replay => ("Replay, not live".to_owned(), true),
        State::Live => ("Live position".to_owned(), true),
        State::Stale => (format!("No new position for {age}"), false),
        State::Lost => (format!("Position lost {age} ago"), false),
        State::Ended if status.fix.is_some() => ("The recorded flight is over".to_owned(), true),
        State::Ended => ("Nothing to play".to_owned(), false),
    }
}
