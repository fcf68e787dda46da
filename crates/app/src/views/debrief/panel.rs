//! The column in Debrief: the area's sorties, and the exercises of the open one.

use crate::command::Command;
use crate::debrief::words;
use crate::model::{DebriefCommand, Model};
use crate::theme::{Theme, space};
use egui::{Label, RichText, ScrollArea, Sense, Ui};
use sparefield_data::sortie::Sortie;
use std::sync::Arc;

/// Most room for the list of sorties, as a share of the column.
const SORTIES: f32 = 0.35;

/// The column.
pub fn panel(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let Some(area) = &model.area else { return };
    let mut push = |command| commands.push(Command::Debrief(command));
    ui.horizontal(|ui| {
        ui.label(RichText::new("Sorties").font(theme.bold_font(theme.sizes.text)));
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            let help = "GPX, IGC, NMEA, KML or CSV; or drop them on the window";
            if ui.button("Add flights…").on_hover_text(help).clicked() {
                push(DebriefCommand::ChooseFiles);
            }
        });
    });
    if model.debrief.reading {
        ui.label("Reading the recording…");
    }
    if area.sorties.is_empty() {
        let text = "A recorded flight is told here: each practice failure, what was done, and what else could have been. \
                    Drop one on the window, or press “Add flights…”.";
        ui.add(Label::new(RichText::new(text).color(theme.colours.ink_soft)).wrap());
        if area.is_sample && ui.button("Take the invented lesson").clicked() {
            push(DebriefCommand::AddSample);
        }
        return;
    }
    let mut sorties: Vec<&Arc<Sortie>> = area.sorties.iter().collect();
    sorties.sort_by(|a, b| b.started.cmp(&a.started).then(a.id.cmp(&b.id)));
    let most = ui.available_height() * SORTIES;
    ScrollArea::vertical().id_salt("sorties").max_height(most).show_rows(
        ui,
        theme.sizes.text + 8.0,
        sorties.len(),
        |ui, rows| {
            for sortie in &sorties[rows] {
                row(ui, model, sortie, &mut push);
            }
        },
    );
    ui.separator();
    exercises(ui, model, theme, &mut push);
}

fn row(ui: &mut Ui, model: &Model, sortie: &Sortie, push: &mut impl FnMut(DebriefCommand)) {
    let open = model.debrief.open.as_deref() == Some(sortie.id.as_str());
    let when = sortie.started.map_or_else(|| "day not known".to_owned(), |t| t.strftime("%Y-%m-%d %H:%M").to_string());
    let long = sortie.duration_s.map_or_else(String::new, |s| format!(", {}", words::clock(s)));
    let text = format!("{when}{long}  {}", sortie.name);
    let label = ui.add(egui::Button::selectable(open, text.as_str()).truncate());
    let label = label.on_hover_text(&text);
    label.context_menu(|ui| {
        if ui.button("Take this sortie out of the area").clicked() {
            push(DebriefCommand::Forget(sortie.id.clone()));
            ui.close();
        }
    });
    if label.clicked() {
        push(DebriefCommand::Open(Some(sortie.id.clone())));
    }
}

fn exercises(ui: &mut Ui, model: &Model, theme: &Theme, push: &mut impl FnMut(DebriefCommand)) {
    let debrief = &model.debrief;
    let soft = theme.colours.ink_soft;
    if let Some(share) = debrief.share {
        ui.horizontal(|ui| {
            ui.add(egui::ProgressBar::new(share).desired_width(210.0).text("Looking through the flight"));
            if ui.button("Stop").clicked() {
                push(DebriefCommand::Stop);
            }
        });
    }
    if let Some(why) = &debrief.refusal {
        ui.add(Label::new(RichText::new(why).color(theme.colours.caution)).wrap());
    }
    let Some(made) = &debrief.made else {
        if debrief.share.is_none() && debrief.refusal.is_none() {
            ui.add(Label::new(RichText::new("Choose a sortie to go through it.").color(soft)).wrap());
        }
        return;
    };
    let units = model.settings.units;
    let sortie = &made.sortie;
    ui.horizontal(|ui| {
        ui.label(RichText::new("Exercises").font(theme.bold_font(theme.sizes.text)));
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            let help = "A page for the logbook and the instructor, to print or to read in a browser";
            if ui.button("Report…").on_hover_text(help).clicked() {
                push(DebriefCommand::Report);
            }
        });
    });
    ScrollArea::vertical().id_salt("exercises").auto_shrink([false, false]).show(ui, |ui| {
        if sortie.exercises.is_empty() {
            let text = "No practice failure was recognised. Where there was one, show its beginning and choose “Correct…”, \
                        “Add one here” under the map.";
            ui.add(Label::new(RichText::new(text).color(soft)).wrap());
        }
        for (i, one) in sortie.exercises.iter().enumerate() {
            let chosen = debrief.exercise == Some(i);
            let name = one.measures.landing.map_or("no field recognised", |c| sortie.field_name(c));
            let height = one.measures.height_agl_m.map_or_else(String::new, |h| units.format_height(h));
            let title = format!("{}  {}  {height}  {name}", i + 1, words::clock(one.exercise.start_s));
            let response = ui.add(egui::Button::selectable(chosen, title.as_str()).truncate());
            if response.on_hover_text(words::headline(sortie, one, units)).clicked() {
                push(DebriefCommand::Exercise(Some(i)));
            }
            let sure =
                if one.exercise.confidence >= 1.0 { "by your word" } else { words::sure(one.exercise.confidence) };
            let text = format!("{sure} · {}", words::outcome(one, units));
            ui.add(Label::new(RichText::new(text).size(theme.sizes.small).color(soft)).wrap().sense(Sense::hover()));
            ui.add_space(space::TIGHT);
        }
        ui.separator();
        let mut facts = vec![words::cover(sortie, units)];
        if !sortie.cover.bare.is_empty() {
            facts.push("Heavy on the map: no field in reach with height for a circuit, by estimate.".to_owned());
        }
        facts.push(format!("Wind {}.", words::wind(sortie, units)));
        for text in facts.iter().chain(&made.notes) {
            ui.add(Label::new(RichText::new(text).size(theme.sizes.small).color(soft)).wrap());
            ui.add_space(space::TIGHT);
        }
        for low in &sortie.low {
            let all = &sortie.flight.samples.all;
            let text = format!(
                "Low flying at {}: down to {} above the ground",
                words::clock(all[low.first].time_s),
                units.format_height(low.lowest_m)
            );
            if ui.link(RichText::new(text).size(theme.sizes.small)).clicked() {
                push(DebriefCommand::At(all[low.first].time_s));
            }
        }
    });
}
