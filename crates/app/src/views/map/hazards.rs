//! Wires, masts and lone trees: drawn over everything that lies on the ground, and at every zoom.

use super::MapInput;
use super::camera::Bounds;
use super::paint::Brush;
use crate::theme::with_alpha;
use egui::{Align2, Pos2, Rect, Shape, Stroke, Vec2, pos2, vec2};
use sparefield_geometry::fields::model::{Hazard, HazardKind, HazardShape};
use sparefield_geometry::position::Xy;

/// Poles never stand closer on the screen, and never farther than about twice this.
const POLE_STEP_PT: f64 = 15.0;
/// Spacing of poles where the picture is large enough to show them all, metres; typical of local lines, no source.
const POLE_STEP_M: f64 = 60.0;

pub(super) fn draw(brush: &mut Brush<'_>, input: &MapInput<'_>) {
    for hazard in input.hazards {
        match (&hazard.shape, hazard.kind) {
            (HazardShape::Line(points), kind) if brush.sees(&Bounds::around(points)) => {
                if kind == HazardKind::Wires {
                    wires(brush, points);
                } else {
                    let path = brush.path(points);
                    let ink = input.theme.colours.ink;
                    brush.dashed(&path, Stroke::new(1.6, ink), &[5.0, 3.0]);
                }
            }
            (HazardShape::Point(at), kind) if brush.sees(&Bounds { min: *at, max: *at }) => {
                let at = brush.view.to_screen(*at);
                match kind {
                    HazardKind::Mast => mast(brush, at, hazard, input),
                    HazardKind::LoneTree | HazardKind::Wood => tree(brush, at),
                    HazardKind::Wires | HazardKind::Other => warning(brush, at),
                    HazardKind::Building | HazardKind::Water => {}
                }
            }
            _ => {}
        }
    }
}

/// A line with poles: short strokes across it, closer on the ground as one zooms in.
fn wires(brush: &mut Brush<'_>, points: &[Xy]) {
    let c = &brush.theme.colours;
    let (ink, halo) = (c.wires, with_alpha(c.halo, 0.75));
    let path: Vec<Pos2> = points.iter().map(|&p| brush.view.to_screen(p)).collect();
    brush.line(&path, Stroke::new(3.8, halo));
    brush.line(&path, Stroke::new(1.4, ink));
    let lengths = path.windows(2).map(|pair| (pair[1] - pair[0]).length());
    if lengths.sum::<f32>() >= POLE_STEP_PT as f32 * path.len().saturating_sub(1) as f32 {
        // Near enough for every pole where it was drawn.
        poles(brush, &path, ink, halo);
        return;
    }
    let mut step_m = POLE_STEP_M;
    while step_m / brush.view.camera.metres_per_point < POLE_STEP_PT {
        step_m *= 2.0;
    }
    let step = brush.view.points(step_m);
    let mut left = 0.0f32;
    let clip = brush.view.rect.expand(12.0);
    for pair in path.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let length = (b - a).length();
        if length.is_nan() || length <= 0.0 {
            continue;
        }
        let unit = (b - a) / length;
        let across = vec2(-unit.y, unit.x) * 4.2;
        if let Some((from, _)) = super::paint::cut_to(a, b, clip) {
            let skip = ((from - a).length() - left).max(0.0) / step;
            let mut at = left + skip.floor() * step;
            while at <= length {
                let p = a + unit * at;
                if clip.contains(p) {
                    brush.add(Shape::line_segment([p - across, p + across], Stroke::new(3.2, halo)));
                    brush.add(Shape::line_segment([p - across, p + across], Stroke::new(1.6, ink)));
                } else if (p - from).length() > clip.size().length() {
                    break;
                }
                at += step;
            }
        }
        left = (left - length).rem_euclid(step);
    }
}

/// A short stroke across the line at each of its corners.
fn poles(brush: &mut Brush<'_>, path: &[Pos2], ink: egui::Color32, halo: egui::Color32) {
    let clip = brush.view.rect.expand(12.0);
    for (i, &at) in path.iter().enumerate().filter(|(_, at)| clip.contains(**at)) {
        let before = path[i.saturating_sub(1)];
        let after = path.get(i + 1).copied().unwrap_or(at);
        let along = ((at - before).normalized() + (after - at).normalized()).normalized();
        let across = vec2(-along.y, along.x) * 4.2;
        brush.add(Shape::line_segment([at - across, at + across], Stroke::new(3.2, halo)));
        brush.add(Shape::line_segment([at - across, at + across], Stroke::new(1.6, ink)));
    }
}

fn mast(brush: &mut Brush<'_>, at: Pos2, hazard: &Hazard, input: &MapInput<'_>) {
    let c = &input.theme.colours;
    let (ink, halo) = (c.wires, c.halo);
    let foot = |dx: f32| pos2(at.x + dx, at.y);
    let top = pos2(at.x, at.y - 14.0);
    for stroke in [Stroke::new(4.0, halo), Stroke::new(1.6, ink)] {
        brush.add(Shape::line_segment([foot(-4.0), top], stroke));
        brush.add(Shape::line_segment([foot(4.0), top], stroke));
        brush.add(Shape::line_segment([foot(-2.4) - vec2(0.0, 5.0), foot(2.4) - vec2(0.0, 5.0)], stroke));
    }
    brush.add(Shape::circle_filled(at, 1.8, ink));
    brush.occupy(Rect::from_two_pos(foot(-5.0), pos2(at.x + 5.0, top.y)));
    if brush.view.camera.metres_per_point < 15.0 {
        let (height, assumed) = hazard.height_or_assumed();
        let words = (input.format_height)(height);
        let words = if assumed { format!("about {words}") } else { words };
        let galley = brush.galley(words, input.theme.small_font(), ink);
        let place = pos2(at.x + 7.0, at.y - 8.0);
        if brush.claim(Align2::LEFT_CENTER.anchor_size(place, galley.size())) {
            brush.halo_text(place, Align2::LEFT_CENTER, galley, ink);
        }
    }
}

fn tree(brush: &mut Brush<'_>, at: Pos2) {
    let c = &brush.theme.colours;
    let (wood, ink, halo) = (c.wood, c.ink, c.halo);
    let r = brush.view.points(7.0).clamp(2.2, 9.0);
    if r > 3.5 {
        brush.add(Shape::circle_filled(at, r + 1.2, halo));
    }
    brush.add(Shape::circle_filled(at, r, wood));
    if r > 3.5 {
        brush.add(Shape::circle_stroke(at, r, Stroke::new(1.0, ink)));
        brush.add(Shape::circle_filled(at, 1.2, ink));
    }
}

fn warning(brush: &mut Brush<'_>, at: Pos2) {
    let c = &brush.theme.colours;
    let (ink, halo) = (c.ink, c.halo);
    let corner = |dx: f32, dy: f32| at + Vec2::new(dx, dy);
    let triangle = vec![corner(0.0, -6.0), corner(6.0, 5.0), corner(-6.0, 5.0)];
    brush.add(Shape::convex_polygon(triangle, halo, Stroke::new(1.6, ink)));
    brush.add(Shape::line_segment([corner(0.0, -2.0), corner(0.0, 1.5)], Stroke::new(1.4, ink)));
    brush.add(Shape::circle_filled(corner(0.0, 3.4), 0.9, ink));
}
