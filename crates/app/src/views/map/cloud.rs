//! Where the flights of a pilot who is not exact come down.

use super::paint::Brush;
use crate::theme::with_alpha;
use egui::{Pos2, Rect, Response, Role, Sense, Shape, Stroke, Ui, WidgetInfo, vec2};
use sparefield_geometry::position::Xy;

/// Where the flights of a pilot who is not exact come down.
#[derive(Clone, Debug, PartialEq)]
pub struct CloudMark {
    /// Each place, and whether that flight stopped in the strip.
    pub touchdowns: Vec<(Xy, bool)>,
    /// What it says, for those who do not see it.
    pub words: String,
}

/// Dots stopped in the strip, crosses did not: under everything else of the circuit, and small.
pub(super) fn draw(brush: &mut Brush<'_>, mark: &CloudMark) {
    let c = &brush.theme.colours;
    let (ink, halo) = (c.ink_soft, with_alpha(c.halo, 0.7));
    let seen = brush.view.rect.expand(6.0);
    for &(at, stopped_in_strip) in &mark.touchdowns {
        let at = brush.view.to_screen(at);
        if !seen.contains(at) {
            continue;
        }
        if stopped_in_strip {
            brush.add(Shape::circle_filled(at, 2.4, halo));
            brush.add(Shape::circle_filled(at, 1.7, ink));
        } else {
            for (width, colour) in [(2.6, halo), (1.2, ink)] {
                for arm in [vec2(2.6, 2.6), vec2(2.6, -2.6)] {
                    brush.line(&[at - arm, at + arm], Stroke::new(width, colour));
                }
            }
        }
    }
}

/// What the touchdowns say, for those who do not see them.
pub(super) fn spot(brush: &Brush<'_>, ui: &Ui, map: &Response, mark: &CloudMark) {
    let places: Vec<Pos2> = mark.touchdowns.iter().map(|t| brush.view.to_screen(t.0)).collect();
    let room = Rect::from_points(&places).intersect(brush.view.rect);
    if room.is_positive() {
        let spot = ui.interact(room, map.id.with("touchdowns"), Sense::empty());
        spot.widget_info(|| WidgetInfo::labeled(Role::GraphicsObject, true, &mark.words));
    }
}
