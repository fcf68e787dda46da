//! Fan stops at the home strip: the rose of what was drilled and of what is in reach, and the drill of one of them.

use crate::command::Command;
use crate::fan_stops::picture::{FanLook, LEGEND, cell_at, rose};
use crate::fan_stops::words;
use crate::model::{FanCommand, Model};
use crate::not_looked_at;
use crate::theme::{Theme, space};
use crate::views::conditions::{problem as not_understood, wind_line};
use crate::views::sheet::paint;
use crate::views::timeline;
use egui::{Button, Key, Label, Modifiers, RichText, Sense, Ui, Vec2, WidgetInfo};
use sparefield_geometry::drill::FanCell;

/// Side of the rose at most, points.
const MOST_SIDE: f32 = 300.0;

/// The page.
pub(super) fn fan(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let fan = &model.fan;
    let (Some(area), Some(set)) = (&model.area, model.fan_set()) else {
        problem(ui, theme, fan.problem.as_deref());
        return;
    };
    wind_line(ui, model, commands);
    not_understood(ui, theme);
    state(ui, model, theme, commands);
    let looked = model.fan_cell();
    if let Some(cell) = shown(ui, model, looked, theme) {
        commands.push(Command::Fan(FanCommand::Look(cell)));
    }
    let units = model.settings.units;
    let which = words::cell(area, set, looked, units);
    ui.add(Label::new(RichText::new(which).font(theme.bold_font(theme.sizes.text))).wrap());
    if let Some(made) = &fan.made {
        ui.add(Label::new(words::state(&made.stops, made.stops.state(looked), units)).wrap());
    }
    if let Some(practised) = model.fan_practised() {
        ui.add(Label::new(words::record(&practised.records[looked.index()])).wrap());
    }
    ui.horizontal(|ui| {
        let help = "The first of this kind that you have not flown, in a wind of the set";
        let drill = ui.add_enabled(!model.drilling.preparing, Button::new("Drill this one"));
        if drill.on_hover_text(help).clicked() {
            commands.push(Command::Fan(FanCommand::Drill));
        }
        let help = "This rose with its tables as a page to print";
        if ui.add_enabled(fan.made.is_some(), Button::new("Printed page…")).on_hover_text(help).clicked() {
            commands.push(Command::Fan(FanCommand::ChoosePage));
        }
    });
    ui.add_space(space::TIGHT);
    whole(ui, model, theme, commands);
    ui.add_space(space::LINE);
    for line in LEGEND {
        soft(ui, theme, line);
    }
    soft(ui, theme, &rings(model));
    ui.add_space(space::TIGHT);
    soft(ui, theme, not_looked_at::BY_FAN_STOPS);
}

/// What holds of all of them.
fn whole(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let units = model.settings.units;
    let (Some(area), Some(set)) = (&model.area, model.fan_set()) else { return };
    match model.fan_practised() {
        Some(practised) => {
            ui.add(Label::new(words::practice(practised)).wrap());
            ui.add(Label::new(words::next(area, set, practised, units)).wrap());
            let next = practised.next.filter(|next| *next != model.fan_cell());
            if let Some(next) = next
                && ui.button("Look at that one").clicked()
            {
                commands.push(Command::Fan(FanCommand::Look(next)));
            }
        }
        None => soft(ui, theme, "Say under Fly who you are; what you drilled is then counted here."),
    }
    if let Some(made) = &model.fan.made {
        ui.add_space(space::TIGHT);
        ui.add(Label::new(words::headline(&made.stops, units)).wrap());
        soft(ui, theme, &words::flown_with(&made.stops, units));
    }
    soft(ui, theme, &format!("Of the drill set “{}”, whose drills have winds of their own.", set.name));
}

/// Heights of the rings.
fn rings(model: &Model) -> String {
    let Some(set) = model.fan_set() else { return String::new() };
    let each: Vec<String> = (0..sparefield_geometry::drill::HEIGHT_STEPS)
        .map(|step| words::heights(set, step, model.settings.units))
        .collect();
    format!("From the middle outwards: {}.", each.join(", "))
}

/// How far the work is, and what went wrong.
fn state(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let fan = &model.fan;
    problem(ui, theme, fan.problem.as_deref());
    let mut button = |ui: &mut Ui, words: &str, command| {
        if ui.button(words).clicked() {
            commands.push(Command::Fan(command));
        }
    };
    if let Some(share) = fan.working {
        ui.horizontal_wrapped(|ui| {
            ui.spinner();
            ui.label(format!("Flying onto the strip, {:.0} of 100", (share * 100.0).floor()));
            button(ui, "Stop", FanCommand::Stop);
        });
    } else if fan.stopped {
        ui.horizontal(|ui| {
            ui.label("Stopped.");
            button(ui, "Work it out", FanCommand::Resume);
        });
    }
}

/// The rose; gives the cell that is chosen by pointer or key.
fn shown(ui: &mut Ui, model: &Model, looked: FanCell, theme: &Theme) -> Option<FanCell> {
    let (area, set) = (model.area.as_ref()?, model.fan_set()?);
    let side = ui.available_width().min(MOST_SIDE);
    // What is drawn beside fan stops of another wind says nothing of this one.
    let stops = model.fan.made.as_ref().filter(|_| model.fan.working.is_none() && !model.fan.stopped);
    let practised = model.fan_practised();
    let look = FanLook {
        area,
        side,
        stops: stops.map(|made| &made.stops),
        practised: practised.map(AsRef::as_ref),
        looked: Some(looked),
    };
    let picture = rose(&look);
    let (rect, response) = ui.allocate_exact_size(Vec2::splat(side), Sense::click());
    let words = format!(
        "{}. {}; arrow keys go to other headings and heights",
        picture.words,
        words::cell(area, set, looked, model.settings.units)
    );
    response.widget_info(|| WidgetInfo::slider(true, looked.index() as f64, &words));
    paint::paint(ui, rect, &picture, theme);
    timeline::focus_frame(ui.painter(), rect, &response, theme);
    if response.clicked() {
        response.request_focus();
        let at = response.interact_pointer_pos()?;
        return cell_at(side, at - rect.min.to_vec2());
    }
    if !response.has_focus() {
        return None;
    }
    let filter = egui::EventFilter { horizontal_arrows: true, vertical_arrows: true, ..Default::default() };
    ui.memory_mut(|m| m.set_focus_lock_filter(response.id, filter));
    let pressed = |key| ui.input_mut(|i| i.consume_key(Modifiers::NONE, key));
    let keys = [(Key::ArrowLeft, -1, 0), (Key::ArrowRight, 1, 0), (Key::ArrowUp, 0, 1), (Key::ArrowDown, 0, -1)];
    keys.into_iter().find_map(|(key, clockwise, up)| pressed(key).then(|| looked.moved(clockwise, up)))
}

fn problem(ui: &mut Ui, theme: &Theme, why: Option<&str>) {
    if let Some(why) = why {
        let words = format!("No fan stops: {why}.");
        ui.add(Label::new(RichText::new(words).color(theme.colours.caution)).wrap());
    }
}

fn soft(ui: &mut Ui, theme: &Theme, words: &str) {
    let text = RichText::new(words).size(theme.sizes.small).color(theme.colours.ink_soft);
    ui.add(Label::new(text).wrap());
}
