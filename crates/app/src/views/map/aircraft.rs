//! The aircraft, its nose handle, where it will be in half a minute, and the wind beside it.

use super::camera::View;
use super::paint::Brush;
use super::{AircraftMark, MapInput, WindMark};
use crate::theme::with_alpha;
use egui::emath::Rot2;
use egui::{Align2, Color32, Mesh, Pos2, Rect, Response, Shape, Stroke, Ui, Vec2, vec2};
use sparefield_geometry::position::{Bearing, Xy};

/// Distance of the nose handle from the aircraft, points.
pub(super) const NOSE_RADIUS: f32 = 46.0;
/// Half the side of the square that takes hold of the aircraft, points.
pub(super) const GRIP: f32 = 20.0;
/// How far ahead the thin line reaches, seconds.
const AHEAD_S: f64 = 30.0;

/// Where the nose handle is.
pub(super) fn nose_at(view: &View, at: Pos2, heading: Option<Bearing>) -> Pos2 {
    at + view.direction(heading.unwrap_or(Bearing::NORTH)) * NOSE_RADIUS
}

pub(super) fn draw(brush: &mut Brush<'_>, ui: &Ui, map: &Response, turning: Option<f64>, input: &MapInput<'_>) {
    let Some(mark) = input.aircraft else { return };
    let at = brush.view.to_screen(mark.position);
    if let Some(wind) = input.wind {
        wind_arrow(brush, at, mark, wind);
    }
    if !brush.view.rect.expand(80.0).contains(at) {
        pointer_to(brush, at);
        return;
    }
    ahead(brush, at, mark);
    let pointer = ui.input(|i| i.pointer.hover_pos()).filter(|p| brush.view.rect.contains(*p));
    let near = pointer.is_some_and(|p| (p - at).length() < NOSE_RADIUS + 16.0);
    let focused = super::hands::parts_focused(ui, map);
    let held = super::hands::aircraft_held(ui, map);
    handle(brush, at, mark, near || focused.1 || turning.is_some(), turning.is_some() || focused.1);
    if held || focused.0 || pointer.is_some_and(|p| (p - at).abs().max_elem() <= GRIP && turning.is_none()) {
        let accent = brush.theme.colours.accent;
        brush.add(Shape::circle_filled(at, GRIP + 4.0, with_alpha(accent, if held { 0.22 } else { 0.12 })));
        brush.add(Shape::circle_stroke(at, GRIP + 4.0, Stroke::new(1.4, accent)));
    }
    let ink = brush.theme.colours.aircraft;
    delta(brush, at, mark.heading, 0.0, ink);
    brush.occupy(Rect::from_center_size(at, Vec2::splat(2.0 * GRIP)));
    label(brush, at, mark);
}

/// A flexwing seen from above: swept wing, nose forward, the trike's nose and keel in the middle.
///
/// In a bank (radians, right positive) the lower wing is drawn shorter, more than it would look, so that it is seen.
pub(super) fn delta(brush: &mut Brush<'_>, at: Pos2, heading: Option<Bearing>, bank_rad: f64, ink: Color32) {
    let halo = brush.theme.colours.halo;
    let Some(heading) = heading else {
        // No heading: a target, so that nobody reads a nose into it.
        brush.add(Shape::circle_stroke(at, 9.0, Stroke::new(6.0, halo)));
        brush.add(Shape::circle_stroke(at, 9.0, Stroke::new(2.4, ink)));
        brush.add(Shape::circle_filled(at, 3.0, ink));
        return;
    };
    let rot = Rot2::from_angle((heading.rad() - brush.view.up().rad()) as f32);
    let bank = bank_rad.clamp(-1.0, 1.0) as f32;
    let place = |x: f32, y: f32| {
        let lower = (x * bank).signum() * bank.abs();
        at + rot * vec2(x * (1.0 - 0.75 * lower.max(0.0)), y)
    };
    let outline = [
        place(0.0, -13.0),
        place(19.0, 7.5),
        place(17.6, 10.5),
        place(9.0, 6.6),
        place(0.0, 5.2),
        place(-9.0, 6.6),
        place(-17.6, 10.5),
        place(-19.0, 7.5),
    ];
    let keel = [place(0.0, 3.0), place(0.0, 12.5)];
    let round = |brush: &mut Brush<'_>, width: f32| {
        brush.add(Shape::closed_line(outline.to_vec(), Stroke::new(width, halo)));
        brush.add(Shape::line_segment(keel, Stroke::new(width + 2.0, halo)));
    };
    round(brush, 5.0);
    let mut mesh = Mesh::default();
    for p in outline {
        mesh.colored_vertex(p, ink);
    }
    // Nose to each pair of neighbours: the outline is seen whole from the nose.
    for k in 1..outline.len() as u32 - 1 {
        mesh.add_triangle(0, k, k + 1);
    }
    brush.add(Shape::mesh(mesh));
    brush.add(Shape::closed_line(outline.to_vec(), Stroke::new(0.8, ink)));
    brush.add(Shape::line_segment(keel, Stroke::new(2.6, ink)));
    // The keel line in the halo colour tells the nose at a glance.
    brush.add(Shape::line_segment([place(0.0, -9.0), place(0.0, 2.0)], Stroke::new(1.2, halo)));
}

