//! The card of the chosen field: the sentence first, then the strip, the criteria, the reasons, and every number's
//! working one click away.

use super::list::{signed_height, words};
use super::{circuit, marks, working};
use crate::circuits::words::capital;
use crate::command::Command;
use crate::model::{Model, SheetCommand};
use crate::not_looked_at;
use crate::theme::{Theme, space};
use egui::{Align2, Color32, Pos2, Rect, RichText, ScrollArea, Sense, Shape, Stroke, Ui, Vec2};
use sparefield_data::quantity::{UnitPrefs, format_bearing, format_quantity};
use sparefield_geometry::fields::criteria::allowed_by;
use sparefield_geometry::fields::model::{EdgeKind, Field, Hazard, HazardKind, HazardShape};
use sparefield_geometry::fields::verdict::{
    CriterionKind, Quantity, RankedField, Reason, ReasonKind, StripVerdict, Verdict,
};
use sparefield_geometry::position::{Bearing, Xy};
use std::sync::Arc;

/// The card, or nothing while no field is chosen.
pub fn card(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let (Some(area), Some(assessment), Some(selected)) = (&model.area, &model.assessment, model.selected) else {
        return;
    };
    let Some(ranked) = assessment.ranked.iter().find(|r| r.index == selected) else { return };
    let Some(field) = area.fields.get(selected) else { return };
    let units = model.settings.units;
    let convergence = model.convergence_rad(field.centroid());
    title(ui, ranked, field, theme, commands);
    circuit::tabs(ui, model, commands);
    ui.separator();
    if model.circuits.in_card {
        ScrollArea::vertical().id_salt(("circuit", selected)).auto_shrink([false, false]).show(ui, |ui| {
            ui.spacing_mut().item_spacing.y = 6.0;
            circuit::page(ui, model, theme, commands);
        });
        return;
    }
    ScrollArea::vertical().id_salt(("card", selected)).auto_shrink([false, false]).show(ui, |ui| {
        ui.spacing_mut().item_spacing.y = 6.0;
        let headline = sentence(&words(&assessment.headline(ranked), units, convergence));
        ui.label(RichText::new(headline).font(theme.bold_font(theme.sizes.text)));
        if let Some(held) = held_by(ranked) {
            ui.add(egui::Label::new(RichText::new(held).color(theme.colours.ink_soft)).wrap());
        }
        if let Some(strip) = &ranked.strip {
            picture(ui, field, strip, model, theme);
        }
        let hint = "The rose for every wind, strips, slope and approach from the side, and what was assumed (F)";
        if ui.button("Field sheet").on_hover_text(hint).clicked() {
            commands.push(Command::Sheet(SheetCommand::Open));
        }
        numbers(ui, ranked, model, theme, convergence, commands);
        section(ui, theme, "Judged by");
        criteria(ui, ranked, theme);
        section(ui, theme, "Why");
        reasons(ui, &ranked.reasons, units, convergence, theme);
        section(ui, theme, "Not looked at");
        for text in not_looked_at::BY_RANKING {
            ui.add(egui::Label::new(RichText::new(text).size(theme.sizes.small)).wrap());
        }
        section(ui, theme, "About the field");
        about(ui, field, units, theme);
        ui.add_space(space::GROUP);
    });
}

fn section(ui: &mut Ui, theme: &Theme, text: &str) {
    ui.add_space(space::LINE);
    ui.label(RichText::new(text).font(theme.bold_font(theme.sizes.small)).color(theme.colours.ink_soft));
}

fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect::<String>() + ".")
}

fn title(ui: &mut Ui, ranked: &RankedField, field: &Field, theme: &Theme, commands: &mut Vec<Command>) {
    ui.horizontal(|ui| {
        let (rect, _) = ui.allocate_exact_size(Vec2::splat(30.0), Sense::hover());
        marks::rank_badge(ui, theme, rect.center(), ranked.verdict, ranked.rank);
        let width = ui.available_width() - 70.0;
        ui.allocate_ui(Vec2::new(width, 30.0), |ui| {
            ui.add(
                egui::Label::new(RichText::new(field.label()).font(theme.bold_font(theme.sizes.heading))).truncate(),
            );
        });
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            if ui.button("Close").on_hover_text("Close this card (Esc)").clicked() {
                commands.push(Command::Select(None));
            }
        });
    });
}

