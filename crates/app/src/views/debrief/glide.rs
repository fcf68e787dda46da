//! The page of the card about the glide curve that flights tell, beside that of the aircraft in use.

use super::card::{heading, small};
use crate::debrief::glide::{CAUTIONS, GlideTold, best, compared, picture, rows};
use crate::model::{DebriefCommand, Model};
use crate::theme::{Theme, space};
use crate::views::sheet::paint;
use egui::{Grid, Label, RichText, ScrollArea, Ui, vec2};
use sparefield_geometry::track::glide_fit::GlideFit;

/// Height of the picture of both curves, points.
const CURVES: f32 = 170.0;

/// The page.
pub(super) fn glide(ui: &mut Ui, model: &Model, theme: &Theme, push: &mut impl FnMut(DebriefCommand)) {
    let Some(sortie) = model.open_sortie() else {
        small(ui, theme, "Choose a sortie in the list.");
        return;
    };
    heading(ui, theme, "Glide curve as flown");
    from(ui, model, theme, &sortie.aircraft, push);
    let Some(told) = model.glide_shown() else { return };
    small(ui, theme, &told.from_words());
    if let Some(nothing) = told.nothing() {
        ui.add(Label::new(nothing).wrap());
    }
    if let Some(fit) = &told.fit {
        curves(ui, model, theme, told, fit);
        adopt(ui, model, theme, fit, push);
    }
    heading(ui, theme, "Not looked at");
    for caution in CAUTIONS {
        small(ui, theme, caution);
    }
}

/// Of which sorties it is told.
fn from(ui: &mut Ui, model: &Model, theme: &Theme, flown_in: &str, push: &mut impl FnMut(DebriefCommand)) {
    let debrief = &model.debrief;
    if let Some((done, all)) = debrief.glide_reading {
        ui.label(format!("Reading sortie {} of {all}…", (done + 1).min(all)));
        if ui.button("Stop reading").clicked() {
            push(DebriefCommand::Stop);
        }
        return;
    }
    let Some(key) = model.glide_key() else {
        if flown_in.is_empty() {
            small(ui, theme, "Say on the Sortie page what you flew in, and sorties in one aircraft are told together.");
        }
        return;
    };
    let current = debrief.glide_of_all.as_ref().is_some_and(|(of, _)| *of == key);
    let text = format!("All {} in {flown_in}", key.sorties.len());
    ui.horizontal_wrapped(|ui| {
        let together = debrief.glide_together && current;
        if ui.selectable_label(!together, "This sortie").clicked() {
            push(DebriefCommand::GlideTogether(false));
        }
        let help = "Read every sortie said to be flown in this aircraft, and tell one curve from all their glides";
        if ui.selectable_label(together, text).on_hover_text(help).clicked() {
            push(if current { DebriefCommand::GlideTogether(true) } else { DebriefCommand::GlideOfAll });
        }
    });
}

fn curves(ui: &mut Ui, model: &Model, theme: &Theme, told: &GlideTold, fit: &GlideFit) {
    let (units, aircraft) = (model.settings.units, &model.conditions.aircraft);
    ui.add(Label::new(RichText::new(format!("Best glide {}.", best(fit, units))).strong()).wrap());
    ui.add(Label::new(compared(fit, aircraft)).wrap());
    ui.add_space(space::TIGHT);
    let size = vec2(ui.available_width().min(420.0), CURVES);
    paint::show(ui, &picture(told, aircraft, size, units), theme);
    small(
        ui,
        theme,
        "Solid: as flown, with its standard deviation, and the glides as dots. Broken: the aircraft in use.",
    );
    ui.add_space(space::TIGHT);
    // A narrow card shows part of the table, and scrolls.
    ScrollArea::horizontal().id_salt("glide").show(ui, |ui| {
        Grid::new("debrief glide").num_columns(3).min_col_width(0.0).spacing([9.0, 3.0]).show(ui, |ui| {
            for text in ["", "in use", "as flown"] {
                ui.label(RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft));
            }
            ui.end_row();
            for row in rows(fit, aircraft, units) {
                for cell in row {
                    ui.add(Label::new(RichText::new(cell).size(theme.sizes.small)).extend());
                }
                ui.end_row();
            }
        });
    });
    small(ui, theme, &format!("In use: {}.", aircraft.name));
}

fn adopt(ui: &mut Ui, model: &Model, theme: &Theme, fit: &GlideFit, push: &mut impl FnMut(DebriefCommand)) {
    ui.add_space(space::TIGHT);
    if let Err(why) = fit.adopted(&model.conditions.aircraft, String::new()) {
        let text = format!("It cannot be taken over: {why}.");
        ui.add(Label::new(RichText::new(text).color(theme.colours.caution)).wrap());
        return;
    }
    let help = "Makes a new aircraft with this curve and everything else as it is, keeps it, and uses it from now on; the \
                aircraft in use is not changed, and Undo goes back to it";
    let button = egui::Button::new("Use this curve in a new aircraft");
    if ui.add_enabled(!model.debrief.adopting, button).on_hover_text(help).clicked() {
        push(DebriefCommand::AdoptGlide);
    }
}