fn ahead(brush: &mut Brush<'_>, at: Pos2, mark: &AircraftMark) {
    let c = &brush.theme.colours;
    let (ink, halo) = (c.aircraft, with_alpha(c.halo, 0.8));
    let end = brush.view.to_screen(mark.position + mark.ground_velocity_ms * AHEAD_S);
    let run = end - at;
    let length = run.length();
    if length.is_nan() || length <= 18.0 {
        return;
    }
    let unit = run / length;
    let across = vec2(-unit.y, unit.x) * 4.0;
    for stroke in [Stroke::new(3.6, halo), Stroke::new(1.2, ink)] {
        brush.line(&[at, end], stroke);
        brush.line(&[end - across, end + across], stroke);
    }
}

fn handle(brush: &mut Brush<'_>, at: Pos2, mark: &AircraftMark, ring: bool, held: bool) {
    let c = &brush.theme.colours;
    let (ink, halo, accent) = (c.aircraft, c.halo, c.accent);
    if ring {
        brush.add(Shape::circle_stroke(at, NOSE_RADIUS, Stroke::new(3.0, with_alpha(halo, 0.6))));
        brush.add(Shape::circle_stroke(at, NOSE_RADIUS, Stroke::new(1.0, with_alpha(accent, 0.8))));
    }
    let knob = nose_at(&brush.view, at, mark.heading);
    let fill = if held { accent } else { halo };
    brush.add(Shape::circle_filled(knob, 6.5, halo));
    brush.add(Shape::circle_filled(knob, 4.5, if mark.heading.is_some() { fill } else { halo }));
    brush.add(Shape::circle_stroke(knob, 4.8, Stroke::new(1.6, if ring { accent } else { ink })));
    brush.occupy(Rect::from_center_size(knob, Vec2::splat(12.0)));
}

fn label(brush: &mut Brush<'_>, at: Pos2, mark: &AircraftMark) {
    let ink = brush.theme.colours.ink;
    // Opposite the nose, so that neither the line ahead nor the handle runs through the words.
    let nose = brush.view.direction(mark.heading.unwrap_or(Bearing::NORTH));
    let right = nose.x <= 0.0;
    let mut y = at.y + 10.0;
    for (n, line) in mark.label.iter().enumerate() {
        let font = if n == 0 { brush.theme.bold_font(13.0) } else { brush.theme.small_font() };
        let galley = brush.galley(line.clone(), font, ink);
        let (x, anchor) = if right { (at.x + 25.0, Align2::LEFT_TOP) } else { (at.x - 25.0, Align2::RIGHT_TOP) };
        let rect = brush.halo_text(Pos2::new(x, y), anchor, galley, ink);
        brush.occupy(rect);
        y = rect.bottom() + 1.0;
    }
}

