//! What people wrote about a field, and photographs of it.

use super::field_form::Form;
use crate::command::Command;
use crate::model::{Model, SurveyCommand};
use crate::pick::is_address;
use crate::theme::{Theme, space};
use crate::views::typed::{typed_lines, typed_text};
use egui::{RichText, Role, Ui, WidgetInfo};
use sparefield_geometry::fields::model::{Field, Remarks};

type Part = (&'static str, &'static str, &'static str, fn(&mut Remarks) -> &mut String);

/// What can be written: what it is called, what changes, an example, and where it is kept.
const PARTS: [Part; 3] = [
    ("Hazards", "hazard remarks", "what is in the way and cannot be drawn", |r| &mut r.hazards),
    ("Getting out", "access", "gate, track, tractor: how the aircraft leaves", |r| &mut r.access),
    ("Owner's word", "permission", "who, when, and what was said", |r| &mut r.permission),
];

/// The section of remarks.
pub(super) fn remarks(ui: &mut Ui, form: &Form<'_>, field: &Field, commands: &mut Vec<Command>) {
    let mut remarks = field.remarks.clone();
    let written = PARTS.iter().filter(|(.., part)| !part(&mut remarks).is_empty()).count();
    let title = if written == 0 { "Remarks".to_owned() } else { format!("Remarks ({written})") };
    egui::CollapsingHeader::new(title).id_salt(("remarks", form.key)).default_open(written > 0).show(ui, |ui| {
        for (label, what, hint, part) in PARTS {
            ui.label(label);
            let id = form.key.with(("remark", what));
            let now = part(&mut remarks).clone();
            if let Some(text) = typed_lines(ui, id, label, &now, hint) {
                let text = text.trim().to_owned();
                form.change(commands, what, |f| part(&mut f.remarks).clone_from(&text));
            }
        }
    });
}

/// The section of photographs.
pub(super) fn photographs(
    ui: &mut Ui,
    model: &Model,
    form: &Form<'_>,
    field: &Field,
    theme: &Theme,
    commands: &mut Vec<Command>,
) {
    let noted = &field.remarks.photographs;
    let missing = noted.iter().filter(|p| model.survey.missing.contains(*p)).count();
    let title = match (noted.len(), missing) {
        (0, _) => "Photographs".to_owned(),
        (n, 0) => format!("Photographs ({n})"),
        (n, missing) => format!("Photographs ({n}, {missing} missing)"),
    };
    egui::CollapsingHeader::new(title).id_salt(("photographs", form.key)).default_open(!noted.is_empty()).show(
        ui,
        |ui| {
            for (i, path) in noted.iter().enumerate() {
                ui.horizontal(|ui| {
                    ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
                        if labelled(ui, "Remove", &format!("Remove {path}")).clicked() {
                            form.change(commands, "photographs", |f| {
                                if i < f.remarks.photographs.len() {
                                    f.remarks.photographs.remove(i);
                                }
                            });
                        }
                        let here = !model.survey.missing.contains(path);
                        let open = ui.add_enabled(here, egui::Button::new("Open").small());
                        open.widget_info(|| WidgetInfo::labeled(Role::Button, here, format!("Open {path}")));
                        if open.clicked() {
                            commands.push(Command::Survey(SurveyCommand::OpenPhotograph(path.clone())));
                        }
                        ui.with_layout(egui::Layout::left_to_right(egui::Align::Center), |ui| {
                            ui.add(egui::Label::new(path).truncate());
                        });
                    });
                });
                if model.survey.missing.contains(path) {
                    let text = "This file is not there: put it back beside the area's files, or remove it here.";
                    ui.label(RichText::new(text).size(theme.sizes.small).color(theme.colours.caution));
                } else if is_address(path) {
                    let text = "In the net: not there without a connection.";
                    ui.label(RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft));
                }
            }
            ui.horizontal(|ui| {
                if ui.button("Add photographs…").clicked() {
                    commands.push(Command::Survey(SurveyCommand::PickPhotographs(form.ids.to_vec())));
                }
                let id = form.key.with("photograph");
                let typed = typed_text(ui, id, "Photograph by name", "", "or type a name", ui.available_width() - 8.0);
                if let Some(path) = typed.map(|t| t.trim().to_owned()).filter(|t| !t.is_empty()) {
                    form.change(commands, "photographs", |f| f.remarks.photographs.push(path.clone()));
                }
            });
            ui.add_space(space::TIGHT);
        },
    );
}

fn labelled(ui: &mut Ui, text: &str, spoken: &str) -> egui::Response {
    let button = ui.small_button(text);
    button.widget_info(|| WidgetInfo::labeled(Role::Button, true, spoken));
    button
}
