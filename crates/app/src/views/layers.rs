//! The list of layers under the fields, and how the ground is shown.

use super::map::tint::Tint;
use crate::command::Command;
use crate::model::Model;
use crate::model::layers::{LayerState, LayersCommand, MapLayer};
use crate::theme::{Theme, space};
use egui::{Align2, Color32, Context, Rect, RichText, Sense, Slider, Stroke, Ui, Vec2, WidgetInfo};
use sparefield_data::imagery::GroundLayer;
use sparefield_data::quantity::HeightUnit;
use sparefield_geometry::terrain_layers::{SLOPE_LIMITS, slope_error};

/// Width of the list, points.
const WIDTH: f32 = 320.0;

/// The classes laid over the ground, from what the pilot chose; `None` where none are, or nothing is known to measure
/// from.
#[must_use]
pub fn tint(model: &Model) -> Option<Tint> {
    match model.layers.ground {
        GroundLayer::Relief => None,
        GroundLayer::Slope => Some(Tint::Slope),
        GroundLayer::HeightAboveHome => datum(model)
            .map(|(datum_m, _)| Tint::Height { datum_m, feet: model.settings.units.height == HeightUnit::Ft }),
    }
}

/// What heights are measured from: the home strip, or the ground under the aircraft where there is no home.
fn datum(model: &Model) -> Option<(f64, String)> {
    // In steps of ten metres, so that moving the aircraft does not draw the ground anew in every frame.
    const STEP_M: f64 = 10.0;
    let home = model.area.as_ref().and_then(|a| a.home.as_ref());
    home.map(|h| (h.elevation_amsl_m, h.name.clone())).or_else(|| {
        let ground = model.ground_under_aircraft()?;
        Some(((ground / STEP_M).round() * STEP_M, "the ground under the aircraft".to_owned()))
    })
}

/// The button over the map, and the list when it is open.
pub fn layers(ctx: &Context, map: Rect, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let push = |commands: &mut Vec<Command>, c: LayersCommand| commands.push(Command::Layers(c));
    egui::Area::new(egui::Id::unique("layers button"))
        .pivot(Align2::RIGHT_TOP)
        .fixed_pos(map.right_top() + Vec2::new(-12.0, 12.0))
        .order(egui::Order::Middle)
        .show(ctx, |ui| {
            let button = egui::Button::new("Layers").selected(model.layers.panel);
            if ui.add(button).on_hover_text("Images and terrain under the fields (L)").clicked() {
                push(commands, LayersCommand::ShowPanel(!model.layers.panel));
            }
        });
    if !model.layers.panel {
        return;
    }
    let mut open = true;
    egui::Window::new("Layers under the fields")
        .id(egui::Id::unique("layers"))
        .open(&mut open)
        .collapsible(false)
        .auto_sized()
        .pivot(Align2::RIGHT_TOP)
        .default_pos(map.right_top() + Vec2::new(-12.0, 50.0))
        .constrain_to(map.shrink(12.0))
        .show(ctx, |ui| {
            ui.set_width(WIDTH);
            egui::ScrollArea::vertical().max_height((map.height() - 130.0).max(120.0)).show(ui, |ui| {
                ground(ui, model, theme, commands);
                ui.separator();
                list(ui, model, theme, commands);
            });
        });
    if !open {
        push(commands, LayersCommand::ShowPanel(false));
    }
}

fn ground(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    ui.label(RichText::new("Ground").font(theme.bold_font(theme.sizes.text)));
    ui.horizontal_wrapped(|ui| {
        for (ground, words) in [
            (GroundLayer::Relief, "Relief"),
            (GroundLayer::Slope, "Slope"),
            (GroundLayer::HeightAboveHome, "Height above home"),
        ] {
            if ui.radio(model.layers.ground == ground, words).clicked() {
                commands.push(Command::Layers(LayersCommand::SetGround(ground)));
            }
        }
    });
    let mut contours = model.layers.contours;
    if ui.checkbox(&mut contours, "Contours").changed() {
        commands.push(Command::Layers(LayersCommand::ShowContours(contours)));
    }
    if model.layers.ground != GroundLayer::Relief {
        opacity(ui, theme, model.layers.ground_opacity, "the ground's colours", commands, |opacity| {
            LayersCommand::SetGroundOpacity(opacity)
        });
    }
    match model.layers.ground {
        GroundLayer::Relief => {}
        GroundLayer::Slope => drop(ui.scope(|ui| slope_legend(ui, model, theme))),
        GroundLayer::HeightAboveHome => drop(ui.scope(|ui| height_legend(ui, model, theme))),
    }
}

