//! Both versions of what differs in its place, on the map: mine solid, theirs dashed.

use crate::model::{Line, Model};
use crate::theme::{Theme, with_alpha};
use crate::views::map::View;
use egui::{Painter, Pos2, Rect, Shape, Stroke, Ui};
use sparefield_data::merge::{Pair, Trio};
use sparefield_geometry::fields::model::HazardShape;
use sparefield_geometry::position::Xy;

/// Draws them.
pub fn draw(ui: &Ui, view: &View, model: &Model, theme: &Theme) {
    let Some(merging) = &model.merging else { return };
    let painter = ui.painter().with_clip_rect(view.rect);
    let over = Over { painter, view, theme };
    for line in merging.lines.iter() {
        let Line::Thing { pair, .. } = line else { continue };
        let shown = merging.shown == Some(*pair);
        if !shown && !merging.differs_in_place(*pair) {
            continue;
        }
        match merging.merge.pairs().get(*pair) {
            Some(Pair::Field(trio)) => over.both(trio, shown, |f| ring(&f.outer)),
            Some(Pair::Hazard(trio)) => over.both(trio, shown, |h| match &h.shape {
                HazardShape::Point(at) => vec![*at],
                HazardShape::Line(line) => line.clone(),
                HazardShape::Area { outer, .. } => ring(outer),
            }),
            Some(Pair::QuietZone(trio)) => over.both(trio, shown, |z| ring(&z.outer)),
            Some(Pair::Home(trio)) => over.both(trio, shown, |h| h.ends.iter().map(|e| e.threshold).collect()),
            None => {}
        }
    }
}

fn ring(points: &[Xy]) -> Vec<Xy> {
    points.iter().chain(points.first()).copied().collect()
}

struct Over<'a> {
    painter: Painter,
    view: &'a View,
    theme: &'a Theme,
}

impl Over<'_> {
    fn both<T>(&self, trio: &Trio<T>, shown: bool, places: impl Fn(&T) -> Vec<Xy>) {
        let width = if shown { 3.5 } else { 2.0 };
        if let Some(mine) = &trio.mine {
            self.one(&places(mine), Stroke::new(width, self.theme.colours.accent), false);
        }
        if let Some(theirs) = &trio.theirs {
            self.one(&places(theirs), Stroke::new(width, self.theme.colours.caution), true);
        }
    }

    fn one(&self, places: &[Xy], stroke: Stroke, dashed: bool) {
        let points: Vec<Pos2> = places.iter().map(|p| self.view.to_screen(*p)).collect();
        if !Rect::from_points(&points).expand(16.0).intersects(self.view.rect) {
            return;
        }
        let halo = with_alpha(self.theme.colours.halo, 0.7);
        if let [at] = points.as_slice() {
            let radius = if dashed { 13.0 } else { 9.0 };
            self.painter.circle_stroke(*at, radius, Stroke::new(stroke.width + 2.0, halo));
            self.painter.circle_stroke(*at, radius, stroke);
            return;
        }
        self.painter.add(Shape::line(points.clone(), Stroke::new(stroke.width + 3.0, halo)));
        if dashed {
            self.painter.extend(Shape::dashed_line(&points, stroke, 9.0, 6.0));
        } else {
            self.painter.add(Shape::line(points, stroke));
        }
    }
}
