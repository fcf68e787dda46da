//! Every field of the area, to choose from.

use super::fields_filter::fields_filter;
use crate::command::Command;
use crate::model::{AnnotateCommand, Model, Thing};
use crate::survey::filter::sides_unknown;
use crate::theme::{Theme, space};
use egui::{Align2, Pos2, Rect, Response, ScrollArea, Sense, Stroke, Ui, Vec2, WidgetInfo};
use sparefield_data::quantity::format_day;
use sparefield_geometry::fields::model::Field;

const ROW: f32 = 44.0;

/// The fields that the filter shows, in its order.
pub(super) fn fields_list(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let Some(area) = &model.area else { return };
    if area.fields.is_empty() {
        ui.label("No fields yet. Take the Field tool (D) and click along the boundary of the first one, or open a file of outlines.");
        return;
    }
    fields_filter(ui, model, theme, commands);
    let shown = &model.survey.shown.order;
    if shown.is_empty() {
        ui.label("No field is like this. Clear the filter to see every field.");
    }
    ui.add_space(space::TIGHT);
    ui.spacing_mut().item_spacing.y = 2.0;
    ScrollArea::vertical().id_salt("fields").auto_shrink([false, false]).show_rows(ui, ROW, shown.len(), |ui, rows| {
        for &index in &shown[rows] {
            let Some(field) = area.fields.get(index) else { continue };
            let response = row(ui, field, model.hovered == Some(index), theme);
            if response.hovered() && model.hovered != Some(index) {
                commands.push(Command::Hover(Some(index)));
            }
            if response.clicked() {
                let thing = Thing::Field(field.id.clone());
                commands.push(Command::Annotate(AnnotateCommand::Choose(vec![thing])));
                commands.push(Command::Reveal(field.centroid()));
            }
        }
    });
}

fn row(ui: &mut Ui, field: &Field, hovered: bool, theme: &Theme) -> Response {
    let (rect, response) = ui.allocate_exact_size(Vec2::new(ui.available_width(), ROW), Sense::click());
    let summary = summary(field);
    response.widget_info(|| WidgetInfo::labeled(egui::Role::ListItem, true, format!("{}, {summary}", field.label())));
    if !ui.is_rect_visible(rect) {
        return response;
    }
    let c = &theme.colours;
    if hovered || response.hovered() {
        ui.painter().rect_filled(rect, 5.0, c.panel_sunken);
    }
    if response.has_focus() {
        ui.painter().rect_stroke(rect, 5.0, Stroke::new(1.5, c.accent), egui::StrokeKind::Inside);
    }
    let clip = ui.painter().with_clip_rect(Rect::from_min_max(rect.min, rect.max - egui::vec2(8.0, 0.0)));
    let at = Pos2::new(rect.left() + 8.0, rect.top() + 5.0);
    clip.text(at, Align2::LEFT_TOP, field.label(), theme.bold_font(theme.sizes.text), c.ink);
    clip.text(at + egui::vec2(0.0, 19.0), Align2::LEFT_TOP, summary, theme.small_font(), c.ink_soft);
    response
}

fn summary(field: &Field) -> String {
    let looked =
        field.surveyed.map_or_else(|| "never looked at".to_owned(), |d| format!("looked at {}", format_day(d)));
    let unknown = sides_unknown(field);
    let sides = match unknown {
        0 => String::new(),
        1 => " · 1 side unknown".to_owned(),
        n => format!(" · {n} sides unknown"),
    };
    format!("{} · {looked}{sides}", field.surface.words())
}
