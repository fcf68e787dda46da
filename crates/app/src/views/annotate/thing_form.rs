//! What is known about a chosen hazard, quiet zone or suggested field.

use crate::command::Command;
use crate::edits::{self, Made, things};
use crate::model::{AnnotateCommand, Model};
use crate::theme::{Theme, space};
use crate::views::typed::typed_text;
use egui::{ComboBox, Id, RichText, Ui};
use sparefield_data::quantity::parse_height_m;
use sparefield_geometry::fields::model::{HazardKind, HazardShape, QuietKind};

fn make(commands: &mut Vec<Command>, made: Made) {
    commands.push(Command::Annotate(AnnotateCommand::Do(Box::new(made))));
}

/// A height as typed; nothing typed means that nobody measured it.
fn typed_height(model: &Model, text: &str) -> Result<Option<f64>, edits::Refused> {
    if text.trim().is_empty() {
        return Ok(None);
    }
    let height = parse_height_m(text, Some(model.settings.units.height));
    height.map(Some).map_err(|e| edits::Refused::because(format!("{e}.")))
}

/// The form of one hazard.
pub(super) fn hazard(ui: &mut Ui, model: &Model, id: &str, theme: &Theme, commands: &mut Vec<Command>) {
    let Some(area) = &model.area else { return };
    let Ok(hazard) = edits::hazard(area, id) else { return };
    let units = model.settings.units;
    egui::Grid::new("hazard").num_columns(2).spacing([space::LINE, 6.0]).show(ui, |ui| {
        let label = ui.label("Kind").id;
        let combo = ComboBox::from_id_salt("hazard kind").selected_text(hazard.kind.words()).width(180.0);
        let combo = combo.show_ui(ui, |ui| {
            for kind in HazardKind::ALL {
                if ui.selectable_label(kind == hazard.kind, kind.words()).clicked() {
                    make(commands, things::change_hazard(area, id, |h| h.kind = kind));
                }
            }
        });
        combo.response.labelled_by(label);
        ui.end_row();
        ui.label("Name");
        if let Some(text) = typed_text(ui, Id::unique(("hazard name", id)), "Name", &hazard.name, "", 180.0) {
            make(commands, things::change_hazard(area, id, |h| text.trim().clone_into(&mut h.name)));
        }
        ui.end_row();
        ui.label("Height");
        let shown = hazard.height_m.map_or_else(String::new, |h| units.format_height(h));
        if let Some(text) = typed_text(ui, Id::unique(("hazard height", id)), "Height", &shown, "not measured", 180.0) {
            let made =
                typed_height(model, &text).and_then(|height| things::change_hazard(area, id, |h| h.height_m = height));
            make(commands, made);
        }
        ui.end_row();
    });
    let (height, assumed) = hazard.height_or_assumed();
    if assumed {
        let text = format!("Nobody measured all of it: {} is taken.", units.format_height(height));
        ui.label(RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft));
    }
    if let HazardShape::Line(line) = &hazard.shape {
        ui.add_space(space::LINE);
        egui::CollapsingHeader::new(format!("Heights of the {} poles", line.len())).id_salt("poles").show(ui, |ui| {
            for i in 0..line.len() {
                ui.horizontal(|ui| {
                    ui.label(format!("Pole {}", i + 1));
                    let now = hazard.pole_heights_m.get(i).copied().flatten();
                    let shown = now.map_or_else(String::new, |h| units.format_height(h));
                    let name = format!("Height of pole {}", i + 1);
                    let edit = Id::unique(("pole", id, i));
                    if let Some(text) = typed_text(ui, edit, &name, &shown, "as the line", 110.0) {
                        let count = line.len();
                        let made = typed_height(model, &text).and_then(|height| {
                            things::change_hazard(area, id, |h| {
                                h.pole_heights_m.resize(count, None);
                                h.pole_heights_m[i] = height;
                                if h.pole_heights_m.iter().all(Option::is_none) {
                                    h.pole_heights_m.clear();
                                }
                            })
                        });
                        make(commands, made);
                    }
                });
            }
        });
    }
    ui.add_space(space::LINE);
    if ui.add(egui::Button::new("Delete").shortcut_text("Delete")).clicked() {
        make(commands, things::delete_hazard(area, id));
    }
}

/// The form of one quiet zone.
pub(super) fn quiet_zone(ui: &mut Ui, model: &Model, id: &str, theme: &Theme, commands: &mut Vec<Command>) {
    let Some(area) = &model.area else { return };
    let Ok(zone) = edits::quiet_zone(area, id) else { return };
    let units = model.settings.units;
    egui::Grid::new("quiet zone").num_columns(2).spacing([space::LINE, 6.0]).show(ui, |ui| {
        let label = ui.label("For").id;
        let combo = ComboBox::from_id_salt("quiet kind").selected_text(zone.kind.words()).width(180.0);
        let combo = combo.show_ui(ui, |ui| {
            for kind in QuietKind::ALL {
                if ui.selectable_label(kind == zone.kind, kind.words()).clicked() {
                    make(commands, things::change_quiet_zone(area, id, |z| z.kind = kind));
                }
            }
        });
        combo.response.labelled_by(label);
        ui.end_row();
        ui.label("Name");
        if let Some(text) = typed_text(ui, Id::unique(("zone name", id)), "Name", &zone.name, "", 180.0) {
            make(commands, things::change_quiet_zone(area, id, |z| text.trim().clone_into(&mut z.name)));
        }
        ui.end_row();
        ui.label("Not below");
        let shown = units.format_height(zone.below_agl_m);
        if let Some(text) = typed_text(ui, Id::unique(("zone height", id)), "Not below", &shown, "", 180.0) {
            let made = typed_height(model, &text).and_then(|height| {
                let height = height.ok_or_else(|| edits::Refused::because("A quiet zone needs a height."))?;
                things::change_quiet_zone(area, id, |z| z.below_agl_m = height)
            });
            make(commands, made);
        }
        ui.end_row();
    });
    let text = "Above the ground. Fields whose approach passes over it lower are marked down.";
    ui.label(RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft));
    ui.add_space(space::LINE);
    if ui.add(egui::Button::new("Delete").shortcut_text("Delete")).clicked() {
        make(commands, things::delete_quiet_zone(area, id));
    }
}

/// What a suggested field is like.
pub(super) fn proposal(ui: &mut Ui, model: &Model, id: &str, theme: &Theme) {
    let Some(area) = &model.area else { return };
    let Some(proposal) = area.proposals.iter().find(|p| p.field.id == id) else { return };
    let units = model.settings.units;
    ui.label(format!("Longest strip {}", units.format_length_at_least(proposal.strip_length_m)));
    for (title, list) in [("Looked at", &proposal.checked), ("Not looked at", &proposal.not_checked)] {
        ui.add_space(space::TIGHT);
        ui.label(RichText::new(title).strong());
        for line in list {
            ui.label(RichText::new(line).color(theme.colours.ink_soft));
        }
    }
}
