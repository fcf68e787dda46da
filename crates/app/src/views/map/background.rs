//! Lines, areas and points of background layers.

use super::camera::Bounds;
use super::fields::inside;
use super::ground::Area;
use super::paint::Brush;
use crate::theme::with_alpha;
use egui::{Pos2, Shape, Stroke};
use sparefield_data::imagery::BackgroundLayer;
use sparefield_geometry::position::Xy;
use std::sync::Arc;

/// How much of what lies below an area its fill hides: enough to tell inside from outside, and no more.
const FILL: f32 = 0.10;
/// Areas of more corners or rings than this are outlined only: cutting them into triangles would be felt.
const FILLED_CORNERS: usize = 5_000;
const FILLED_RINGS: usize = 100;
/// Corners cut into triangles in one frame; what is left is filled in the frames that follow.
const CORNERS_A_FRAME: usize = 10_000;

/// Boxes around the lines and rings of one layer, so that what is out of sight costs nothing.
struct Boxed {
    layer: Arc<BackgroundLayer>,
    lines: Vec<Bounds>,
    areas: Vec<BoxedArea>,
}

struct BoxedArea {
    bounds: Bounds,
    rings: Vec<Bounds>,
    /// The triangles inside, once it was seen.
    inside: Option<Vec<Area>>,
}

impl Boxed {
    fn new(layer: &Arc<BackgroundLayer>) -> Self {
        let areas = layer.areas.iter().map(|rings| BoxedArea {
            bounds: Bounds::around(&rings.concat()),
            rings: rings.iter().map(|ring| Bounds::around(ring)).collect(),
            inside: None,
        });
        let lines = layer.lines.iter().map(|l| Bounds::around(l)).collect();
        Self { layer: Arc::clone(layer), lines, areas: areas.collect() }
    }
}

/// Layers seen last.
#[derive(Default)]
pub(super) struct BackgroundCache {
    boxed: Vec<Boxed>,
}

impl BackgroundCache {
    pub(super) fn draw(&mut self, brush: &mut Brush<'_>, layer: &Arc<BackgroundLayer>, opacity: f32) {
        if !self.boxed.iter().any(|b| Arc::ptr_eq(&b.layer, layer)) {
            // A layer that was taken away is held by nobody else.
            self.boxed.retain(|b| Arc::strong_count(&b.layer) > 1);
            self.boxed.push(Boxed::new(layer));
        }
        let Some(boxed) = self.boxed.iter_mut().find(|b| Arc::ptr_eq(&b.layer, layer)) else { return };
        let ink = with_alpha(brush.theme.colours.ink_soft, opacity);
        let stroke = Stroke::new(1.3, ink);
        let mut corners_left = CORNERS_A_FRAME;
        for (rings, area) in layer.areas.iter().zip(&mut boxed.areas) {
            if !brush.sees(&area.bounds) {
                continue;
            }
            fill(brush, rings, area, &mut corners_left, opacity);
            for (ring, bounds) in rings.iter().zip(&area.rings) {
                if brush.sees(bounds) {
                    let mut path = thinned(brush, ring);
                    if path.first() != path.last() {
                        path.extend(path.first().copied());
                    }
                    brush.line(&path, stroke);
                }
            }
        }
        for (line, bounds) in layer.lines.iter().zip(&boxed.lines) {
            if brush.sees(bounds) {
                let path = thinned(brush, line);
                brush.line(&path, stroke);
            }
        }
        for point in &layer.points {
            let at = brush.view.to_screen(*point);
            if brush.view.rect.contains(at) {
                brush.add(Shape::circle_filled(at, 2.5, ink));
            }
        }
    }
}

/// Fills an area lightly, as far as this frame has time for it.
fn fill(brush: &mut Brush<'_>, rings: &[Vec<Xy>], area: &mut BoxedArea, corners_left: &mut usize, opacity: f32) {
    if area.inside.is_none() {
        let corners: usize = rings.iter().map(Vec::len).sum();
        if corners > *corners_left && corners <= FILLED_CORNERS {
            brush.painter.ctx().request_repaint();
            return;
        }
        let small = corners <= FILLED_CORNERS && rings.len() <= FILLED_RINGS;
        *corners_left -= if small { corners } else { 0 };
        area.inside = Some(if small { polygons(rings) } else { Vec::new() });
    }
    let colour = with_alpha(brush.theme.colours.ink_soft, opacity * FILL);
    for part in area.inside.iter().flatten() {
        let points: Vec<Pos2> = part.project(&brush.view).collect();
        brush.fill(&points, &part.triangles, colour);
    }
}

/// Rings as polygons: one inside an even number of others begins a polygon, one inside an odd number is a hole.
fn polygons(rings: &[Vec<Xy>]) -> Vec<Area> {
    let around = |of: usize| {
        let start = rings[of].first().copied().unwrap_or_default();
        (0..rings.len()).filter(move |&other| other != of && inside(&rings[other], start))
    };
    let depth: Vec<usize> = (0..rings.len()).map(|of| around(of).count()).collect();
    let outers = (0..rings.len()).filter(|&of| depth[of].is_multiple_of(2));
    let polygon = |outer: usize| {
        let hole = |of: &usize| depth[*of] == depth[outer] + 1 && around(*of).any(|other| other == outer);
        let holes: Vec<Vec<Xy>> = (0..rings.len()).filter(hole).map(|of| rings[of].clone()).collect();
        Area::new(&rings[outer], &holes)
    };
    outers.map(polygon).collect()
}

/// A line on the screen without the corners that nobody can tell apart.
fn thinned(brush: &Brush<'_>, line: &[Xy]) -> Vec<Pos2> {
    let mut path: Vec<Pos2> = Vec::new();
    for (i, p) in line.iter().enumerate() {
        let at = brush.view.to_screen(*p);
        let ends = i == 0 || i + 1 == line.len();
        if ends || path.last().is_none_or(|last| (*last - at).length_sq() >= 0.7) {
            path.push(at);
        }
    }
    path
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(from: f64, to: f64) -> Vec<Xy> {
        vec![Xy::new(from, from), Xy::new(to, from), Xy::new(to, to), Xy::new(from, to)]
    }

    #[test]
    fn an_island_in_a_lake_is_land_again() {
        let rings = [square(0.0, 100.0), square(200.0, 300.0), square(10.0, 90.0), square(40.0, 60.0)];
        let mut areas: Vec<f64> = polygons(&rings)
            .iter()
            .map(|part| {
                part.triangles
                    .chunks(3)
                    .map(|t| {
                        let [a, b, c] = [t[0], t[1], t[2]].map(|i| part.corners[i as usize]);
                        ((b.x - a.x) * (c.y - a.y) - (c.x - a.x) * (b.y - a.y)).abs() / 2.0
                    })
                    .sum()
            })
            .collect();
        areas.sort_by(f64::total_cmp);
        assert_eq!(areas, [20.0 * 20.0, 100.0 * 100.0 - 80.0 * 80.0, 100.0 * 100.0]);
    }
}
