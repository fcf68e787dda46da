//! The height profile: height above the landing place and the ground under the track, against time or distance flown.
//! It is tied to the map by the moment shown, and moves it when pressed or dragged.

use crate::circuits::flights::{Flight, ProfilePoint};
use crate::circuits::words;
use crate::command::Command;
use crate::model::{CircuitCommand, Model};
use crate::theme::{Theme, with_alpha};
use crate::views::timeline::{self, Moved};
use egui::{Align2, Color32, Painter, Pos2, Rect, Sense, Shape, Stroke, StrokeKind, Ui, Vec2, WidgetInfo, pos2, vec2};
use sparefield_data::quantity::HeightUnit;

/// Room for the figures along the left and lower edge, points.
const LEFT: f32 = 58.0;
const BELOW: f32 = 16.0;

/// How values become places of the screen.
struct Frame {
    rect: Rect,
    across: f64,
    low_m: f64,
    high_m: f64,
}

impl Frame {
    fn x(&self, along: f64) -> f32 {
        self.rect.left() + (along / self.across) as f32 * self.rect.width()
    }
    fn y(&self, height_m: f64) -> f32 {
        self.rect.bottom() - ((height_m - self.low_m) / (self.high_m - self.low_m)) as f32 * self.rect.height()
    }
    fn along(&self, x: f32) -> f64 {
        f64::from((x - self.rect.left()) / self.rect.width()).clamp(0.0, 1.0) * self.across
    }
}

/// The profile in all the width there is.
pub(super) fn profile(ui: &mut Ui, model: &Model, theme: &Theme, height: f32, commands: &mut Vec<Command>) {
    let circuits = &model.circuits;
    let Some(flight) = circuits.chosen() else { return };
    let other = circuits.other();
    let (outer, response) = ui.allocate_exact_size(Vec2::new(ui.available_width(), height), Sense::click_and_drag());
    let what = if circuits.by_distance { "distance flown" } else { "time" };
    let label = format!("Height above the landing place against {what}; arrow keys step through the flight");
    response.widget_info(|| WidgetInfo::slider(true, circuits.at_s, &label));
    let by_distance = circuits.by_distance;
    let along = |p: &ProfilePoint| if by_distance { p.distance_m } else { p.time_s };
    let points = || flight.profile.iter().chain(other.into_iter().flat_map(|f| &f.profile));
    let across = points().map(along).fold(1.0, f64::max);
    let high_m = points().map(|p| p.height_m).fold(10.0, f64::max) * 1.06;
    let ground = |p: &ProfilePoint| p.ground_m;
    let low_m = flight.profile.iter().filter_map(ground).fold(0.0, f64::min).max(-0.35 * high_m) - 0.03 * high_m;
    let rect = Rect::from_min_max(outer.min + vec2(LEFT, 4.0), outer.max - vec2(8.0, BELOW));
    let frame = Frame { rect, across, low_m, high_m };
    let painter = ui.painter().with_clip_rect(outer);
    let c = &theme.colours;
    painter.rect_filled(rect, 0.0, c.panel_sunken);
    lines(&painter, &frame, model, theme);
    ground_under(&painter, &frame, flight, &along, theme);
    if let Some(other) = other {
        let line: Vec<Pos2> = other.profile.iter().map(|p| pos2(frame.x(along(p)), frame.y(p.height_m))).collect();
        painter.extend(Shape::dashed_line(&line, Stroke::new(1.8, c.circuit_beside), 8.0, 4.0));
    }
    let line: Vec<Pos2> = flight.profile.iter().map(|p| pos2(frame.x(along(p)), frame.y(p.height_m))).collect();
    painter.add(Shape::line(line, Stroke::new(2.4, c.circuit)));
    keys(&painter, &frame, flight, model, theme);
    cursor(&painter, &frame, flight, model, theme);
    painter.rect_stroke(rect, 0.0, Stroke::new(1.0, c.line), StrokeKind::Inside);
    timeline::focus_frame(&painter, outer, &response, theme);
    let mut push = |command| commands.push(Command::Circuit(command));
    for moved in timeline::moves(ui, &response) {
        push(match moved {
            Moved::ToX(x) => {
                let along = frame.along(x);
                CircuitCommand::At(if by_distance { flight.time_at(along) } else { along })
            }
            Moved::ByS(step) => CircuitCommand::Step(step),
            Moved::PlayOrPause => CircuitCommand::Play(!circuits.playing),
        });
    }
}

