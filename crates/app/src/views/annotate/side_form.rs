//! What stands on a side: the brush of the sides tool, and the form of one chosen side.

use crate::command::Command;
use crate::edits;
use crate::model::{AnnotateCommand, Model};
use crate::theme::{Theme, space};
use egui::{ComboBox, RichText, Ui};
use sparefield_data::quantity::{format_bearing, parse_height_m};
use sparefield_geometry::fields::model::{BoundaryEdge, EdgeKind, Field};
use sparefield_geometry::fields::study::AssumedHeights;
use sparefield_geometry::outline::SideRef;
use sparefield_geometry::outline::place::ends_of;
use sparefield_geometry::position::Bearing;

/// What the sides tool will say.
pub(super) fn brush(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    ui.label("What stands there:");
    if let Some(set) = edge_form(ui, "brush", model.annotating.brush(), model, theme) {
        commands.push(Command::Annotate(AnnotateCommand::SetBrush(set)));
    }
    ui.add_space(space::LINE);
    let text = "A side that two fields share is one: what you say about it holds for both.";
    ui.label(RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft));
}

/// One side of a field, with a way to say what stands on it.
pub(super) fn one_side(
    ui: &mut Ui,
    model: &Model,
    field: &Field,
    side: usize,
    theme: &Theme,
    commands: &mut Vec<Command>,
) {
    let (Some((from, to)), Some(edge)) = (ends_of(field, SideRef::outer(side)), field.edges.get(side)) else { return };
    let bearing = (to - from).bearing().map_or_else(String::new, |b| {
        format!(", {}", format_bearing(Bearing::from_rad(b.rad() + model.convergence_rad(from))))
    });
    let length = model.settings.units.format_length(from.distance(to));
    ui.label(RichText::new(format!("Side {} of {}: {length}{bearing}", side + 1, field.outer.len())).strong());
    let Some(set) = edge_form(ui, ("side", side), *edge, model, theme) else { return };
    let Some(area) = &model.area else { return };
    let made = edits::outline::paint_sides(area, &field.id, &[side], set);
    commands.push(Command::Annotate(AnnotateCommand::Do(Box::new(made))));
}

/// Kind and height; gives the new edge where it changed.
fn edge_form(
    ui: &mut Ui,
    salt: impl std::hash::Hash + std::fmt::Debug + Copy,
    edge: BoundaryEdge,
    model: &Model,
    theme: &Theme,
) -> Option<BoundaryEdge> {
    let units = model.settings.units;
    let mut set = edge;
    ui.horizontal(|ui| {
        let combo = ComboBox::from_id_salt(("edge kind", salt)).selected_text(edge.kind.words()).width(120.0);
        let combo = combo.show_ui(ui, |ui| {
            for kind in EdgeKind::ALL {
                ui.selectable_value(&mut set.kind, kind, kind.words());
            }
        });
        combo.response.on_hover_text("What stands on this side");
        if set.kind != EdgeKind::Nothing {
            ui.label("height");
            let id = ui.make_persistent_id(("edge height", salt));
            let shown = edge.height_m.map_or_else(String::new, |h| units.format_height(h));
            if let Some(text) = crate::views::typed::typed_text(ui, id, "Height", &shown, "not measured", 125.0) {
                set.height_m = if text.trim().is_empty() {
                    None
                } else {
                    parse_height_m(&text, Some(units.height)).ok().or(edge.height_m)
                };
            }
        }
    });
    if set.kind == EdgeKind::Nothing {
        set.height_m = None;
    } else if edge.kind != set.kind {
        // A height belongs to the thing that was measured.
        set.height_m = None;
    }
    if set.height_m.is_none() && set.kind != EdgeKind::Nothing {
        let (assumed, _) = AssumedHeights::default().height_m(set);
        let text = format!("Nobody measured it: {} is taken.", units.format_height(assumed));
        ui.label(RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft));
    }
    (set != edge).then_some(set)
}
