//! Both versions of what differs in its place, on the map: mine solid, theirs dashed.

use crate::model::{Line, Model};
use crate::theme::{Theme, with_alpha};
use crate::views::map::View;
use egui::{Painter, Pos2, Rect, Shape, Stroke, Ui};
use sparefield_data::merge::{Pair, Trio};
use sparefield_geometry::fields::model::HazardShape;
use sparefield_geometry::position::Xy;

/// Radius of the rings round places that are points, in screen points: theirs round mine.
const MINE_RADIUS: f32 = 9.0;
const THEIRS_RADIUS: f32 = 13.0;

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
    /// Mine first and theirs over it: where both run along one line, mine shows between the dashes.
    fn both<T>(&self, trio: &Trio<T>, shown: bool, places: impl Fn(&T) -> Vec<Xy>) {
        let width = if shown { 3.5 } else { 2.0 };
        let c = &self.theme.colours;
        let on_screen = |thing: &T| -> Option<Vec<Pos2>> {
            let points: Vec<Pos2> = places(thing).iter().map(|p| self.view.to_screen(*p)).collect();
            Rect::from_points(&points).expand(16.0).intersects(self.view.rect).then_some(points)
        };
        let mine = trio.mine.as_deref().and_then(on_screen);
        let theirs = trio.theirs.as_deref().and_then(on_screen);
        // Halos lie under both, or that of the upper line would cover the lower one.
        let halo = Stroke::new(width + 3.0, with_alpha(c.halo, 0.7));
        for (points, radius) in [(&mine, MINE_RADIUS), (&theirs, THEIRS_RADIUS)] {
            if let Some(points) = points {
                self.solid(points, halo, radius);
            }
        }
        if let Some(points) = &mine {
            self.solid(points, Stroke::new(width, c.accent), MINE_RADIUS);
        }
        if let Some(points) = &theirs {
            let stroke = Stroke::new(width, c.caution);
            if points.len() == 1 {
                self.solid(points, stroke, THEIRS_RADIUS);
            } else {
                self.painter.extend(Shape::dashed_line(points, stroke, 9.0, 9.0));
            }
        }
    }

    fn solid(&self, points: &[Pos2], stroke: Stroke, radius: f32) {
        if let [at] = points {
            self.painter.circle_stroke(*at, radius, stroke);
        } else {
            self.painter.add(Shape::line(points.to_vec(), stroke));
        }
    }
}