/// Round figures up the left edge and along the lower one.
fn lines(painter: &Painter, frame: &Frame, model: &Model, theme: &Theme) {
    let c = &theme.colours;
    let units = model.settings.units;
    let unit = units.height.metres();
    let rough = (frame.high_m - frame.low_m) / unit / f64::from(frame.rect.height() / 26.0).max(1.0);
    let steps: [f64; 9] = [10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1_000.0, 2_000.0, 5_000.0];
    let step = steps.into_iter().find(|s| *s >= rough).unwrap_or(10_000.0);
    let digits = if units.height == HeightUnit::Ft { "ft" } else { "m" };
    let mut value = 0.0;
    while value * unit < frame.high_m {
        let y = frame.y(value * unit);
        painter.hline(frame.rect.x_range(), y, Stroke::new(if value == 0.0 { 1.4 } else { 0.7 }, c.line));
        let text = format!("{value:.0} {digits}");
        let y = y.clamp(frame.rect.top() + 6.0, frame.rect.bottom() - 5.0);
        painter.text(pos2(frame.rect.left() - 5.0, y), Align2::RIGHT_CENTER, text, theme.small_font(), c.ink_soft);
        value += step;
    }
    let places = f64::from(frame.rect.width() / 80.0).max(1.0);
    let by_distance = model.circuits.by_distance;
    let steps: &[f64] = if by_distance {
        &[100.0, 200.0, 500.0, 1_000.0, 2_000.0, 5_000.0]
    } else {
        &[5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0]
    };
    let scale = if by_distance { units.length.metres() } else { 1.0 };
    let step = steps.iter().copied().find(|s| *s * scale >= frame.across / places).unwrap_or(10_000.0) * scale;
    let mut at = 0.0;
    while at <= frame.across {
        let x = frame.x(at);
        painter.vline(x, frame.rect.y_range(), Stroke::new(0.6, c.line));
        let text = if by_distance { units.format_length(at) } else { words::clock(at) };
        let galley = painter.layout_no_wrap(text, theme.small_font(), c.ink_soft);
        let half = galley.size().x / 2.0;
        let x = x.clamp(frame.rect.left() + half, (frame.rect.right() - half).max(frame.rect.left() + half));
        painter.galley(pos2(x - half, frame.rect.bottom() + 1.0), galley, c.ink_soft);
        at += step;
    }
}

/// The ground under the track as a filled shape; where it is not known there is none.
fn ground_under(
    painter: &Painter,
    frame: &Frame,
    flight: &Flight,
    along: &dyn Fn(&ProfilePoint) -> f64,
    theme: &Theme,
) {
    let c = &theme.colours;
    let (fill, edge) = (with_alpha(c.contour, 0.45), Stroke::new(1.4, c.contour_index));
    for pair in flight.profile.windows(2) {
        let (Some(a), Some(b)) = (pair[0].ground_m, pair[1].ground_m) else { continue };
        let place = |p: &ProfilePoint, height_m: f64| {
            pos2(frame.x(along(p)), frame.y(height_m).clamp(frame.rect.top(), frame.rect.bottom()))
        };
        let (a, b) = (place(&pair[0], a), place(&pair[1], b));
        let quad = vec![a, b, pos2(b.x, frame.rect.bottom()), pos2(a.x, frame.rect.bottom())];
        painter.add(Shape::convex_polygon(quad, fill, Stroke::NONE));
        painter.line_segment([a, b], edge);
    }
}

/// Key positions on the line; names where they do not run into each other.
fn keys(painter: &Painter, frame: &Frame, flight: &Flight, model: &Model, theme: &Theme) {
    let c = &theme.colours;
    let mut taken: Vec<Rect> = Vec::new();
    let place = |time_s: f64, height_m: f64| {
        let along = if model.circuits.by_distance { flight.distance_at(time_s) } else { time_s };
        pos2(frame.x(along), frame.y(height_m))
    };
    if let Some(change) = &flight.answer.last_change {
        let at = place(change.commit.at.time_s, change.commit.height_m);
        painter.vline(at.x, (at.y - 14.0)..=(at.y + 14.0), Stroke::new(2.2, c.ink));
        name(painter, frame, at, "last change", c.ink, &mut taken, theme);
    }
    for key in &flight.circuit.keys {
        let at = place(key.time_s, key.height_m);
        let square = Rect::from_center_size(at, Vec2::splat(7.0));
        painter.rect_filled(square.expand(1.0), 0.0, c.circuit);
        painter.rect_filled(square.shrink(0.6), 0.0, c.halo);
        name(painter, frame, at, words::short(key.name), c.ink, &mut taken, theme);
    }
}

fn name(painter: &Painter, frame: &Frame, at: Pos2, text: &str, colour: Color32, taken: &mut Vec<Rect>, theme: &Theme) {
    let galley = painter.layout_no_wrap(text.to_owned(), theme.small_font(), colour);
    let size = galley.size();
    // Above the line to its right, where a descending line leaves room; else below it to its left.
    let spots = [at + vec2(5.0, -size.y - 3.0), at + vec2(-size.x / 2.0, -size.y - 8.0), at + vec2(-size.x - 6.0, 4.0)];
    for min in spots {
        let rect = Rect::from_min_size(min, size);
        if frame.rect.contains_rect(rect) && !taken.iter().any(|t| t.intersects(rect.expand(2.0))) {
            taken.push(rect);
            painter.galley(min, galley, colour);
            return;
        }
    }
}

/// The moment shown.
fn cursor(painter: &Painter, frame: &Frame, flight: &Flight, model: &Model, theme: &Theme) {
    let c = &theme.colours;
    let Some(moment) = flight.at(model.circuits.at_s) else { return };
    let along = if model.circuits.by_distance { moment.distance_m } else { moment.motion.time_s };
    let at = pos2(frame.x(along), frame.y(moment.height_m));
    painter.vline(at.x, frame.rect.y_range(), Stroke::new(1.4, c.accent));
    painter.circle(at, 5.0, c.circuit, Stroke::new(2.0, c.halo));
}
