//! What is drilled next: who, which set, which number.

use crate::model::{DrillCommand, Model};
use crate::theme::{Theme, space};
use egui::{Button, ComboBox, DragValue, Label, RichText, TextEdit, Ui, vec2};
use sparefield_geometry::drill::DrillSet;

const LABEL: f32 = 62.0;

/// The page.
pub(super) fn fly(ui: &mut Ui, model: &Model, theme: &Theme, push: &mut impl FnMut(DrillCommand)) {
    let soft = |text: &str| Label::new(RichText::new(text).color(theme.colours.ink_soft)).wrap();
    let Some(area) = &model.area else { return };
    let Some(set) = model.drill_set() else {
        ui.add(soft("There are no drill sets in this area yet. Make one under Sets: where engines stop, how high, in which winds."));
        return;
    };
    line(ui, "Pilot", |ui| {
        let mut name = model.settings.pilot.clone();
        let edit = TextEdit::singleline(&mut name).hint_text("your name").desired_width(f32::INFINITY);
        let response = ui.add(edit);
        if response.changed() {
            push(DrillCommand::Pilot(name));
        }
        response
    });
    line(ui, "Set", |ui| {
        let width = ui.available_width() - 8.0;
        let shown = ComboBox::from_id_salt("drill set").selected_text(&set.name).width(width).truncate();
        let shown = shown.show_ui(ui, |ui| {
            for one in area.drill_sets.iter() {
                if ui.selectable_label(one.id == set.id, &one.name).clicked() {
                    push(DrillCommand::Set(one.id.clone()));
                }
            }
        });
        shown.response
    });
    line(ui, "Drill", |ui| {
        let mut number = model.drilling.number.unwrap_or(1);
        let own = model.drilling.number.is_some();
        let combo = ComboBox::from_id_salt("drill number").width(150.0);
        let combo = combo.selected_text(if own { "this number" } else { "what to practise next" });
        let response = combo.show_ui(ui, |ui| {
            if ui.selectable_label(!own, "what to practise next").clicked() {
                push(DrillCommand::Number(None));
            }
            if ui.selectable_label(own, "this number").clicked() {
                push(DrillCommand::Number(Some(number)));
            }
        });
        if own && ui.add(DragValue::new(&mut number).range(1..=set.drills.max(1) * 10)).changed() {
            push(DrillCommand::Number(Some(number)));
        }
        response.response
    });
    line(ui, "Glide", |ui| {
        let by_hand = model.drilling.by_hand;
        let words = |by_hand: bool| if by_hand { "by your hand" } else { "flown as chosen" };
        let combo = ComboBox::from_id_salt("drill glide").width(150.0).selected_text(words(by_hand));
        let response = combo.show_ui(ui, |ui| {
            for one in [false, true] {
                if ui.selectable_label(by_hand == one, words(one)).clicked() {
                    push(DrillCommand::ByHand(one));
                }
            }
        });
        response.response
    });
    ui.add_space(space::TIGHT);
    ui.add(soft(&about(set, model)));
    ui.add_space(space::LINE);
    let text = RichText::new("Start").font(theme.bold_font(theme.sizes.heading));
    let button = Button::new(text).min_size(vec2(ui.available_width(), 36.0)).shortcut_text("Space");
    if ui.add_enabled(!model.drilling.preparing, button).clicked() {
        push(DrillCommand::Start);
    }
    if model.drilling.preparing {
        ui.horizontal(|ui| {
            ui.spinner();
            ui.label("Getting ready…");
        });
    }
    ui.add_space(space::LINE);
    ui.add(soft(if model.drilling.by_hand {
        "You fly along on the map with the engine running. When it stops, say which field you take and fly the glide \
         there yourself, with the arrow keys, the sliders or a gamepad and the view ahead, in the wind that really \
         blows, which is not quite the one you are told. You may change your mind."
    } else {
        "You fly along on the map with the engine running. When it stops, the clock runs and height is lost while you \
         think. Choose a field on the map or in the list; you may change your mind. What you chose is then flown in the \
         wind that really blows, which is not quite the one you are told."
    }));
    if model.settings.pilot.trim().is_empty() {
        ui.add_space(space::TIGHT);
        ui.add(soft("Without a name, results are shown and not kept."));
    }
}

/// What a set asks, in a sentence or two.
fn about(set: &DrillSet, model: &Model) -> String {
    let units = model.settings.units;
    let flown: std::collections::BTreeSet<u32> = model
        .drill_results()
        .iter()
        .filter(|r| r.set_id == set.id && r.set_seed == set.seed)
        .map(|r| r.number)
        .collect();
    let done = flown.iter().filter(|n| **n <= set.drills).count();
    let who = if model.settings.pilot.trim().is_empty() { String::new() } else { format!(" You flew {done} of them.") };
    format!(
        "{} drills from {} to {} above the ground, {}.{who}",
        set.drills,
        units.format_height(set.lowest_agl_m),
        units.format_height(set.highest_agl_m),
        set.aircraft,
    )
}

/// A label and what belongs to it, on one line.
fn line(ui: &mut Ui, label: &str, contents: impl FnOnce(&mut Ui) -> egui::Response) {
    ui.horizontal(|ui| {
        let left = egui::Layout::left_to_right(egui::Align::Center);
        let words = ui.allocate_ui_with_layout(vec2(LABEL, 24.0), left, |ui| {
            ui.set_min_width(LABEL);
            ui.label(label).id
        });
        contents(ui).labelled_by(words.inner);
    });
}