/// What keeps the field from a better verdict.
fn held_by(ranked: &RankedField) -> Option<String> {
    if matches!(ranked.verdict, Verdict::Roomy | Verdict::Out) {
        return None;
    }
    let holding: Vec<&str> = ranked
        .criteria
        .iter()
        .filter(|c| c.kind != CriterionKind::Alternatives && allowed_by(c.value) == ranked.verdict)
        .map(|c| c.kind.words())
        .collect();
    let list = holding.join(", ");
    (!list.is_empty()).then(|| format!("Held at {} by: {list}.", ranked.verdict.words()))
}

/// The field seen with the landing direction upwards.
fn picture(ui: &mut Ui, field: &Field, strip: &StripVerdict, model: &Model, theme: &Theme) {
    let (rect, response) = ui.allocate_exact_size(Vec2::new(ui.available_width(), 190.0), Sense::hover());
    response.widget_info(|| {
        egui::WidgetInfo::labeled(egui::Role::Image, true, "The field with its strip, landing direction upwards")
    });
    let c = &theme.colours;
    let painter = ui.painter().with_clip_rect(rect);
    painter.rect_filled(rect, 6.0, c.paper);
    let along = strip.heading.unit();
    let across = Xy::new(along.y, -along.x);
    let turned = |p: Xy| Vec2::new((p - strip.start).dot(across) as f32, -(p - strip.start).dot(along) as f32);
    let mut bounds = Rect::NOTHING;
    for &p in &field.outer {
        bounds.extend_with(turned(p).to_pos2());
    }
    if !(bounds.is_finite() && bounds.width() > 0.0 && bounds.height() > 0.0) {
        return;
    }
    let inner = rect.shrink(20.0);
    let scale = (inner.width() / bounds.width()).min(inner.height() / bounds.height());
    let place = |p: Xy| inner.center() + (turned(p).to_pos2() - bounds.center()) * scale;
    let colour = marks::verdict_colour(theme, Verdict::Out);
    for (i, &p) in field.outer.iter().enumerate() {
        let q = field.outer[(i + 1) % field.outer.len()];
        let edge = field.edges.get(i);
        let stands = edge.is_some_and(|e| !matches!(e.kind, EdgeKind::Nothing | EdgeKind::Unknown));
        let tall = edge.and_then(|e| e.height_m).unwrap_or(0.0) as f32;
        let width = if stands { (1.5 + tall * 0.35).min(6.0) } else { 1.0 };
        let ink = if edge.is_some_and(|e| e.kind == EdgeKind::Wires) { c.wires } else { colour };
        painter.line_segment([place(p), place(q)], Stroke::new(width, ink));
    }
    for hole in &field.holes {
        let points = hole.iter().map(|&p| place(p)).collect();
        painter.add(Shape::closed_line(points, Stroke::new(1.0, colour)));
    }
    if let Some(area) = &model.area {
        hazards_near(&painter, field, &area.hazards, &place, scale, theme);
    }
    strip_bar(&painter, strip, &place, theme);
    // The approach, and the wind over the picture.
    let far = place(strip.start) + Vec2::new(0.0, 40.0);
    painter.add(Shape::dashed_line(&[far, place(strip.start)], Stroke::new(1.5, c.ink_soft), 6.0, 4.0));
    let wind_from = model.conditions.wind_from;
    let convergence = model.convergence_rad(field.centroid());
    let relative = wind_from.rad() - convergence - strip.heading.rad();
    if model.conditions.wind_speed_ms > 0.0 {
        wind_arrow(&painter, Pos2::new(rect.right() - 34.0, rect.top() + 34.0), relative, theme);
    }
    let speed = model.settings.units.format_speed(model.conditions.wind_speed_ms);
    painter.text(
        Pos2::new(rect.right() - 8.0, rect.top() + 64.0),
        Align2::RIGHT_TOP,
        format!("{}/{speed}", format_bearing(wind_from)),
        theme.small_font(),
        c.ink_soft,
    );
    painter.text(
        Pos2::new(rect.left() + 8.0, rect.bottom() - 6.0),
        Align2::LEFT_BOTTOM,
        format!("landing {} true", format_bearing(Bearing::from_rad(strip.heading.rad() + convergence))),
        theme.small_font(),
        c.ink_soft,
    );
}

