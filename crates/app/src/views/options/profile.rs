//! Heights along a route: the ground, the height flown, and the least height; where it is not covered the band between the
//! last two is filled.

use crate::command::Command;
use crate::model::{CoverCommand, Model, RouteCommand, RouteMade};
use crate::options_map::RoutePoint;
use crate::theme::{Theme, with_alpha};
use egui::{
    Align2, EventFilter, Key, Modifiers, Painter, Pos2, Rect, Sense, Shape, Stroke, StrokeKind, Ui, Vec2, WidgetInfo,
    pos2, vec2,
};
use sparefield_data::quantity::HeightUnit;

/// Room for the figures along the left and lower edge, points.
const LEFT: f32 = 64.0;
const BELOW: f32 = 16.0;
/// Arrow keys step by this share of the route.
const STEP: f64 = 0.01;

struct Frame {
    rect: Rect,
    across_m: f64,
    low_m: f64,
    high_m: f64,
}

impl Frame {
    fn at(&self, along_m: f64, height_m: f64) -> Pos2 {
        let x = self.rect.left() + (along_m / self.across_m) as f32 * self.rect.width();
        let y = (height_m - self.low_m) / (self.high_m - self.low_m);
        pos2(x, (self.rect.bottom() - y as f32 * self.rect.height()).clamp(self.rect.top(), self.rect.bottom()))
    }
    fn along(&self, x: f32) -> f64 {
        f64::from((x - self.rect.left()) / self.rect.width()).clamp(0.0, 1.0) * self.across_m
    }
}

/// The profile in all the width there is; pointing at it points on the map.
pub(super) fn profile(
    ui: &mut Ui,
    model: &Model,
    made: &RouteMade,
    theme: &Theme,
    height: f32,
    commands: &mut Vec<Command>,
) {
    let points = &made.route.points;
    let (outer, response) = ui.allocate_exact_size(Vec2::new(ui.available_width(), height), Sense::click_and_drag());
    let pointed = model.cover.route.pointed_m;
    let label = "Heights along the route: ground, height flown, least height; arrow keys step along it";
    response.widget_info(|| WidgetInfo::slider(true, pointed.unwrap_or(0.0), label));
    let flown = points.iter().filter_map(|p| p.height_amsl_m).fold(f64::NEG_INFINITY, f64::max);
    let low_m = points.iter().filter_map(|p| p.ground_amsl_m).fold(f64::INFINITY, f64::min);
    if !(flown.is_finite() && low_m.is_finite()) {
        return;
    }
    // Least heights far above what is flown are cut off: they would press everything else flat.
    let most = low_m + 1.7 * (flown - low_m).max(100.0);
    let least = points.iter().filter_map(|p| p.least_amsl_m).fold(flown, f64::max).min(most);
    let high_m = least + 0.06 * (least - low_m) + 10.0;
    let rect = Rect::from_min_max(outer.min + vec2(LEFT, 4.0), outer.max - vec2(8.0, BELOW));
    let frame = Frame { rect, across_m: made.route.length_m.max(1.0), low_m: low_m - 0.04 * (high_m - low_m), high_m };
    let painter = ui.painter().with_clip_rect(outer);
    let c = &theme.colours;
    painter.rect_filled(rect, 0.0, c.panel_sunken);
    scale(&painter, &frame, model, theme);
    for pair in points.windows(2) {
        ground(&painter, &frame, &pair[0], &pair[1], theme);
        uncovered(&painter, &frame, &pair[0], &pair[1], theme);
    }
    let least = |p: &RoutePoint| p.least_amsl_m.map(|h| frame.at(p.along_m, h));
    for part in points.split(|p| p.least_amsl_m.is_none()) {
        let line: Vec<Pos2> = part.iter().filter_map(least).collect();
        painter.extend(Shape::dashed_line(&line, Stroke::new(1.8, c.caution), 6.0, 3.0));
    }
    for part in points.split(|p| p.height_amsl_m.is_none()) {
        let line = part.iter().filter_map(|p| p.height_amsl_m.map(|h| frame.at(p.along_m, h))).collect();
        painter.add(Shape::line(line, Stroke::new(2.4, c.ink)));
    }
    legend(&painter, rect, theme);
    if let Some(along) = pointed {
        painter.vline(frame.at(along, 0.0).x, rect.y_range(), Stroke::new(1.6, c.accent));
    }
    painter.rect_stroke(rect, 0.0, Stroke::new(1.0, c.line), StrokeKind::Inside);
    if response.has_focus() {
        painter.rect_stroke(outer.shrink(1.0), 2.0, Stroke::new(2.0, c.accent), StrokeKind::Inside);
    }
    let mut push = |along| commands.push(Command::Cover(CoverCommand::Route(RouteCommand::PointAt(along))));
    if let Some(pointer) = response.hover_pos().or_else(|| response.interact_pointer_pos()) {
        let moved = ui.input(|i| i.pointer.delta() != Vec2::ZERO || i.pointer.any_pressed());
        if moved {
            push(Some(frame.along(pointer.x)));
        }
        if response.clicked() {
            response.request_focus();
        }
    }
    if response.has_focus() {
        let filter = EventFilter { horizontal_arrows: true, ..EventFilter::default() };
        ui.memory_mut(|m| m.set_focus_lock_filter(response.id, filter));
        let step = ui.input_mut(|i| {
            i.count_and_consume_key(Modifiers::NONE, Key::ArrowRight) as f64
                - i.count_and_consume_key(Modifiers::NONE, Key::ArrowLeft) as f64
        });
        if step != 0.0 {
            let along = pointed.unwrap_or(0.0) + step * STEP * frame.across_m;
            push(Some(along.max(0.0).min(frame.across_m)));
        }
    }
}

