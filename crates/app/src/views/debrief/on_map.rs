//! The flight on the map: its way, exercises, stretches without a field in reach, the circuit the program would have
//! flown, and the aircraft at the moment shown.

use crate::debrief::pictures::planned;
use crate::model::{Mode, Model};
use crate::theme::{Theme, with_alpha};
use crate::views::map::View;
use egui::{Align2, Painter, Pos2, Shape, Stroke, Ui, Vec2};
use sparefield_geometry::math;
use sparefield_geometry::position::Xy;
use std::ops::Range;

/// Points of the screen nearer than this to the last are left out.
const CLOSE: f32 = 2.0;

/// Draws it.
pub(crate) fn draw(ui: &Ui, view: &View, model: &Model, theme: &Theme) {
    if model.mode != Mode::Debrief {
        return;
    }
    let Some(made) = &model.debrief.made else { return };
    let painter = ui.painter().with_clip_rect(view.rect);
    let sortie = &made.sortie;
    let c = &theme.colours;
    let whole = 0..sortie.flight.samples.all.len();
    let line = |range: &Range<usize>| -> Vec<Vec<Pos2>> {
        let all = &sortie.flight.samples.all;
        let parts = sortie.flight.samples.parts.iter();
        parts
            .filter_map(|part| {
                let (from, to) = (part.start.max(range.start), part.end.min(range.end));
                (to > from + 1).then(|| screen(view, all[from..to].iter().map(|s| s.position)))
            })
            .collect()
    };
    for points in line(&whole) {
        painter.add(Shape::line(points.clone(), Stroke::new(3.5, with_alpha(c.paper, 0.7))));
        painter.add(Shape::line(points, Stroke::new(1.4, c.ink)));
    }
    for bare in &sortie.cover.bare {
        for points in line(&(bare.first..bare.last + 1)) {
            painter.add(Shape::line(points, Stroke::new(4.0, c.caution)));
        }
    }
    let looked_at = model.debrief.exercise;
    for (i, one) in sortie.exercises.iter().enumerate() {
        let chosen = looked_at == Some(i);
        for points in line(&one.measures.samples) {
            painter.add(Shape::line(
                points.clone(),
                Stroke::new(if chosen { 6.0 } else { 4.0 }, with_alpha(c.paper, 0.8)),
            ));
            painter.add(Shape::line(points, Stroke::new(if chosen { 3.5 } else { 2.0 }, c.accent)));
        }
    }
    if let Some((_, one)) = model.debrief.looked_at() {
        let way = screen(view, planned(one).into_iter());
        painter.extend(Shape::dashed_line(&way, Stroke::new(4.0, with_alpha(c.paper, 0.7)), 9.0, 6.0));
        painter.extend(Shape::dashed_line(&way, Stroke::new(2.0, c.circuit_beside), 9.0, 6.0));
        let lowest = view.to_screen(sortie.flight.samples.all[one.measures.lowest].position);
        painter.circle(lowest, 4.0, c.caution, Stroke::new(1.5, c.paper));
        label(&painter, lowest + Vec2::new(8.0, 8.0), "lowest", theme);
        for (aim, before) in one.measures.aims.iter().skip(1).zip(&one.measures.aims) {
            if sortie.candidates[aim.candidate].field != sortie.candidates[before.candidate].field {
                let at = view.to_screen(sortie.flight.samples.all[aim.from].position);
                painter.circle(at, 4.0, c.ink, Stroke::new(1.5, c.paper));
                label(&painter, at + Vec2::new(8.0, 0.0), "changes field", theme);
            }
        }
    }
    for (i, one) in sortie.exercises.iter().enumerate() {
        let at = view.to_screen(one.measures.position);
        painter.circle(at, 10.0, c.accent, Stroke::new(1.5, c.paper));
        painter.text(at, Align2::CENTER_CENTER, (i + 1).to_string(), theme.bold_font(theme.sizes.small), c.paper);
    }
    aircraft(&painter, view, model, theme);
}

fn screen(view: &View, places: impl Iterator<Item = Xy>) -> Vec<Pos2> {
    let mut points: Vec<Pos2> = Vec::new();
    for place in places {
        let at = view.to_screen(place);
        if points.last().is_none_or(|last| last.distance(at) >= CLOSE) {
            points.push(at);
        }
    }
    points
}

fn label(painter: &Painter, at: Pos2, text: &str, theme: &Theme) {
    let galley = painter.layout_no_wrap(text.to_owned(), theme.small_font(), theme.colours.ink);
    let rect = Align2::LEFT_CENTER.anchor_size(at, galley.size());
    // Words that would be cut off at the edge move in.
    let beyond = (rect.right() + 4.0 - painter.clip_rect().right()).max(0.0);
    let rect = rect.translate(Vec2::new(-beyond, 0.0));
    painter.rect_filled(rect.expand(2.0), 3.0, with_alpha(theme.colours.paper, 0.85));
    painter.galley(rect.min, galley, theme.colours.ink);
}

/// The aircraft at the moment shown, its nose where it flies through the air.
fn aircraft(painter: &Painter, view: &View, model: &Model, theme: &Theme) {
    let debrief = &model.debrief;
    let (Some(made), Some(i)) = (&debrief.made, debrief.sample()) else { return };
    let flight = &made.sortie.flight;
    let here = &flight.samples.all[i];
    // Between two samples the aircraft goes on at its speed, so that playing is smooth.
    let since = (debrief.at_s - here.time_s).clamp(0.0, 1.0);
    let at = view.to_screen(here.position + here.ground * since);
    let (sin, cos) = math::sin_cos(flight.flying[i].heading_rad);
    let (nose, right) = (Vec2::new(sin as f32, -cos as f32), Vec2::new(cos as f32, sin as f32));
    let delta = vec![at + nose * 14.0, at - nose * 9.0 + right * 12.0, at - nose * 4.0, at - nose * 9.0 - right * 12.0];
    let c = &theme.colours;
    painter.add(Shape::closed_line(delta.clone(), Stroke::new(4.0, c.paper)));
    painter.add(Shape::convex_polygon(vec![delta[0], delta[1], delta[2]], c.ink, Stroke::NONE));
    painter.add(Shape::convex_polygon(vec![delta[0], delta[2], delta[3]], c.ink, Stroke::NONE));
    if let Some(h) = flight.flying[i].height_agl_m {
        let text = format!("{} above ground", model.settings.units.format_height(h));
        label(painter, at + Vec2::new(18.0, -12.0), &text, theme);
    }
}