fn slope_legend(ui: &mut Ui, model: &Model, theme: &Theme) {
    let percent = |slope: f32| {
        let text = format!("{:.2}", slope * 100.0);
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    };
    let last = SLOPE_LIMITS.len();
    // What the limits stand for; their sources are with them in the program's text and read out on hovering.
    let meaning = [
        "a landing strip's mean",
        "a strip's steepest part",
        "approach surface, 1 in 20",
        "steep",
        "fly-over area beside a strip",
        "steeper still",
    ];
    for (class, meaning) in meaning.iter().enumerate() {
        let words = if class < last {
            format!("up to {} %: {meaning}", percent(SLOPE_LIMITS[class]))
        } else {
            format!("over {} %: {meaning}", percent(SLOPE_LIMITS[last - 1]))
        };
        swatch(ui, Tint::Slope.colour(class, &theme.colours), theme, &words).on_hover_text(
            "2 %, 2.86 % and 12.5 %: CASA CAAP 92-1(1), figures from memory. 10 %: common practice, no source.",
        );
    }
    if let Some(area) = &model.area {
        let terrain = &area.terrain;
        let error = slope_error(terrain.accuracy, terrain.frame.cell_m) * 100.0;
        let mut words = format!(
            "From posts {:.0} m apart, a slope is good to about ±{error:.1}\u{a0}%. Furrows and ditches do not show.",
            terrain.frame.cell_m
        );
        if error > f64::from(SLOPE_LIMITS[0]) * 100.0 {
            words.push_str(" That is more than the first class: level ground cannot be told here.");
        }
        note(ui, theme, &words);
    }
}

fn height_legend(ui: &mut Ui, model: &Model, theme: &Theme) {
    let (Some(tint), Some((_, name))) = (tint(model), datum(model)) else {
        note(ui, theme, "No home strip and no height under the aircraft to measure from.");
        return;
    };
    let limits = tint.limits();
    let units = model.settings.units;
    let height = |m: f32| units.format_height(f64::from(m));
    for class in (0..=limits.len()).rev() {
        let words = match class {
            0 => format!("more than {} below", height(-limits[0])),
            c if c == limits.len() => format!("more than {} above", height(limits[c - 1])),
            c if limits[c - 1] < 0.0 && limits[c] > 0.0 => format!("within {}", height(limits[c])),
            c if limits[c] <= 0.0 => format!("{} to {} below", height(-limits[c]), height(-limits[c - 1])),
            c => format!("{} to {} above", height(limits[c - 1]), height(limits[c])),
        };
        swatch(ui, tint.colour(class, &theme.colours), theme, &words);
    }
    note(ui, theme, &format!("Measured from {name}."));
}

fn swatch(ui: &mut Ui, colour: Color32, theme: &Theme, words: &str) -> egui::Response {
    let spacing = ui.spacing_mut();
    (spacing.interact_size.y, spacing.item_spacing.y) = (16.0, 2.0);
    ui.horizontal(|ui| {
        let (rect, _) = ui.allocate_exact_size(Vec2::new(26.0, 14.0), Sense::hover());
        ui.painter().rect_filled(rect, 2.0, colour);
        ui.painter().rect_stroke(rect, 2.0, Stroke::new(1.0, theme.colours.line), egui::StrokeKind::Inside);
        ui.label(RichText::new(words).size(theme.sizes.small))
    })
    .inner
}

fn note(ui: &mut Ui, theme: &Theme, words: &str) {
    let text = RichText::new(words).size(theme.sizes.small).color(theme.colours.ink_soft);
    ui.add(egui::Label::new(text).wrap());
}

