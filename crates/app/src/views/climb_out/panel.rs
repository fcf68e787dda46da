//! The page of climb-outs: which end, in which wind, from which height, and the answer in words.

use crate::climb_out::{Answer, words};
use crate::command::Command;
use crate::model::{ClimbOutCommand, Model};
use crate::not_looked_at;
use crate::theme::{Theme, chooser, space};
use crate::views::conditions::{HeightRow, aircraft_line, problem as not_understood, wind_line};
use egui::{Label, RichText, ScrollArea, Ui};
use sparefield_geometry::climb_out::{ADVICE, CLIMB_OUT_HEIGHTS_M, ClimbOutAt};

/// What to do without a home strip.
const NO_HOME: &str =
    "This area has no home strip, so there is no runway to climb out from. Open an area that has one.";

/// The page.
pub fn panel(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let Some(area) = &model.area else { return };
    let Some(home) = &area.home else {
        ui.add(Label::new(NO_HOME).wrap());
        return;
    };
    ScrollArea::vertical().id_salt("climb-out page").auto_shrink(false).show(ui, |ui| {
        ui.spacing_mut().item_spacing.y = 6.0;
        aircraft_line(ui, model, commands);
        wind_line(ui, model, commands);
        ui.horizontal_wrapped(|ui| {
            ui.label(format!("Off {}, runway", home.name));
            for (i, end) in home.ends.iter().enumerate() {
                if ui.add(chooser(model.climb_out_end() == Some(i), &end.name, theme)).clicked() {
                    commands.push(Command::ClimbOut(ClimbOutCommand::End(i)));
                }
            }
        });
        height_line(ui, model, commands);
        not_understood(ui, theme);
        state(ui, model, theme);
        ui.separator();
        if let Some((answer, at)) = model.climb_out_at() {
            here(ui, model, answer, at, theme, commands);
            ui.separator();
        }
        match model.climb_out() {
            Some(Ok(answer)) => whole(ui, model, answer, theme, commands),
            Some(Err(why)) => caution(ui, theme, &format!("No climb-out off this end: {why}.")),
            None => {}
        }
        heading(ui, theme, "Before every take-off");
        for advice in ADVICE {
            ui.add(Label::new(format!("• {}", advice.words)).wrap());
            soft(ui, theme, advice.source);
        }
        heading(ui, theme, "Not looked at, and always to be said");
        match model.climb_out() {
            Some(Ok(answer)) => {
                for words in not_looked_at::climb_out_cautions(answer) {
                    soft(ui, theme, &words);
                }
            }
            _ => soft(ui, theme, not_looked_at::BY_CLIMB_OUT),
        }
    });
}

/// The height above the runway: dragged, typed with a unit, or changed by arrow keys.
pub(in crate::views) fn height_line(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    ui.horizontal(|ui| {
        let row = HeightRow {
            label: "Above the runway",
            asked: "Height above the runway that is asked about",
            value_m: model.climb_outs.height_m,
            range_m: CLIMB_OUT_HEIGHTS_M,
            step_m: 10.0,
        };
        if let Some(height_m) = row.show(ui, model.settings.units, commands) {
            commands.push(Command::ClimbOut(ClimbOutCommand::Height(height_m)));
        }
    });
}

/// How far the work is, and what went wrong.
fn state(ui: &mut Ui, model: &Model, theme: &Theme) {
    let climb_outs = &model.climb_outs;
    if let Some(why) = &climb_outs.problem {
        caution(ui, theme, why);
    }
    if let Some(share) = climb_outs.working {
        ui.horizontal(|ui| {
            ui.spinner();
            let older = if climb_outs.made.is_some() { "; below stands the last answer" } else { "" };
            let done = (share * 100.0).floor();
            soft(ui, theme, &format!("Flying the climb-outs, {done:.0} of 100 done{older}"));
        });
    }
}

/// What is in reach at the height asked about.
fn here(ui: &mut Ui, model: &Model, answer: &Answer, at: &ClimbOutAt, theme: &Theme, commands: &mut Vec<Command>) {
    let units = model.settings.units;
    let step = &at.step;
    let title = format!(
        "The engine stops {} above runway {}, {} beyond its end",
        units.format_height(step.height_m),
        answer.name,
        units.format_length(step.beyond_end_m)
    );
    ui.add(Label::new(RichText::new(title).font(theme.bold_font(theme.sizes.text))).wrap());
    let ahead = step.ahead.as_ref().map_or_else(
        || "Ahead: the ground is not known.".to_owned(),
        |ahead| format!("Ahead within 30°: a glide of {} at most.", words::ahead(answer, ahead, units)),
    );
    ui.add(Label::new(ahead).wrap());
    let mut fields = words::in_reach(step).peekable();
    if fields.peek().is_none() {
        ui.add(Label::new("No field that would take the aircraft is in reach with a circuit: land ahead.").wrap());
    } else {
        ui.label("Fields in reach with a circuit:");
    }
    for field in fields {
        let index = answer.fields[field.index].index;
        let row = ui.selectable_label(model.selected == Some(index), words::field(answer, field, units));
        if row.hovered() {
            commands.push(Command::Hover(Some(index)));
        }
        if row.clicked() {
            commands.push(Command::Select(Some(index)));
        }
    }
    let turn_back = step.turn_back.as_ref().map_or_else(
        || "Turn back: none can be flown.".to_owned(),
        |turn| format!("Turn back by simulation: {}.", words::turn_back(turn, units)),
    );
    ui.add(Label::new(turn_back).wrap());
}

/// What holds of all heights.
fn whole(ui: &mut Ui, model: &Model, answer: &Answer, theme: &Theme, commands: &mut Vec<Command>) {
    let units = model.settings.units;
    ui.add(Label::new(words::headline(answer, units)).wrap());
    soft(ui, theme, &words::flown_with(answer));
    if ui.button("Printed page…").on_hover_text("This climb-out as a page to print").clicked() {
        commands.push(Command::ClimbOut(ClimbOutCommand::ChoosePage));
    }
}

fn heading(ui: &mut Ui, theme: &Theme, words: &str) {
    ui.add_space(space::LINE);
    ui.label(RichText::new(words).font(theme.bold_font(theme.sizes.text)));
}

fn soft(ui: &mut Ui, theme: &Theme, words: &str) {
    let text = RichText::new(words).size(theme.sizes.small).color(theme.colours.ink_soft);
    ui.add(Label::new(text).wrap());
}

fn caution(ui: &mut Ui, theme: &Theme, words: &str) {
    ui.add(Label::new(RichText::new(words).color(theme.colours.caution)).wrap());
}
