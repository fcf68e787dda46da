//! The left column of Annotate.

use super::{drawing, field_form, fields_list, side_form, suggestions, thing_form, tools};
use crate::command::Command;
use crate::model::{AnnotateCommand, Model, SuggestCommand, Thing, Tool};
use crate::theme::{Theme, space};
use egui::{Frame, RichText, ScrollArea, Ui};

/// Height that tools, filter and a few rows of a list need, points.
const LEAST_HEIGHT: f32 = 560.0;

/// Everything below the header while annotating.
pub fn annotate_panel(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    if model.area.is_none() {
        ui.label("Open terrain first (Open…): the home area is drawn on it.");
        return;
    }
    // In a low window everything scrolls, so that nothing covers the cautions below.
    if ui.available_height() < LEAST_HEIGHT {
        ScrollArea::vertical().id_salt("annotate").auto_shrink([false, false]).show(ui, |ui| {
            ui.set_max_height(LEAST_HEIGHT);
            contents(ui, model, theme, commands);
        });
    } else {
        contents(ui, model, theme, commands);
    }
}

fn contents(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    tools::tools(ui, model, theme, commands);
    refusal(ui, model, theme, commands);
    ui.separator();
    let annotating = &model.annotating;
    match annotating.tool {
        Tool::Draw(what) => {
            ScrollArea::vertical().id_salt("drawing").auto_shrink([false, false]).show(ui, |ui| {
                drawing::drawing(ui, model, what, theme, commands);
                // What was drawn last is described before the next of its kind is drawn.
                if annotating.draft.corners.is_empty()
                    && let [Thing::Hazard(id)] = annotating.chosen.as_slice()
                {
                    ui.separator();
                    heading(ui, model, theme, commands);
                    thing_form::hazard(ui, model, id, theme, commands);
                }
            });
        }
        Tool::Sides => side_form::brush(ui, model, theme, commands),
        Tool::Choose => match annotating.chosen.as_slice() {
            _ if model.suggesting.shown => suggestions::suggestions(ui, model, theme, commands),
            [] => {
                ui.horizontal_wrapped(|ui| {
                    let open = model.area.as_ref().map_or(0, |a| a.proposals.iter().filter(|p| !p.refused).count());
                    let words = if open == 0 {
                        "Suggested fields…".into()
                    } else {
                        format!("Suggested fields ({open} open)…")
                    };
                    if ui.button(words).clicked() {
                        commands.push(Command::Suggest(SuggestCommand::Show(true)));
                    }
                    super::findings::opener(ui, commands);
                });
                fields_list::fields_list(ui, model, theme, commands);
            }
            chosen => {
                heading(ui, model, theme, commands);
                ScrollArea::vertical().id_salt(("chosen", format!("{chosen:?}"))).auto_shrink([false, false]).show(
                    ui,
                    |ui| match chosen {
                        [Thing::Field(id)] => field_form::one_field(ui, model, id, theme, commands),
                        [Thing::Hazard(id)] => thing_form::hazard(ui, model, id, theme, commands),
                        [Thing::QuietZone(id)] => thing_form::quiet_zone(ui, model, id, theme, commands),
                        [Thing::Proposal(id)] => thing_form::proposal(ui, model, id, theme),
                        _ => field_form::many_fields(ui, model, theme, commands),
                    },
                );
            }
        },
    }
}

/// Why the last thing was not done.
fn refusal(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let Some(why) = &model.annotating.refused else { return };
    ui.add_space(space::TIGHT);
    Frame::new().fill(theme.colours.caution_soft).inner_margin(8).corner_radius(5).show(ui, |ui| {
        ui.horizontal_wrapped(|ui| {
            ui.label(RichText::new(&why.sentence).color(theme.colours.caution));
            if ui.small_button("Dismiss").clicked() {
                commands.push(Command::Annotate(AnnotateCommand::ForgetRefusal));
            }
        });
    });
}

/// What is chosen, in a line with a way back to the list.
fn heading(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let Some(area) = &model.area else { return };
    let words = match model.annotating.chosen.as_slice() {
        [Thing::Field(id)] => area.fields.iter().find(|f| &f.id == id).map_or_else(String::new, |f| f.label().into()),
        [Thing::Hazard(id)] => {
            let hazard = area.hazards.iter().find(|h| &h.id == id);
            hazard.map_or_else(String::new, |h| {
                if h.name.is_empty() { super::findings::capital(h.kind.words()) } else { h.name.clone() }
            })
        }
        [Thing::QuietZone(_)] => "Quiet zone".to_owned(),
        [Thing::Proposal(_)] => "Suggested field".to_owned(),
        many => format!("{} things chosen", many.len()),
    };
    ui.horizontal(|ui| {
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            if ui.button("Back to the list").clicked() {
                commands.push(Command::Annotate(AnnotateCommand::Choose(Vec::new())));
            }
            ui.with_layout(egui::Layout::left_to_right(egui::Align::Center), |ui| {
                let text = RichText::new(words).font(theme.bold_font(theme.sizes.heading));
                ui.add(egui::Label::new(text).truncate());
            });
        });
    });
}