/// What stands in the field or within some metres of it.
fn hazards_near(
    painter: &egui::Painter,
    field: &Field,
    hazards: &[Arc<Hazard>],
    place: &dyn Fn(Xy) -> Pos2,
    scale: f32,
    theme: &Theme,
) {
    const NEAR_M: f64 = 120.0;
    let c = &theme.colours;
    let (mut low, mut high) = (field.outer[0], field.outer[0]);
    for p in &field.outer {
        low = Xy::new(low.x.min(p.x), low.y.min(p.y));
        high = Xy::new(high.x.max(p.x), high.y.max(p.y));
    }
    let near = |p: &Xy| p.x > low.x - NEAR_M && p.x < high.x + NEAR_M && p.y > low.y - NEAR_M && p.y < high.y + NEAR_M;
    for hazard in hazards {
        match &hazard.shape {
            HazardShape::Point(p) if near(p) => {
                let radius = (6.0 * scale).clamp(3.0, 9.0);
                painter.circle(place(*p), radius, c.wood, Stroke::new(1.0, c.ink));
            }
            HazardShape::Line(line) => {
                let passes = |w: &&[Xy]| {
                    w[0].x.min(w[1].x) < high.x + NEAR_M
                        && w[0].x.max(w[1].x) > low.x - NEAR_M
                        && w[0].y.min(w[1].y) < high.y + NEAR_M
                        && w[0].y.max(w[1].y) > low.y - NEAR_M
                };
                for pair in line.windows(2).filter(passes) {
                    painter.line_segment([place(pair[0]), place(pair[1])], Stroke::new(1.5, c.wires));
                    painter.circle_filled(place(pair[0]), 2.5, c.wires);
                    painter.circle_filled(place(pair[1]), 2.5, c.wires);
                }
            }
            HazardShape::Area { outer, .. } if outer.iter().any(near) => {
                let ink = match hazard.kind {
                    HazardKind::Water => c.water_line,
                    HazardKind::Building => c.building,
                    _ => c.wood,
                };
                let points = outer.iter().map(|&p| place(p)).collect();
                painter.add(Shape::closed_line(points, Stroke::new(2.0, ink)));
            }
            HazardShape::Point(_) | HazardShape::Area { .. } => {}
        }
    }
}

fn strip_bar(painter: &egui::Painter, strip: &StripVerdict, place: &dyn Fn(Xy) -> Pos2, theme: &Theme) {
    let c = &theme.colours;
    let along = strip.heading.unit();
    let half = Xy::new(along.y, -along.x) * (strip.width_m / 2.0);
    let taken = along * strip.displacement_m.min(strip.length_m);
    let quad = |from: Xy, to: Xy| vec![place(from - half), place(from + half), place(to + half), place(to - half)];
    let start = strip.start + taken;
    painter.add(Shape::convex_polygon(
        quad(start, strip.end),
        c.accent.gamma_multiply(0.35),
        Stroke::new(1.5, c.accent),
    ));
    if strip.displacement_m > 0.0 {
        painter.add(Shape::closed_line(quad(strip.start, start), Stroke::new(1.0, c.accent)));
    }
    // The arrowhead stands at the touchdown end and points the way of landing.
    let base = place(start);
    let tip = base + (place(strip.end) - base).normalized() * 14.0;
    let side = (tip - base).rot90() * 0.45;
    painter.add(Shape::convex_polygon(vec![tip, base + side, base - side], c.accent, Stroke::NONE));
}

fn wind_arrow(painter: &egui::Painter, centre: Pos2, from_rad: f64, theme: &Theme) {
    let unit = Bearing::from_rad(from_rad).unit();
    let from = Vec2::new(unit.x as f32, -unit.y as f32) * 22.0;
    let stroke = Stroke::new(2.0, theme.colours.ink);
    painter.line_segment([centre + from, centre - from], stroke);
    let tip = centre - from;
    let back = from.normalized() * 9.0;
    let side = back.rot90() * 0.5;
    painter.line_segment([tip, tip + back + side], stroke);
    painter.line_segment([tip, tip + back - side], stroke);
}

