//! Lines, areas and points of background layers.

use super::camera::Bounds;
use super::paint::Brush;
use crate::theme::with_alpha;
use egui::{Pos2, Shape, Stroke};
use sparefield_data::imagery::BackgroundLayer;
use sparefield_geometry::position::Xy;
use std::sync::Arc;

/// Boxes around the lines and rings of one layer, so that what is out of sight costs nothing.
struct Boxed {
    layer: Arc<BackgroundLayer>,
    lines: Vec<Bounds>,
    rings: Vec<(usize, usize, Bounds)>,
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
            let rings = layer
                .areas
                .iter()
                .enumerate()
                .flat_map(|(a, rings)| rings.iter().enumerate().map(move |(r, ring)| (a, r, Bounds::around(ring))));
            let lines = layer.lines.iter().map(|l| Bounds::around(l)).collect();
            self.boxed.push(Boxed { layer: Arc::clone(layer), lines, rings: rings.collect() });
        }
        let Some(boxed) = self.boxed.iter().find(|b| Arc::ptr_eq(&b.layer, layer)) else { return };
        let ink = with_alpha(brush.theme.colours.ink_soft, opacity);
        let stroke = Stroke::new(1.3, ink);
        for (line, bounds) in layer.lines.iter().zip(&boxed.lines) {
            if brush.sees(bounds) {
                let path = thinned(brush, line);
                brush.line(&path, stroke);
            }
        }
        for (area, ring, bounds) in &boxed.rings {
            if brush.sees(bounds) {
                let mut path = thinned(brush, &layer.areas[*area][*ring]);
                if path.first() != path.last() {
                    path.extend(path.first().copied());
                }
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
