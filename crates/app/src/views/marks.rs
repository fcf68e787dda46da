//! Small marks shared by the list and the card: rank badges, verdict patterns, bars.

use crate::theme::{Theme, on_fill};
use egui::{Align2, Color32, Pos2, Rect, Shape, Stroke, Ui, Vec2};
use sparefield_geometry::fields::verdict::Verdict;

/// The colour of a verdict.
#[must_use]
pub fn verdict_colour(theme: &Theme, verdict: Verdict) -> Color32 {
    let c = &theme.colours;
    match verdict {
        Verdict::Roomy => c.roomy,
        Verdict::Workable => c.workable,
        Verdict::LastResort => c.last_resort,
        Verdict::Out => c.out,
    }
}

/// A field's place in the list, drawn as on the map: filled disc, ring, bare number, or nothing but a dash when out.
pub fn rank_badge(ui: &Ui, theme: &Theme, centre: Pos2, verdict: Verdict, rank: usize) {
    let painter = ui.painter();
    let colour = verdict_colour(theme, verdict);
    let font = theme.bold_font(if rank < 100 { theme.sizes.text } else { theme.sizes.small });
    let (text, ink) = match verdict {
        Verdict::Roomy => {
            painter.circle_filled(centre, 13.0, colour);
            (rank.to_string(), on_fill(colour, &theme.colours))
        }
        Verdict::Workable => {
            painter.circle_stroke(centre, 12.0, Stroke::new(2.0, colour));
            (rank.to_string(), theme.colours.ink)
        }
        Verdict::LastResort => (rank.to_string(), theme.colours.ink),
        Verdict::Out => ("–".to_owned(), theme.colours.ink_soft),
    };
    painter.text(centre, Align2::CENTER_CENTER, text, font, ink);
}

/// A bar from 0 to 1; an unknown value is hatched, so that it does not look measured.
pub fn bar(ui: &Ui, theme: &Theme, rect: Rect, value: f64, known: bool, colour: Color32) {
    let painter = ui.painter();
    painter.rect_filled(rect, 3.0, theme.colours.panel_sunken);
    let width = rect.width() * value.clamp(0.0, 1.0) as f32;
    let filled = Rect::from_min_size(rect.min, Vec2::new(width.max(2.0), rect.height()));
    if known {
        painter.rect_filled(filled, 3.0, colour);
    } else {
        painter.rect_stroke(filled, 3.0, Stroke::new(1.0, colour), egui::StrokeKind::Inside);
        let clipped = painter.with_clip_rect(filled);
        let mut x = filled.left() - filled.height();
        while x < filled.right() {
            let from = Pos2::new(x, filled.bottom());
            let to = Pos2::new(x + filled.height(), filled.top());
            clipped.add(Shape::line_segment([from, to], Stroke::new(1.0, colour)));
            x += 5.0;
        }
    }
}