fn numbers(
    ui: &mut Ui,
    ranked: &RankedField,
    model: &Model,
    theme: &Theme,
    convergence: f64,
    commands: &mut Vec<Command>,
) {
    let Some(assessment) = &model.assessment else { return };
    let units = model.settings.units;
    section(ui, theme, "Numbers, each rounded by itself, each opens to its working");
    for working in assessment.workings(ranked) {
        let open = model.open_working.as_deref() == Some(working.label.as_str());
        let value = match working.value {
            Quantity::HeightAtLeast(h) if working.signed => signed_height(units, h),
            Quantity::Direction(b) => format_bearing(Bearing::from_rad(b.rad() + convergence)),
            q => format_quantity(q, &units),
        };
        if working::number_row(ui, theme, &working.label, &value, open) {
            commands.push(Command::OpenWorking((!open).then(|| working.label.clone())));
        }
        if open {
            let inputs = working.inputs.iter().map(|(name, value)| {
                let shown = match value {
                    Quantity::Direction(b) => format_bearing(Bearing::from_rad(b.rad() + convergence)),
                    q => format_quantity(*q, &units),
                };
                (name.as_str(), shown)
            });
            working::show(ui, theme, &working.formula, inputs, working.source);
        }
    }
}

fn criteria(ui: &mut Ui, ranked: &RankedField, theme: &Theme) {
    let colour = marks::verdict_colour(theme, ranked.verdict);
    for criterion in &ranked.criteria {
        let (rect, response) = ui.allocate_exact_size(Vec2::new(ui.available_width(), 18.0), Sense::hover());
        let words = capital(criterion.kind.words());
        let share = (criterion.weight * 100.0).round();
        let value = format!("{:.0}", criterion.value * 100.0);
        let spoken = if criterion.known { format!("{words}: {value} of 100") } else { format!("{words}: not known") };
        response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::ProgressIndicator, true, &spoken));
        let split = rect.left() + 126.0;
        ui.painter().text(
            Pos2::new(rect.left(), rect.center().y),
            Align2::LEFT_CENTER,
            &words,
            theme.small_font(),
            theme.colours.ink,
        );
        let bar =
            Rect::from_min_max(Pos2::new(split, rect.top() + 4.0), Pos2::new(rect.right() - 58.0, rect.bottom() - 4.0));
        marks::bar(ui, theme, bar, criterion.value, criterion.known, colour);
        ui.painter().text(
            Pos2::new(rect.right(), rect.center().y),
            Align2::RIGHT_CENTER,
            if criterion.known { value } else { "not known".into() },
            theme.small_font(),
            if criterion.known { theme.colours.ink } else { theme.colours.ink_soft },
        );
        response.on_hover_text(format!("{spoken}. It makes up {share} % of the score"));
    }
}

fn reasons(ui: &mut Ui, reasons: &[Reason], units: UnitPrefs, convergence: f64, theme: &Theme) {
    for reason in reasons {
        let (mark, colour): (&str, Color32) = match reason.kind {
            ReasonKind::Gate => ("×", theme.colours.caution),
            ReasonKind::Limit => ("–", theme.colours.caution),
            ReasonKind::NotKnown => ("?", theme.colours.ink_soft),
            ReasonKind::Note => ("·", theme.colours.ink_soft),
            ReasonKind::Good => ("+", theme.colours.ink),
        };
        ui.horizontal_top(|ui| {
            let font = theme.bold_font(theme.sizes.text);
            ui.add_sized([16.0, 18.0], egui::Label::new(RichText::new(mark).font(font).color(colour)));
            ui.add(egui::Label::new(capital(&words(reason, units, convergence))).wrap());
        });
    }
}

fn about(ui: &mut Ui, field: &Field, units: UnitPrefs, theme: &Theme) {
    let hectares = field.area_m2() / 10_000.0;
    let mut lines = vec![format!("{} · {hectares:.1} ha · surface {}", field.id, field.surface.words())];
    lines.push(match field.surveyed {
        Some(day) => format!("Last looked at {}", sparefield_data::quantity::format_day(day)),
        None => "Not known when it was last looked at".to_owned(),
    });
    if !field.notes.is_empty() {
        lines.push(field.notes.clone());
    }
    let tallest = field.edges.iter().filter_map(|e| e.height_m.map(|h| (h, e.kind))).max_by(|a, b| a.0.total_cmp(&b.0));
    if let Some((height, kind)) = tallest {
        lines.push(format!("Tallest on its boundary: {} {}", kind.words(), units.format_height(height)));
    }
    for text in lines {
        ui.add(egui::Label::new(RichText::new(text).size(theme.sizes.small)).wrap());
    }
}
