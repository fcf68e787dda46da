//! A small map of what would be added, with what is there.

use crate::theme::Theme;
use egui::{Color32, Pos2, Rect, Sense, Shape, Stroke, Ui, Vec2};
use sparefield_geometry::position::Xy;

/// Draws both; what is new lies on top.
pub(super) fn picture(ui: &mut Ui, theme: &Theme, new: &[Vec<Xy>], present: &[Vec<Xy>], size: Vec2) {
    let (response, painter) = ui.allocate_painter(size, Sense::hover());
    let words = format!("Map of {} new outlines and lines", new.len());
    response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Image, true, &words));
    let c = &theme.colours;
    painter.rect_filled(response.rect, 3.0, c.paper);
    painter.rect_stroke(response.rect, 3.0, Stroke::new(1.0, c.line), egui::StrokeKind::Inside);
    // The view follows what is new; without it, what is there.
    let shown = if new.is_empty() { present } else { new };
    let Some((low, high)) = bounds(shown) else { return };
    let frame = response.rect.shrink(10.0);
    let extent = (high - low).x.max(1.0).max((high - low).y * f64::from(frame.width() / frame.height()));
    let scale = f64::from(frame.width()) / (extent * 1.1);
    let middle = (low + high) * 0.5;
    let place = |p: &Xy| {
        let from = (*p - middle) * scale;
        frame.center() + Vec2::new(from.x as f32, -from.y as f32)
    };
    let painter = painter.with_clip_rect(response.rect);
    draw(&painter, present, place, frame, c.ink_soft, 1.0);
    draw(&painter, new, place, frame, c.accent, 2.0);
}

fn draw(
    painter: &egui::Painter,
    all: &[Vec<Xy>],
    place: impl Fn(&Xy) -> Pos2,
    frame: Rect,
    colour: Color32,
    width: f32,
) {
    for line in all {
        let points: Vec<Pos2> = line.iter().map(&place).collect();
        if !Rect::from_points(&points).intersects(frame.expand(10.0)) {
            continue;
        }
        match points.as_slice() {
            [one] => painter.add(Shape::circle_filled(*one, 3.0, colour)),
            _ => painter.add(Shape::line(points, Stroke::new(width, colour))),
        };
    }
}

fn bounds(all: &[Vec<Xy>]) -> Option<(Xy, Xy)> {
    let mut points = all.iter().flatten();
    let first = *points.next()?;
    Some(points.fold((first, first), |(low, high), p| {
        (Xy::new(low.x.min(p.x), low.y.min(p.y)), Xy::new(high.x.max(p.x), high.y.max(p.y)))
    }))
}
