//! The page of the card about a sortie as a whole: who flew what, in which wind, and from where its heights count.

use super::card::{heading, small};
use crate::debrief::given::{HeightsTold, wind_as_typed};
use crate::debrief::words;
use crate::model::{DebriefCommand, Model};
use crate::theme::{Theme, space};
use crate::views::typed::typed_text;
use egui::{Id, Label, RichText, Ui};
use sparefield_data::track::HeightSource;

/// The page.
pub(super) fn sortie(ui: &mut Ui, model: &Model, theme: &Theme, push: &mut impl FnMut(DebriefCommand)) {
    let Some(sortie) = model.open_sortie() else {
        small(ui, theme, "Choose a sortie in the list.");
        return;
    };
    let id = Id::unique(("debrief sortie", &sortie.id));
    let line = |ui: &mut Ui, label: &str, now: &str, hint: &str| {
        small(ui, theme, label);
        let width = ui.available_width();
        typed_text(ui, id.with(label), label, now, hint, width)
    };
    if let Some(name) = line(ui, "Pilot", &sortie.pilot, "who flew") {
        push(DebriefCommand::Pilot(name));
    }
    if let Some(name) = line(ui, "Aircraft", &sortie.aircraft, "as you call it") {
        push(DebriefCommand::FlownIn(name));
    }
    let units = model.settings.units;
    heading(ui, theme, "Wind");
    let (surface, aloft) = sortie.wind.as_ref().map(|w| wind_as_typed(w, units)).unwrap_or_default();
    let low = line(ui, "Wind you know at the surface", &surface, "250/12, true, or calm");
    let high = line(ui, "Winds you know aloft, above sea level", &aloft, "2000ft:270/25; 3000ft:280/30");
    if low.is_some() || high.is_some() {
        push(DebriefCommand::GiveWind { surface: low.unwrap_or(surface), aloft: high.unwrap_or(aloft) });
    }
    if sortie.wind.is_some() && ui.button("Back to the wind from the turns").clicked() {
        push(DebriefCommand::GiveWind { surface: String::new(), aloft: String::new() });
    }
    let Some(made) = &model.debrief.made else { return };
    small(ui, theme, &format!("Used: {}.", words::wind(&made.sortie, units)));
    if let Some(text) = words::wind_differs(&made.sortie, units) {
        ui.add(Label::new(RichText::new(text).color(theme.colours.caution)).wrap());
    }
    heading(ui, theme, "Heights");
    let told = &made.heights;
    for (choice, shift) in told.decision.alternatives.iter().zip(&told.shift_m) {
        let is = sortie.heights == *choice;
        let decided = if *choice == told.decision.choice { ", as decided" } else { "" };
        let change = if is { "used now".to_owned() } else { HeightsTold::shift_words(*shift, units) };
        let text = format!("{}{decided}: {change}", choice.words());
        let button = egui::Button::selectable(is, text).wrap();
        if ui.add(button).clicked() && !is {
            push(DebriefCommand::Heights(Some(*choice)));
        }
    }
    if told.has_pressure() {
        let now = match sortie.heights.source {
            HeightSource::Pressure { qnh_hpa } => format!("{qnh_hpa:.1} hPa"),
            _ => String::new(),
        };
        if let Some(qnh) = line(ui, "QNH you know", &now, "1013 hPa") {
            push(DebriefCommand::Qnh(qnh));
        }
    }
    ui.add_space(space::TIGHT);
    if sortie.heights_by_user {
        let change = HeightsTold::shift_words(told.from_decided_m, units);
        let text = format!("Yours: {}. Against what was decided: {change}.", sortie.heights.words());
        ui.add(Label::new(text).wrap());
        if ui.button("Back to the heights as decided").clicked() {
            push(DebriefCommand::Heights(None));
        }
    }
    small(ui, theme, &format!("Decided: {}. {}.", told.decision.choice.words(), told.decision.reason));
}
