//! The drawer under the map with a route: what it says, its height profile, and the stretches without cover.

use super::on_map::nearest;
use super::profile::profile;
use super::words;
use crate::command::Command;
use crate::model::{CoverCommand, Model, RouteCommand};
use crate::theme::Theme;
use egui::{Frame, Layout, RichText, ScrollArea, Ui};

/// Height of the profile, points, where the window is high and where it is not.
const PROFILE: f32 = 126.0;
const LOW_PROFILE: f32 = 84.0;
/// Windows lower than this have a low profile, points.
const LOW_WINDOW: f32 = 700.0;
/// Height of the list of stretches, points.
const LIST: f32 = 62.0;

/// The drawer, while there is a route over the options map.
pub fn drawer(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let plan = &model.cover.route;
    let wanted = plan.drawing || plan.places.len() >= 2;
    if !model.shows_cover() || !wanted {
        return;
    }
    let low = ui.ctx().content_rect().height() < LOW_WINDOW;
    let frame = Frame::new().fill(theme.colours.panel).inner_margin(egui::Margin::symmetric(12, 8));
    // As high from the first place on, so that the map does not move under the hand that draws.
    let whole = if low { LOW_PROFILE + 110.0 } else { PROFILE + 142.0 };
    egui::Panel::bottom("route").exact_size(whole).resizable(false).frame(frame).show(ui, |ui| {
        ui.spacing_mut().item_spacing.y = 4.0;
        let units = model.settings.units;
        ui.horizontal_top(|ui| {
            let width = (ui.available_width() - 90.0).max(120.0);
            ui.allocate_ui(egui::vec2(width, 0.0), |ui| {
                ui.set_width(width);
                let needed = model.cover.made.as_ref().map_or(1, |made| made.ask.fields_needed);
                let text = match &plan.made {
                    Some(made) => words::route(made, units, needed),
                    None if plan.places.len() < 2 => "Click two places or more on the map.".to_owned(),
                    None => "Working out the route's cover…".to_owned(),
                };
                ui.add(egui::Label::new(RichText::new(text).font(theme.bold_font(theme.sizes.text))).wrap());
            });
            ui.with_layout(Layout::right_to_left(egui::Align::TOP), |ui| {
                if ui.button("Clear route").clicked() {
                    commands.push(Command::Cover(CoverCommand::Route(RouteCommand::Clear)));
                }
                if plan.working {
                    ui.spinner();
                }
            });
        });
        let Some(made) = &plan.made else { return };
        profile(ui, model, made, theme, if low { LOW_PROFILE } else { PROFILE }, commands);
        let pointed =
            plan.pointed_m.and_then(|along| nearest(&made.route.points, along)).or_else(|| made.route.worst());
        if let Some(point) = pointed {
            let which = if plan.pointed_m.is_some() { "Here" } else { "Worst" };
            let text = format!("{which}: {}", words::moment(model, point));
            ui.add(egui::Label::new(RichText::new(text).size(theme.sizes.small)).truncate());
        }
        let mut bare = made.route.stretches.iter().filter(|s| !s.covered).peekable();
        if bare.peek().is_none() {
            return;
        }
        ScrollArea::vertical().max_height(if low { LIST / 2.0 } else { LIST }).show(ui, |ui| {
            ui.set_width(ui.available_width());
            for (number, stretch) in bare.enumerate() {
                let text = format!("{}. {}", number + 1, words::stretch(made, stretch, units));
                let words = RichText::new(&text).size(theme.sizes.small).color(theme.colours.caution);
                let row = ui.add(egui::Button::new(words).frame(false).truncate());
                // On a narrow map the end is cut off, and the height that helps stands there.
                let row = row.on_hover_text(format!("{text}. A click shows its worst place on the map."));
                if row.clicked()
                    && let Some(point) = made.route.points.get(stretch.worst)
                {
                    let point_at = RouteCommand::PointAt(Some(point.along_m));
                    commands.push(Command::Cover(CoverCommand::Route(point_at)));
                    commands.push(Command::Reveal(point.position));
                }
            }
        });
    });
}