/// An arrow in the direction of flow beside the aircraft, with the wind in words.
fn wind_arrow(brush: &mut Brush<'_>, at: Pos2, mark: &AircraftMark, wind: &WindMark) {
    let c = &brush.theme.colours;
    let (ink, halo) = (c.ink, with_alpha(c.halo, 0.85));
    let galley = brush.galley(wind.label.clone(), brush.theme.bold_font(12.0), ink);
    let nose = brush.view.direction(mark.heading.unwrap_or(Bearing::NORTH));
    let Some(from) = wind.wind.from_bearing() else {
        let at = at - nose * (NOSE_RADIUS + 18.0);
        brush.halo_text(at, Align2::CENTER_CENTER, galley, ink);
        return;
    };
    let upwind = brush.view.direction(from);
    // Upwind of the aircraft, aside from the nose and what lies ahead of it.
    let turn = |deg: f32| Rot2::from_angle(deg.to_radians()) * upwind;
    let ahead = mark.ground_velocity_ms;
    let ahead = brush.view.vector(ahead).normalized();
    let crowd = |v: Vec2| v.dot(nose).max(v.dot(ahead));
    let side = if crowd(turn(0.0)) < 0.5 {
        turn(0.0)
    } else if crowd(turn(60.0)) < crowd(turn(-60.0)) {
        turn(60.0)
    } else {
        turn(-60.0)
    };
    let middle = at + side * (NOSE_RADIUS + 34.0);
    let (tail, tip) = (middle + upwind * 19.0, middle - upwind * 19.0);
    let across = vec2(-upwind.y, upwind.x);
    let neck = tip + upwind * 9.0;
    let head = vec![tip, neck + across * 6.0, neck - across * 6.0];
    brush.add(Shape::line_segment([tail, neck], Stroke::new(6.0, halo)));
    brush.add(Shape::convex_polygon(head.clone(), halo, Stroke::new(4.0, halo)));
    brush.add(Shape::line_segment([tail, neck], Stroke::new(2.4, ink)));
    brush.add(Shape::convex_polygon(head, ink, Stroke::NONE));
    // Feathers at the tail, as on an arrow: which end is which reads without looking at the head.
    for k in [0.0, 4.5] {
        let p = tail - upwind * k;
        for s in [-1.0, 1.0] {
            brush.add(Shape::line_segment([p, p + across * (s * 4.5) + upwind * 4.0], Stroke::new(1.6, ink)));
        }
    }
    let outward = if side.x >= 0.0 { 1.0 } else { -1.0 };
    let clear = 8.0 + 19.0 * upwind.x.abs();
    let place = middle + vec2(outward * clear, 0.0);
    let anchor = if outward > 0.0 { Align2::LEFT_CENTER } else { Align2::RIGHT_CENTER };
    let rect = brush.halo_text(place, anchor, galley, ink);
    brush.occupy(rect);
    brush.occupy(Rect::from_two_pos(tail, tip).expand(6.0));
}

/// A small arrow at the edge when the aircraft is out of sight.
fn pointer_to(brush: &mut Brush<'_>, at: Pos2) {
    let c = &brush.theme.colours;
    let (ink, halo) = (c.aircraft, c.halo);
    let inner = brush.view.rect.shrink2(vec2(22.0, 44.0));
    let place = inner.clamp(at);
    let unit = (at - place).normalized();
    let across = vec2(-unit.y, unit.x);
    let arrow = vec![place + unit * 12.0, place + across * 8.0 - unit * 4.0, place - across * 8.0 - unit * 4.0];
    brush.add(Shape::convex_polygon(arrow.clone(), ink, Stroke::new(4.0, halo)));
    brush.add(Shape::convex_polygon(arrow, ink, Stroke::NONE));
}

/// The glide to the chosen field.
pub(super) fn glide_path(brush: &mut Brush<'_>, path: &[Xy]) {
    let c = &brush.theme.colours;
    let (ink, halo) = (c.ink, with_alpha(c.halo, 0.75));
    let points = brush.path(path);
    brush.line(&points, Stroke::new(4.4, halo));
    brush.dashed(&points, Stroke::new(2.0, ink), &[8.0, 5.0]);
}