fn list(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    ui.horizontal(|ui| {
        ui.label(RichText::new("Over the ground").font(theme.bold_font(theme.sizes.text)));
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            if ui.button("Add layer…").clicked() {
                commands.push(Command::Layers(LayersCommand::ChooseFiles));
            }
        });
    });
    if model.layers.list.is_empty() {
        note(
            ui,
            theme,
            "Your own images (GeoTIFF, MBTiles, PMTiles, or a picture with a world file) and lines or areas to draw \
             (Shapefile, GeoJSON, KML, GeoPackage, GPX). Images can also be dropped on the map.",
        );
    }
    let count = model.layers.list.len();
    // The uppermost first, as they lie.
    for (at, layer) in model.layers.list.iter().enumerate().rev() {
        ui.push_id(layer.id, |ui| row(ui, layer, at + 1 < count, at > 0, theme, commands));
        ui.add_space(space::TIGHT);
    }
}

fn row(ui: &mut Ui, layer: &MapLayer, up: bool, down: bool, theme: &Theme, commands: &mut Vec<Command>) {
    let (id, name) = (layer.id, &layer.spec.name);
    ui.horizontal(|ui| {
        let mut push = |c: LayersCommand| commands.push(Command::Layers(c));
        let mut shown = layer.spec.visible;
        let tick = ui.checkbox(&mut shown, "");
        tick.widget_info(|| WidgetInfo::selected(egui::Role::CheckBox, true, shown, format!("Show {name}")));
        if tick.changed() {
            push(LayersCommand::Show { id, shown });
        }
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            if labelled(ui, true, "Remove", &format!("Remove {name}")) {
                push(LayersCommand::Remove(id));
            }
            if labelled(ui, down, "Down", &format!("Move {name} down")) {
                push(LayersCommand::Move { id, up: false });
            }
            if labelled(ui, up, "Up", &format!("Move {name} up")) {
                push(LayersCommand::Move { id, up: true });
            }
            ui.with_layout(egui::Layout::left_to_right(egui::Align::Center), |ui| {
                ui.add(egui::Label::new(name).truncate()).on_hover_text(layer.spec.path.display().to_string());
            });
        });
    });
    match &layer.state {
        LayerState::Opening => {
            ui.horizontal(|ui| {
                ui.spinner();
                note(ui, theme, "Opening…");
            });
            return;
        }
        LayerState::Failed(why) => {
            problem(ui, theme, why);
            return;
        }
        LayerState::Imagery(image) => note(ui, theme, &image.info().words()),
        LayerState::Background(b) => {
            let parts =
                [counted(b.lines.len(), "line"), counted(b.areas.len(), "area"), counted(b.points.len(), "point")];
            note(ui, theme, &format!("{}, only drawn", parts.join(", ")));
        }
    }
    if let Some(why) = &layer.problem {
        problem(ui, theme, why);
    }
    opacity(ui, theme, layer.spec.opacity, name, commands, |opacity| LayersCommand::SetOpacity { id, opacity });
}

/// How much something hides of what lies below it; kept when the hand is lifted.
fn opacity(
    ui: &mut Ui,
    theme: &Theme,
    now: f32,
    name: &str,
    commands: &mut Vec<Command>,
    set: impl Fn(f32) -> LayersCommand,
) {
    ui.horizontal(|ui| {
        let words = ui.label(RichText::new("Opacity").size(theme.sizes.small));
        let mut percent = now * 100.0;
        let slider =
            Slider::new(&mut percent, 0.0..=100.0).step_by(1.0).fixed_decimals(0).suffix(" %").trailing_fill(true);
        let slider = ui.add(slider).labelled_by(words.id);
        slider.widget_info(|| WidgetInfo::slider(true, f64::from(percent), format!("Opacity of {name}")));
        if slider.changed() {
            commands.push(Command::Layers(set(percent / 100.0)));
        }
        if slider.drag_stopped() || (slider.changed() && !slider.dragged()) {
            commands.push(Command::EndGesture);
        }
    });
}

/// A number of things, in words.
fn counted(count: usize, what: &str) -> String {
    if count == 1 { format!("1 {what}") } else { format!("{count} {what}s") }
}

/// A small button that says more to a screen reader than it shows.
fn labelled(ui: &mut Ui, enabled: bool, shown: &str, label: &str) -> bool {
    let button = ui.add_enabled(enabled, egui::Button::new(shown).small());
    button.widget_info(|| WidgetInfo::labeled(egui::Role::Button, enabled, label));
    button.on_hover_text(label).clicked()
}

fn problem(ui: &mut Ui, theme: &Theme, why: &str) {
    let text = RichText::new(why).size(theme.sizes.small).color(theme.colours.caution);
    ui.add(egui::Label::new(text).wrap());
}
