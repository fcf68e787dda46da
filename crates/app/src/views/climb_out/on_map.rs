//! Climb-outs on the map, off every end: where the engine stops, the glides ahead, fields in reach, and the turn back.

use crate::climb_out::{Answer, words};
use crate::model::Model;
use crate::theme::{Theme, with_alpha};
use crate::views::map::View;
use crate::views::marks::verdict_colour;
use egui::{Align2, Color32, Mesh, Painter, Pos2, Rect, Shape, Stroke, Ui, Vec2};
use sparefield_data::quantity::UnitPrefs;
use sparefield_geometry::climb_out::ClimbOutAt;

/// How much of the accent lies over the land that a glide ahead leads over.
const FAN: f32 = 0.16;
/// Points of the screen nearer than this to the last are left out.
const CLOSE: f32 = 2.0;

/// Draws them.
pub(in crate::views) fn on_map(ui: &Ui, view: &View, model: &Model, theme: &Theme) {
    let Some(at) = model.climb_outs.at.as_ref().filter(|_| model.shows_climb_outs()) else { return };
    let painter = ui.painter().with_clip_rect(view.rect);
    let chosen = model.climb_out_end().filter(|_| model.climbs_out());
    // The end looked at is drawn last, over the others.
    let mut order: Vec<usize> = (0..at.ends.len()).collect();
    order.sort_by_key(|i| chosen == Some(*i));
    let mut pen = Pen { painter: &painter, view, theme, units: model.settings.units, taken: Vec::new() };
    let both: Vec<(&Answer, &ClimbOutAt, bool)> = order
        .into_iter()
        .filter_map(|i| Some((at.of.ends.get(i)?.as_ref().ok()?, at.ends[i].as_ref()?, chosen.is_none_or(|c| c == i))))
        .collect();
    for (answer, at, strong) in &both {
        pen.lines(answer, at, *strong);
    }
    // Words of the end looked at have the better places, and all of them lie over every line.
    for (answer, at, strong) in both.iter().rev() {
        pen.labels(answer, at, *strong);
    }
}

struct Pen<'a> {
    painter: &'a Painter,
    view: &'a View,
    theme: &'a Theme,
    units: UnitPrefs,
    taken: Vec<Rect>,
}