fn ground(painter: &Painter, frame: &Frame, a: &RoutePoint, b: &RoutePoint, theme: &Theme) {
    let c = &theme.colours;
    let (Some(low), Some(high)) = (a.ground_amsl_m, b.ground_amsl_m) else { return };
    let (a, b) = (frame.at(a.along_m, low), frame.at(b.along_m, high));
    let quad = vec![a, b, pos2(b.x, frame.rect.bottom()), pos2(a.x, frame.rect.bottom())];
    painter.add(Shape::convex_polygon(quad, with_alpha(c.contour, 0.45), Stroke::NONE));
    painter.line_segment([a, b], Stroke::new(1.4, c.contour_index));
}

fn uncovered(painter: &Painter, frame: &Frame, a: &RoutePoint, b: &RoutePoint, theme: &Theme) {
    let c = &theme.colours;
    if a.is_covered() || b.is_covered() {
        return;
    }
    let top = |p: &RoutePoint| frame.at(p.along_m, p.least_amsl_m.unwrap_or(f64::INFINITY).min(frame.high_m));
    let (Some(low), Some(high)) = (a.height_amsl_m, b.height_amsl_m) else { return };
    let quad = vec![top(a), top(b), frame.at(b.along_m, high), frame.at(a.along_m, low)];
    painter.add(Shape::convex_polygon(quad, with_alpha(c.caution, 0.28), Stroke::NONE));
}

/// Which line is which, in the corner.
fn legend(painter: &Painter, rect: Rect, theme: &Theme) {
    let c = &theme.colours;
    let mut at = rect.left_top() + vec2(8.0, 9.0);
    for (words, colour, dashed) in [("flown", c.ink, false), ("least height", c.caution, true)] {
        let ends = [at, at + vec2(22.0, 0.0)];
        if dashed {
            painter.extend(Shape::dashed_line(&ends, Stroke::new(1.8, colour), 6.0, 3.0));
        } else {
            painter.line_segment(ends, Stroke::new(2.4, colour));
        }
        let place = at + vec2(27.0, 0.0);
        let galley = painter.layout_no_wrap(words.to_owned(), theme.small_font(), c.ink);
        let behind =
            Rect::from_min_size(place - vec2(0.0, galley.size().y / 2.0), galley.size()).expand2(vec2(2.0, 0.0));
        painter.rect_filled(behind, 2.0, with_alpha(c.panel_sunken, 0.8));
        at = place + vec2(galley.size().x + 14.0, 0.0);
        painter.galley(behind.left_top() + vec2(2.0, 0.0), galley, c.ink);
    }
}

/// Round figures up the left edge and along the lower one.
fn scale(painter: &Painter, frame: &Frame, model: &Model, theme: &Theme) {
    let c = &theme.colours;
    let units = model.settings.units;
    let unit = units.height.metres();
    let rough = (frame.high_m - frame.low_m) / unit / f64::from(frame.rect.height() / 26.0).max(1.0);
    let step = round_step(rough);
    let name = if units.height == HeightUnit::Ft { "ft" } else { "m" };
    let mut value = (frame.low_m / unit / step).ceil() * step;
    while value * unit < frame.high_m {
        let y = frame.at(0.0, value * unit).y;
        painter.hline(frame.rect.x_range(), y, Stroke::new(0.7, c.line));
        let y = y.clamp(frame.rect.top() + 6.0, frame.rect.bottom() - 5.0);
        let text = format!("{value:.0} {name}");
        painter.text(pos2(frame.rect.left() - 5.0, y), Align2::RIGHT_CENTER, text, theme.small_font(), c.ink_soft);
        value += step;
    }
    let scale = units.length.metres();
    let step = round_step(frame.across_m / scale / f64::from(frame.rect.width() / 90.0).max(1.0)) * scale;
    let mut at = 0.0;
    while at <= frame.across_m {
        let x = frame.at(at, 0.0).x;
        painter.vline(x, frame.rect.y_range(), Stroke::new(0.6, c.line));
        let galley = painter.layout_no_wrap(units.format_length(at), theme.small_font(), c.ink_soft);
        let half = galley.size().x / 2.0;
        let x = x.min(frame.rect.right() - half).max(frame.rect.left() + half);
        painter.galley(pos2(x - half, frame.rect.bottom() + 1.0), galley, c.ink_soft);
        at += step;
    }
}

/// The next of 1, 2 and 5 times a power of ten.
fn round_step(rough: f64) -> f64 {
    let mut step = 1.0;
    for factor in [2.0, 2.5, 2.0].into_iter().cycle().take(30) {
        if step >= rough {
            break;
        }
        step *= factor;
    }
    step
}
