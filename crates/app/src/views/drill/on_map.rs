//! A drill on the map: the way flown once it is over, and where each choice was made.

use crate::model::{Model, Session};
use crate::theme::{Theme, with_alpha};
use crate::views::map::View;
use egui::{Align2, Painter, Pos2, Shape, Stroke, Ui, Vec2};

/// Points of the screen nearer than this to the last are left out.
const CLOSE: f32 = 2.0;

/// Draws it.
pub(crate) fn draw(ui: &Ui, view: &View, model: &Model, theme: &Theme) {
    let Some(session) = model.drilling.session.as_ref().filter(|s| model.drills() && s.is_over()) else { return };
    let painter = ui.painter().with_clip_rect(view.rect);
    let c = &theme.colours;
    let mut points: Vec<Pos2> = Vec::new();
    for motion in session.way.iter() {
        let at = view.to_screen(motion.position);
        if points.last().is_none_or(|last| last.distance(at) >= CLOSE) {
            points.push(at);
        }
    }
    painter.add(Shape::line(points.clone(), Stroke::new(6.0, with_alpha(c.paper, 0.8))));
    painter.add(Shape::line(points, Stroke::new(3.0, c.circuit)));
    mark(&painter, view, session, 0.0, "engine stopped", theme);
    let mut before: Option<&str> = None;
    for choice in &session.choices {
        let name = choice.offer.name.as_str();
        if before != Some(name) {
            mark(&painter, view, session, choice.at_s, &format!("chose {name}"), theme);
        }
        before = Some(name);
    }
    mark(&painter, view, session, session.lasts_s(), "ended here", theme);
    let best = session.ended().and_then(|e| e.result.best_at_failure.as_ref());
    let fields = &session.prepared.rehearsal.area().fields;
    if let Some(field) = best.and_then(|best| fields.iter().find(|f| f.id == best.field_id)) {
        label(
            &painter,
            view.to_screen(field.centroid()),
            &format!("best: {}", field.label()),
            Align2::CENTER_CENTER,
            theme,
        );
    }
}

fn mark(painter: &Painter, view: &View, session: &Session, time_s: f64, words: &str, theme: &Theme) {
    let c = &theme.colours;
    let at = view.to_screen(session.at(time_s).position);
    painter.circle(at, 4.5, c.accent, Stroke::new(1.5, c.paper));
    label(painter, at + Vec2::new(9.0, 0.0), words, Align2::LEFT_CENTER, theme);
}

fn label(painter: &Painter, at: Pos2, words: &str, anchor: Align2, theme: &Theme) {
    let c = &theme.colours;
    let galley = painter.layout_no_wrap(words.to_owned(), theme.small_font(), c.ink);
    let rect = anchor.anchor_size(at, galley.size());
    // Words that would be cut off at the edge move in.
    let beyond = (rect.right() + 4.0 - painter.clip_rect().right()).max(0.0);
    let rect = rect.translate(Vec2::new(-beyond, 0.0));
    painter.rect_filled(rect.expand(2.0), 3.0, with_alpha(c.paper, 0.85));
    painter.galley(rect.min, galley, c.ink);
}