impl Pen<'_> {
    fn lines(&self, answer: &Answer, at: &ClimbOutAt, strong: bool) {
        let (view, c) = (self.view, &self.theme.colours);
        let stops = view.to_screen(at.step.position);
        let ends: Vec<Pos2> = at.glides.iter().map(|g| view.to_screen(g.ends)).collect();
        if strong {
            self.fan(stops, &ends);
        }
        let faint = |colour: Color32| if strong { colour } else { with_alpha(colour, 0.6) };
        // The way out, up to where the engine stops.
        let out = [view.to_screen(answer.runway.departure_end), stops];
        self.painter.add(Shape::line_segment(out, Stroke::new(4.0, with_alpha(c.halo, 0.8))));
        self.painter.extend(Shape::dashed_line(&out, Stroke::new(1.8, faint(c.ink)), 3.0, 3.0));
        for (glide, end) in at.glides.iter().zip(&ends) {
            let farthest = at.step.ahead.is_some_and(|a| a.track == glide.track);
            let width = if farthest { 3.0 } else { 1.2 };
            if farthest {
                self.painter.add(Shape::line_segment([stops, *end], Stroke::new(6.0, with_alpha(c.halo, 0.8))));
            }
            self.painter.add(Shape::line_segment([stops, *end], Stroke::new(width, faint(c.accent))));
            self.painter.circle_filled(*end, if farthest { 4.0 } else { 2.0 }, faint(c.accent));
        }
        for field in words::in_reach(&at.step) {
            let ranked = &answer.fields[field.index];
            let outline: Vec<Pos2> =
                answer.area.fields[ranked.index].outer.iter().map(|p| view.to_screen(*p)).collect();
            let colour = verdict_colour(self.theme, ranked.verdict);
            self.painter.add(Shape::closed_line(outline.clone(), Stroke::new(6.0, with_alpha(c.halo, 0.8))));
            self.painter.add(Shape::closed_line(outline, Stroke::new(3.0, faint(colour))));
        }
        let mut way: Vec<Pos2> = Vec::new();
        for motion in &at.turn_back_way {
            let p = view.to_screen(motion.position);
            if way.last().is_none_or(|last| last.distance(p) >= CLOSE) {
                way.push(p);
            }
        }
        let works = at.step.turn_back.is_some_and(|t| t.spare_m >= 0.0);
        self.painter.add(Shape::line(way.clone(), Stroke::new(5.5, with_alpha(c.halo, 0.8))));
        if works {
            self.painter.add(Shape::line(way, Stroke::new(2.6, faint(c.circuit))));
        } else {
            // Told apart without colour, too: what does not reach the runway is broken.
            self.painter.extend(Shape::dashed_line(&way, Stroke::new(2.6, faint(c.caution)), 8.0, 6.0));
        }
        let square = Rect::from_center_size(stops, Vec2::splat(9.0));
        self.painter.rect(square, 0.0, faint(c.ink), Stroke::new(1.5, c.halo), egui::StrokeKind::Outside);
    }

    /// The land within reach of a glide ahead, lightly tinted.
    fn fan(&self, stops: Pos2, ends: &[Pos2]) {
        let mut mesh = Mesh::default();
        let colour = with_alpha(self.theme.colours.accent, FAN);
        for pair in ends.windows(2) {
            let first = mesh.vertices.len() as u32;
            for p in [stops, pair[0], pair[1]] {
                mesh.colored_vertex(p, colour);
            }
            mesh.add_triangle(first, first + 1, first + 2);
        }
        self.painter.add(Shape::mesh(mesh));
    }

    fn labels(&mut self, answer: &Answer, at: &ClimbOutAt, strong: bool) {
        let (units, view) = (self.units, *self.view);
        let stops = view.to_screen(at.step.position);
        let title = format!("{}: {}", answer.name, units.format_height(at.step.height_m));
        self.label(stops + Vec2::new(0.0, -12.0), Align2::CENTER_BOTTOM, &title, true);
        if !strong {
            return;
        }
        if let Some(back) = &at.step.turn_back {
            let way = &at.turn_back_way;
            let words = format!("turn back {}", words::turn_back(back, units));
            // Beside it where there is room: it may lie close to where the engine stops.
            let places = [6, 7, 5, 4, 3].into_iter().filter_map(|eighths| way.get(way.len() * eighths / 8));
            for motion in places {
                if self.label(view.to_screen(motion.position) + Vec2::new(6.0, 8.0), Align2::LEFT_TOP, &words, false) {
                    break;
                }
            }
        }
        for field in words::in_reach(&at.step) {
            let place = answer.area.fields[answer.fields[field.index].index].centroid();
            let words = format!("+{}", units.format_height_at_least(field.spare_m));
            self.label(view.to_screen(place), Align2::CENTER_CENTER, &words, false);
        }
        if let Some(ahead) = &at.step.ahead {
            let words = units.format_length_at_least(ahead.distance_m);
            self.label(view.to_screen(ahead.ends) + Vec2::new(8.0, 0.0), Align2::LEFT_CENTER, &words, false);
        }
    }

    /// Words on paper; left out where others stand already, unless they must be said. Says whether they stand there.
    fn label(&mut self, at: Pos2, align: Align2, text: &str, always: bool) -> bool {
        let c = &self.theme.colours;
        let galley = self.painter.layout_no_wrap(text.to_owned(), self.theme.small_font(), c.ink);
        let rect = align.anchor_size(at, galley.size()).expand(2.0);
        if !always && self.taken.iter().any(|t| t.intersects(rect)) {
            return false;
        }
        self.painter.rect_filled(rect, 3.0, with_alpha(c.paper, 0.88));
        self.painter.galley(rect.shrink(2.0).min, galley, c.ink);
        self.taken.push(rect);
        true
    }
}
