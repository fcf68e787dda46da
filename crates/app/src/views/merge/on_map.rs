//! Both versions of what differs in its place, on the map: mine solid, theirs dashed.

use crate::edits::things::vertices;
use crate::model::Model;
use crate::theme::{Theme, with_alpha};
use crate::views::map::{Bounds, Pen, View, dash};
use egui::{Mesh, Pos2, Rect, Shape, Stroke, Ui, Vec2};
use sparefield_data::merge::{Pair, Trio};
use sparefield_geometry::fields::model::HazardShape;
use sparefield_geometry::position::Xy;

/// Radius of the rings round places that are points, in screen points: theirs round mine.
const MINE_RADIUS: f32 = 9.0;
const THEIRS_RADIUS: f32 = 13.0;

/// Things smaller than this on the screen get no halo, which would hide them, points.
const SMALL_PT: f32 = 20.0;

/// Draws them.
pub fn draw(ui: &Ui, view: &View, model: &Model, theme: &Theme) {
    let Some(merging) = &model.merging else { return };
    let painter = ui.painter().with_clip_rect(view.rect);
    let mut over = Over { pen: Pen::new(&painter), view, theme, meshes: Default::default() };
    let looked_at = merging.shown.filter(|pair| merging.in_place.binary_search(pair).is_err());
    for &pair in merging.in_place.iter().chain(&looked_at) {
        let shown = merging.shown == Some(pair);
        match merging.merge.pairs().get(pair) {
            Some(Pair::Field(trio)) => over.both(trio, shown, true, |f| &f.outer),
            Some(Pair::Hazard(trio)) => {
                let of = trio.mine.as_ref().or(trio.theirs.as_ref());
                let closed = of.is_some_and(|h| matches!(h.shape, HazardShape::Area { .. }));
                over.both(trio, shown, closed, vertices);
            }
            Some(Pair::QuietZone(trio)) => over.both(trio, shown, true, |z| &z.outer),
            Some(Pair::Home(trio)) => {
                over.both(trio, shown, false, |h| h.ends.iter().map(|e| e.threshold).collect::<Vec<_>>());
            }
            Some(Pair::Sortie(_)) | None => {}
        }
    }
    // Halos lie under all lines, or that of an upper line would cover a lower one.
    painter.extend(over.meshes.map(Shape::mesh));
}

struct Over<'a> {
    pen: Pen,
    view: &'a View,
    theme: &'a Theme,
    /// Halos, mine, theirs: there may be thousands of things.
    meshes: [Mesh; 3],
}

impl Over<'_> {
    /// Mine under theirs: where both run along one line, mine shows between the dashes.
    fn both<'t, T, P: AsRef<[Xy]> + 't>(
        &mut self,
        trio: &'t Trio<T>,
        shown: bool,
        closed: bool,
        places: impl Fn(&'t T) -> P,
    ) {
        let width = if shown { 3.5 } else { 2.0 };
        let c = &self.theme.colours;
        let view = self.view;
        let on_screen = |thing: &'t T| -> Option<Vec<Pos2>> {
            let places = places(thing);
            let places = places.as_ref();
            view.bounds(16.0).meets(&Bounds::around(places)).then(|| {
                let last = places.first().filter(|_| closed);
                places.iter().chain(last).map(|p| view.to_screen(*p)).collect()
            })
        };
        let mine = trio.mine.as_deref().and_then(on_screen);
        let theirs = trio.theirs.as_deref().and_then(on_screen);
        let halo = Stroke::new(width + 3.0, with_alpha(c.halo, 0.7));
        let (accent, caution) = (Stroke::new(width, c.accent), Stroke::new(width, c.caution));
        for (points, stroke, radius, layer) in [(&mine, accent, MINE_RADIUS, 1), (&theirs, caution, THEIRS_RADIUS, 2)] {
            let Some(points) = points else { continue };
            let ring;
            let (points, is_point) = match points.as_slice() {
                [at] => {
                    ring = circle(*at, radius);
                    (&ring, true)
                }
                _ => (points, false),
            };
            if points.len() < 2 {
                continue;
            }
            if Rect::from_points(points).size().max_elem() >= SMALL_PT || is_point {
                self.pen.draw(points, false, halo, &mut self.meshes[0]);
            }
            if layer == 2 && !is_point {
                let (pen, mesh) = (&mut self.pen, &mut self.meshes[2]);
                dash(points, &[9.0, 9.0], view.rect.expand(16.0), |a, b| pen.draw(&[a, b], false, stroke, mesh));
            } else {
                self.pen.draw(points, false, stroke, &mut self.meshes[layer]);
            }
        }
    }
}

/// A ring round a place that is a point.
fn circle(at: Pos2, radius: f32) -> Vec<Pos2> {
    (0..=24).map(|k| at + radius * Vec2::angled(k as f32 / 24.0 * std::f32::consts::TAU)).collect()
}
